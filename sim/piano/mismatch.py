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
from sim.bench.rest_pose import at_rest
from sim.errors import SimulationError
from sim.parallel import on_all_cores
from sim.piano.sheet import PianoSection
from sim.regulation.moves import move_hammer_rail
from sim.unit.model import ActionUnit, Vec

READINGS = ("blow", "dip", "let_off", "drop", "aftertouch")
STEP = 0.5e-3
STEPS = (-2, -1, 1, 2)
"""Mismatches tried, in half millimetres."""
HAMMER_RAIL = "hammer_rail"
"""The one mismatch that no reading of the sheet tells."""
FROM_PINS = ("strike_line",)
"""Read from the front of the bed, and compared from the balance pins: the line or the stop may be off."""
ON_STRING = ("string_height", "strike_line")
"""Mismatches of the string, which leave the action as it is."""


@dataclass(frozen=True)
class Mismatch:
    """One thing that bench and piano may disagree on: how a unit at the bench becomes one at the piano."""

    title: str
    apply: Callable[[ActionUnit, float, float], ActionUnit]
    """Unit, reading at the piano less reading at the bench (m), slope of the string (rad)."""


def _string(u: ActionUnit, by: float, slope: float = 0.0) -> ActionUnit:
    return replace(u, rails=replace(u.rails, string_y=u.rails.string_y + by))


def _whole_action(u: ActionUnit, by: float, slope: float = 0.0) -> ActionUnit:
    """Hammer centres farther over the bed, frame and keys with them: the string stands as much lower over them."""
    return _string(u, -by)


def _hammer_rail(u: ActionUnit, by: float, slope: float = 0.0) -> ActionUnit:
    return move_hammer_rail(u, 0.0, by)


def _front_rail(u: ActionUnit, by: float, slope: float = 0.0) -> ActionUnit:
    """A bed higher under the front rail lifts the punching."""
    return replace(u, key=replace(u.key, punching_plane_y=u.key.punching_plane_y + by))


def _key_height(u: ActionUnit, by: float, slope: float = 0.0) -> ActionUnit:
    """A key front farther over its bed: the front rail, and with it the punching, lies lower."""
    return _front_rail(u, -by)


def _bed_back(u: ActionUnit, by: float, slope: float = 0.0) -> ActionUnit:
    """Back rail higher: its cloth rises, and the stack tips forward about the balance rail."""
    tip = by / u.key.back_cloth_x
    button = u.wippen.centre[0] + u.wippen.jack_centre[0] + u.jack.toe_centre[0]
    cushion = u.hammer.centre[0] + u.hammer.cushion_point[0]
    rails = replace(
        u.rails,
        drop_screw_tip=_tipped(u.rails.drop_screw_tip, tip),
        let_off_button_plane_y=u.rails.let_off_button_plane_y + tip * button,
        rest_cushion_plane_y=u.rails.rest_cushion_plane_y + tip * cushion,
    )
    return replace(
        u,
        key=replace(u.key, back_cloth_plane_y=u.key.back_cloth_plane_y + by),
        wippen=replace(u.wippen, centre=_tipped(u.wippen.centre, tip)),
        hammer=replace(u.hammer, centre=_tipped(u.hammer.centre, tip)),
        rails=rails,
    )


def _bed_balance(u: ActionUnit, by: float, slope: float = 0.0) -> ActionUnit:
    """Balance rail higher: seen from it the string, the front rail and the back rail lie as much lower."""
    return _front_rail(_bed_back(_string(u, -by), -by), -by)


def _strike_line(u: ActionUnit, by: float, slope: float = 0.0) -> ActionUnit:
    """A strike line farther back: the same hammer comes up in front of it, under a string as much lower there."""
    return _string(u, -by * math.tan(slope))


def _tipped(point: Vec, angle: float) -> Vec:
    return point[0] - angle * point[1], point[1] + angle * point[0]


BEDS = ("bed_front", "bed_balance", "bed_back")
MISMATCHES: Mapping[str, Mismatch] = {
    "string_height": Mismatch("string height", _string),
    "hammer_centre_height": Mismatch("hammer centre, whole action", _whole_action),
    "key_height": Mismatch("key height, front rail lower", _key_height),
    "bed_front": Mismatch("bed under the front rail", _front_rail),
    "bed_balance": Mismatch("bed under the balance rail", _bed_balance),
    "bed_back": Mismatch("bed under the back rail", _bed_back),
    "strike_line": Mismatch("strike line (from the pins)", _strike_line),
    HAMMER_RAIL: Mismatch("hammer rail alone, shimmed", _hammer_rail),
}
"""What may differ, by the name of its reading; the last is read nowhere, and shown for what a loose bracket does."""

