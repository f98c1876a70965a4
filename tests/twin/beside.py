"""This simulator and its twin side by side: the same unit, the same led key, the same definitions; rows of the record.

Tolerances were set before the comparison: one for the same contact laws with a rigid
and with a bending shank, a wider one for the engine's own contacts.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache
from typing import Any

import numpy as np

from sim.bench import slow_press
from sim.bench import strike as blow
from sim.bench.readings import Strike
from sim.bench.rest_pose import Rest, settle_at_rest
from sim.physics.finger import TABLE_END, Touch, drive_key_motion
from sim.physics.run import DEFAULT_STEP, run
from sim.scenario.load import load
from sim.scenario.shipped import find_scenario
from sim.unit.model import ActionUnit
from tests.twin import bench
from tests.twin.bench import GF, Array, Path, Twin

Row = dict[str, Any]

UNITS = ("concert-grand-natural", "treble", "damped")
STOCK_UNITS = ("concert-grand-natural", "treble")
SHANKS = ("rigid", "bending")
BOTTOM = 12.0
"""Force on the punching at which the led key stops, N."""
HARDER = 1000.0
"""How much stiffer surfaces are taken where the engine's rigid contacts are to be matched."""
FINE = 4e-6
"""Step for such hard surfaces, s."""


@dataclass(frozen=True)
class LedKey:
    """A way of leading the key to its bottom in ``time`` s: travel as t², t³ or half a wave."""

    shape: str
    level: str
    time: float

    @property
    def name(self) -> str:
        return f"{self.shape}, {self.level}"

    def path(self, depth: float) -> Path:
        """Travel and speed of the touch point; the key stops at ``depth`` (m) and stays."""
        whole = self.time

        def go(t: Array) -> tuple[Array, Array]:
            x, moving = np.clip(t / whole, 0.0, 1.0), t < whole
            if self.shape == "half wave":
                speed = 0.5 * math.pi * depth / whole * np.sin(math.pi * x) * moving
                return 0.5 * depth * (1 - np.cos(math.pi * x)), speed
            n = {"t²": 2, "t³": 3}[self.shape]
            return depth * x**n, n * depth / whole * x ** (n - 1) * moving

        return go


TIMES = {"t²": (0.115, 0.043, 0.0265), "t³": (0.16, 0.058, 0.033), "half wave": (0.115, 0.06, 0.0345)}
"""Such that the hammer of the demo unit comes near 0.7, 2 and 4.5 m/s."""
LED = tuple(
    LedKey(shape, level, time)
    for shape, times in TIMES.items()
    for level, time in zip(("soft", "medium", "hard"), times, strict=True)
)


@dataclass(frozen=True)
class Quantity:
    title: str
    unit: str
    scale: float
    rigid: float | None
    """Tolerance with a rigid shank, in ``unit`` (in % where relative); None: told beside, no tolerance set."""
    bending: float | None
    stock: float | None
    relative: bool = False


STATICS = {
    "down": Quantity("down weight", "gf", 1 / GF, 0.3, 0.3, 1.5),
    "up": Quantity("up weight", "gf", 1 / GF, 0.3, 0.3, 1.5),
    "let_off": Quantity("let-off", "mm", 1e3, 0.05, 0.05, None),
    "drop": Quantity("drop past escape", "mm", 1e3, 0.1, 0.1, None),
    "bottom_drop": Quantity("drop at bottom", "mm", 1e3, 0.1, 0.1, None),
    "blow": Quantity("blow", "mm", 1e3, None, None, None),
}
STROKE = {
    "hammer_speed": Quantity("hammer speed", "m/s", 1.0, 1.0, 3.0, 6.0, True),
    "travel_time": Quantity("travel time", "ms", 1e3, 0.3, 0.3, None),
    "peak_force": Quantity("peak force on the string", "N", 1.0, None, None, None, True),
    "contact_time": Quantity("string contact", "ms", 1e3, None, None, None),
}


@cache
def load_unit(name: str, shank: str) -> ActionUnit:
    """A shipped unit with a rigid or a bending shank."""
    u = load(find_scenario(name))
    return replace(u, hammer=replace(u.hammer, shank_bends=shank == "bending"))


@cache
def find_rest_pose(name: str, shank: str) -> Array:
    """Where the twin comes to rest."""
    return Twin(load_unit(name, shank), bench.PRESS_STEP).data.qpos.copy()


def build_row(name: str, shank: str, touch: str, q: Quantity, ours: float, theirs: float, **more: Any) -> Row:
    """One line of the record; ``contacts`` tells whose contact laws the twin has."""
    contacts = more.setdefault("contacts", "same laws")
    tolerance = (q.bending if shank == "bending" else q.rigid) if contacts == "same laws" else q.stock
    off = 100 * (ours / theirs - 1) if q.relative else q.scale * (ours - theirs)
    return {
        "unit": name,
        "shank": shank,
        "touch": touch,
        "quantity": q.title,
        "unit_of": q.unit,
        "ours": q.scale * ours,
        "theirs": q.scale * theirs,
        "difference": off,
        "difference_in": "%" if q.relative else q.unit,
        "tolerance": tolerance,
        "met": None if tolerance is None else abs(off) <= tolerance,
        **more,
    }


