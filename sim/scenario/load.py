"""Loading a scenario: file, base files and overrides in; one action unit or every fault at once out."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from pydantic import ValidationError

from sim.errors import Fault, NoUnitError
from sim.fields import defaults
from sim.fields.coordinates import PARTS
from sim.fields.definition import Scenario
from sim.fields.derivation_sheet import Contradiction, Sheet
from sim.fields.overrides import apply_overrides
from sim.fields.quantity_field import QuantityField, shorten_value
from sim.fields.scenario_files import (
    FieldPath,
    Leaf,
    Leaves,
    find_double_definitions,
    nest_leaves,
    parse_with_bases,
    read_with_bases,
)
from sim.fields.section_base import Section
from sim.fields.validation_faults import collect_validation_faults, find_nearest_leaf, make_contradiction_fault
from sim.scenario.assemble import build_unit
from sim.scenario.derive import derive_head_and_shank
from sim.unit.model import ActionUnit

_STAND_IN = {("name",): "unnamed", ("key_number",): 40}
"""So that the rest of a file can be looked at while these are missing or wrong."""


def load(path: str | Path, overrides: Mapping[str, str] | None = None) -> ActionUnit:
    """The action unit of a scenario file; an InputError holds everything that is wrong.

    ``overrides`` change fields by path: a quantity with its unit, or a
    percentage of the scenario's own value (``{"springs.repetition": "85%"}``).
    """
    return _unit(read_with_bases(Path(path)), str(path), overrides or {})


def loads(
    text: str, name: str = "scenario", overrides: Mapping[str, str] | None = None, folder: str | Path | None = None
) -> ActionUnit:
    """As ``load`` for the text of a scenario; ``folder`` is where files it is based on are looked for."""
    return _unit(parse_with_bases(text, name, Path(folder) if folder is not None else None), name, overrides or {})


def read_leaves(path: str | Path) -> Leaves:
    """A scenario file and those it is based on, read but not looked at: for making many units of one reading."""
    return read_with_bases(Path(path))


def build_from_leaves(leaves: Leaves, file: str, overrides: Mapping[str, str] | None = None) -> ActionUnit:
    """As ``load`` for leaves that were read, and perhaps put together, before."""
    return _unit(leaves, file, overrides or {})


def collect_measures(leaves: Leaves, file: str) -> dict[str, float]:
    """The measures (SI) by path, defaults filled in, before anything is made of them."""
    return {path: given.si for path, given in _sound(leaves, file).values.items() if given.si is not None}


def compute_hammer_weights(leaves: Leaves, file: str) -> tuple[float, float]:
    """Mass of the head, and weight of the shank at its strike radius (kg), however the leaves give them."""
    sheet = _sound(leaves, file)
    head, moment = derive_head_and_shank(sheet)
    if sheet.contradictions:
        raise NoUnitError(make_contradiction_fault(found, leaves, file, set()) for found in sheet.contradictions)
    return head, moment / sheet["hammer.hanging_distance"]


def _sound(leaves: Leaves, file: str) -> Sheet:
    """The filled-in sheet of leaves without a fault of their own; a NoUnitError tells the faults."""
    scenario, faults, _ = _validate(leaves, file)
    faults += [_double(leaves, first, second) for first, second in find_double_definitions(leaves)]
    if faults:
        raise NoUnitError(sorted(dict.fromkeys(faults), key=lambda f: (f.file, f.line or 0)))
    return _sheet(scenario)


def _unit(leaves: Leaves, file: str, overrides: Mapping[str, str]) -> ActionUnit:
    leaves = apply_overrides(leaves, file, overrides)
    scenario, faults, dropped = _validate(leaves, file)
    faults += [_double(leaves, first, second) for first, second in find_double_definitions(leaves)]
    sheet = _sheet(scenario)
    unit = build_unit(sheet, scenario.name, scenario.note, scenario.key_number, file)
    assumed = {path for path, given in sheet.values.items() if given.source.kind == "assumed"}
    for found in sheet.contradictions:
        if not _rests_on(found, dropped):
            faults.append(make_contradiction_fault(found, leaves, file, assumed))
    if faults or unit is None:
        raise NoUnitError(sorted(dict.fromkeys(faults), key=lambda f: (f.file, f.line or 0)))
    return unit


def _rests_on(found: Contradiction, dropped: set[str]) -> bool:
    """Whether a contradiction may come only from a value that was left out as faulty."""
    return any(
        path == other or path.startswith(f"{other}.") or other.startswith(f"{path}.")
        for path in dropped
        for other in found.involved
    )


def _double(leaves: Leaves, first: str, second: str) -> Fault:
    leaf = find_nearest_leaf(tuple(second.split(".")), leaves)[1]
    file, line, value = (leaf.file, leaf.line, shorten_value(leaf.raw)) if leaf else ("", None, "")
    return Fault(
        file,
        line,
        second,
        value,
        f"nothing, since {first} is given",
        f"two ways of giving one thing: keep {first} or {second}",
    )


def _validate(leaves: Leaves, file: str) -> tuple[Scenario, list[Fault], set[str]]:
    """The scenario, as much of it as is sound; the faults; and the paths left out for them."""
    faults: list[Fault] = []
    dropped: set[str] = set()
    sound = dict(leaves)
    while True:
        try:
            return Scenario.model_validate(nest_leaves(sound)), faults, dropped
        except ValidationError as error:
            for path, fault in collect_validation_faults(error, sound, file):
                faults.append(fault)
                dropped.add(".".join(path))
                _leave_out(sound, path)


def _leave_out(sound: Leaves, path: FieldPath) -> None:
    for known in [p for p in sound if p[: len(path)] == path]:
        del sound[known]
    if path in _STAND_IN:
        sound[path] = Leaf(_STAND_IN[path], "", None)


def _sheet(scenario: Scenario) -> Sheet:
    """All values by path, the missing ones from the defaults."""
    sheet = Sheet({}, {}, None)
    values: dict[str, QuantityField] = {}
    choices: dict[str, object] = {}
    points: dict[str, tuple[QuantityField, QuantityField]] = {}
    _collect(scenario, "", values, choices, points)
    sharp = bool(choices.get("key.sharp", defaults.is_sharp(scenario.key_number)))
    choices.setdefault("key.sharp", sharp)
    skip = set(choices) | {f"{part}" for part in PARTS if f"coordinates.{part}" in choices}
    if choices.get("springs.arrangement") == "one":
        skip.add(defaults.ONE_SPRING)
    if scenario.damper is not None:
        skip.add(defaults.DAMPER)
    leads = scenario.key.leads if scenario.key else None
    if leads is not None:
        skip.add("key.leads")
        sheet.leads = tuple((lead.mass.value, lead.place.value) for lead in leads)
    sheet.values = defaults.fill_defaults(values, skip, scenario.key_number, sharp)
    sheet.choices, sheet.points = choices, points
    return sheet


def _collect(
    section: Section,
    path: str,
    values: dict[str, QuantityField],
    choices: dict[str, object],
    points: dict[str, tuple[QuantityField, QuantityField]],
) -> None:
    for name in type(section).model_fields:
        item = getattr(section, name)
        here = f"{path}.{name}" if path else name
        if isinstance(item, Section):
            _collect(item, here, values, choices, points)
        elif isinstance(item, QuantityField):
            values[here] = item
        elif isinstance(item, tuple):
            points[here] = item
        elif item is not None and not isinstance(item, list):
            choices[here] = item