FOLLOWS: Mapping[str, Callable[[ActionUnit], float]] = {
    "hammer_centre_height": lambda u: u.hammer.centre[1] - u.rails.string_y,
    "key_height": lambda u: u.key.back_cloth_plane_y / u.key.back_cloth_x * u.key.front_edge_x - u.key.punching_plane_y,
}
"""Readings that the bed has a hand in, as the parts of a unit lie: the hammer centre against the string, the key's
front on its back-rail cloth over the front rail (m, but for a constant)."""


def differences(section: PianoSection, key: int) -> dict[str, float]:
    """Reading at the piano less reading at the bench (m), of whatever was read at both."""
    out = {}
    for name in MISMATCHES:
        if name == HAMMER_RAIL:
            continue
        read = section.from_pins if name in FROM_PINS else section.at
        piano, bench = (read(key, name, place) for place in ("piano", "bench"))
        if piano is not None and bench is not None:
            out[name] = piano - bench
    return out


def by_beds(unit: ActionUnit, differ: Mapping[str, float]) -> dict[str, float]:
    """What key height and hammer centre (m) should differ by as the beds have it; nothing where none was read twice."""
    moved = _on_bed(unit, differ)
    return {n: f(moved) - f(unit) for n, f in FOLLOWS.items()} if moved is not unit else {}


def _on_bed(unit: ActionUnit, differ: Mapping[str, float]) -> ActionUnit:
    for name in BEDS:
        if name in differ:
            unit = MISMATCHES[name].apply(unit, differ[name], 0.0)
    return unit


def in_the_piano(
    unit: ActionUnit, differ: Mapping[str, float], slope: float = 0.0, *, string: bool = True
) -> ActionUnit:
    """The unit as regulated at the bench, put into the piano: everything that was read at both, at once.

    Key height and hammer centre come to what was read: of their difference only what the beds do not already make
    is added.
    """
    moved = _on_bed(unit, differ)
    already = {n: f(moved) - f(unit) for n, f in FOLLOWS.items()}
    for name, by in differ.items():
        if name not in BEDS and (string or name not in ON_STRING):
            moved = MISMATCHES[name].apply(moved, by - already.get(name, 0.0), slope)
    return moved


@dataclass(frozen=True)
class Read:
    """What one slow press reads (m), and its outcome; ``off_line``: how far the crown leaves the strike line, m."""

    outcome: str
    values: Mapping[str, float | None]
    off_line: float = 0.0


@dataclass(frozen=True)
class Effect:
    """One mismatch (m), and what it makes of the readings."""

    name: str
    by: float
    found: Read


def read(unit: ActionUnit) -> Read:
    """One slow press."""
    try:
        pressed = slow_press.press(at_rest(unit), back=False)
        settings = slow_press.settings(pressed)
    except SimulationError as error:
        return Read(error.name, dict.fromkeys(READINGS))
    return Read(pressed.outcome, {n: getattr(settings, n) for n in READINGS})


def effects(unit: ActionUnit, slope: float = 0.0, steps: Sequence[int] = STEPS) -> tuple[Effect, ...]:
    """Every mismatch alone, by half millimetres."""
    return tuple(on_all_cores([partial(_effect, unit, n, k * STEP, slope) for n in MISMATCHES for k in steps]))


def each_alone(unit: ActionUnit, differ: Mapping[str, float], slope: float = 0.0) -> tuple[Effect, ...]:
    """Every mismatch that was read, alone and as large as it was read."""
    return tuple(on_all_cores([partial(_effect, unit, name, by, slope) for name, by in differ.items()]))


def _effect(unit: ActionUnit, name: str, by: float, slope: float) -> Effect:
    found = read(MISMATCHES[name].apply(unit, by, slope))
    return Effect(name, by, replace(found, off_line=-by if name == "strike_line" else 0.0))


def lower_at_bench(unit: ActionUnit, differ: Mapping[str, float]) -> float:
    """How far the crown at rest stands lower at the bench than in the piano, heights over the bed, m."""
    piano = at_rest(in_the_piano(unit, differ, string=False)).at_rest["string"]
    return at_rest(unit).at_rest["string"] - piano
