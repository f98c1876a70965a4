"""The same motions of the key in the twin and in the simulator, and what both read."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sim.bench.rest import Rest, at_rest
from sim.bench.slow_press import bottom_travel
from sim.physics.finger import key_motion
from sim.physics.run import run
from sim.unit.model import GRAVITY, ActionUnit
from tests.twin.engine import Twin

Array = NDArray[np.float64]
GF = 1e-3 * GRAVITY

SPAN = (2e-3, 5e-3)
"""Travel of the touch point over which weights are taken, m (readings of the bench)."""
FIRM = 10.0
"""Force on the punching at the bottom of a stroke, N."""
MOTIONS = {"even": 1, "squared": 2, "cubed": 3}
"""Travel over time: its power; the even one is eased in."""
TOUCHES = {"soft": 0.160, "medium": 0.058, "hard": 0.033}
"""Time to the bottom of the cubed motion, s: near 0.7, 2 and 4.5 m/s; the others as fast in the end."""

TOLERANCES: dict[tuple[str, str], float] = {
    ("same laws", "down weight"): 0.3, ("same laws", "up weight"): 0.3, ("same laws", "let-off"): 0.05,
    ("same laws", "drop"): 0.1, ("same laws", "travel time"): 0.3, ("same laws", "hammer speed, rigid"): 1.0,
    ("same laws", "hammer speed, bending"): 3.0, ("stock", "down weight"): 1.5, ("stock", "up weight"): 1.5,
    ("stock", "hammer speed, rigid"): 6.0,
}  # fmt: skip
"""gf, mm, mm at the same depth, ms, %."""


@dataclass(frozen=True)
class Compared:
    """One quantity read twice."""

    unit: str
    shank: str
    contacts: str
    touch: str
    quantity: str
    unit_of: str
    ours: float
    theirs: float

    @property
    def difference(self) -> float:
        """Theirs over ours: in % of a speed, else in the quantity's unit."""
        off = self.theirs - self.ours
        return 100 * off / self.ours if self.quantity == "hammer speed" else off

    @property
    def tolerance(self) -> float | None:
        """Largest difference that is agreed to; None: told only."""
        name = f"{self.quantity}, {self.shank}" if self.quantity == "hammer speed" else self.quantity
        return TOLERANCES.get((self.contacts, name))

    @property
    def met(self) -> bool:
        return self.tolerance is None or abs(self.difference) <= self.tolerance

    def row(self) -> dict[str, Any]:
        note = "" if self.met else NOTES.get((self.contacts, self.touch.split(",")[0]), "")
        return {
            "unit": self.unit, "shank": self.shank, "contacts": self.contacts, "touch": self.touch,
            "quantity": self.quantity, "unit_of": self.unit_of, "ours": self.ours, "theirs": self.theirs,
            "difference": self.difference, "difference_in": "%" if self.quantity == "hammer speed" else self.unit_of,
            "tolerance": self.tolerance, "met": self.met, "note": note,
        }  # fmt: skip


NOTES = {
    ("stock", touch): "the engine's own contacts do not give as felt does: a loud stroke squeezes the felts by some "
    "0.3 mm and gets that back, with the laws of the felts both agree"
    for touch in TOUCHES
}


def with_shank(u: ActionUnit, bends: bool) -> ActionUnit:
    return replace(u, hammer=replace(u.hammer, shank_bends=bends))


def stroke(depth: float, motion: str, touch: str) -> Array:
    """Path of the touch point to the bottom, stopped there (rows of s, m, m/s)."""
    power = MOTIONS[motion]
    time = TOUCHES[touch] * power / 3
    if power == 1:
        ease = 0.2 * time
        speed = depth / (time - 0.5 * ease)
        rows = [(0.0, 0.0, 0.0), (ease, 0.5 * speed * ease, speed), (time, depth, speed)]
    else:
        t = np.linspace(0.0, time, 200)
        rows = list(zip(t, depth * (t / time) ** power, depth * power / time * (t / time) ** (power - 1), strict=True))
    return np.array([*rows, (time + 1e-6, depth, 0.0), (time + 1.0, depth, 0.0)])


def down_and_up(depth: float, speed: float, ease: float = 0.05, hold: float = 0.15) -> Array:
    """Path to the bottom and back at an even speed, held between (rows of s, m, m/s)."""
    t1 = ease + (depth - speed * ease) / speed
    down = [(0.0, 0.0, 0.0), (ease, 0.5 * speed * ease, speed), (t1, depth - 0.5 * speed * ease, speed)]
    down.append((t1 + ease, depth, 0.0))
    up = [(t1 + ease + hold + t, depth - y, -v) for t, y, v in down]
    return np.array(down + up)


def weighed(t: Array, travel: Array, force: Array, crown: Array) -> dict[str, tuple[float, str]]:
    """Weights (gf), let-off and drop at the bottom (mm) of a slow press down and up."""
    down = t < 0.5 * t[-1]
    inside = (travel >= SPAN[0]) & (travel <= SPAN[1])
    peak = float(crown[down].min())
    held = float(crown[np.flatnonzero(down)[-1]])
    return {
        "down weight": (float(force[down & inside].mean()) / GF, "gf"),
        "up weight": (float(force[~down & inside].mean()) / GF, "gf"),
        "let-off": (1e3 * peak, "mm"),
        "drop": (1e3 * (held - peak), "mm"),
    }


def press(unit: str, u: ActionUnit, twin: Twin, speed: float) -> list[Compared]:
    """A slow press by both, along the same path."""
    rest = at_rest(u, twin.step)
    path = down_and_up(bottom_travel(rest), speed)
    end = float(path[-1, 0])
    theirs = twin.play(path, end, every=10)
    r = run(rest.parameters, _drive(rest, path), end, rest.state, step=twin.step, every=10 * twin.step).require()
    own = weighed(r.trace["t"], rest.travel(r), r.trace["finger_force"], r.place.crown_to_string)
    other = weighed(theirs["t"], theirs["travel"], theirs["force"], theirs["crown"])
    contacts = "stock" if twin.stock else "same laws"
    return [
        Compared(unit, _shank(u), contacts, f"slow press, {speed * 1e3:.0f} mm/s", n, own[n][1], own[n][0], other[n][0])
        for n in own
    ]


def strike(unit: str, u: ActionUnit, twin: Twin, motion: str, touch: str) -> list[Compared]:
    """One stroke by both, along the same path."""
    rest = at_rest(u, 10e-6)
    path = stroke(bottom_travel(rest, FIRM), motion, touch)
    end = float(path[-2, 0]) + 0.02
    time, speed = twin.play(path, end, every=1).contact()
    made = run(rest.parameters, _drive(rest, path), end, rest.state, step=10e-6, every=None).require().log
    first = made.of("string", True)[0]
    at = unit, _shank(u), "stock" if twin.stock else "same laws", f"{touch}, {motion}"
    return [
        Compared(*at, "travel time", "ms", 1e3 * float(first[0]), 1e3 * time),
        Compared(*at, "hammer speed", "m/s", float(first[4]), speed),
    ]


def _drive(rest: Rest, path: Array) -> Any:
    return key_motion(path, rest.arm, rest.angle)


def _shank(u: ActionUnit) -> str:
    return "bending" if u.hammer.shank_bends else "rigid"
