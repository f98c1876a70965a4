"""How closely a bench knows each input (shared/bench_tolerances.toml)."""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass
from fnmatch import fnmatchcase
from functools import cache

from sim.errors import Fault, InputError, QuantityError
from sim.unit.data import shared_file
from sim.unit.fields import by_path, kind_at, suggestion
from sim.unit.model import ActionUnit
from sim.units import parse

SHARE = re.compile(r"([0-9.]+) %")
ONLY = "--only"


@dataclass(frozen=True, slots=True)
class Tolerance:
    """Of one input, SI: half the width of a uniform spread, or the standard deviation of a normal one."""

    path: str
    si: float
    normal: bool
    source: str


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry of the file."""

    at: str
    value: str
    normal: bool
    main: bool
    source: str


@cache
def entries() -> tuple[Entry, ...]:
    """The file, in its order."""
    with shared_file("bench_tolerances.toml").open("rb") as file:
        rows = tomllib.load(file)["tolerance"]
    return tuple(
        Entry(row["at"], row["value"], row["shape"] == "normal", row.get("main", False), row["source"]) for row in rows
    )


def tolerance(path: str, unit: ActionUnit) -> Tolerance:
    """Of an input of a unit: the uncertainty its scenario states, else the bench's usual one."""
    stated = unit.sources[path].uncertainty if path in unit.sources else None
    if stated:
        return Tolerance(path, stated, True, "the scenario's own uncertainty")
    for entry in entries():
        found = _size(entry, path, unit.nominal[path]) if fnmatchcase(path, entry.at) else None
        if found is not None:
            return Tolerance(path, found, entry.normal, entry.source)
    return Tolerance(path, _part_of_range(path), False, "a fiftieth of what the field may hold")


def _size(entry: Entry, path: str, si: float) -> float | None:
    """None where the entry does not fit: another kind of quantity, or a share of nothing."""
    share = SHARE.fullmatch(entry.value)
    if share:
        return abs(si) * float(share[1]) / 100 or None
    kind = kind_at(path)
    if kind is None or kind.form == "contact stiffness":
        return None
    try:
        return parse(entry.value, kind.dimension)
    except QuantityError:
        return None


def _part_of_range(path: str) -> float:
    """For a share of nothing."""
    kind = kind_at(path)
    return (kind.maximum - kind.minimum) / 50 * kind.dimension.factor(kind.unit) if kind else 1.0


def inputs(unit: ActionUnit) -> tuple[str, ...]:
    """Paths of a unit's inputs that are quantities, wishes and the player's finger left out."""
    return tuple(
        path
        for path in unit.nominal
        if kind_at(path) and path.partition(".")[0] not in ("targets", "touch") and not path.endswith("_pitch")
    )


def main_inputs(unit: ActionUnit) -> tuple[str, ...]:
    """Those whose tolerance the file calls main."""
    patterns = [entry.at for entry in entries() if entry.main]
    return tuple(path for path in inputs(unit) if any(fnmatchcase(path, at) for at in patterns))


def chosen(unit: ActionUnit, only: list[str]) -> tuple[str, ...]:
    """The inputs that patterns such as ``springs.*`` name; a pattern that names none is an InputError."""
    known = [path for path in unit.nominal if kind_at(path) and not path.startswith("targets.")]
    faults = [_no_such(pattern, known) for pattern in only if not any(fnmatchcase(p, pattern) for p in known)]
    if faults:
        raise InputError(faults)
    return tuple(path for path in known if any(fnmatchcase(path, pattern) for pattern in only))


def _no_such(pattern: str, known: list[str]) -> Fault:
    if pattern in by_path():
        remedy = "this scenario has no such number: set it with --set first, or name what it gives instead"
        return Fault(ONLY, None, pattern, "no quantity of this scenario", "one of its inputs", remedy)
    hint = suggestion(pattern, known)
    return Fault(ONLY, None, pattern, "no such input", hint.allowed, hint.remedy)
