"""Where the parts touch, from the places and speeds that the engine gives its bodies.

A ``Meeting`` is one contact now: gap, normal on the first body, place, and the two bodies.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import mujoco

from sim.unit.model import ActionUnit, Vec
from tests.twin.bodies import link_of

STOP_ARM = 0.020
"""Arm at which the stops of jack and lever act, m (as the model has it)."""


@dataclass(frozen=True, slots=True)
class Meeting:
    gap: float
    nx: float
    ny: float
    x: float
    y: float
    first: int
    second: int


class Bodies:
    """Frames and speeds of the engine's bodies in the plane."""

    def __init__(self, model: mujoco.MjModel, data: mujoco.MjData) -> None:
        self.model, self.data = model, data
        self.index = {model.body(i).name: i for i in range(model.nbody)}

    def update(self) -> None:
        """Take over where everything is, after the engine's own kinematics."""
        d = self.data
        self.x, self.y = d.xpos[:, 0].tolist(), d.xpos[:, 1].tolist()
        self.c, self.s = d.xmat[:, 0].tolist(), d.xmat[:, 3].tolist()
        self.turn = d.cvel[:, 2].tolist()
        root = self.model.body_rootid
        com = d.subtree_com[root]
        vx = d.cvel[:, 3] - d.cvel[:, 2] * (d.xpos[:, 1] - com[:, 1])
        vy = d.cvel[:, 4] + d.cvel[:, 2] * (d.xpos[:, 0] - com[:, 0])
        self.vx, self.vy = vx.tolist(), vy.tolist()

    def place(self, body: int, p: Vec) -> Vec:
        c, s = self.c[body], self.s[body]
        return self.x[body] + c * p[0] - s * p[1], self.y[body] + s * p[0] + c * p[1]

    def way(self, body: int, p: Vec) -> Vec:
        c, s = self.c[body], self.s[body]
        return c * p[0] - s * p[1], s * p[0] + c * p[1]

    def speed(self, body: int, x: float, y: float) -> Vec:
        w = self.turn[body]
        return self.vx[body] - w * (y - self.y[body]), self.vy[body] + w * (x - self.x[body])

    def local(self, body: int, x: float, y: float) -> Vec:
        dx, dy = x - self.x[body], y - self.y[body]
        c, s = self.c[body], self.s[body]
        return c * dx + s * dy, -s * dx + c * dy


def _off_line(p: Vec, radius: float, a: Vec, t: Vec, length: float, first: int, second: int) -> Meeting:
    """Circle (first body) over a straight face from ``a`` along ``t`` (second body); the face looks to its left."""
    dx, dy = p[0] - a[0], p[1] - a[1]
    along = dx * t[0] + dy * t[1]
    if 0.0 <= along <= length:
        nx, ny, off = -t[1], t[0], -dx * t[1] + dy * t[0]
    else:
        end = min(max(along, 0.0), length)
        dx, dy = dx - end * t[0], dy - end * t[1]
        off = math.hypot(dx, dy)
        nx, ny = dx / off, dy / off
    return Meeting(off - radius, nx, ny, p[0] - radius * nx, p[1] - radius * ny, first, second)


def meetings(u: ActionUnit, b: Bodies) -> dict[str, Callable[[], Meeting]]:
    """Every contact between bodies by name (not the stops, not the string)."""
    k, w, j, lv, hm, r = u.key, u.wippen, u.jack, u.lever, u.hammer, u.rails
    at = b.index
    lx, ly = lv.surface_to[0] - lv.surface_from[0], lv.surface_to[1] - lv.surface_from[1]
    length = math.hypot(lx, ly)
    surface = (lx / length, ly / length)
    heel = (-math.cos(w.heel_angle), -math.sin(w.heel_angle))
    face = (math.cos(k.backcheck_angle), math.sin(k.backcheck_angle))
    corner = (j.top_front, j.top_rear, j.rear_face_down_to)

    def level(body: str, p: Vec, radius: float, plane: float, side: float) -> Meeting:
        x, y = b.place(at[body], p)
        return Meeting(side * (y - plane) - radius, 0.0, side, x, y - side * radius, at[body], 0)

    def over(body: str, p: Vec, radius: float, on: str, a: Vec, t: Vec, span: float) -> Meeting:
        place = b.place(at[body], p) if body else p
        return _off_line(place, radius, b.place(at[on], a), b.way(at[on], t), span, at[body] if body else 0, at[on])

    def on_corner() -> Meeting:
        p, best = b.place(at["knuckle"], hm.knuckle_centre), None
        for a, z in zip(corner, corner[1:], strict=False):
            (ax, ay), (zx, zy) = b.place(at["j"], a), b.place(at["j"], z)
            ex, ey = zx - ax, zy - ay
            share = min(1.0, max(0.0, ((p[0] - ax) * ex + (p[1] - ay) * ey) / (ex * ex + ey * ey)))
            dx, dy = p[0] - ax - share * ex, p[1] - ay - share * ey
            if best is None or dx * dx + dy * dy < best[0]:
                best = dx * dx + dy * dy, dx, dy
        assert best is not None
        off = math.sqrt(best[0])
        radius = hm.knuckle_radius + j.top_edge_radius
        nx, ny = best[1] / off, best[2] / off
        return Meeting(off - radius, nx, ny, p[0] - radius * nx, p[1] - radius * ny, at["knuckle"], at["j"])

    far_heel = (w.heel_point[0] - 0.5 * heel[0], w.heel_point[1] - 0.5 * heel[1])
    shank, start = link_of(u, hm.cushion_point[0])
    cushion = (hm.cushion_point[0] - start, hm.cushion_point[1])
    return {
        "back_cloth": lambda: level("kr", (k.back_cloth_x, 0.0), 0.0, k.back_cloth_plane_y, 1.0),
        "punching": lambda: level("kf", (k.punching_x, 0.0), 0.0, k.punching_plane_y, 1.0),
        "capstan": lambda: over("kr", k.capstan_centre, k.capstan_radius, "w", far_heel, heel, 1.0),
        "jack_knuckle": on_corner,
        "lever_knuckle": lambda: over(
            "knuckle", hm.knuckle_centre, hm.knuckle_radius, "l", lv.surface_from, surface, length
        ),
        "toe_button": lambda: level("j", j.toe_centre, j.toe_radius, r.let_off_button_plane_y, -1.0),
        "drop_screw": lambda: over("", r.drop_screw_tip, r.drop_screw_radius, "l", lv.surface_from, surface, length),
        "rest_cushion": lambda: level(shank, cushion, 0.0, r.rest_cushion_plane_y, 1.0),
        "backcheck": lambda: over(
            "head", hm.tail_centre, hm.tail_radius, "kr", k.backcheck_foot, face, k.backcheck_length
        ),
    }  # fmt: skip
