"""Bench against piano: what each thing read differently at the two does to an action regulated at the bench.

Everything stays as it was regulated; only what differs is moved, and the engine
reads the unit again.  The action's feet are taken to stand on the balance rail and
the back rail of the key frame, so that a bed higher under the back rail tips keys
and stack about the balance rail, and one higher under the balance rail lifts them
and tips them the other way.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial

from sim.bench import slow_press
from sim.bench.rest_pose import settle_at_rest
from sim.errors import UnitError
from sim.parallel import run_on_all_cores
from sim.piano.sheet import PianoSection
from sim.regulation.moves import move_hammer_rail
from sim.unit.model import ActionUnit, Vec

READINGS = ("blow", "dip", "let_off", "drop", "aftertouch")
STEP = 0.5e-3
STEPS = (-2, -1, 1, 2)
"""Mismatches tried, in half millimetres."""
HAMMER_RAIL = "hammer_rail"
"""The one mismatch that no reading of the sheet tells."""
PIN_REFERENCED = ("strike_line",)
"""Read from the front of the bed, and compared from the balance pins: the line or the stop may be off."""
STRING_MISMATCHES = ("string_height", "strike_line")
"""Mismatches of the string, which leave the action as it is."""


@dataclass(frozen=True)
class Mismatch:
    """One thing that bench and piano may disagree on: how a unit at the bench becomes one at the piano."""

    title: str
    apply: Callable[[ActionUnit, float, float], ActionUnit]
    """Unit, reading at the piano less reading at the bench (m), slope of the string (rad)."""


def _move_string(u: ActionUnit, by: float, slope: float = 0.0) -> ActionUnit:
    return replace(u, rails=replace(u.rails, string_y=u.rails.string_y + by))


def _raise_hammer_centres(u: ActionUnit, by: float, slope: float = 0.0) -> ActionUnit:
    """Hammer centres farther over the bed, frame and keys with them: the string stands as much lower over them."""
    return _move_string(u, -by)


def _shim_hammer_rail(u: ActionUnit, by: float, slope: float = 0.0) -> ActionUnit:
    return move_hammer_rail(u, 0.0, by)


def _raise_front_rail(u: ActionUnit, by: float, slope: float = 0.0) -> ActionUnit:
    """A bed higher under the front rail lifts the punching."""
    return replace(u, key=replace(u.key, punching_plane_y=u.key.punching_plane_y + by))


def _raise_key_fronts(u: ActionUnit, by: float, slope: float = 0.0) -> ActionUnit:
    """A key front farther over its bed: the front rail, and with it the punching, lies lower."""
    return _raise_front_rail(u, -by)


def _raise_back_rail(u: ActionUnit, by: float, slope: float = 0.0) -> ActionUnit:
    """Back rail higher: its cloth rises, and the stack tips forward about the balance rail."""
    tip = by / u.key.back_cloth_x
    button = u.wippen.centre[0] + u.wippen.jack_centre[0] + u.jack.toe_centre[0]
    cushion = u.hammer.centre[0] + u.hammer.cushion_point[0]
    rails = replace(
        u.rails,
        drop_screw_tip=_tip_point(u.rails.drop_screw_tip, tip),
        let_off_button_plane_y=u.rails.let_off_button_plane_y + tip * button,
        rest_cushion_plane_y=u.rails.rest_cushion_plane_y + tip * cushion,
    )
    return replace(
        u,
        key=replace(u.key, back_cloth_plane_y=u.key.back_cloth_plane_y + by),
        wippen=replace(u.wippen, centre=_tip_point(u.wippen.centre, tip)),
        hammer=replace(u.hammer, centre=_tip_point(u.hammer.centre, tip)),
        rails=rails,
    )


def _raise_balance_rail(u: ActionUnit, by: float, slope: float = 0.0) -> ActionUnit:
    """Balance rail higher: seen from it the string, the front rail and the back rail lie as much lower."""
    return _raise_front_rail(_raise_back_rail(_move_string(u, -by), -by), -by)


def _move_strike_line(u: ActionUnit, by: float, slope: float = 0.0) -> ActionUnit:
    """A strike line farther back: the same hammer comes up in front of it, under a string as much lower there."""
    return _move_string(u, -by * math.tan(slope))


def _tip_point(point: Vec, angle: float) -> Vec:
    return point[0] - angle * point[1], point[1] + angle * point[0]


BEDS = ("bed_front", "bed_balance", "bed_back")
MISMATCHES: Mapping[str, Mismatch] = {
    "string_height": Mismatch("string height", _move_string),
    "hammer_centre_height": Mismatch("hammer centre, whole action", _raise_hammer_centres),
    "key_height": Mismatch("key height, front rail lower", _raise_key_fronts),
    "bed_front": Mismatch("bed under the front rail", _raise_front_rail),
    "bed_balance": Mismatch("bed under the balance rail", _raise_balance_rail),
    "bed_back": Mismatch("bed under the back rail", _raise_back_rail),
    "strike_line": Mismatch("strike line (from the pins)", _move_strike_line),
    HAMMER_RAIL: Mismatch("hammer rail alone, shimmed", _shim_hammer_rail),
}
"""What may differ, by the name of its reading; the last is read nowhere, and shown for what a loose bracket does."""

HEIGHTS_OVER_BED: Mapping[str, Callable[[ActionUnit], float]] = {
    "hammer_centre_height": lambda u: u.hammer.centre[1] - u.rails.string_y,
    "key_height": lambda u: u.key.back_cloth_plane_y / u.key.back_cloth_x * u.key.front_edge_x - u.key.punching_plane_y,
}
"""Readings that the bed has a hand in, as the parts of a unit lie: the hammer centre against the string, the key's
front on its back-rail cloth over the front rail (m, but for a constant)."""


def compute_differences(section: PianoSection, key: int) -> dict[str, float]:
    """Reading at the piano less reading at the bench (m), of whatever was read at both."""
    out = {}
    for name in MISMATCHES:
        if name == HAMMER_RAIL:
            continue
        read = section.from_pins if name in PIN_REFERENCED else section.at
        piano, bench = (read(key, name, place) for place in ("piano", "bench"))
        if piano is not None and bench is not None:
            out[name] = piano - bench
    return out


def predict_from_beds(unit: ActionUnit, differ: Mapping[str, float]) -> dict[str, float]:
    """What key height and hammer centre (m) should differ by as the beds have it; nothing where none was read twice."""
    moved = _measure_on_bed(unit, differ)
    return {n: f(moved) - f(unit) for n, f in HEIGHTS_OVER_BED.items()} if moved is not unit else {}


def _measure_on_bed(unit: ActionUnit, differ: Mapping[str, float]) -> ActionUnit:
    for name in BEDS:
        if name in differ:
            unit = MISMATCHES[name].apply(unit, differ[name], 0.0)
    return unit


def move_into_piano(
    unit: ActionUnit, differ: Mapping[str, float], slope: float = 0.0, *, string: bool = True
) -> ActionUnit:
    """The unit as regulated at the bench, put into the piano: everything that was read at both, at once.

    Key height and hammer centre come to what was read: of their difference only what the beds do not already make
    is added.
    """
    moved = _measure_on_bed(unit, differ)
    already = {n: f(moved) - f(unit) for n, f in HEIGHTS_OVER_BED.items()}
    for name, by in differ.items():
        if name not in BEDS and (string or name not in STRING_MISMATCHES):
            moved = MISMATCHES[name].apply(moved, by - already.get(name, 0.0), slope)
    return moved


@dataclass(frozen=True)
class SlowPressReading:
    """What one slow press reads (m), and its outcome; ``off_line``: how far the crown leaves the strike line, m."""

    outcome: str
    values: Mapping[str, float | None]
    off_line: float = 0.0


@dataclass(frozen=True)
class MismatchEffect:
    """One mismatch (m), and what it makes of the readings."""

    name: str
    by: float
    found: SlowPressReading


def read_slow_press(unit: ActionUnit) -> SlowPressReading:
    """One slow press."""
    try:
        pressed = slow_press.press_slowly(settle_at_rest(unit), back=False)
        settings = slow_press.read_settings(pressed)
    except UnitError as error:
        return SlowPressReading(error.name, dict.fromkeys(READINGS))
    return SlowPressReading(pressed.outcome, {n: getattr(settings, n) for n in READINGS})


def compute_effects(unit: ActionUnit, slope: float = 0.0, steps: Sequence[int] = STEPS) -> tuple[MismatchEffect, ...]:
    """Every mismatch alone, by half millimetres."""
    return tuple(
        run_on_all_cores([partial(_compute_effect, unit, n, k * STEP, slope) for n in MISMATCHES for k in steps])
    )


def compute_each_alone(unit: ActionUnit, differ: Mapping[str, float], slope: float = 0.0) -> tuple[MismatchEffect, ...]:
    """Every mismatch that was read, alone and as large as it was read."""
    return tuple(run_on_all_cores([partial(_compute_effect, unit, name, by, slope) for name, by in differ.items()]))


def _compute_effect(unit: ActionUnit, name: str, by: float, slope: float) -> MismatchEffect:
    found = read_slow_press(MISMATCHES[name].apply(unit, by, slope))
    return MismatchEffect(name, by, replace(found, off_line=-by if name == "strike_line" else 0.0))


def compute_crown_drop(unit: ActionUnit, differ: Mapping[str, float]) -> float:
    """How far the crown at rest stands lower at the bench than in the piano, heights over the bed, m."""
    piano = settle_at_rest(move_into_piano(unit, differ, string=False)).at_rest["string"]
    return settle_at_rest(unit).at_rest["string"] - piano
