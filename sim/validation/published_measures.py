"""How each published figure is read of a unit: the measures that shared/published.toml names (SI; None: unreadable)."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Mapping

import numpy as np
from numpy.typing import NDArray

from sim.bench import repetition, strike
from sim.bench.hammer_modes import measure_shank_frequency
from sim.bench.readings import Strike
from sim.physics import shank
from sim.physics.finger import Touch
from sim.unit.model import GRAVITY, ActionUnit
from sim.validation.specimen import STRENGTHS, Specimen

Array = NDArray[np.float64]
Measure = Callable[..., float | None]

ORDER = (
    "key_leaves_rest", "toe_meets_button", "lever_meets_drop_screw", "escape", "string_contact", "key_bottom",
    "tail_meets_backcheck", "caught",
)  # fmt: skip
PLATEAU = (0.20, 0.50)
"""Share of the key's travel in which a plateau is looked for: "about 1/3"."""
PLATEAU_AT = 2.0
"""Hammer speed (m/s) at which the key's motion is drawn: mf."""


def _compute_key_to_bottom(blow: Strike) -> float | None:
    start, end = blow.events["key_leaves_rest"], blow.events["key_bottom"]
    return None if start is None or end is None else end - start


def _compute_landing(blow: Strike) -> float | None:
    landed, contact = blow.events["key_meets_punching"], blow.events["string_contact"]
    return None if landed is None or contact is None else landed - contact


def _compute_speed_ratio(blow: Strike) -> float | None:
    return blow.hammer_speed / blow.key_speed_max if blow.hammer_speed and blow.key_speed_max else None


DERIVED: Mapping[str, Callable[[Strike], float | None]] = {
    "key_to_bottom": _compute_key_to_bottom, "landing": _compute_landing, "speed_ratio": _compute_speed_ratio,
}  # fmt: skip
"""What is worked out from a blow's readings, beside the readings themselves."""


def read_blow_quantity(blow: Strike | None, quantity: str) -> float | None:
    """One quantity of a blow."""
    if blow is None:
        return None
    value = DERIVED[quantity](blow) if quantity in DERIVED else getattr(blow, quantity)
    return None if value is None else float(value)


def played(s: Specimen, quantity: str, v: float, struck: bool = False) -> float | None:
    """A quantity of the blow that the unit's finger gives hammer speed v with."""
    return read_blow_quantity(s.blow(v, struck), quantity)


def led(s: Specimen, quantity: str, v: float) -> float | None:
    """The same with the key led to its bottom, in the time that gives hammer speed v."""
    return read_blow_quantity(s.blow(v, kind="motion"), quantity)


def _read_over_speeds(s: Specimen, quantity: str, speeds: tuple[float, ...], struck: bool) -> list[float] | None:
    values = [played(s, quantity, v, struck) for v in speeds]
    return None if None in values else [float(v) for v in values if v is not None]


def greatest_rise(s: Specimen, quantity: str, speeds: tuple[float, ...], struck: bool = False) -> float | None:
    """Greatest rise from one hammer speed to the next; below zero where the quantity falls all the way."""
    values = _read_over_speeds(s, quantity, speeds, struck)
    return None if values is None else max(b - a for a, b in itertools.pairwise(values))


def zero_at(s: Specimen, quantity: str, speeds: tuple[float, ...], struck: bool = False) -> float | None:
    """Hammer speed at which a falling quantity is zero, straight between the speeds."""
    values = _read_over_speeds(s, quantity, speeds, struck)
    if values is None:
        return None
    for (v, a), (w, b) in itertools.pairwise(zip(speeds, values, strict=True)):
        if a > 0 >= b:
            return v + (w - v) * a / (a - b)
    return None


def half_span(s: Specimen, quantity: str, speeds: tuple[float, ...]) -> float | None:
    """Half of what lies between the softest and the loudest of three speeds, over the value at the middle one."""
    values = _read_over_speeds(s, quantity, speeds, False)
    return None if values is None else (values[0] - values[2]) / (2 * values[1])


def struck_less_pressed(s: Specimen, v: float) -> float | None:
    """Travel time of the struck touch less that of the pressed one."""
    a, b = played(s, "travel_time", v, True), played(s, "travel_time", v)
    return None if a is None or b is None else a - b


def softest(s: Specimen) -> float | None:
    """Hammer speed of the softest pressed blow that sounds, by halving the strength's bracket."""
    i = s.find_louder_strength(0.0, False, "finger")
    if i is None or i == 0:
        return None
    low, high = map(float, STRENGTHS["finger"][i - 1 : i + 1])
    found = s.speed(Touch("", high))
    for _ in range(8):
        mid = 0.5 * (low + high)
        speed = s.speed(Touch("", mid))
        low, high, found = (low, mid, speed) if speed > 0 else (mid, high, found)
    return found


