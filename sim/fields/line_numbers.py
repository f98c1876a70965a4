"""On which line of a TOML text a field stands: a scan, since the parser keeps no positions."""

from __future__ import annotations

import re

_PART = r"""(?:[A-Za-z0-9_-]+|"(?:[^"\\]|\\.)*"|'[^']*')"""
_NAME = rf"{_PART}(?:\s*\.\s*{_PART})*"
_HEADER = re.compile(rf"\s*\[\[?\s*({_NAME})\s*\]\]?\s*(?:#.*)?$")
_ENTRY = re.compile(rf"\s*({_NAME})\s*=\s*(.*)$")
_SPLIT = re.compile(_PART)
LONGEST_LINE = 2000


def find_lines(text: str) -> dict[tuple[str, ...], int]:
    """First line (from 1) of every table and entry, by its path."""
    found: dict[tuple[str, ...], int] = {}
    table: tuple[str, ...] = ()
    inside = ""
    for number, line in enumerate(text.splitlines(), start=1):
        if len(line) > LONGEST_LINE:
            continue
        if inside:
            inside = "" if inside in line else inside
            continue
        if header := _HEADER.match(line):
            table = _path(header[1])
            found.setdefault(table, number)
        elif entry := _ENTRY.match(line):
            found.setdefault(table + _path(entry[1]), number)
            inside = _opened(entry[2])
    return found


def _path(name: str) -> tuple[str, ...]:
    return tuple(part[1:-1] if part[0] in "\"'" else part for part in _SPLIT.findall(name))


def _opened(rest: str) -> str:
    """The quotes of a text that goes on over the following lines, or nothing."""
    for quotes in ('"""', "'''"):
        if rest.count(quotes) == 1:
            return quotes
    return ""
