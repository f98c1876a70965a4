"""Readings as plain lines of text: what ``print`` shows of a record."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from sim.bench.readings import Prediction, Repetition, Strike, list_reading_fields
from sim.display_units import convert_si, format_number, format_unit

NAME_WIDTH = 28


def format_record(record: Any) -> str:
    """A record of readings, a line a reading; what could not be read shows a dash."""
    if isinstance(record, Prediction):
        return "\n".join(_prediction(record))
    return "\n".join(_lines(record))


def _lines(record: Any, indent: str = "") -> Iterator[str]:
    if isinstance(record, Strike):
        kind = "pressed" if record.pressed else "struck"
        yield f"{indent}{record.touch} blow ({kind}): {record.outcome}"
        indent += "  "
    for name, meta in list_reading_fields(type(record)).items():
        value = convert_si(getattr(record, name), meta["unit"])
        number = format_number(value, meta["unit"], meta["accuracy"])
        yield f"{indent}{meta['title']:<{NAME_WIDTH}}{number:>9} {format_unit(meta['unit'])}".rstrip()
    if isinstance(record, Strike) and record.ledger_remainder is not None:
        yield f"{indent}{'ledger remainder':<{NAME_WIDTH}}{record.ledger_remainder * 100:>9.3f} %"
    if isinstance(record, Repetition):
        yield from _repetition(record, indent)


def _repetition(record: Repetition, indent: str) -> Iterator[str]:
    if record.limiting_part:
        yield f"{indent}{'limiting part':<{NAME_WIDTH}}  {record.limiting_part}"
    if record.kicks is not None:
        yield f"{indent}{'kicks':<{NAME_WIDTH}}  {'yes' if record.kicks else 'no'}"
    for rate, share in sorted(record.sounded_fraction.items()):
        yield f"{indent}{f'sounded at {rate:g} a second':<{NAME_WIDTH}}{share:>9.2f}"


def _prediction(p: Prediction) -> Iterator[str]:
    yield f"{p.unit}: {p.outcome}"
    if p.reason:
        yield f"  {p.reason}"
    for title, record in (("settings", p.settings), ("touch", p.touch), *((None, s) for s in p.strikes)):
        if title:
            yield title
        yield from _lines(record, "  " if title else "")
    yield "repetition"
    yield from _lines(p.repetition, "  ")
    yield "centres"
    for name, centre in p.centres.items():
        torque, force = (convert_si(centre.torque, "Nmm"), convert_si(centre.pinning_force, "gf"))
        yield f"  {name:<{NAME_WIDTH}}{format_number(torque, 'Nmm'):>9} N·mm {format_number(force, 'gf'):>6} gf"
    yield f"assumed, not measured: {len(p.assumed)} inputs (see .assumed)"
