"""What is turned, papered or bent for each target: one entry a target.

Gains are what a reading answers per move of its screw to begin with (SI: m per m,
m per rad, N per kg, m per N·m); the solver learns better ones as it goes.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from sim.scenario.derive_key import LEAD_PLACE_SHARE
from sim.unit.model import GRAVITY, ActionUnit

Move = Callable[[ActionUnit, float], ActionUnit]


@dataclass(frozen=True)
class Screw:
    """Scenario path, its value, how to move it, gain, longest single move, and the scenario's name of its pitch."""

    path: str
    value: Callable[[ActionUnit], float]
    move: Move
    gain: float
    longest: float = 5e-4
    pitch: str = ""
    papers: bool = False
    """Done with paper punchings."""
    along: Mapping[str, Callable[[ActionUnit], float]] = field(default_factory=dict)
    """Other scenario paths that change with it, and their values."""

    def with_gain(self, gain: float) -> Screw:
        """The same screw, turned for a reading that answers it by ``gain``."""
        return replace(self, gain=gain)


def _part(part: str, **names: Callable[[ActionUnit, float], object]) -> Move:
    """Move fields of one part of the unit."""

    def move(u: ActionUnit, by: float) -> ActionUnit:
        changes: dict[str, Any] = {n: f(u, by) for n, f in names.items()}
        whole: dict[str, Any] = {part: replace(getattr(u, part), **changes)}
        return replace(u, **whole)

    return move


def compute_bed_height(u: ActionUnit) -> float:
    """Height of the plane's origin over the key bed, m."""
    return u.nominal.get("key.balance_rail_height", 0.0)


def _stop(part: str) -> Move:
    return _part(part, stop_angle=lambda u, by: getattr(u, part).stop_angle + by)


def _spring(u: ActionUnit, by: float) -> ActionUnit:
    return replace(u, springs=replace(u.springs, repetition=u.springs.repetition + by))


def _damper(u: ActionUnit, by: float) -> ActionUnit:
    return u if u.damper is None else replace(u, damper=replace(u.damper, gap=u.damper.gap + by))


def find_lead_place(u: ActionUnit) -> float:
    """Where lead is put in or taken out, m in front of the balance pin."""
    return u.key.lead_place or -LEAD_PLACE_SHARE * u.key.front_edge_x


def _lead(u: ActionUnit, by: float) -> ActionUnit:
    """Lead that weighs ``by`` kg more at the touch point, put in at the key's lead place."""
    moment = -by * u.key.touch_point[0]
    place = find_lead_place(u)
    key = replace(
        u.key,
        front_moment=u.key.front_moment + moment,
        inertia_front=u.key.inertia_front + moment * place,
        lead_moment=None if u.key.lead_moment is None else u.key.lead_moment + moment,
    )
    return replace(u, key=key)


def _strike_weight(u: ActionUnit) -> float:
    h = u.hammer
    return (h.shank_mass_moment + h.head_mass * h.head_mass_centre[0]) / h.strike_point[0]


CAPSTAN = Screw(
    "settings.capstan_height",
    lambda u: u.key.capstan_centre[1] + u.key.capstan_radius,
    _part("key", capstan_centre=lambda u, by: (u.key.capstan_centre[0], u.key.capstan_centre[1] + by)),
    -12.5,
    pitch="settings.capstan_pitch",
)
PUNCHING = Screw(
    "settings.punching",
    lambda u: -u.key.punching_plane_y,
    _part("key", punching_plane_y=lambda u, by: u.key.punching_plane_y - by),
    1.05,
    longest=2e-3,
    papers=True,
)
BUTTON = Screw(
    "settings.let_off_button_height",
    lambda u: u.rails.let_off_button_plane_y + compute_bed_height(u),
    _part("rails", let_off_button_plane_y=lambda u, by: u.rails.let_off_button_plane_y + by),
    -6.7,
    pitch="settings.button_pitch",
)
DROP_SCREW = Screw(
    "settings.drop_screw_height",
    lambda u: u.rails.drop_screw_tip[1] - u.rails.drop_screw_radius + compute_bed_height(u),
    _part("rails", drop_screw_tip=lambda u, by: (u.rails.drop_screw_tip[0], u.rails.drop_screw_tip[1] + by)),
    -4.4,
    pitch="settings.drop_screw_pitch",
)

SCREWS: Mapping[str, Screw] = {
    "lever_height": Screw("settings.lever_height", lambda u: u.lever.stop_angle, _stop("lever"), -0.032, 0.02),
    "jack_address": Screw("settings.jack_address", lambda u: u.jack.stop_angle, _stop("jack"), 0.05, 0.02),
    "blow": CAPSTAN,
    "let_off": BUTTON,
    "drop": DROP_SCREW,
    "drop_at_bottom": DROP_SCREW,
    "dip": PUNCHING,
    "aftertouch": PUNCHING,
    "balance_weight": Screw(
        "key.front_weight",
        lambda u: u.key.front_moment / -u.key.touch_point[0],
        _lead,
        -GRAVITY,
        0.05,
        along={"key.inertia_front": lambda u: u.key.inertia_front},
    ),
    "inertia": Screw(
        "hammer.head_mass",
        lambda u: u.hammer.head_mass,
        _part("hammer", head_mass=lambda u, by: u.hammer.head_mass + by),
        30.0,
        2e-3,
        along={"hammer.weight": _strike_weight},
    ),
    "checking_distance": Screw(
        "settings.backcheck_place",
        lambda u: u.key.backcheck_foot[0],
        _part("key", backcheck_foot=lambda u, by: (u.key.backcheck_foot[0] + by, u.key.backcheck_foot[1])),
        6.0,
        1e-3,
    ),
    "spring_rise": Screw("springs.repetition", lambda u: u.springs.repetition, _spring, 2.2, 1.5e-3),
    "rest_cushion_gap": Screw(
        "settings.rest_cushion_height",
        lambda u: u.rails.rest_cushion_plane_y + compute_bed_height(u),
        _part("rails", rest_cushion_plane_y=lambda u, by: u.rails.rest_cushion_plane_y + by),
        -1.0,
        5e-3,
    ),
    "key_height": Screw(
        "settings.back_cloth",
        lambda u: u.key.back_cloth_plane_y,
        _part("key", back_cloth_plane_y=lambda u, by: u.key.back_cloth_plane_y + by),
        -1.17,
        2e-3,
        papers=True,
    ),
    "check_angle": Screw(
        "settings.backcheck_angle",
        lambda u: u.key.backcheck_angle,
        _part("key", backcheck_angle=lambda u, by: u.key.backcheck_angle + by),
        1.0,
        0.2,
    ),
    "damper_start": Screw("settings.damper", lambda u: u.damper.gap if u.damper else 0.0, _damper, 1.06, 2e-3),
}
"""Target to what brings it about."""

PUNCHING_THICKNESSES = (0.75e-3, 0.5e-3, 0.25e-3, 0.13e-3, 0.08e-3)
"""Thicknesses of paper and card punchings, m (thinnest: a technician's pages on key dip; the rest common practice)."""


def choose_punchings(change: float) -> dict[float, int]:
    """Punchings to add (+) or take out (-) for a change of the punching's height, thickest first (m: count)."""
    left, out = abs(change), {}
    for thick in PUNCHING_THICKNESSES:
        count = (
            int((left + PUNCHING_THICKNESSES[-1] / 2) // thick)
            if thick > PUNCHING_THICKNESSES[-1]
            else round(left / thick)
        )
        if count:
            out[thick] = count if change > 0 else -count
            left = max(0.0, left - count * thick)
    return out
