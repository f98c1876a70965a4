"""What varies in a study: spans and lists of values by path, and their combinations."""

from __future__ import annotations

import csv
import io
import itertools
from collections import Counter
from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np

from sim.errors import Fault, InputError, QuantityError
from sim.fields.field_paths import find_kind, index_fields, suggest_name
from sim.fields.overrides import NOT_SETTABLE
from sim.fields.untrusted_text import read_text
from sim.units import convert_to_unit, parse_quantity, split_quantity

Overrides = Mapping[str, str]
LARGEST = 1_000_000
"""Rows of one study."""
LARGEST_TABLE = 100_000_000
"""Bytes of a table of overrides."""
VARY, TABLE = "--vary", "--table"
EXAMPLE = 'write PATH=FROM..TO/N, such as springs.repetition="30 N·mm..36 N·mm/7", or PATH=A,B,C'


def build_grid(varied: Sequence[tuple[str, Sequence[str]]]) -> tuple[Overrides, ...]:
    """Every combination of the values of each path; the last path runs fastest."""
    paths = [path for path, _ in varied]
    _refuse_repeated_paths(paths, VARY)
    count = 1
    for _, values in varied:
        count *= len(values)
    if count > LARGEST:
        raise _raise_fault(VARY, f"{count} rows", f"at most {LARGEST}", "take fewer values of each")
    return tuple(dict(zip(paths, row, strict=True)) for row in itertools.product(*(values for _, values in varied)))


def parse_span(text: str) -> tuple[str, list[str]]:
    """``PATH=FROM..TO/N`` as path and values; ``PATH=A,B,C`` lists them."""
    path, eq, span = (part.strip() for part in text.partition("="))
    if not eq or not span:
        raise _raise_fault(VARY, text, "PATH=FROM..TO/N", EXAMPLE)
    check_known_path(path, VARY)
    if ".." not in span:
        return path, [part.strip() for part in span.split(",") if part.strip()]
    ends, slash, count = span.rpartition("/")
    low, _, high = (part.strip() for part in ends.partition(".."))
    if not slash or not count.strip().isdecimal() or not low or not high:
        raise _raise_fault(VARY, text, "FROM..TO/N", EXAMPLE)
    n = int(count) if len(count.strip()) <= len(str(LARGEST)) else 0
    if not 2 <= n <= LARGEST:
        raise _raise_fault(VARY, f"{count[:40]} values", f"2 to {LARGEST}", "a span needs both its ends")
    return path, _space_evenly(path, low, high, n)


def _space_evenly(path: str, low: str, high: str, n: int) -> list[str]:
    """Even values from one text to another, in the unit of the second (``30..36 N·mm``), or in per cent."""
    kind = find_kind(path)
    if kind is None or (kind.form == "contact stiffness" and "%" not in high):
        raise _raise_fault(VARY, f"{path}={low}..{high}", "a quantity", "list the values instead: PATH=A,B,C")
    try:
        unit = split_quantity(high)[1]
        if not split_quantity(low)[1]:
            low = f"{low} {unit}".strip()
        if unit == "%":
            return [f"{share:.9g} %" for share in np.linspace(split_quantity(low)[0], split_quantity(high)[0], n)]
        ends = parse_quantity(low, kind.dimension), parse_quantity(high, kind.dimension)
    except QuantityError as error:
        raise _raise_fault(VARY, f"{path}={low}..{high}", kind.allowed, str(error)) from None
    even = np.linspace(*ends, n).tolist()
    return [f"{convert_to_unit(si, kind.unit, kind.dimension):.12g} {kind.unit}".strip() for si in even]


def read_input_table(file: Path) -> tuple[Overrides, ...]:
    """Rows of a CSV whose header names paths; an empty cell leaves the scenario's own value.  Raises InputError."""
    text = read_text(file, LARGEST_TABLE)
    try:
        head, *lines = [[cell.strip() for cell in line] for line in csv.reader(io.StringIO(text)) if any(line)]
    except csv.Error as error:
        raise _raise_fault(TABLE, file.name, "a CSV text", str(error)) from None
    except ValueError:
        raise _raise_fault(TABLE, file.name, "a header line of paths", "the file is empty") from None
    for path in head:
        check_known_path(path, f"{TABLE} {file.name}")
    _refuse_repeated_paths(head, f"{TABLE} {file.name}")
    if len(lines) > LARGEST:
        raise _raise_fault(TABLE, f"{file.name}: {len(lines)} lines", f"at most {LARGEST}", "take several tables")
    if not lines:
        raise _raise_fault(TABLE, file.name, "a line for each unit under the header", "there is none")
    uneven = [number for number, line in enumerate(lines, 2) if len(line) != len(head)]
    if uneven:
        raise _raise_fault(TABLE, file.name, f"{len(head)} cells a line", f"look at line {uneven[0]}")
    return tuple({path: cell for path, cell in zip(head, line, strict=True) if cell} for line in lines)


def _refuse_repeated_paths(paths: Sequence[str], where: str) -> None:
    twice = sorted(path for path, times in Counter(paths).items() if times > 1)
    if twice:
        allowed, remedy = "each path once", "put all its values in one place"
        raise InputError([Fault(where, None, path, "named twice", allowed, remedy) for path in twice])


def check_known_path(path: str, where: str) -> None:
    """Raises InputError unless a field of that name can be set."""
    if path not in index_fields() or path in NOT_SETTABLE:
        hint = suggest_name(path, index_fields())
        raise InputError([Fault(where, None, path[:80], "no such field", hint.allowed, hint.remedy)])


def _raise_fault(where: str, value: str, allowed: str, remedy: str) -> InputError:
    return InputError([Fault("command line", None, where, f'"{value}"', allowed, remedy)])
