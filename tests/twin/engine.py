"""Strokes of a unit in a general-purpose engine: the same laws of felt, leather and string, worked out here anew.

The key's front follows a prescribed motion.  The engine places the bodies, carries
forces to the joints by its own Jacobians, integrates, and solves all dry friction as
bounded constraints: of the pins at the joints, of rubbing faces along tendons laid in
the plane of contact, their bound the pressing force of the step before.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass

import mujoco
import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicHermiteSpline

from sim.unit.model import GRAVITY, ActionUnit, ContactLaw
from tests.twin.bodies import FAR, HELD, RUBBING, rod, xml
from tests.twin.contacts import STOP_ARM, Bodies, Meeting, meetings

Array = NDArray[np.float64]
COLUMNS = ("t", "travel", "force", "crown", "crown_speed", "string_force")


@dataclass(frozen=True)
class Record:
    """One run: rows of COLUMNS (s, m, N, m, m/s, N); ``crown`` is its distance from the resting string."""

    rows: Array

    def __getitem__(self, name: str) -> Array:
        return self.rows[:, COLUMNS.index(name)]

    def contact(self) -> tuple[float, float]:
        """Time (s) and crown speed (m/s) when the crown meets the string; ValueError where it does not."""
        hit = np.flatnonzero(self["crown"] <= 0)
        if not len(hit):
            raise ValueError("the crown does not meet the string")
        i = int(hit[0])
        a, b = self["crown"][i - 1], self["crown"][i]
        part = a / (a - b)
        t, v = self["t"], self["crown_speed"]
        return float(t[i - 1] + part * (t[i] - t[i - 1])), float(v[i - 1] + part * (v[i] - v[i - 1]))


def squeezed(law: ContactLaw, depth: float, rate: float) -> float:
    """F = K d^p (1 + c d'), never tensile; m, m/s, N (Hunt & Crossley 1975)."""
    return max(0.0, law.stiffness * depth**law.exponent * (1 + law.loss * rate))


class String:
    """Travelling waves at the strike point: what was sent comes back turned over after its way."""

    def __init__(self, u: ActionUnit, step: float) -> None:
        self.s, self.step, self.place, self.speed = u.string, step, 0.0, 0.0
        longest = max(u.string.near_end_delay, u.string.far_end_delay)
        count = int(longest / step) + 3
        self.near: deque[float] = deque([0.0] * count, maxlen=count)
        self.far: deque[float] = deque([0.0] * count, maxlen=count)

    def _late(self, sent: deque[float], delay: float) -> float:
        back = delay / self.step
        whole = int(back)
        part = back - whole
        return (1 - part) * sent[-whole] + part * sent[-whole - 1]

    def push(self, law: ContactLaw, depth: float, crown_speed: float) -> float:
        """Force of felt on string (N) over one step, felt and string sharing the speed."""
        from_near = -self._late(self.near, self.s.near_end_delay)
        from_far = -self.s.far_end_reflection * self._late(self.far, self.s.far_end_delay)
        admittance, coming = 1 / (2 * self.s.impedance), from_near + from_far
        force = 0.0
        if depth > 0:
            spring = law.stiffness * depth**law.exponent
            force = spring * (1 + law.loss * (crown_speed - coming)) / (1 + spring * law.loss * admittance)
            force = max(0.0, force)
        self.speed = admittance * force + coming
        self.place += self.step * self.speed
        self.near.append(admittance * force + from_far)
        self.far.append(admittance * force + from_near)
        return force


class Twin:
    """The unit in the engine, at rest when made."""

    def __init__(self, unit: ActionUnit, step: float = 20e-6, *, stock: bool = False) -> None:
        self.u, self.step, self.stock = unit, step, stock
        self._load(0.0)
        self.settle()
        self._load(HELD)

    def _load(self, held: float) -> None:
        """The engine's model, the key's front free or held to a motion."""
        self.model = mujoco.MjModel.from_xml_string(xml(self.u, self.step, stock=self.stock, held=held))
        self.data = mujoco.MjData(self.model)
        self.bodies = Bodies(self.model, self.data)
        self.at = {self.model.joint(i).name: int(self.model.jnt_dofadr[i]) for i in range(self.model.njnt)}
        self.meetings = {} if self.stock else meetings(self.u, self.bodies)
        if not self.stock:
            self.rows = {n: self.model.tendon(n).id for n in RUBBING}
            self.sites = {n: (self.model.site(f"{n}_a").id, self.model.site(f"{n}_b").id) for n in RUBBING}

    # -- one step ---------------------------------------------------------

    def advance(self, angle: float | None, turn: float, string: String | None, rub: float = 1.0) -> tuple[float, ...]:
        """One step with the key's front at ``angle`` turning at ``turn`` rad/s (None: free); a row of COLUMNS."""
        m, d = self.model, self.data
        if angle is not None:
            d.qpos[self.at["kf"]], d.qvel[self.at["kf"]] = angle, turn
        mujoco.mj_step1(m, d)
        self.bodies.update()
        force = d.qfrc_applied
        force[:] = 0.0
        self._springs(force)
        for name, meeting in self.meetings.items():
            self._press(name, meeting(), force, rub)
        crown, speed, push = self._string(string, force)
        key = self._key_force(force, turn)
        mujoco.mj_step2(m, d)
        return d.time, self.travel(), key, crown, speed, push

    def _springs(self, force: Array) -> None:
        q, v, at, u = self.data.qpos, self.data.qvel, self.at, self.u
        bend = u.key.bending_stiffness * (q[at["kr"]] - q[at["kf"]])
        bend += u.key.bending_damping * (v[at["kr"]] - v[at["kf"]])
        force[at["kf"]] += bend + u.key.front_moment * GRAVITY * math.cos(q[at["kf"]])
        force[at["kr"]] -= bend
        s = u.springs
        force[at["j"]] -= s.jack + s.jack_rate * q[at["j"]]
        force[at["l"]] -= s.repetition + s.repetition_rate * q[at["l"]]
        hm = u.hammer
        extra = hm.shank_mass_moment - rod(u) * hm.shank_length / 2
        force[at["h"]] -= extra * GRAVITY * math.cos(q[at["h"]])
        if self.stock:
            return
        stops = (
            ("jack_stop", "j", u.jack.stop_angle, 1.0),
            ("jack_window", "j", u.jack.largest_turn, -1.0),
            ("lever_stop", "l", u.lever.stop_angle, 1.0),
        )
        for name, joint, limit, sense in stops:
            gap = STOP_ARM * sense * (q[at[joint]] - limit)
            if gap < 0:
                rate = -STOP_ARM * sense * v[at[joint]]
                force[at[joint]] += sense * STOP_ARM * squeezed(u.contacts[name], -gap, rate)

    def _press(self, name: str, m: Meeting, force: Array, rub: float) -> None:
        pressed = 0.0
        if m.gap < 0:
            (ax, ay), (bx, by) = self.bodies.speed(m.first, m.x, m.y), self.bodies.speed(m.second, m.x, m.y)
            rate = -((ax - bx) * m.nx + (ay - by) * m.ny)
            pressed = squeezed(self.u.contacts[name], -m.gap, rate)
            push, point, none = np.array([pressed * m.nx, pressed * m.ny, 0.0]), np.array([m.x, m.y, 0.0]), np.zeros(3)
            if m.first:
                mujoco.mj_applyFT(self.model, self.data, push, none, point, m.first, force)
            if m.second:
                mujoco.mj_applyFT(self.model, self.data, -push, none, point, m.second, force)
        if name in RUBBING:
            self.model.tendon_frictionloss[self.rows[name]] = rub * self.u.contacts[name].friction * pressed
            if pressed > 0:
                a, b = self.sites[name]
                far = m.x + FAR * m.ny, m.y - FAR * m.nx
                self.model.site_pos[a, :2] = self.bodies.local(m.first, m.x, m.y)
                self.model.site_pos[b, :2] = self.bodies.local(m.second, *far)

    def _string(self, string: String | None, force: Array) -> tuple[float, float, float]:
        head, u = self.bodies.index["head"], self.u
        x, y = self.bodies.place(head, u.hammer.strike_point)
        speed = self.bodies.speed(head, x, y)[1]
        if string is None:
            return u.rails.string_y - y, speed, 0.0
        push = string.push(u.contacts["string"], y - u.rails.string_y - string.place, speed)
        if push > 0:
            down, point = np.array([0.0, -push, 0.0]), np.array([x, y, 0.0])
            mujoco.mj_applyFT(self.model, self.data, down, np.zeros(3), point, head, force)
        return u.rails.string_y - y, speed, push

    def _key_force(self, force: Array, turn: float) -> float:
        """What the finger has to push at the touch point, N, slow motion: all other torques on the key's front."""
        kf = self.at["kf"]
        torque = -float(force[kf] + self.data.qfrc_passive[kf])
        torque += math.copysign(self.u.friction["key"], turn) if turn else 0.0
        x, y = self.u.key.touch_point
        q = self.data.qpos[kf]
        return torque / (math.sin(q) * y - math.cos(q) * x)

    def travel(self) -> float:
        """Touch point below its place in the design pose, m."""
        x, y = self.u.key.touch_point
        q = float(self.data.qpos[self.at["kf"]])
        return y - (math.sin(q) * x + math.cos(q) * y)

    # -- rest and runs ----------------------------------------------------

    def settle(self) -> None:
        """Let everything find its rest: without dry friction and in syrup first, then with the friction."""
        m, d = self.model, self.data
        d.qpos[self.at["h"]] = self.u.hammer.rest_angle
        own, friction = m.dof_damping.copy(), m.dof_frictionloss.copy()
        m.dof_damping[:] = own + 60.0 * self._inertias()
        for rub, time in ((0.0, 0.4), (1.0, 0.1)):
            m.dof_frictionloss[:] = rub * friction
            for _ in range(round(time / self.step)):
                self.advance(None, 0.0, None, rub)
        self.rest = d.qpos.copy()
        self.rest_travel = self.travel()

    def _inertias(self) -> Array:
        """Inertia of every joint, all others held, kg·m²."""
        full = np.zeros((self.model.nv, self.model.nv))
        mujoco.mj_forward(self.model, self.data)
        mujoco.mj_fullM(self.model, self.data, full)
        return np.diag(full).copy()

    def play(self, path: Array, duration: float, every: int = 5) -> Record:
        """From rest, the touch point led along ``path`` (rows of time, travel, speed: s, m, m/s)."""
        m, d = self.model, self.data
        mujoco.mj_resetData(m, d)
        d.qpos[:] = self.rest
        start, arm = float(self.rest[self.at["kf"]]), -self.u.key.touch_point[0]
        string, rows = String(self.u, self.step), []
        led = CubicHermiteSpline(path[:, 0], path[:, 1], path[:, 2])
        speed = led.derivative()
        times = np.arange(round(duration / self.step)) * self.step
        inside = np.minimum(times, path[-1, 0])
        angles, turns = start + led(inside) / arm, speed(inside) / arm
        for i in range(len(times)):
            row = self.advance(float(angles[i]), float(turns[i]), string)
            if i % every == 0:
                rows.append(row)
        out = np.array(rows)
        out[:, 1] -= self.rest_travel
        return Record(out)