def out_of_order(s: Specimen, v: float) -> float | None:
    """How many events of a stroke are missing or come before the one they should follow, the key led."""
    blow = s.blow(v, kind="motion")
    if blow is None:
        return None
    times = [blow.events[name] for name in ORDER]
    there = [t for t in times if t is not None]
    return float(len(times) - len(there) + sum(a > b for a, b in itertools.pairwise(there)))


def plateau(s: Specimen, v: float, over: str = "") -> float | None:
    """Dip of the key's speed in a struck touch; with ``over``, that of the "pressed" or "rigid" one over it."""
    motions = trace_key_speed(s, v)
    deep = compute_dip(*motions["struck"]) if "struck" in motions else None
    if deep is None or not over:
        return deep
    other = {"pressed": "pressed", "rigid": "struck, rigid shank"}[over]
    return compute_dip(*motions[other]) / deep if other in motions and deep > 0 else None


def trace_key_speed(s: Specimen, v: float) -> dict[str, tuple[Array, Array]]:
    """Share of the key's travel and its speed (m/s), until it lands: pressed, struck, and struck with a rigid shank.

    The last is played by the finger that gives hammer speed v with the bending one.
    """
    struck = s.touch(v, True)
    touches = {"pressed": (s, s.touch(v)), "struck": (s, struck), "struck, rigid shank": (s.rigid, struck)}
    found = {}
    for name, (body, touch) in touches.items():
        if touch is None:
            continue
        r = strike.run_blow(body.rest, touch)
        landed = int(np.argmax(r.trace["N_punching"] > 0))
        if landed:
            travel = body.rest.travel(r)
            found[name] = travel[:landed] / travel[landed], r.place.key_speed[:landed]
    return found


def compute_dip(part: Array, speed: Array) -> float:
    """Depth of the dip in key speed within PLATEAU of the travel, under the peak before it (0: none)."""
    inside = (part >= PLATEAU[0]) & (part <= PLATEAU[1])
    before = part < part[inside][np.argmin(speed[inside])]
    return max(0.0, float(1 - speed[inside].min() / speed[before].max()))


def flight_over_ballistics(s: Specimen, v: float, rigid: bool) -> float | None:
    """Free flight over (u - sqrt(u² - 2 g' h)) / g', crown speed u and gap h at the last push, the key led."""
    body = s.ideal if rigid else s
    led_blow = body.run(v, kind="motion")
    if led_blow is None:
        return None
    blow, r = led_blow
    start, flight = blow.events["free_flight"], blow.free_flight
    if start is None or flight is None:
        return None
    i = int(np.searchsorted(r.trace["t"], start))
    u, gap = float(r.place.crown_speed[i]), float(r.place.crown_to_string[i])
    g = compute_deceleration(body.unit)
    reach = u * u - 2 * g * gap
    return None if reach < 0 else flight * g / (u - math.sqrt(reach))


def compute_deceleration(unit: ActionUnit) -> float:
    """What weight takes off the crown's speed while the level hammer flies freely, m/s²."""
    hm = unit.hammer
    moment = GRAVITY * (hm.head_mass * hm.head_mass_centre[0] + hm.shank_mass_moment)
    return moment / float(shank.compute_mass_matrix(hm)[0, 0]) * hm.strike_point[0]


def mode(s: Specimen, root_held: bool) -> float | None:
    """Lowest frequency (Hz) at which the hammer rings."""
    return measure_shank_frequency(s.rest, root_held=root_held)


def rigid_over_bending(s: Specimen, v: float) -> float | None:
    """Hammer speed with a rigid shank over that with a bending one, the same finger."""
    touch = s.touch(v)
    return None if touch is None else s.rigid.speed(touch) / v


def repeats(s: Specimen, rate: float) -> float | None:
    """Share of the strokes of a rate (per s) that sound, from the best depth to which the finger returns."""
    shares = []
    for depth in repetition.DEPTHS:
        r, begins = repetition.play_series(s.rest, rate, depth)
        shares.append(repetition.judge_series(s.rest, r, begins, rate, depth)[0] if r.outcome.fine else 0.0)
    return max(shares)


PLAYED: Mapping[str, Measure] = {
    f.__name__: f
    for f in (
        played, led, greatest_rise, zero_at, half_span, struck_less_pressed, softest, out_of_order, plateau,
        flight_over_ballistics, mode, rigid_over_bending, repeats,
    )
}  # fmt: skip
