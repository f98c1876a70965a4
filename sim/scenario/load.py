"""Loading a scenario: file, base files and overrides in; one action unit or every fault at once out."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from pydantic import ValidationError

from sim.errors import Fault, InputError
from sim.fields import defaults
from sim.fields.coordinates import PARTS
from sim.fields.definition import Scenario
from sim.fields.derivation_sheet import Contradiction, Sheet
from sim.fields.field_paths import Field, field_info, fields
from sim.fields.overrides import apply
from sim.fields.quantity_field import Given, brief
from sim.fields.scenario_files import FieldPath, Leaf, Leaves, double_ways, read_based, read_chain, tree
from sim.fields.section_base import Section
from sim.fields.validation_faults import from_contradiction, from_validation, nearest
from sim.scenario.assemble import build
from sim.scenario.derive import head_and_shank
from sim.unit.model import ActionUnit

__all__ = ["Field", "Leaves", "field_info", "fields", "from_leaves", "leaves_of", "load", "loads"]

_STAND_IN = {("name",): "unnamed", ("key_number",): 40}
"""So that the rest of a file can be looked at while these are missing or wrong."""


def load(path: str | Path, overrides: Mapping[str, str] | None = None) -> ActionUnit:
    """The action unit of a scenario file; an InputError holds everything that is wrong.

    ``overrides`` change fields by path: a quantity with its unit, or a
    percentage of the scenario's own value (``{"springs.repetition": "85%"}``).
    """
    return _unit(read_chain(Path(path)), str(path), overrides or {})


def loads(
    text: str, name: str = "scenario", overrides: Mapping[str, str] | None = None, folder: str | Path | None = None
) -> ActionUnit:
    """As ``load`` for the text of a scenario; ``folder`` is where files it is based on are looked for."""
    return _unit(read_based(text, name, Path(folder) if folder is not None else None), name, overrides or {})


def leaves_of(path: str | Path) -> Leaves:
    """A scenario file and those it is based on, read but not looked at: for making many units of one reading."""
    return read_chain(Path(path))


def from_leaves(leaves: Leaves, file: str, overrides: Mapping[str, str] | None = None) -> ActionUnit:
    """As ``load`` for leaves that were read, and perhaps put together, before."""
    return _unit(leaves, file, overrides or {})


def measures(leaves: Leaves, file: str) -> dict[str, float]:
    """The measures (SI) by path, defaults filled in, before anything is made of them."""
    return {path: given.si for path, given in _sound(leaves, file).values.items() if given.si is not None}


def hammer_weights(leaves: Leaves, file: str) -> tuple[float, float]:
    """Mass of the head, and weight of the shank at its strike radius (kg), however the leaves give them."""
    sheet = _sound(leaves, file)
    head, moment = head_and_shank(sheet)
    if sheet.contradictions:
        raise InputError(from_contradiction(found, leaves, file, set()) for found in sheet.contradictions)
    return head, moment / sheet["hammer.hanging_distance"]


def _sound(leaves: Leaves, file: str) -> Sheet:
    """The filled-in sheet of leaves without a fault of their own; an InputError tells the faults."""
    scenario, faults, _ = _validate(leaves, file)
    faults += [_double(leaves, first, second) for first, second in double_ways(leaves)]
    if faults:
        raise InputError(sorted(dict.fromkeys(faults), key=lambda f: (f.file, f.line or 0)))
    return _sheet(scenario)


def _unit(leaves: Leaves, file: str, overrides: Mapping[str, str]) -> ActionUnit:
    leaves = apply(leaves, file, overrides)
    scenario, faults, dropped = _validate(leaves, file)
    faults += [_double(leaves, first, second) for first, second in double_ways(leaves)]
    sheet = _sheet(scenario)
    unit = build(sheet, scenario.name, scenario.note, scenario.key_number, file)
    assumed = {path for path, given in sheet.values.items() if given.source.kind == "assumed"}
    for found in sheet.contradictions:
        if not _rests_on(found, dropped):
            faults.append(from_contradiction(found, leaves, file, assumed))
    if faults or unit is None:
        raise InputError(sorted(dict.fromkeys(faults), key=lambda f: (f.file, f.line or 0)))
    return unit


def _rests_on(found: Contradiction, dropped: set[str]) -> bool:
    """Whether a contradiction may come only from a value that was left out as faulty."""
    return any(
        path == other or path.startswith(f"{other}.") or other.startswith(f"{path}.")
        for path in dropped
        for other in found.involved
    )


def _double(leaves: Leaves, first: str, second: str) -> Fault:
    leaf = nearest(tuple(second.split(".")), leaves)[1]
    file, line, value = (leaf.file, leaf.line, brief(leaf.raw)) if leaf else ("", None, "")
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
            return Scenario.model_validate(tree(sound)), faults, dropped
        except ValidationError as error:
            for path, fault in from_validation(error, sound, file):
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
    values: dict[str, Given] = {}
    choices: dict[str, object] = {}
    points: dict[str, tuple[Given, Given]] = {}
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
    sheet.values = defaults.fill(values, skip, scenario.key_number, sharp)
    sheet.choices, sheet.points = choices, points
    return sheet


def _collect(
    section: Section,
    path: str,
    values: dict[str, Given],
    choices: dict[str, object],
    points: dict[str, tuple[Given, Given]],
) -> None:
    for name in type(section).model_fields:
        item = getattr(section, name)
        here = f"{path}.{name}" if path else name
        if isinstance(item, Section):
            _collect(item, here, values, choices, points)
        elif isinstance(item, Given):
            values[here] = item
        elif isinstance(item, tuple):
            points[here] = item
        elif item is not None and not isinstance(item, list):
            choices[here] = item
