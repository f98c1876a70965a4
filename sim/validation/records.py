"""Records of other trials (shared/evidence): a head (NAME.toml) with the version that made it, and rows (NAME.csv).

The head's ``[columns]`` say what each column of the rows holds; a head without them may have its tables itself.
"""

from __future__ import annotations

import csv
import tomllib
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from sim.fingerprint import compute_version
from sim.shared_files import find_shared_folder
from sim.value_records import value_record

EXPECTED: Mapping[str, tuple[str, str]] = {
    "twin": ("The same unit in a general-purpose engine", "python tests/twin_trials.py --keep"),
    "numerics": ("Convergence over the step", "python tests/convergence_tables.py --keep"),
    "costs": ("Cost against real time, and published solvers", "python tests/convergence_tables.py --keep"),
    "fuzz": ("Units drawn over the whole allowed range", "python tests/fuzz_trials.py --keep"),
    "mutation": (
        "Deliberate errors in the physics, and the tests that catch them",
        "python tests/mutation_trials.py --keep",
    ),
    "practice": ("Hidden faults found by an automatic learner", "python tests/practice_trials.py --keep"),
    "section": ("Spoiled notes found in sections of 20", "python tests/section_trials.py --keep"),
    "security": ("Hostile input and endurance of the local server", "python tests/security_trials.py --keep"),
    "dependencies": ("Libraries audited", "python tests/dependencies_audit.py --keep"),
    "packaging": ("Installing on several Pythons", "python tests/packaging_trials.py --keep"),
}
"""Records the report looks for: title, and the command that makes one."""
FOLDER = "evidence"
READ: Mapping[str, Callable[[str], Any]] = {"text": str, "count": int, "number": float, "yes or no": "true".__eq__}
"""What a cell says, by what its column holds."""
VERDICTS = ("verdict", "result", "outcome")
"""Columns whose words are counted."""


@dataclass(frozen=True)
class RecordTable:
    """One array of tables of a record, as text."""

    name: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]

    @property
    def counts(self) -> dict[str, int]:
        """How often each word stands in the column of verdicts; nothing without one."""
        found = next((self.columns.index(c) for c in VERDICTS if c in self.columns), None)
        return {} if found is None else dict(Counter(row[found] for row in self.rows))


@value_record
@dataclass(frozen=True)
class Record:
    """One record as it was found, or what to run for it (``missing``), or what is wrong with it (``fault``)."""

    name: str
    title: str
    head: Mapping[str, str] = field(default_factory=dict)
    tables: tuple[RecordTable, ...] = ()
    missing: str = ""
    fault: str = ""
    made_by: str = ""
    """The version that made it, where it says so."""

    @property
    def version(self) -> str:
        """The version that would make it now."""
        return compute_version(self.name)

    @property
    def older(self) -> bool:
        """Made from other inputs than those that are here, or nobody knows from which."""
        return not self.missing and not self.fault and self.made_by != self.version


def load_records(folder: Path | None = None) -> tuple[Record, ...]:
    """The expected records in their order, then whatever else the folder holds."""
    place = find_shared_folder() / FOLDER if folder is None else folder
    there = {file.stem: file for file in sorted(place.glob("*.toml"))} if place.is_dir() else {}
    names = [*EXPECTED, *(name for name in there if name not in EXPECTED)]
    return tuple(_load_record(name, there.get(name)) for name in names)


def read_record(head: Path) -> dict[str, Any]:
    """A record's head, and its rows as ``row``: what each column says, where it says anything.

    Raises OSError, ValueError, KeyError.
    """
    tree = tomllib.loads(head.read_text(encoding="utf-8"))
    if columns := tree.pop("columns", None):
        with head.with_suffix(".csv").open(encoding="utf-8", newline="") as file:
            rows = [row.items() for row in csv.DictReader(file)]
        tree["row"] = [{name: READ[columns[name]](cell) for name, cell in row if cell} for row in rows]
    return tree


def _load_record(name: str, file: Path | None) -> Record:
    title, command = EXPECTED.get(name, (name, ""))
    if file is None:
        return Record(name, title, missing=command)
    try:
        tree = read_record(file)
    except (OSError, ValueError, KeyError) as error:
        return Record(name, title, fault=f"cannot be read: {error}; make it anew: {command}")
    tables = {key: rows for key, rows in tree.items() if _is_table(rows)}
    head = {key: _format_value(value) for key, value in _flatten_tree(tree) if key.split(".")[0] not in tables}
    made_by = next((value for key, value in head.items() if key.split(".")[-1].endswith("version")), "")
    found = tuple(_build_table(key, rows) for key, rows in tables.items())
    return Record(name, head.pop("title", title), head, found, made_by=made_by)


def _is_table(value: Any) -> bool:
    return isinstance(value, list) and bool(value) and all(isinstance(row, dict) for row in value)


def _flatten_tree(tree: Mapping[str, Any], path: str = "") -> list[tuple[str, Any]]:
    found: list[tuple[str, Any]] = []
    for key, value in tree.items():
        here = f"{path}.{key}" if path else key
        found += _flatten_tree(value, here) if isinstance(value, Mapping) else [(here, value)]
    return found


def _build_table(name: str, rows: Sequence[Mapping[str, Any]]) -> RecordTable:
    columns = tuple(dict.fromkeys(key for row in rows for key in row))
    return RecordTable(name, columns, tuple(tuple(_format_value(row.get(key, "")) for key in columns) for row in rows))


def _format_value(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.4g}"
    if isinstance(value, list):
        return ", ".join(map(_format_value, value))
    if isinstance(value, Mapping):
        return "; ".join(f"{key}: {_format_value(item)}" for key, item in value.items())
    return str(value)
