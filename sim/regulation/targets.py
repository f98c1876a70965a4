"""What can be asked of a regulation: each target's unit, how close counts, and the reading that shows it."""

from __future__ import annotations

from collections.abc import Mapping

from sim import display_units
from sim.bench import release, slow_press
from sim.bench import strike as blows
from sim.bench.inertia import inertia
from sim.bench.predict import MODERATE, touch
from sim.bench.readings import Settings, TouchWeight
from sim.bench.rest_pose import Rest, at_rest, key_height
from sim.errors import Fault, InputError, QuantityError
from sim.fields.field_paths import kind_at
from sim.fields.quantity_field import one_line
from sim.regulation.rigid_geometry import laid
from sim.regulation.screws import CAPSTAN, SCREWS, Screw
from sim.unit.model import GRAVITY, ActionUnit
from sim.units import Dimension, parse

Readings = dict[str, float | None]

STEP = 60e-6
"""Step of the slow presses while searching, s: their readings do not change from 10 to 60 us."""

AT_REST = ("lever_height", "jack_address", "blow", "rest_cushion_gap", "key_height", "check_angle")
PRESSED = ("let_off", "drop", "drop_at_bottom", "dip", "aftertouch", "damper_start")
WEIGHED = ("balance_weight", "inertia")
PLAYED = ("checking_distance", "spring_rise")

STOPS = ("lever_height", "jack_address")
"""Targets whose stop is turned by an angle, while the scenario's setting is the length it leaves."""

UNITS: Mapping[str, str] = {"balance_weight": "gf", "inertia": "g", "check_angle": "deg"}
"""Unit at the edge of a target that is no length."""
CLOSE = {
    "balance_weight": 1.5e-3, "inertia": 1e-3, "checking_distance": 1e-4, "spring_rise": 1.5e-4, "check_angle": 1e-5,
}  # fmt: skip
"""A target is met within this while searching (SI); lengths within 0.01 mm."""
MET = {
    "balance_weight": 0.3e-3 * GRAVITY, "inertia": 3e-3, "checking_distance": 3e-4, "spring_rise": 3e-4,
    "damper_start": 1e-4, "check_angle": 2e-3,
}  # fmt: skip
"""... and counts as met within this when it is read again; lengths within 0.05 mm."""


def unit_of(target: str) -> str:
    """Unit of a target at the edge: mm, gf, g or deg."""
    return UNITS.get(target, "mm")


def dimension_of(target: str) -> Dimension:
    """What a target is, for reading a typed value."""
    return display_units.UNITS[unit_of(target)][1]


def asked(target: str, typed: str, where: str) -> float:
    """A value typed for a target (SI).  Raises InputError; ``where`` it was typed."""
    try:
        value = parse(typed, dimension_of(target))
    except QuantityError as error:
        raise InputError(
            [Fault(where, None, target, one_line(typed, 60), "a quantity with its unit", str(error))]
        ) from None
    kind = kind_at(f"targets.{target.removesuffix('_at_bottom')}")
    if kind is not None and not kind.holds(value):
        raise InputError(
            [Fault(where, None, target, one_line(typed, 60), kind.allowed, "check the reading and its unit")]
        )
    return value


def said(target: str, value: float | None, inches: bool = False) -> str:
    """A target's SI value as a technician writes it."""
    return "–" if value is None else display_units.format_si(value, unit_of(target), inches)


def close(target: str) -> float:
    return CLOSE.get(target, 1e-5)


def met(target: str) -> float:
    return MET.get(target, 5e-5)


def contradiction(targets: Mapping[str, float]) -> str:
    """Why targets cannot all be asked for whatever the parts, or nothing."""
    return "one drop screw: ask for one of both drops" if {"drop", "drop_at_bottom"} <= targets.keys() else ""


def at_rest_readings(u: ActionUnit, mine: list[str]) -> Readings:
    """Readings of a unit left alone (SI)."""
    return _resting(at_rest(u, STEP))


