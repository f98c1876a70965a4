"""How closely a bench knows each input (shared/bench_tolerances.toml)."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from fnmatch import fnmatchcase
from functools import cache
from typing import Literal

from sim.errors import Fault, InputError, QuantityError
from sim.fields.catalogue import Entry, load_catalogue
from sim.fields.field_paths import find_kind, index_fields, suggest_name
from sim.studies.variants import HEIGHT_SUFFIX
from sim.unit.model import ActionUnit
from sim.units import parse_quantity

SHARE = re.compile(r"([0-9.]+) %")
ONLY = "--only"
TARGET_PREFIX, PITCH = "targets.", "_pitch"


@dataclass(frozen=True, slots=True)
class Tolerance:
    """Of one input, SI: half the width of a uniform spread, or the standard deviation of a normal one."""

    path: str
    si: float
    normal: bool
    source: str


class ToleranceEntry(Entry):
    """One entry of the file."""

    at: str
    value: str
    shape: Literal["normal", "uniform"]
    main: bool = False
    source: str


class _File(Entry):
    tolerance: tuple[ToleranceEntry, ...]


@cache
def load_entries() -> tuple[ToleranceEntry, ...]:
    """The file, in its order."""
    return load_catalogue("bench_tolerances.toml", _File).tolerance


def find_tolerance(path: str, unit: ActionUnit) -> Tolerance:
    """Of an input of a unit: the uncertainty its scenario states, else the bench's usual one.

    A target that the scenario does not ask for (``targets.blow``) has one too.
    """
    stated = unit.sources[path].uncertainty if path in unit.sources else None
    if stated:
        return Tolerance(path, stated, True, "the scenario's own uncertainty")
    for entry in load_entries():
        found = _convert_size(entry, path, unit.nominal.get(path, 0.0)) if fnmatchcase(path, entry.at) else None
        if found is not None:
            return Tolerance(path, found, entry.shape == "normal", entry.source)
    return Tolerance(path, _take_part_of_range(path), False, "a fiftieth of what the field may hold")


def _convert_size(entry: ToleranceEntry, path: str, si: float) -> float | None:
    """None where the entry does not fit: another kind of quantity, or a share of nothing."""
    share = SHARE.fullmatch(entry.value)
    if share:
        return abs(si) * float(share[1]) / 100 or None
    kind = find_kind(path)
    if kind is None or kind.form == "contact stiffness":
        return None
    try:
        return parse_quantity(entry.value, kind.dimension)
    except QuantityError:
        return None


def _take_part_of_range(path: str) -> float:
    """For a share of nothing."""
    kind = find_kind(path)
    return (kind.maximum - kind.minimum) / 50 * kind.dimension.factor(kind.unit) if kind else 1.0


def list_known_inputs(unit: ActionUnit) -> dict[str, float]:
    """Inputs of a unit that are quantities, wishes left out, with their values (SI)."""
    return {
        p: si
        for p, si in unit.nominal.items()
        if find_kind(p) and not p.startswith(TARGET_PREFIX) and not p.endswith(PITCH)
    }


def select_studied_inputs(known: Iterable[str]) -> tuple[str, ...]:
    """Those of ``known`` that are studied where none are named: without the player's finger and the felts' own laws."""
    return tuple(path for path in known if not path.startswith("touch.") and not _is_felt_law(path))


def _is_felt_law(path: str) -> bool:
    return path.startswith("contacts.") and not path.endswith(".friction")


def select_main_inputs(known: Iterable[str]) -> tuple[str, ...]:
    """Those of ``known`` whose tolerance the file calls main."""
    patterns = [entry.at for entry in load_entries() if entry.main]
    return tuple(path for path in select_studied_inputs(known) if any(fnmatchcase(path, at) for at in patterns))


def select_inputs(
    only: Iterable[str], known: Collection[str], regulated: Mapping[str, str] | None = None
) -> tuple[str, ...]:
    """The inputs of ``known`` that patterns such as ``springs.*`` name; a pattern that names none is an InputError.

    ``regulated``: screws that are turned to a target, and so are no inputs, with the path of that target.
    """
    patterns = [
        f"{path}{HEIGHT_SUFFIX}" if path not in known and f"{path}{HEIGHT_SUFFIX}" in known else path for path in only
    ]
    faults = [
        _report_unknown_pattern(pattern, known, regulated or {})
        for pattern in patterns
        if not any(fnmatchcase(path, pattern) for path in known)
    ]
    if faults:
        raise InputError(faults)
    return tuple(path for path in known if any(fnmatchcase(path, pattern) for pattern in patterns))


def _report_unknown_pattern(pattern: str, known: Collection[str], regulated: Mapping[str, str]) -> Fault:
    for name in (pattern, f"{pattern}{HEIGHT_SUFFIX}"):
        if name in regulated:
            remedy = f"name {regulated[name]} instead, or leave the screws where they are: --screws held"
            return Fault(ONLY, None, pattern, "a screw", "what regulating leaves alone: it is turned each time", remedy)
    if pattern.startswith(TARGET_PREFIX):
        remedy = "the screws are held: name the screw, or regulate each unit again: --screws regulated"
        return Fault(ONLY, None, pattern, "a target", "one of the inputs", remedy)
    if pattern.endswith(PITCH):
        remedy = "name the screw: its influence is told by the turn where its pitch is given"
        return Fault(ONLY, None, pattern, "a pitch", "one of the inputs", remedy)
    if pattern in index_fields():
        remedy = "this scenario has no such number: set it with --set first, or name what it gives instead"
        return Fault(ONLY, None, pattern, "no quantity of this scenario", "one of its inputs", remedy)
    hint = suggest_name(pattern, known)
    return Fault(ONLY, None, pattern or '""', "no such input", hint.allowed, hint.remedy)


def find_input_unit(path: str) -> str:
    """Unit in which an input is told."""
    kind = find_kind(path)
    return "" if kind is None else "SI" if kind.form == "contact stiffness" else kind.unit


def find_input_factor(path: str) -> float:
    """SI per unit in which an input is told."""
    kind = find_kind(path)
    return 1.0 if kind is None or kind.form == "contact stiffness" else kind.dimension.factor(kind.unit)
