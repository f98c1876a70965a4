"""A row of the bench sheet as a unit: what was measured, and the rest from the defaults of that part of the compass.

What is regulated is brought about by its screw, so that the unit reads what the sheet says.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from sim.bench.centres import PINNING_RADIUS
from sim.diagnosis.bench_tests import list_bench_tests
from sim.diagnosis.observations import Observations
from sim.display_units import convert_si
from sim.fields.defaults import find_default, is_sharp
from sim.fields.field_paths import find_kind
from sim.fields.quantity_field import write_quantity
from sim.fields.scenario_files import Leaf, Leaves
from sim.regulation.model_inputs import find_model_input
from sim.regulation.targets import GROUPS
from sim.section.columns import CENTRES, MEASURED_FIELDS, PINNING_RADIUS_TEXT, SWINGING, SWINGS_FROM, list_columns
from sim.section.compass import find_hammer_felt
from sim.section.sheet import NoteRow, format_key
from sim.unit.model import GRAVITY, ActionUnit

TARGETS = tuple(name for names, _ in GROUPS for name in names)
AFTERTOUCH_DETERMINED_BY = ("blow", "dip")
"""Aftertouch follows from these two: where both are read it is no target."""
OWN_PART_INPUTS: Mapping[str, str] = {
    "hammer_weight": "move.head_mass", "front_weight": "move.key_lead", "knuckle_set": "move.knuckle_out",
}  # fmt: skip
"""Columns of parts that differ note by note, and the input that brings them about."""
HAMMER_CENTRE_HEIGHT = "rails.hammer_centre_height"
STRING_HEIGHT, WIPPEN_CENTRE_HEIGHT = "rails.string_height", "rails.wippen_centre_height"
BORE = "hammer.bore"


@dataclass(frozen=True)
class NoteParts:
    """What is known of one note's parts: scenario field to value (SI) with how it is known, frictions as written."""

    key_number: int
    values: Mapping[str, tuple[float, str, str]]
    """Field: value, source, note."""
    raw: Mapping[str, object]
    """Fields written otherwise than as a number with its unit."""


def collect_parts(row: NoteRow) -> NoteParts:
    """The parts of one row, as measured."""
    read = row.numbers
    values = {path: (read[n], "measured", "") for n, path in MEASURED_FIELDS.items() if n in read}
    raw: dict[str, object] = {}
    for name in CENTRES:
        pinning, swings = read.get(f"pinning_{name}"), read.get(f"swings_{name}")
        if pinning is not None:
            force = f"{convert_si(pinning, 'gf'):.12g} gf"
            raw[f"friction.{name}"] = {"force": force} | ({} if name == "key" else {"radius": PINNING_RADIUS_TEXT})
        elif swings is not None and name in SWINGING:
            raw[f"friction.{name}"] = {"swings": swings, "from": SWINGS_FROM}
    if row.leads is not None:
        raw["key.leads"] = [{"mass": f"{kg * 1e3:.12g} g", "place": f"{m * 1e3:.12g} mm"} for kg, m in row.leads]
    return NoteParts(row.key_number, values, raw)


def collect_targets(row: NoteRow) -> dict[str, float]:
    """What the row's unit is regulated to (SI): what was read of it and a screw can bring about."""
    found = {n: row.numbers[n] for n in TARGETS if n in row.numbers and _is_allowed_target(n, row.numbers[n])}
    return (
        found
        if not set(AFTERTOUCH_DETERMINED_BY) <= found.keys()
        else {n: v for n, v in found.items() if n != "aftertouch"}
    )


def _is_allowed_target(target: str, si: float) -> bool:
    kind = find_kind(f"targets.{target}")
    return kind is not None and kind.holds(si)