def _resting(rest: Rest) -> Readings:
    return {
        "blow": rest.at_rest["string"],
        "lever_height": slow_press.lever_height(rest),
        "jack_address": slow_press.jack_address(rest),
        "rest_cushion_gap": rest.at_rest["rest_cushion"],
        "key_height": key_height(rest),
        "check_angle": rest.unit.key.backcheck_angle,
    }


def pressed_readings(u: ActionUnit, mine: list[str]) -> Readings:
    """Readings of a quick slow press (SI)."""
    pressed = slow_press.press(at_rest(u, STEP), back=False, quick=True)
    return of_settings(slow_press.settings(pressed, drop="drop" in mine, wink=False))


def weighed_readings(u: ActionUnit, mine: list[str]) -> Readings:
    """Weights and inertia of a slow press there and back (SI)."""
    pressed = slow_press.press(at_rest(u, STEP), back="balance_weight" in mine)
    return _weighed(pressed, slow_press.touch_weight(pressed)[0])


def _weighed(pressed: slow_press.Pressed, w: TouchWeight) -> Readings:
    plays = pressed.outcome == "plays"
    return {"balance_weight": w.balance_weight, "inertia": inertia(pressed).felt if plays else None}


def played_readings(u: ActionUnit, mine: list[str]) -> Readings:
    """Readings of a moderate blow and of letting the key up (SI)."""
    rest = at_rest(u)
    reading, run = blows.play(rest, touch(MODERATE))
    out: Readings = {"checking_distance": reading.checking_distance}
    if "spring_rise" in mine:
        out["spring_rise"] = release.spring_rise(rest, run, reading.caught).height
    return out


def of_settings(s: Settings) -> Readings:
    """Readings that targets ask for, by target."""
    names = ("blow", "lever_height", "jack_address", *PRESSED)
    return {n: getattr(s, n) for n in names}


GROUPS = (
    (AT_REST, at_rest_readings),
    (PRESSED, pressed_readings),
    (WEIGHED, weighed_readings),
    (PLAYED, played_readings),
)
"""Targets that are met together, and how they are read while searching."""


def read_all(u: ActionUnit, wanted: Mapping[str, float]) -> Readings:
    """Every reading that a target can ask for, by the bench's own procedures at its own step (SI).

    Those that take a longer procedure are read only where ``wanted``.
    """
    rest = at_rest(u)
    pressed = slow_press.press(rest, back="balance_weight" in wanted)
    out = _resting(rest) | of_settings(slow_press.settings(pressed, wink=False))
    if any(t in wanted for t in WEIGHED):
        out |= _weighed(pressed, slow_press.touch_weight(pressed)[0])
    if any(t in wanted for t in PLAYED):
        out |= played_readings(u, list(PLAYED))
    return out


def screw_for(target: str, targets: Mapping[str, float]) -> Screw:
    """What is turned for a target; with dip fixed and blow free, the capstan answers for the aftertouch."""
    if target == "aftertouch" and "dip" in targets:
        return CAPSTAN.answering(12.5 / 4.75)
    return SCREWS[target]


def beyond(u: ActionUnit, target: str, screw: Screw) -> str:
    """Why a screw that was turned as far as its target needs cannot stand there, or nothing."""
    value, kind = screw.value(u), kind_at(screw.path)
    if kind is not None and target not in STOPS and not kind.holds(value):
        would = f"{value / kind.dimension.factor(kind.unit):.4g} {kind.unit}"
        return f"{screw.path} would have to be {would}, outside {kind.allowed}"
    moment = u.key.lead_moment
    if target == "balance_weight" and moment is not None and moment < 0:
        return "more lead would have to come out of the key than is in it"
    return ""


def pinched(u: ActionUnit, contact: str, by: float, free: float) -> bool:
    """Whether a button or drop screw turned on by ``by`` (m) would leave less than ``free`` at rest."""
    return laid(u)[contact] + by <= free
