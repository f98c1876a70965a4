"""A row of the bench sheet as a unit: what was measured, and the rest from the defaults of that part of the compass.

What is regulated is brought about by its screw, so that the unit reads what the sheet says.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from sim.bench.centres import RADIUS
from sim.diagnosis.bench_tests import bench_tests
from sim.diagnosis.observations import Observed
from sim.display_units import convert_si
from sim.fields.defaults import default_at, is_sharp
from sim.fields.field_paths import kind_at
from sim.fields.quantity_field import written
from sim.fields.scenario_files import Leaf, Leaves
from sim.regulation.model_inputs import knob_at
from sim.regulation.targets import GROUPS
from sim.section.columns import CENTRES, FROM_PIN, MEASURED, START, SWINGING, columns
from sim.section.compass import felt
from sim.section.sheet import NoteRow, called
from sim.unit.model import GRAVITY, ActionUnit

TARGETS = tuple(name for names, _ in GROUPS for name in names)
WINS = ("blow", "dip")
"""Aftertouch follows from these two: where both are read it is no target."""
OWN: Mapping[str, str] = {"hammer_weight": "head", "front_weight": "lead", "knuckle_set": "move.knuckle_out"}
"""Columns of parts that differ note by note, and the input that brings them about."""
STACK = "rails.hammer_centre_height"
STRING, WIPPEN = "rails.string_height", "rails.wippen_centre_height"
BORE = "hammer.bore"


@dataclass(frozen=True)
class Parts:
    """What is known of one note's parts: scenario field to value (SI) with how it is known, frictions as written."""

    key_number: int
    values: Mapping[str, tuple[float, str, str]]
    """Field: value, source, note."""
    raw: Mapping[str, object]
    """Fields written otherwise than as a number with its unit."""


def parts_of(row: NoteRow) -> Parts:
    """The parts of one row, as measured."""
    read = row.numbers
    values = {path: (read[n], "measured", "") for n, path in MEASURED.items() if n in read}
    raw: dict[str, object] = {}
    for name in CENTRES:
        pinning, swings = read.get(f"pinning_{name}"), read.get(f"swings_{name}")
        if pinning is not None:
            force = f"{convert_si(pinning, 'gf'):.12g} gf"
            raw[f"friction.{name}"] = {"force": force} | ({} if name == "key" else {"radius": FROM_PIN})
        elif swings is not None and name in SWINGING:
            raw[f"friction.{name}"] = {"swings": swings, "from": START}
    if row.leads is not None:
        raw["key.leads"] = [{"mass": f"{kg * 1e3:.12g} g", "place": f"{m * 1e3:.12g} mm"} for kg, m in row.leads]
    return Parts(row.key_number, values, raw)


def targets_of(row: NoteRow) -> dict[str, float]:
    """What the row's unit is regulated to (SI): what was read of it and a screw can bring about."""
    found = {n: row.numbers[n] for n in TARGETS if n in row.numbers and _can_be_asked(n, row.numbers[n])}
    return found if not set(WINS) <= found.keys() else {n: v for n, v in found.items() if n != "aftertouch"}


def _can_be_asked(target: str, si: float) -> bool:
    kind = kind_at(f"targets.{target}")
    return kind is not None and kind.holds(si)


def leaves_of(
    parts: Parts, file: str, targets: Mapping[str, float], *, name: str = "", invented: bool = False
) -> Leaves:
    """A scenario of these parts, to be regulated to these targets."""
    leaves: Leaves = {}

    def put(path: str, raw: object) -> None:
        leaves[tuple(path.split("."))] = Leaf(raw, file, None)

    put("name", name or f"note {called(parts.key_number)}")
    put("note", f"{'Invented. ' if invented else ''}Made of a bench sheet; what it does not give is assumed.")
    if invented:
        put("invented", True)
    put("key_number", parts.key_number)
    for path, raw in felt(parts.key_number).items():
        put(path, raw)
    leaves |= measured_leaves(replace(parts, values={**parts.values, **_following(parts)}), file)
    for target, si in targets.items():
        put(f"targets.{target}", _text(f"targets.{target.removesuffix('_at_bottom')}", si))
    return leaves


def measured_leaves(parts: Parts, file: str) -> Leaves:
    """What is known of the parts alone, as a scenario writes it."""
    told: dict[str, object] = {
        path: {"value": _text(path, si), "source": source} | ({"note": note} if note else {})
        for path, (si, source, note) in parts.values.items()
    }
    return {tuple(path.split(".")): Leaf(raw, file, None) for path, raw in {**told, **parts.raw}.items()}


def with_own(unit: ActionUnit, row: NoteRow) -> ActionUnit:
    """A unit with what was measured of one note's own parts, where it was taken from the section's line before."""
    for name in CENTRES:
        force = row.numbers.get(f"pinning_{name}")
        if force is not None:
            radius = -unit.key.touch_point[0] if name == "key" else RADIUS
            unit = knob_at(f"friction.{name}").put(unit, force * radius)
    for column, at in OWN.items():
        mine, now = row.numbers.get(column), unit.nominal.get(MEASURED[column])
        if mine is not None and now is not None and abs(mine - now) > 1e-9:
            by = (mine - now) * (GRAVITY if at == "lead" else 1.0)
            unit = knob_at(at).put(unit, by)
    return unit


def _following(parts: Parts) -> dict[str, tuple[float, str, str]]:
    """Heights that nobody read follow one that was, as the default unit's do: the stack is one thing."""
    given = parts.values
    if not given.keys() & {STACK, STRING, WIPPEN}:
        return {}
    usual = {p: _default(p, parts.key_number) for p in (STACK, STRING, WIPPEN, BORE)}
    bore = given[BORE][0] if BORE in given else usual[BORE]
    centre = given[STACK][0] if STACK in given else None
    if centre is None:
        centre = given[STRING][0] - bore if STRING in given else given[WIPPEN][0] + usual[STACK] - usual[WIPPEN]
    made = {STACK: centre, STRING: centre + bore, WIPPEN: centre + usual[WIPPEN] - usual[STACK]}
    told = "follows the heights that were read, as in the default unit"
    return {path: (si, "assumed", told) for path, si in made.items() if path not in given}


def _default(path: str, key_number: int) -> float:
    given = default_at(path, key_number, is_sharp(key_number))
    if given is None:
        raise ValueError(f"{path} has no default")
    return given.value


def _text(path: str, si: float) -> str:
    kind = kind_at(path)
    if kind is None:
        raise ValueError(f"{path} is no quantity")
    return written(si, kind)


def observed(row: NoteRow) -> Observed:
    """The row as evidence: all that is a bench test."""
    tests, known = bench_tests(), columns()
    numbers = {n: v for n, v in row.numbers.items() if n in tests}
    if "front_weight" in numbers and known["front_weight"].unit == "g":
        numbers["front_weight"] *= GRAVITY
    return Observed(numbers, dict(row.words), {})
