"""What can be asked of a regulation: each target's unit, how close counts, and the reading that shows it."""

from __future__ import annotations

from collections.abc import Mapping

from sim import display_units
from sim.bench import release, slow_press
from sim.bench import strike as blows
from sim.bench.inertia import read_inertia
from sim.bench.predict import MODERATE, find_touch
from sim.bench.readings import Settings, TouchWeight
from sim.bench.rest_pose import Rest, measure_key_height, settle_at_rest
from sim.errors import Fault, InputError, QuantityError
from sim.fields.field_paths import find_kind
from sim.fields.quantity_field import fit_on_line
from sim.regulation.rigid_geometry import measure_rigid_pose
from sim.regulation.screws import CAPSTAN, SCREWS, Screw
from sim.unit.model import GRAVITY, ActionUnit
from sim.units import Dimension, parse_quantity

Readings = dict[str, float | None]

SEARCH_STEP = 60e-6
"""Step of the slow presses while searching, s: their readings do not change from 10 to 60 us."""

REST_TARGETS = ("lever_height", "jack_address", "blow", "rest_cushion_gap", "key_height", "check_angle")
PRESS_TARGETS = ("let_off", "drop", "drop_at_bottom", "dip", "aftertouch", "damper_start")
WEIGHED_TARGETS = ("balance_weight", "inertia")
PLAYED_TARGETS = ("checking_distance", "spring_rise")

STOP_TARGETS = ("lever_height", "jack_address")
"""Targets whose stop is turned by an angle, while the scenario's setting is the length it leaves."""

UNITS: Mapping[str, str] = {"balance_weight": "gf", "inertia": "g", "check_angle": "deg"}
"""Unit at the edge of a target that is no length."""
SEARCH_TOLERANCE = {
    "balance_weight": 1.5e-3, "inertia": 1e-3, "checking_distance": 1e-4, "spring_rise": 1.5e-4, "check_angle": 1e-5,
}  # fmt: skip
"""A target is met within this while searching (SI); lengths within 0.01 mm."""
MET_TOLERANCE = {
    "balance_weight": 0.3e-3 * GRAVITY, "inertia": 3e-3, "checking_distance": 3e-4, "spring_rise": 3e-4,
    "damper_start": 1e-4, "check_angle": 2e-3,
}  # fmt: skip
"""... and counts as met within this when it is read again; lengths within 0.05 mm."""


def get_target_unit(target: str) -> str:
    """Unit of a target at the edge: mm, gf, g or deg."""
    return UNITS.get(target, "mm")


def get_target_dimension(target: str) -> Dimension:
    """What a target is, for reading a typed value."""
    return display_units.UNITS[get_target_unit(target)].dimension


def parse_target(target: str, typed: str, where: str) -> float:
    """A value typed for a target (SI).  Raises InputError; ``where`` it was typed."""
    try:
        value = parse_quantity(typed, get_target_dimension(target))
    except QuantityError as error:
        raise InputError(
            [Fault(where, None, target, fit_on_line(typed, 60), "a quantity with its unit", str(error))]
        ) from None
    kind = find_kind(f"targets.{target.removesuffix('_at_bottom')}")
    if kind is not None and not kind.holds(value):
        raise InputError(
            [Fault(where, None, target, fit_on_line(typed, 60), kind.allowed, "check the reading and its unit")]
        )
    return value


def format_target(target: str, value: float | None, inches: bool = False) -> str:
    """A target's SI value as a technician writes it."""
    return "–" if value is None else display_units.format_si(value, get_target_unit(target), inches)


def get_search_tolerance(target: str) -> float:
    return SEARCH_TOLERANCE.get(target, 1e-5)


def get_met_tolerance(target: str) -> float:
    return MET_TOLERANCE.get(target, 5e-5)


def find_contradiction(targets: Mapping[str, float]) -> str:
    """Why targets cannot all be asked for whatever the parts, or nothing."""
    return "one drop screw: ask for one of both drops" if {"drop", "drop_at_bottom"} <= targets.keys() else ""


def read_at_rest(u: ActionUnit, mine: list[str]) -> Readings:
    """Readings of a unit left alone (SI)."""
    return _resting(settle_at_rest(u, SEARCH_STEP))


