"""Centres one by one, the part freed and hanging: pinning force and swings."""

from __future__ import annotations

import math

from sim.bench.readings import Centre
from sim.unit.centres import convert_torque_to_force
from sim.unit.model import CENTRES, GRAVITY, ActionUnit

PINNING_RADIUS = 0.023
"""Usual radius of the gauge for pinning force, m (trade.md, about 23 mm)."""
SWING_START = math.radians(40.0)
"""Angle from the vertical at which the freed part is let go, rad.  Our convention."""


def compute_gravity_moment(unit: ActionUnit, centre: str) -> float:
    """Gravity moment of the freed part at a right angle, N·m (the wippen with jack and lever on it)."""
    w, j, lv, h = unit.wippen, unit.jack, unit.lever, unit.hammer
    moments = {
        "wippen": (
            w.mass * w.mass_centre[0] + j.mass * w.jack_centre[0] + lv.mass * w.lever_centre[0],
            w.mass * w.mass_centre[1] + j.mass * w.jack_centre[1] + lv.mass * w.lever_centre[1],
        ),
        "jack": (j.mass * j.mass_centre[0], j.mass * j.mass_centre[1]),
        "lever": (lv.mass * lv.mass_centre[0], lv.mass * lv.mass_centre[1]),
        "hammer": (h.head_mass * h.head_mass_centre[0] + h.shank_mass_moment, h.head_mass * h.head_mass_centre[1]),
    }
    return GRAVITY * math.hypot(*moments[centre])


def count_half_swings(torque: float, moment: float, start: float = SWING_START) -> int:
    """Half swings (one way across) of a hanging part with dry friction until it stops.

    From one end to the other the weight's potential falls by what the friction
    takes, at any amplitude: moment (cos b - cos a) = torque (a + b).
    """
    from scipy.optimize import brentq  # takes a quarter of a second that others need not wait for

    if torque <= 0:
        raise ValueError("a centre without friction swings for ever")
    a, count = start, 0
    while moment * math.sin(a) > torque and count < 10000:
        lost = torque * a - moment * (1 - math.cos(a))
        count += 1
        if lost >= 0:
            return count
        a = float(brentq(_left_over, 0.0, a, args=(a, torque, moment)))
    return count


def _left_over(b: float, a: float, torque: float, moment: float) -> float:
    """What the weight gives more than the friction takes between the ends a and b of a half swing, N·m."""
    return moment * (math.cos(b) - math.cos(a)) - torque * (a + b)


def read_centres(unit: ActionUnit) -> dict[str, Centre]:
    """Torque, pinning force and swings of every centre (SI); the key has no swing, its force is at the touch point."""
    out = {}
    for name in CENTRES:
        torque = unit.friction[name]
        radius = -unit.key.touch_point[0] if name == "key" else PINNING_RADIUS
        count = None
        if name != "key" and torque > 0:
            count = float(count_half_swings(torque, compute_gravity_moment(unit, name)))
        out[name] = Centre(
            torque, convert_torque_to_force(torque, radius), radius, count, None if name == "key" else SWING_START
        )
    return out
