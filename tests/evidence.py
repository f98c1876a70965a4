"""Records of what the trials found, as the validation report reads them: shared/evidence/NAME.toml and NAME.csv.

A record has a head (title, version and names of what it rests on, how it was made, and what
else it needs to tell) and rows, a line each.  Numbers are kept to six digits.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

import tomli_w

from sim.fingerprint import compute_version, list_inputs_of
from sim.validation.records import read_record

FOLDER = Path(__file__).resolve().parents[1] / "shared" / "evidence"
HOLDS = {frozenset({bool}): "yes or no", frozenset({int}): "count", frozenset({str}): "text"}


def write_record(name: str, title: str, made: str, rows: Sequence[Mapping[str, Any]], **head: Any) -> Path:
    """Write a record; ``made`` is the command that makes it.  Values that are None or not finite are left out."""
    about = {"title": title, "version": compute_version(name), "inputs": list_inputs_of(name), "made": made}
    return write_table(FOLDER / f"{name}.toml", {**about, **head}, [_simplify_row(row) for row in rows])


def write_table(file: Path, head: Mapping[str, Any], rows: Sequence[Mapping[str, Any]]) -> Path:
    """A head, with what each column holds, and the rows beside it."""
    names = dict.fromkeys(name for row in rows for name in row)
    columns = {name: _holds(row[name] for row in rows if name in row) for name in names}
    file.parent.mkdir(exist_ok=True)
    file.write_text(tomli_w.dumps({**head, "columns": columns}), encoding="utf-8")
    with file.with_suffix(".csv").open("w", encoding="utf-8", newline="") as beside:
        table = csv.DictWriter(beside, list(columns), lineterminator="\n")
        table.writeheader()
        table.writerows({n: str(v).lower() if isinstance(v, bool) else v for n, v in row.items()} for row in rows)
    return file


def load_record(name: str) -> dict[str, Any]:
    """A record that is there: its head, and its rows as ``row``."""
    return read_record(FOLDER / f"{name}.toml")


def _holds(values: Iterable[Any]) -> str:
    return HOLDS.get(frozenset(map(type, values)), "number")


def _simplify_row(row: Mapping[str, Any]) -> dict[str, Any]:
    out = {}
    for key, value in row.items():
        if isinstance(value, str | bool | int):
            out[key] = value
        elif value is not None and math.isfinite(value):
            out[key] = float(f"{value:.6g}")
    return out