def _resting(rest: Rest) -> Readings:
    return {
        "blow": rest.at_rest["string"],
        "lever_height": slow_press.measure_lever_height(rest),
        "jack_address": slow_press.measure_jack_address(rest),
        "rest_cushion_gap": rest.at_rest["rest_cushion"],
        "key_height": measure_key_height(rest),
        "check_angle": rest.unit.key.backcheck_angle,
    }


def read_pressed(u: ActionUnit, mine: list[str]) -> Readings:
    """Readings of a quick slow press (SI)."""
    pressed = slow_press.press_slowly(settle_at_rest(u, SEARCH_STEP), back=False, quick=True)
    return select_settings(slow_press.read_settings(pressed, drop="drop" in mine, wink=False))


def read_weighed(u: ActionUnit, mine: list[str]) -> Readings:
    """Weights and inertia of a slow press there and back (SI)."""
    pressed = slow_press.press_slowly(settle_at_rest(u, SEARCH_STEP), back="balance_weight" in mine)
    return _weighed(pressed, slow_press.read_touch_weight(pressed)[0])


def _weighed(pressed: slow_press.PressRun, w: TouchWeight) -> Readings:
    plays = pressed.plays
    return {"balance_weight": w.balance_weight, "inertia": read_inertia(pressed).felt if plays else None}


def read_played(u: ActionUnit, mine: list[str]) -> Readings:
    """Readings of a moderate blow and of letting the key up (SI)."""
    rest = settle_at_rest(u)
    reading, run = blows.play_touch(rest, find_touch(MODERATE))
    out: Readings = {"checking_distance": reading.checking_distance}
    if "spring_rise" in mine:
        out["spring_rise"] = release.measure_spring_rise(rest, run, reading.caught).height
    return out


def select_settings(s: Settings) -> Readings:
    """Readings that targets ask for, by target."""
    names = ("blow", "lever_height", "jack_address", *PRESS_TARGETS)
    return {n: getattr(s, n) for n in names}


GROUPS = (
    (REST_TARGETS, read_at_rest),
    (PRESS_TARGETS, read_pressed),
    (WEIGHED_TARGETS, read_weighed),
    (PLAYED_TARGETS, read_played),
)
"""Targets that are met together, and how they are read while searching."""


def read_all(u: ActionUnit, wanted: Mapping[str, float]) -> Readings:
    """Every reading that a target can ask for, by the bench's own procedures at its own step (SI).

    Those that take a longer procedure are read only where ``wanted``.
    """
    rest = settle_at_rest(u)
    pressed = slow_press.press_slowly(rest, back="balance_weight" in wanted)
    out = _resting(rest) | select_settings(slow_press.read_settings(pressed, wink=False))
    if any(t in wanted for t in WEIGHED_TARGETS):
        out |= _weighed(pressed, slow_press.read_touch_weight(pressed)[0])
    if any(t in wanted for t in PLAYED_TARGETS):
        out |= read_played(u, list(PLAYED_TARGETS))
    return out


def choose_screw(target: str, targets: Mapping[str, float]) -> Screw:
    """What is turned for a target; with dip fixed and blow free, the capstan answers for the aftertouch."""
    if target == "aftertouch" and "dip" in targets:
        return CAPSTAN.with_gain(12.5 / 4.75)
    return SCREWS[target]


def explain_screw_limit(u: ActionUnit, target: str, screw: Screw) -> str:
    """Why a screw that was turned as far as its target needs cannot stand there, or nothing."""
    value, kind = screw.value(u), find_kind(screw.path)
    if kind is not None and target not in STOP_TARGETS and not kind.holds(value):
        would = f"{value / kind.dimension.factor(kind.unit):.4g} {kind.unit}"
        return f"{screw.path} would have to be {would}, outside {kind.allowed}"
    moment = u.key.lead_moment
    if target == "balance_weight" and moment is not None and moment < 0:
        return "more lead would have to come out of the key than is in it"
    return ""


def is_pinched(u: ActionUnit, contact: str, by: float, free: float) -> bool:
    """Whether a button or drop screw turned on by ``by`` (m) would leave less than ``free`` at rest."""
    return measure_rigid_pose(u)[contact] + by <= free
