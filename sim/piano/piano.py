"""The piano brought to the bench: per note what fits under its string, with the hammer that was read there."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from sim.piano.key_ends import KeyEnd, assess_key_end
from sim.piano.mismatch import compute_differences, predict_from_beds, read_slow_press
from sim.piano.sheet import HAMMER, PianoSection, PianoSheet
from sim.unit.model import ActionUnit
from sim.units import LENGTH, MASS, Dimension, format_mm, format_quantity
from sim.value_records import value_record

BED_TOLERANCE = 0.3e-3
"""Readings of key height and hammer centre agree with those of the bed within this, m (our convention)."""
HAMMER_TOLERANCES: Mapping[str, float] = {"bore": 0.25e-3, "hanging_distance": 0.25e-3, "weight": 0.1e-3}
"""A hammer read in the sheet is the scenario's within this (m, kg): what a bench tells apart (our convention)."""

REGULATED = ("blow", "dip", "let_off", "drop")
"""What another hammer on the same action is regulated to again."""


@value_record
@dataclass(frozen=True)
class PianoNote:
    """One note under its string (m, rad, kg); None: not read, and not to be worked out."""

    key: int
    section: str
    string_height: float
    string_slope: float
    strike_line: float | None
    """From the balance pins."""
    hammer_centre_height: float
    bore: float
    """Of the hammer read at this note, else of the scenario's; so hanging distance and weight."""
    hanging_distance: float
    weight: float
    shank_angle: float | None
    """At the strike, for that hammer, against the string: + the head end higher; None: cannot reach the string."""
    fitting_bore: float
    """Bore at which a shank of that hanging distance stands at the asked angle to the string as the hammer strikes."""
    fitting_distance: float | None
    """Hanging distance with which a hammer bored so meets the strike line."""
    off_line: float | None
    """Crown of that hammer behind (+) or in front of (-) the strike line."""
    key_end: KeyEnd
    mismatch: Mapping[str, float]
    """Piano less bench, for what was read at both."""
    read: tuple[str, ...]
    """What was read of the hammer."""
    remarks: tuple[str, ...] = ()


def evaluate_notes(
    sheet: PianoSheet, unit: ActionUnit, keys: Sequence[int] = (), angle: float = 0.0
) -> tuple[PianoNote, ...]:
    """The notes asked for, or every one of the sheet; ``angle`` of shank against string that bores are found for."""
    asked = keys or [k for s in sheet.sections for k in range(s.keys[0], s.keys[-1] + 1)]
    return tuple(evaluate_note(sheet.section_of(k), k, unit, angle) for k in asked)


def evaluate_note(section: PianoSection, key: int, unit: ActionUnit, angle: float = 0.0) -> PianoNote:
    """What fits under one string."""
    hammer, own = interpolate_hammer(section, key), measure_unit_hammer(unit)
    along = hammer.get("hanging_distance", own["hanging_distance"])
    bore = hammer.get("bore", own["bore"])
    upright = unit.hammer.strike_point[1] / own["bore"]
    across = bore * upright
    string = section.at(key, "string_height") or 0.0
    slope = section.at(key, "string_slope") or 0.0
    centre = section.at(key, "hammer_centre_height")
    if centre is None:
        centre = unit.hammer.centre[1] + unit.nominal.get("key.balance_rail_height", 0.0)
    line = section.from_pins(key, "strike_line")
    wanted = slope + angle
    shank = solve_shank_angle(string - centre, along, across)
    fitting = (string - centre - along * math.sin(wanted)) / (upright * math.cos(wanted))
    reach = None if line is None else (line - unit.hammer.centre[0] + fitting * upright * math.sin(wanted))
    off = None
    if line is not None and shank is not None:
        off = unit.hammer.centre[0] + along * math.cos(shank) - across * math.sin(shank) - line
    found = PianoNote(
        key, section.name, string, slope, line, centre, bore, along, hammer.get("weight", own["weight"]),
        None if shank is None else shank - slope, fitting,
        None if reach is None else reach / math.cos(wanted), off,
        assess_key_end(section, key, unit), compute_differences(section, key), tuple(hammer),
    )  # fmt: skip
    return replace(found, remarks=tuple(_list_remarks(found, unit)))


def interpolate_hammer(section: PianoSection, key: int) -> dict[str, float]:
    """What was read of the hammer at a key, or lies straight between those read (m, kg)."""
    found = {name: section.at(key, name, "hammer") for name in HAMMER}
    return {name: value for name, value in found.items() if value is not None}


def measure_unit_hammer(unit: ActionUnit) -> dict[str, float]:
    """The same of the scenario's hammer (m, kg): its weight is what head and shank tip at the line of strike."""
    h = unit.hammer
    along, across = h.strike_point
    tips = h.head_mass * h.head_mass_centre[0] + h.shank_mass_moment
    return {"bore": unit.nominal.get("hammer.bore", across), "hanging_distance": along, "weight": tips / along}


def list_hammer_changes(section: PianoSection, key: int, unit: ActionUnit) -> dict[str, str]:
    """Changes that give a scenario the hammer read at a key, by path; none where it has that hammer already.

    Shanks are taken to be alike: what the hammer weighs more, the head does.
    """
    own, given = measure_unit_hammer(unit), unit.nominal
    other = {
        n: v
        for n, v in interpolate_hammer(section, key).items()
        if abs(v - own[n]) > HAMMER_TOLERANCES[n] and "hammer.bore" in given
    }
    out = {f"hammer.{n}": _format_rounded(v, "mm", LENGTH) for n, v in other.items() if n != "weight"}
    if "weight" in other:
        heavier = other["weight"] - own["weight"]
        paths = [p for p in ("hammer.weight", "hammer.head_mass") if p in given] or ["hammer.weight"]
        out |= {p: _format_rounded(given.get(p, own["weight"]) + heavier, "g", MASS) for p in paths}
    return out


def _format_rounded(value: float, unit: str, dimension: Dimension) -> str:
    """A bench's figures: to a micrometre or milligram."""
    return format_quantity(round(value, 6), unit, dimension)


def set_targets_from(unit: ActionUnit, other: ActionUnit) -> ActionUnit:
    """The unit with targets that bring it to what another reads in a slow press (those it has win)."""
    found = read_slow_press(other).values
    return replace(unit, targets={n: v for n in REGULATED if (v := found[n]) is not None} | dict(unit.targets))


def solve_shank_angle(rise: float, along: float, across: float) -> float | None:
    """Angle of the shank at which a crown (along, across) stands ``rise`` over the hammer centre, rad."""
    sine = rise / math.hypot(along, across)
    return math.asin(sine) - math.atan2(across, along) if abs(sine) < 1 else None


BY_BED = {"key_height": "key height", "hammer_centre_height": "hammer centre"}


def _list_remarks(n: PianoNote, unit: ActionUnit) -> Iterator[str]:
    if n.shank_angle is None:
        yield "the hammer cannot reach the string"
    yield from n.key_end.in_the_way
    yield from n.key_end.contradictions
    for name, bed in predict_from_beds(unit, n.mismatch).items():
        by = n.mismatch.get(name)
        if by is not None and abs(by - bed) > BED_TOLERANCE:
            yield (
                f"{BY_BED[name]}: piano less bench {format_mm(by)} by its own reading, {format_mm(bed)} by "
                f"those of the "
                "bed: is the frame bedded?"
            )
