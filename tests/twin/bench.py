"""The twin on the bench: at rest, pressed slowly, struck by a led key; readings by the same definitions, taken anew."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from sim.unit.model import GRAVITY, ActionUnit
from tests.lazily import Lazily
from tests.twin import bodies, laws, measures, stock
from tests.twin.measures import ROW, Array

mujoco = Lazily("mujoco")

GF = 1e-3 * GRAVITY
FIRM = 300 * GF
"""Force at the bottom of the key, N."""
SLOW = 3e-3
"""Speed of the slow press, m/s; half as fast again on the way back."""
SPAN = (2e-3, 5e-3)
"""Travel over which touch weights are means, m."""
LEAVES = 1e-5
"""Travel at which the key is said to have left rest, m."""
PRESS_STEP, STRIKE_STEP = 25e-6, 5e-6
SETTLING = 60.0
"""Share of all speeds taken away while parts come to rest, 1/s."""
AFTER = 0.02
"""How long after the crown met the string the greatest force is looked for, s."""

Path = Callable[[Array], tuple[Array, Array]]
"""Travel of the touch point (m, + down) and its speed at times (s)."""


@dataclass(frozen=True)
class Motion:
    """What was written at every step."""

    t: Array
    rows: Array

    def __getitem__(self, name: str) -> Array:
        return self.rows[:, ROW.index(name)]


class Twin:
    """One unit in the engine, at rest to begin with.

    ``stock``: the surfaces are the engine's own contacts.  ``pose``: joints at
    rest as a twin of any step has found them.
    """

    def __init__(self, unit: ActionUnit, step: float, pose: Array | None = None, *, stock_contacts: bool = False):
        self.unit, self.step = unit, step
        surfaces, felts = measures.build_faces(unit), measures.build_felts(unit)
        more = stock.add_contacts(unit, surfaces) if stock_contacts else None
        if stock_contacts:
            surfaces, felts = surfaces[:0], 0 * felts
        self.model = bodies.build_model(unit, step, more)
        self.parts = (surfaces, felts, measures.build_numbers(unit, step), measures.build_rod_points(unit))
        self.data = mujoco.MjData(self.model)
        self._about = np.zeros((self.model.nbody, 3))
        self.view = self._looked_into()
        self.memory = measures.make_memory(unit, step)
        if pose is None:
            self._settle()
        else:
            self.data.qpos[:] = pose
        self.rest = float(self.data.qpos[0])

    def _looked_into(self) -> measures.View:
        m, d = self.model, self.data
        carries = np.zeros((m.nbody, m.nv), bool)
        for body in range(1, m.nbody):
            carries[body] = carries[m.body_parentid[body]]
            first = m.body_dofadr[body]
            carries[body, first : first + m.body_dofnum[body]] = True
        slides = m.wrap_prm[: bodies.SURFACES * m.nv].reshape(bodies.SURFACES, m.nv)
        return measures.View(
            d.xpos, d.xmat, d.cvel, self._about, d.xipos, d.qpos, d.qvel, d.xfrc_applied, d.qfrc_applied,
            d.cdof, carries, slides, m.tendon_frictionloss[: bodies.SURFACES],
        )  # fmt: skip

    def _settle(self) -> None:
        """Come to rest without any dry friction from the design pose, the hammer laid on from above; then with it."""
        model, data, (table, felt, unit, rod) = self.model, self.data, self.parts
        data.qpos[5] = self.unit.hammer.rest_angle
        row = np.zeros(len(ROW))
        carrying = [ROW.index(n) for n in ("jack_knuckle", "lever_knuckle", "rest_cushion")]
        for _ in range(100):
            self._act(row, 0.0, 0.0, 0.0)
            if not row[carrying].any():
                break
            data.qpos[5] += 1e-3
        rubbing, smooth = model.dof_frictionloss.copy(), felt.copy()
        model.dof_frictionloss[:] = 0.0
        smooth[:, 3] = 0.0
        self.parts = (table, smooth, unit, rod)
        self.run(0.4, slow=SETTLING)
        model.dof_frictionloss[:] = rubbing
        self.parts = (table, felt, unit, rod)
        self.run(0.1, slow=SETTLING)
        data.qvel[:] = 0.0

    def _act(self, row: Array, lead: bool, key: float, speed: float) -> None:
        mujoco.mj_step1(self.model, self.data)
        self._about[:] = self.data.subtree_com[self.model.body_rootid]
        laws.act(self.view, *self.parts, self.memory, lead, key, speed, row)

    def run(self, duration: float, path: Path | None = None, *, slow: float = 0.0) -> Motion:
        """Go on for ``duration`` (s): the key led along ``path`` from rest, or left alone.

        ``slow`` (1/s) takes that share of all speeds away.
        """
        rows = np.zeros((round(duration / self.step), len(ROW)))
        t = self.step * np.arange(len(rows))
        travel, speed = path(t) if path else (0 * t, 0 * t)
        keys, key_speeds = ((self.rest + travel / self.arm) if path else t).tolist(), (speed / self.arm).tolist()
        step2, model, data = mujoco.mj_step2, self.model, self.data
        for row, key, key_speed in zip(rows, keys, key_speeds, strict=True):
            self._act(row, path is not None, key, key_speed)
            step2(model, data)
            if slow:
                data.qvel[:] *= 1 - slow * self.step
        if not np.isfinite(rows[-1]).all() or any(warning.number for warning in data.warning):
            # the engine would begin anew from the design pose
            raise ArithmeticError(f"the twin loses its motion at a step of {self.step} s")
        return Motion(t, rows)

    @property
    def arm(self) -> float:
        """Touch point's distance from the balance rail, m."""
        return -self.unit.key.touch_point[0]

    def force(self, motion: Motion) -> Array:
        """Downward force at the touch point that leads the key, N."""
        x, y = self.unit.key.touch_point
        return motion["torque"] / -(np.cos(motion["key"]) * x - np.sin(motion["key"]) * y)

    def firm_travel(self, force: float) -> float:
        """Travel of the touch point from rest at which the punching carries ``force`` (N), m."""
        law, k = self.unit.contacts["punching"], self.unit.key
        low = k.punching_plane_y - (force / law.stiffness) ** (1 / law.exponent)
        return (math.asin(low / k.punching_x) - self.rest) * self.arm