def read_our_press(u: ActionUnit) -> tuple[bench.Pressed, float]:
    """This simulator's slow press as its bench reads it, and the depth (m) at which the drop was read."""
    rest = settle_at_rest(u)
    done = slow_press.press_slowly(rest)
    found, weights = slow_press.read_settings(done, wink=False), slow_press.read_touch_weight(done)[0]
    escape = done.peak + int(np.argmin(done.down.place.crown_speed[done.peak :]))
    depth = float(rest.travel(done.down)[escape]) + slow_press.PAST_ESCAPE
    told = (
        found.blow, weights.down_weight, weights.up_weight, found.let_off, found.drop, found.drop_at_bottom
    )  # fmt: skip
    return bench.Pressed(*(math.nan if x is None else x for x in told)), depth


def compare_statics(name: str, shank: str) -> Iterator[Row]:
    """The slow press."""
    ours, depth = read_our_press(load_unit(name, shank))
    theirs = bench.press_slowly(load_unit(name, shank), depth, find_rest_pose(name, shank))
    for field, q in STATICS.items():
        yield build_row(name, shank, "slow press", q, getattr(ours, field), getattr(theirs, field))


def read_our_stroke(u: ActionUnit, led: LedKey, depth: float, step: float = DEFAULT_STEP) -> tuple[Strike, float]:
    """This simulator's answer to a led key as its bench reads it, and when the crown met the string (s)."""
    rest = settle_at_rest(u, step)
    reading = blow.read_strike(rest, Touch("motion", 0.0), _led(rest, led, depth))
    met = reading.events.get("string_contact")
    if met is None:
        raise ArithmeticError(f"{u.name}, {led.name}: {reading.outcome}")
    return reading, met


def _led(rest: Rest, led: LedKey, depth: float) -> Any:
    t = np.linspace(0.0, led.time, 2001)
    travel, speed = led.path(depth)(t)
    speed[-1] = led.path(depth)(t[-1:] - 1e-12)[1][0]
    stop = [[led.time + 1e-6, depth, 0.0], [led.time + TABLE_END, depth, 0.0]]
    path = np.vstack([np.column_stack([t, travel, speed]), stop])
    drive = drive_key_motion(path, rest.arm, rest.angle)
    return run(rest.parameters, drive, led.time + 0.06, rest.state, step=rest.step, every=rest.step)


def compare_stroke(
    name: str, shank: str, led: LedKey, step: float = bench.STRIKE_STEP, *, steady: bool = False
) -> Iterator[Row]:
    """One led key; ``steady`` has the twin do it once more with twice the step and tells what that changes."""
    u = load_unit(name, shank)
    twin = Twin(u, step, find_rest_pose(name, shank))
    path = led.path(depth := twin.firm_travel(BOTTOM))
    ours, met = read_our_stroke(u, led, depth)
    duration = met + bench.AFTER + 1e-3
    theirs = bench.strike_key(twin, path, duration)
    again = bench.strike_key(Twin(u, 2 * step, find_rest_pose(name, shank)), path, duration) if steady else None
    for field, q in STROKE.items():
        more = {}
        if again:
            more["note"] = f"theirs {_changed(q, getattr(again, field), getattr(theirs, field))} with twice its step"
        yield build_row(name, shank, led.name, q, getattr(ours, field), getattr(theirs, field), **more)


def _changed(q: Quantity, value: float, was: float) -> str:
    return f"{100 * (value / was - 1):+.3f} %" if q.relative else f"{q.scale * (value - was):+.4f} {q.unit}"


def harden_unit(u: ActionUnit) -> ActionUnit:
    """The unit with surfaces between its parts as good as rigid."""
    laws = {
        n: law if n in ("string", "finger") else replace(law, stiffness=HARDER * law.stiffness)
        for n, law in u.contacts.items()
    }
    return replace(u, contacts=laws)


def compare_stock_weights(name: str) -> Iterator[Row]:
    """Touch weights with the engine's own contacts; the felts' give plays no part in them."""
    u = load_unit(name, "rigid")
    twin = Twin(u, bench.PRESS_STEP, stock_contacts=True)
    down, up = bench.press_and_release(twin)
    home = float(down["travel"][0])
    ours, _ = read_our_press(u)
    for field, motion in (("down", down), ("up", up)):
        theirs = bench.measure_weight(twin, home, motion)
        yield build_row(
            name, "rigid", "slow press", STATICS[field], getattr(ours, field), theirs, contacts="the engine's own"
        )


def compare_stock_stroke(name: str, led: LedKey) -> Iterator[Row]:
    """Hammer speed with the engine's own contacts: the unit as it is, and with surfaces as hard as those are."""
    u = load_unit(name, "rigid")
    twin = Twin(u, bench.STRIKE_STEP, stock_contacts=True)
    depth = Twin(u, bench.STRIKE_STEP, find_rest_pose(name, "rigid")).firm_travel(BOTTOM)
    speed = bench.strike_key(twin, led.path(depth), led.time + 0.03).hammer_speed
    for contacts, ours, note in (
        (
            "the engine's own",
            read_our_stroke(u, led, depth),
            "felts give in ours, hardly in theirs: see the hardened unit",
        ),
        (
            "the engine's own, our surfaces hardened",
            read_our_stroke(harden_unit(u), led, depth, FINE),
            f"surfaces {HARDER:.0f} times as stiff, step {FINE * 1e6:.0f} µs",
        ),
    ):
        found = ours[0].hammer_speed or math.nan
        line = build_row(name, "rigid", led.name, STROKE["hammer_speed"], found, speed, contacts=contacts)
        hard = "hardened" in contacts
        yield line | ({"note": note} if hard or not line["met"] else {})
