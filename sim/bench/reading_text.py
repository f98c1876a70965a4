"""Readings as plain lines of text: what ``print`` shows of a record."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import fields
from typing import Any

from sim.display_units import convert_si, format_number, format_unit

NAME_WIDTH = 28


class PrintableRecord:
    """A record that prints as plain lines, a reading a line; what could not be read shows a dash."""

    def lines(self: Any, indent: str = "") -> Iterator[str]:
        for f in fields(self):
            if meta := f.metadata:
                value = convert_si(getattr(self, f.name), meta["unit"])
                number = format_number(value, meta["unit"], meta["accuracy"])
                yield format_line(indent, meta["title"], number, format_unit(meta["unit"]))

    def __str__(self) -> str:
        return "\n".join(self.lines())


def format_line(indent: str, title: str, number: str, unit: str = "") -> str:
    """One reading."""
    return f"{indent}{title:<{NAME_WIDTH}}{number:>9} {unit}".rstrip()