def build_ramp(depth: float, speed: float, ease: float = 0.02) -> Path:
    """Down (or up, depth < 0) at an even speed, which comes and goes as a smooth step over ``ease`` seconds."""
    pace = math.copysign(speed, depth)
    whole = depth / pace

    def gone(x: Array) -> Array:
        """Integral of the smooth step 3 x² - 2 x³."""
        inside = np.clip(x, 0.0, 1.0)
        return inside**3 - 0.5 * inside**4 + np.maximum(0.0, x - 1.0)

    def step(x: Array) -> Array:
        inside = np.clip(x, 0.0, 1.0)
        return inside**2 * (3 - 2 * inside)

    def path(t: Array) -> tuple[Array, Array]:
        a, b = t / ease, (t - whole) / ease
        return pace * ease * (gone(a) - gone(b)), pace * (step(a) - step(b))

    return path


def press_and_release(twin: Twin) -> tuple[Motion, Motion]:
    """Slowly to the bottom (the punching carrying twice what is firm) and back."""
    depth = twin.firm_travel(2 * FIRM)
    down = twin.run(depth / SLOW + 0.07, build_ramp(depth, SLOW))
    back = build_ramp(-depth, 1.5 * SLOW)
    return down, twin.run(depth / (1.5 * SLOW) + 0.05, lambda t: (depth + back(t)[0], back(t)[1]))


def measure_weight(twin: Twin, home: float, motion: Motion) -> float:
    """Mean force (N) that leads the key over SPAN, from the travel ``home`` at rest (m)."""
    travel = motion["travel"] - home
    inside = (travel >= SPAN[0]) & (travel <= SPAN[1])
    return float(twin.force(motion)[inside].mean())


@dataclass(frozen=True)
class Pressed:
    """Readings of a slow press (m, N)."""

    blow: float
    down: float
    up: float
    let_off: float
    drop: float
    bottom_drop: float


def press_slowly(unit: ActionUnit, drop_depth: float, pose: Array | None = None, step: float = PRESS_STEP) -> Pressed:
    """Down to the bottom and back, and once more to ``drop_depth`` (m) and held there."""
    twin = Twin(unit, step, pose)
    start = twin.data.qpos.copy()
    down, up = press_and_release(twin)
    home, crown = float(down["travel"][0]), down["crown"]
    peak = int(np.argmin(crown))
    landed = (twin.force(down) >= FIRM) & (down["punching"] > 0.5 * FIRM)
    firm = peak + int(np.argmax(landed[peak:]))
    again, pace = Twin(unit, step, start), 2 * SLOW
    held = again.run(drop_depth / pace + 0.27, build_ramp(drop_depth, pace))["crown"]
    let_off = float(crown[peak])
    return Pressed(
        float(crown[0]),
        measure_weight(twin, home, down),
        measure_weight(twin, home, up),
        let_off,
        float(held[-1]) - let_off,
        float(crown[firm]) - let_off,
    )


@dataclass(frozen=True)
class Struck:
    """Readings of a stroke (m/s, s, N, s)."""

    hammer_speed: float
    travel_time: float
    peak_force: float
    contact_time: float


def strike_key(twin: Twin, path: Path, duration: float) -> Struck:
    """The key led along a path until the crown has met the string for AFTER, which must be within ``duration`` (s)."""
    m = twin.run(duration, path)
    gap = m["crown"] + m["string_place"]
    meets = np.flatnonzero(gap < 0)
    if not len(meets):
        raise ArithmeticError("the twin's hammer does not reach the string")
    i = int(meets[0])
    part = gap[i - 1] / (gap[i - 1] - gap[i])
    contact = float(m.t[i - 1] + part * twin.step)
    travel = m["travel"] - m["travel"][0]
    left = int(np.argmax(travel > LEAVES)) + 1
    pushed = np.flatnonzero(m["string"][i:] == 0)
    return Struck(
        float((1 - part) * m["crown_speed"][i - 1] + part * m["crown_speed"][i]),
        contact - float(np.interp(LEAVES, travel[:left], m.t[:left])),
        float(m["string"][m.t < contact + AFTER].max()),
        float(m.t[i + pushed[0]] - contact) if len(pushed) else math.nan,
    )
