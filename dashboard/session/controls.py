"""What a technician sets, as sliders: one entry a control.  Values are SI; ranges are what a bench might try."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TypeGuard

from sim.regulation.model_inputs import find_model_input
from sim.regulation.moves import MOVES
from sim.regulation.screws import SCREWS
from sim.regulation.targets import get_target_unit
from sim.unit.model import ActionUnit

MM = 1e-3


@dataclass(frozen=True)
class Control:
    """Group, title, help, unit at the edge, range, step and reach (SI), and how it is read and set."""

    group: str
    title: str
    help: str
    unit: str
    low: float
    high: float
    step: float
    reach: float
    """How far a slider goes either way from where the scenario has it."""
    get: Callable[[ActionUnit], float]
    put: Callable[[ActionUnit, float], ActionUnit]
    settles: str = ""
    """The reading that shows what came of it."""
    gain: float = 0.0
    """What that reading answers per move, where the control is told by it; 0: told by its own place."""

    def reading(self, settled: float | None, first: float | None, moved: float) -> float | None:
        """What was read; where nothing could be, what the move from the start would have brought."""
        return first + self.gain * moved if settled is None and first is not None and self.gain else settled

    def tells(self, reading: float | None) -> TypeGuard[float]:
        """Whether the control is told by its reading, so that a person asks for that."""
        return self.gain != 0 and reading is not None

    def turned(self, now: float, settled: float | None, asked: float) -> float:
        """Where the control has to stand for what is asked, from where it stands and what was read of it there."""
        return now + (asked - settled) / self.gain if self.tells(settled) else asked


def _screw(target: str, title: str, help_: str, reach: float, step: float, low: float, high: float) -> Control:
    """A screw, paper or stop, told by the reading that it is turned for."""
    s = SCREWS[target]

    def put(u: ActionUnit, v: float) -> ActionUnit:
        return s.move(u, v - s.value(u))

    return Control(
        "screws", title, help_, get_target_unit(target), low, high, step, reach, s.value, put, target, s.gain
    )


def _friction(path: str, title: str, most: float) -> Control:
    model_input = find_model_input(path)
    return Control("friction", title, "dry friction of this centre: a torque, or the pinning force that it asks for",
                   "Nmm", 0.0, most, most / 400, 0.6 * most, model_input.get, model_input.put)  # fmt: skip


SPRING = "springs.repetition"


def _rail_control(name: str, title: str, help_: str, get: Callable[[ActionUnit], float]) -> Control:
    """A rail or a part by its own place; ``name`` is the move that takes it there."""
    group = "rails" if "rail" in name else "parts"
    return Control(group, title, help_, "mm", -0.1, 0.35, 0.05 * MM, 5 * MM, get,
                   lambda u, v: MOVES[name].apply(u, v - get(u)))  # fmt: skip


RAIL_CONTROLS: Mapping[str, Control] = {
    "wippen_rail_back": _rail_control(
        "wippen_rail_back", "wippen rail, fore and aft", "balance pin to the wippen centre, level",
        lambda u: u.wippen.centre[0],
    ),
    "wippen_rail_up": _rail_control(
        "wippen_rail_up", "wippen rail, height", "wippen centre over the level of the key's underside",
        lambda u: u.wippen.centre[1],
    ),
    "hammer_rail_back": _rail_control(
        "hammer_rail_back", "hammer rail, fore and aft", "balance pin to the hammer centre, level",
        lambda u: u.hammer.centre[0],
    ),
    "hammer_rail_up": _rail_control(
        "hammer_rail_up", "hammer rail, height", "hammer centre over the level of the key's underside",
        lambda u: u.hammer.centre[1],
    ),
    "capstan_line_back": _rail_control(
        "capstan_line_back", "capstan line", "balance pin to the capstan's line", lambda u: u.key.capstan_centre[0]
    ),
    "knuckle_out": _rail_control(
        "knuckle_out", "knuckle set", "hammer centre to the knuckle's core", lambda u: u.hammer.knuckle_centre[0]
    ),
    "heel_thicker": _rail_control(
        "heel_thicker", "heel", "its underside below the wippen centre", lambda u: -u.wippen.heel_point[1]
    ),
}  # fmt: skip
"""Controls that move a rail or a part, by the name of the move."""

CONTROLS: Mapping[str, Control] = {
    **RAIL_CONTROLS,
    SPRING: Control(
        "spring", "repetition spring", "torque of the repetition spring on its lever", "Nmm", 0.0, 0.08, 0.1e-3, 0.02,
        find_model_input(SPRING).get, find_model_input(SPRING).put, "spring_rise",
    ),
    "friction.key": _friction("friction.key", "key", 0.06),
    "friction.wippen": _friction("friction.wippen", "wippen", 8e-3),
    "friction.jack": _friction("friction.jack", "jack", 6e-3),
    "friction.lever": _friction("friction.lever", "repetition lever", 8e-3),
    "friction.hammer": _friction("friction.hammer", "hammer", 8e-3),
    "jack_address": _screw(
        "jack_address", "jack address", "the jack's stop: rear of its top to the rear of the core, + to the player",
        2 * MM, 0.05 * MM, -0.4, 0.4,
    ),
    "lever_height": _screw(
        "lever_height", "lever height", "the lever's stop: top of the jack below the lever's surface, at rest",
        MM, 0.02 * MM, -0.4, 0.4,
    ),
    "blow": _screw("blow", "blow", "the capstan: crown at rest to the string", 6 * MM, 0.25 * MM, 0.015, 0.09),
    "dip": _screw(
        "dip", "key dip", "papers under the front punching: travel of the front edge", 2 * MM, 0.05 * MM, 3e-3, 0.02
    ),
    "let_off": _screw(
        "let_off", "let-off", "the button: least crown to string in a slow press", 3 * MM, 0.1 * MM, 0.04, 0.26
    ),
    "drop": _screw(
        "drop", "drop", "the drop screw: fall of the crown just past escape", 3 * MM, 0.1 * MM, 0.06, 0.33
    ),
    "checking_distance": _screw(
        "checking_distance", "checking distance", "the backcheck's place: crown to string after a moderate blow",
        10 * MM, 0.5 * MM, 0.12, 0.35,
    ),
    "rest_cushion_gap": _screw(
        "rest_cushion_gap", "rest cushion", "shank over its rest cushion, at rest", 4 * MM, 0.1 * MM, 0.04, 0.32
    ),
    "check_angle": Control(
        "screws", "backcheck angle", "its leather face against the key's level", "deg", 0.7, 1.9, 0.002, 0.2,
        SCREWS["check_angle"].value, lambda u, v: SCREWS["check_angle"].move(u, v - u.key.backcheck_angle),
        "checking_distance",
    ),
}  # fmt: skip
"""Name to control, in the order in which they are applied: rails first, since the rest stands on them."""

GROUPS: Mapping[str, str] = {
    "spring": "Repetition spring",
    "friction": "Friction at the centres",
    "screws": "Screws, papers and stops",
    "rails": "Rails",
    "parts": "Parts",
}
"""Group to its heading, in the order in which they are shown."""
