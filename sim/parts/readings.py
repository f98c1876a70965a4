"""What a combination of parts comes to when it is set up: one slow press, one blow, and where its contacts stand."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sim.bench import slow_press, strike
from sim.bench.inertia import read_inertia
from sim.bench.predict import MODERATE
from sim.bench.predict import find_touch as touch_of
from sim.bench.readings import Settings, TouchWeight
from sim.bench.rest_pose import rotate_vectors, settle_at_rest
from sim.unit.model import ActionUnit

Array = NDArray[np.float64]


@dataclass(frozen=True)
class PartsReadings:
    """What the parts come to, set up (SI); None where it could not be read."""

    settings: Settings
    touch: TouchWeight
    inertia: float | None
    """Apparent mass at the touch point, kg."""
    capstan_off_line: float | None = None
    """At half stroke: capstan's contact off the line balance rail to wippen centre, + above."""
    jack_off_line: float | None = None
    """At half stroke: jack's contact off the line wippen centre to hammer centre, + above."""
    window_left: float | None = None
    tail_clear: float | None = None
    """Tail to backcheck, least while the key goes slowly down to let-off, or as far as the hammer rises."""
    tail_over_check: float | None = None
    """Tail's underside over the check's top at let-off, level heights."""
    checking_distance: float | None = None
    """After a moderate blow; None: not caught."""

    def value(self, name: str) -> float | None:
        """A reading that may be wished for, or set up."""
        if name == "inertia":
            return self.inertia
        found: float | None = getattr(self.settings, name, None)
        return found if found is not None else getattr(self.touch, name, None)


def read_parts(unit: ActionUnit) -> PartsReadings:
    """One slow press, and what the parts do in it."""
    rest = settle_at_rest(unit)
    pressed = slow_press.press_slowly(rest)
    touch, _ = slow_press.read_touch_weight(pressed)
    settings = slow_press.read_settings(pressed)
    if not pressed.plays:
        clear = measure_tail(pressed)[0] if len(pressed.down.trace) else None
        return PartsReadings(settings, touch, None, tail_clear=clear)
    turn = float((pressed.down.trace["j"] - pressed.down.trace["w"]).max())
    capstan, jack = measure_contact_offsets(pressed)
    clear, over = measure_tail(pressed)
    blow, _ = strike.play_touch(rest, touch_of(MODERATE))
    return PartsReadings(
        settings, touch, read_inertia(pressed).felt, capstan, jack,
        (unit.jack.largest_turn - turn) * abs(unit.jack.top_rear[1]), clear, over,
        blow.checking_distance if blow.caught else None,
    )  # fmt: skip


def measure_contact_offsets(pressed: slow_press.PressRun) -> tuple[float, float]:
    """How far capstan's and jack's contacts stand over their lines, the crown half way to let-off, m."""
    rest, crown = pressed.rest, pressed.down.place.crown_to_string
    half = int(np.argmax(crown <= 0.5 * (crown[0] + crown[pressed.peak])))
    at = {x: pressed.down.trace[x][half : half + 1] for x in ("kr", "w", "j", "h")}
    u = rest.unit
    normal = np.array([-np.sin(at["w"]), np.cos(at["w"])])
    capstan = rotate_vectors(at["kr"], u.key.capstan_centre) + u.key.capstan_radius * normal
    core = rotate_vectors(at["h"], u.hammer.knuckle_centre) + np.array(u.hammer.centre)[:, None]
    along = rotate_vectors(at["j"], u.jack.top_rear) - rotate_vectors(at["j"], u.jack.top_front)
    up = np.array([-along[1], along[0]]) / np.hypot(*along)
    knuckle = core - u.hammer.knuckle_radius * up
    wippen, hammer = np.array(u.wippen.centre), np.array(u.hammer.centre)
    return _distance_over_line(capstan[:, 0], np.zeros(2), wippen), _distance_over_line(knuckle[:, 0], hammer, wippen)


def _distance_over_line(point: Array, a: Array, b: Array) -> float:
    """Distance of a point over the line from a to b, m."""
    way, to = b - a, point - a
    return float((way[0] * to[1] - way[1] * to[0]) / np.hypot(*way))


def measure_tail(pressed: slow_press.PressRun) -> tuple[float, float]:
    """Tail to check, least on the way to let-off; tail's underside over the check's top at let-off, m."""
    rest, trace = pressed.rest, pressed.down.trace
    rows = sorted({*range(0, pressed.peak, 40), pressed.peak})
    clear = float(rest.gap_along("backcheck", trace, rows).min())
    u, at = rest.unit, slice(pressed.peak, pressed.peak + 1)
    low = rotate_vectors(trace["h"][at], u.hammer.tail_centre)[1] + u.hammer.centre[1] - u.hammer.tail_radius
    face = u.key.backcheck_foot
    top = (
        face[0] + u.key.backcheck_length * math.cos(u.key.backcheck_angle),
        face[1] + u.key.backcheck_length * math.sin(u.key.backcheck_angle),
    )
    return clear, float((low - rotate_vectors(trace["kr"][at], top)[1])[0])