def build_leaves(
    parts: NoteParts, file: str, targets: Mapping[str, float], *, name: str = "", invented: bool = False
) -> Leaves:
    """A scenario of these parts, to be regulated to these targets."""
    leaves: Leaves = {}

    def put(path: str, raw: object) -> None:
        leaves[tuple(path.split("."))] = Leaf(raw, file, None)

    put("name", name or f"note {format_key(parts.key_number)}")
    put("note", f"{'Invented. ' if invented else ''}Made of a bench sheet; what it does not give is assumed.")
    if invented:
        put("invented", True)
    put("key_number", parts.key_number)
    for path, raw in find_hammer_felt(parts.key_number).items():
        put(path, raw)
    leaves |= build_measured_leaves(replace(parts, values={**parts.values, **_infer_stack_heights(parts)}), file)
    for target, si in targets.items():
        put(f"targets.{target}", _format_field(f"targets.{target.removesuffix('_at_bottom')}", si))
    return leaves


def build_measured_leaves(parts: NoteParts, file: str) -> Leaves:
    """What is known of the parts alone, as a scenario writes it."""
    told: dict[str, object] = {
        path: {"value": _format_field(path, si), "source": source} | ({"note": note} if note else {})
        for path, (si, source, note) in parts.values.items()
    }
    return {tuple(path.split(".")): Leaf(raw, file, None) for path, raw in {**told, **parts.raw}.items()}


def apply_own_parts(unit: ActionUnit, row: NoteRow) -> ActionUnit:
    """A unit with what was measured of one note's own parts, where it was taken from the section's line before."""
    for name in CENTRES:
        force = row.numbers.get(f"pinning_{name}")
        if force is not None:
            radius = -unit.key.touch_point[0] if name == "key" else PINNING_RADIUS
            unit = find_model_input(f"friction.{name}").put(unit, force * radius)
    for column, at in OWN_PART_INPUTS.items():
        mine, now = row.numbers.get(column), unit.nominal.get(MEASURED_FIELDS[column])
        if mine is not None and now is not None and abs(mine - now) > 1e-9:
            by = (mine - now) * (GRAVITY if at == "move.key_lead" else 1.0)
            unit = find_model_input(at).put(unit, by)
    return unit


def _infer_stack_heights(parts: NoteParts) -> dict[str, tuple[float, str, str]]:
    """Heights that nobody read follow one that was, as the default unit's do: the stack is one thing."""
    given = parts.values
    if not given.keys() & {HAMMER_CENTRE_HEIGHT, STRING_HEIGHT, WIPPEN_CENTRE_HEIGHT}:
        return {}
    usual = {
        p: _find_default(p, parts.key_number) for p in (HAMMER_CENTRE_HEIGHT, STRING_HEIGHT, WIPPEN_CENTRE_HEIGHT, BORE)
    }
    bore = given[BORE][0] if BORE in given else usual[BORE]
    centre = given[HAMMER_CENTRE_HEIGHT][0] if HAMMER_CENTRE_HEIGHT in given else None
    if centre is None:
        centre = (
            given[STRING_HEIGHT][0] - bore
            if STRING_HEIGHT in given
            else given[WIPPEN_CENTRE_HEIGHT][0] + usual[HAMMER_CENTRE_HEIGHT] - usual[WIPPEN_CENTRE_HEIGHT]
        )
    made = {
        HAMMER_CENTRE_HEIGHT: centre,
        STRING_HEIGHT: centre + bore,
        WIPPEN_CENTRE_HEIGHT: centre + usual[WIPPEN_CENTRE_HEIGHT] - usual[HAMMER_CENTRE_HEIGHT],
    }
    told = "follows the heights that were read, as in the default unit"
    return {path: (si, "assumed", told) for path, si in made.items() if path not in given}


def _find_default(path: str, key_number: int) -> float:
    given = find_default(path, key_number, is_sharp(key_number))
    if given is None:
        raise ValueError(f"{path} has no default")
    return given.value


def _format_field(path: str, si: float) -> str:
    kind = find_kind(path)
    if kind is None:
        raise ValueError(f"{path} is no quantity")
    return write_quantity(si, kind)


def collect_observations(row: NoteRow) -> Observations:
    """The row as evidence: all that is a bench test."""
    tests, known = list_bench_tests(), list_columns()
    numbers = {n: v for n, v in row.numbers.items() if n in tests}
    if "front_weight" in numbers and known["front_weight"].unit == "g":
        numbers["front_weight"] *= GRAVITY
    return Observations(numbers, dict(row.words), {})
