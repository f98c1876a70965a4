"""Outlines of the parts in a pose, from the unit's own geometry (metres, plane of the unit).

What the model knows (centres, faces, radii, planes) is drawn where it is; the
wood between is filled in as such parts usually look.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sim.unit.model import ActionUnit, Vec

Points = NDArray[np.float64]
MM = 1e-3


@dataclass(frozen=True, slots=True)
class Shape:
    """One drawn shape: ``stuff`` names its material, ``closed`` a face or a line."""

    part: str
    stuff: str
    points: Points
    closed: bool = True


@dataclass(frozen=True, slots=True)
class Pose:
    """Turns of the parts (rad), as the trace names them; ``e`` the shank's bending, ``d`` the damper's lift (m)."""

    kf: float
    kr: float
    w: float
    j: float
    l: float  # noqa: E741 - the kernel's name of the lever's turn
    h: float
    e: float = 0.0
    d: float = 0.0

    @classmethod
    def from_row(cls, row: Mapping[str, float]) -> Pose:
        """Pose of a record or mapping that holds the turns by name."""
        return cls(*(float(row[name]) for name in ("kf", "kr", "w", "j", "l", "h", "e", "d")))


def turned(points: Sequence[Vec] | Points, angle: float, origin: Vec = (0.0, 0.0)) -> Points:
    """Points of a part turned by ``angle`` about its centre and set at ``origin``."""
    p = np.asarray(points, dtype=float)
    c, s = math.cos(angle), math.sin(angle)
    return np.column_stack([origin[0] + c * p[:, 0] - s * p[:, 1], origin[1] + s * p[:, 0] + c * p[:, 1]])


def disc(centre: Vec, radius: float, start: float = 0.0, end: float = 2 * math.pi) -> list[Vec]:
    """Points of a circle's arc."""
    angles = np.linspace(start, end, 37)
    return [(centre[0] + radius * math.cos(a), centre[1] + radius * math.sin(a)) for a in angles]


def bar(a: Vec, b: Vec, wide_a: float, wide_b: float | None = None) -> list[Vec]:
    """A limb with round ends from a to b, ``wide`` at either end."""
    ra, rb = wide_a / 2, (wide_a if wide_b is None else wide_b) / 2
    along = math.atan2(b[1] - a[1], b[0] - a[0])
    return disc(a, ra, along + math.pi / 2, along + 3 * math.pi / 2) + disc(
        b, rb, along - math.pi / 2, along + math.pi / 2
    )


def box(x0: float, x1: float, y0: float, y1: float) -> list[Vec]:
    """A level rectangle."""
    return [(x0, y0), (x1, y0), (x1, y1), (x0, y1)]


def smooth(points: Sequence[Vec], steps: int = 8) -> list[Vec]:
    """A closed round curve through the points (Catmull-Rom)."""
    p = np.asarray(points, dtype=float)
    out: list[Vec] = []
    for i in range(len(p)):
        p0, p1, p2, p3 = (p[(i + k - 1) % len(p)] for k in range(4))
        for t in np.arange(steps) / steps:
            q = p1 + 0.5 * t * (p2 - p0 + t * (2 * p0 - 5 * p1 + 4 * p2 - p3 + t * (3 * (p1 - p2) + p3 - p0)))
            out.append((float(q[0]), float(q[1])))
    return out


def moving(unit: ActionUnit, pose: Pose) -> list[Shape]:
    """Key, wippen, jack, lever and hammer in the pose, from the back to the front of the picture."""
    w = unit.wippen
    jack_at = tuple(turned([w.jack_centre], pose.w, w.centre)[0])
    lever_at = tuple(turned([w.lever_centre], pose.w, w.centre)[0])
    placed = [
        *_place(_key_front(unit), pose.kf, (0.0, 0.0)),
        *_place(_key_rear(unit), pose.kr, (0.0, 0.0)),
        *_place(_hammer(unit), pose.h, unit.hammer.centre, pose.e),
        *_place(_wippen(unit), pose.w, w.centre),
        *_place(_lever(unit), pose.l, lever_at),
        *_place(_jack(unit), pose.j, jack_at),
        _spring(unit, jack_at, lever_at, pose),
    ]
    pins = [np.asarray(disc(c, 1.3 * MM)) for c in (w.centre, jack_at, lever_at, unit.hammer.centre)]
    return [*_damper(unit, pose.d), *placed, *(Shape("pin", "pin", points) for points in pins)]


Loose = tuple[str, str, list[Vec]]
"""Part, material and points about the part's own centre."""


def _place(shapes: Sequence[Loose], angle: float, origin: Vec, bend: float = 0.0) -> list[Shape]:
    out = []
    for part, stuff, points in shapes:
        p = np.asarray(points, dtype=float)
        if bend:
            reach = max(float(p[:, 0].max()), 1e-6)
            p = p + np.column_stack([np.zeros(len(p)), bend * np.clip(p[:, 0] / reach, 0, 1) ** 2])
        out.append(Shape(part, stuff, turned(p, angle, origin), closed=stuff not in ("wire", "hole")))
    return out


def _key_front(unit: ActionUnit) -> list[Loose]:
    k = unit.key
    top, front = k.touch_point[1], k.front_edge_x
    rise = 13 * MM if k.sharp else 0.0
    stick = top - rise
    cover = (k.front_edge_x * 0.43) if not k.sharp else k.front_edge_x + 95 * MM
    wood = [(0.0, 0.0), (0.0, stick), (front + 2 * MM, stick), (front + 2 * MM, 1.5 * MM), (front + 5 * MM, 0.0)]
    plate = [
        (front, top),
        (cover, top),
        (cover, stick - 2 * MM),
        (front + 2 * MM, stick - 2 * MM),
        (front, stick - 3 * MM),
    ]
    if k.sharp:
        plate = [(front, stick), (front + 9 * MM, top), (cover, top), (cover, stick)]
    mortise = [(k.punching_x - 2 * MM, 0.0), (k.punching_x - 2 * MM, 12 * MM)]
    return [("key", "spruce", wood), ("key", "ebony" if k.sharp else "keytop", plate), ("key", "hole", mortise)]


def _key_rear(unit: ActionUnit) -> list[Loose]:
    k = unit.key
    thick = k.touch_point[1] - (13 * MM if k.sharp else 0.0)
    end = max(k.back_cloth_x, k.backcheck_foot[0]) + 14 * MM
    foot, a = k.backcheck_foot, k.backcheck_angle
    along, back = (math.cos(a), math.sin(a)), (math.sin(a), -math.cos(a))
    tip = (foot[0] + k.backcheck_length * along[0], foot[1] + k.backcheck_length * along[1])

    def off(p: Vec, depth: float, up: float = 0.0) -> Vec:
        return p[0] + depth * back[0] + up * along[0], p[1] + depth * back[1] + up * along[1]

    block = [off(foot, 2.5 * MM, 1 * MM), off(tip, 2.5 * MM), off(tip, 8 * MM, -2 * MM), off(foot, 10 * MM, 3 * MM)]
    leather = [foot, tip, off(tip, 2.5 * MM), off(foot, 2.5 * MM)]
    wire = [off(foot, 6 * MM, 3 * MM), (foot[0] + 8 * MM, thick + 12 * MM), (foot[0] + 8 * MM, thick - 9 * MM)]
    cap = k.capstan_centre
    half = math.acos(max(-1.0, min(1.0, 1 - 4 * MM / k.capstan_radius))) if k.capstan_radius > 4 * MM else math.pi / 2
    dome = disc(cap, k.capstan_radius, math.pi / 2 - half, math.pi / 2 + half)
    low = cap[1] + k.capstan_radius * math.cos(half)
    shaft = [
        (cap[0] - 2 * MM, low),
        (cap[0] - 2 * MM, thick - 8 * MM),
        (cap[0] + 2 * MM, thick - 8 * MM),
        (cap[0] + 2 * MM, low),
    ]
    wood = [(0.0, 0.0), (0.0, thick), (end - 4 * MM, thick), (end, thick - 4 * MM), (end, 0.0)]
    return [
        ("key", "wire", wire),
        ("key", "spruce", wood),
        ("key", "brass", shaft),
        ("key", "brass", dome),
        ("backcheck", "maple", block),
        ("backcheck", "leather", leather),
    ]


def _wippen(unit: ActionUnit) -> list[Loose]:
    w = unit.wippen
    h, j, post = w.heel_point, w.jack_centre, w.lever_centre
    t = (math.cos(w.heel_angle), math.sin(w.heel_angle))

    def heel(along: float, up: float) -> Vec:
        return h[0] + along * t[0] - up * t[1], h[1] + along * t[1] + up * t[0]

    wide, cloth = 11 * MM, 3 * MM
    slope = j[1] / j[0]
    into = [(x, x * slope) for x in (h[0] + wide * 0.8, h[0] - wide * 0.8)]
    foot = [heel(-wide, cloth), heel(wide, cloth), *into]
    felt = [heel(-wide, 0), heel(wide, 0), heel(wide, cloth), heel(-wide, cloth)]
    root = (post[0] * 0.75, j[1] * 0.35 + 1 * MM)
    return [
        ("wippen", "felt", felt),
        ("wippen", "maple", foot),
        ("wippen", "maple", bar(root, post, 12 * MM, 8 * MM)),
        ("wippen", "maple", bar((0.0, 0.0), j, 10 * MM, 12 * MM)),
    ]


def _lever(unit: ActionUnit) -> list[Loose]:
    lv = unit.lever
    a, b = np.asarray(lv.surface_from), np.asarray(lv.surface_to)
    u = (b - a) / math.hypot(*(b - a))
    n = np.array([u[1], -u[0]])
    tail = b + u * 10 * MM
    front = [a, tail, tail + n * 5 * MM, b + n * 8 * MM, n * 4 * MM, a * 0.45 + n * 6 * MM, a + n * 5.5 * MM]
    return [("lever", "beech", [(float(p[0]), float(p[1])) for p in front])]


def _jack(unit: ActionUnit) -> list[Loose]:
    k = unit.jack
    (fx, fy), (rx, ry), r = k.top_front, k.top_rear, k.top_edge_radius
    up = math.atan2(ry - fy, rx - fx) + math.pi / 2
    top = disc(k.top_rear, r, up - math.pi / 2, up) + disc(k.top_front, r, up, up + math.pi / 2)
    low = k.rear_face_down_to
    body = [
        *top,
        (-3.2 * MM, 4 * MM),
        (-3.5 * MM, -3.5 * MM),
        (4 * MM, -3.5 * MM),
        (4.5 * MM, 5 * MM),
        (low[0] + r, low[1]),
    ]
    tx, ty = k.toe_centre
    toe = bar((0.0, 0.0), (tx, ty), 7 * MM, 2 * k.toe_radius)
    return [("jack", "pear", toe), ("jack", "pear", body)]


def _hammer(unit: ActionUnit) -> list[Loose]:
    hm = unit.hammer
    (sx, sy), (tx, ty) = hm.strike_point, hm.tail_centre
    lean = (sx - hm.shank_length) / sy if sy else 0.0

    def at(y: float, x: float = 0.0) -> Vec:
        return hm.shank_length + lean * y + x, y

    tail_low = ty - hm.tail_radius
    moulding = [
        at(sy - 9 * MM, -1 * MM), at(sy - 9 * MM, 1 * MM), at(9 * MM, 6.5 * MM), at(-3 * MM, 7 * MM),
        *disc((tx, ty), hm.tail_radius, 0.0, -math.pi / 2),
        (tx - 7 * MM, tail_low + 1 * MM), at(-8 * MM, -6 * MM), at(9 * MM, -6.5 * MM),
    ]  # fmt: skip
    right = [
        (sy - 3 * MM, 4.6 * MM), (sy - 10 * MM, 8.6 * MM), (sy - 20 * MM, 11 * MM), (14 * MM, 9.6 * MM),
        (8 * MM, 6.8 * MM), (14 * MM, 3.5 * MM),
    ]  # fmt: skip
    left = [at(y, -x) for y, x in reversed(right)]
    felt = smooth([at(sy), *(at(y, x) for y, x in right), at(sy - 12 * MM), *left])
    kx, ky = hm.knuckle_centre
    core = [(kx - 1.2 * MM, -2 * MM), (kx + 1.2 * MM, -2 * MM), (kx + 1.2 * MM, ky), (kx - 1.2 * MM, ky)]
    shank = bar((0.0, 0.0), (hm.shank_length, 0.0), 7 * MM, 5.5 * MM)
    return [
        ("hammer", "leather", disc((kx, ky), hm.knuckle_radius)),
        ("hammer", "maple", core),
        ("hammer", "maple", shank),
        ("hammer", "walnut", moulding),
        ("hammer", "white felt", felt),
    ]


def _damper(unit: ActionUnit, lift: float) -> list[Shape]:
    """Underlever over the key's end, wire and damper head on the string, where one is fitted."""
    d = unit.damper
    if d is None:
        return []
    x, low = d.key_end[0], d.key_end[1] + d.gap + lift
    wire, string = x + 24 * MM, unit.rails.string_y
    top = string + lift
    shapes: list[Loose] = [
        ("damper", "wire", [(wire, low + 4 * MM), (wire, top + 10 * MM)]),
        ("damper", "felt", box(x - 9 * MM, x + 9 * MM, low, low + 3 * MM)),
        ("damper", "maple", bar((x - 8 * MM, low + 7 * MM), (x + 64 * MM, d.key_end[1] + d.gap + 9 * MM), 8 * MM)),
        ("damper", "white felt", box(wire - 6 * MM, wire + 6 * MM, top, top + 9 * MM)),
        ("damper", "ebony", box(wire - 5 * MM, wire + 5 * MM, top + 9 * MM, top + 16 * MM)),
    ]
    return _place(shapes, 0.0, (0.0, 0.0))


def _spring(unit: ActionUnit, jack_at: Vec, lever_at: Vec, pose: Pose) -> Shape:
    """The repetition spring, from the post to its slot under the lever."""
    lv = unit.lever
    a, b = np.asarray(lv.surface_from), np.asarray(lv.surface_to)
    u = (b - a) / math.hypot(*(b - a))
    slot = turned([tuple(a * 0.5 + b * 0.5 - u * 18 * MM + np.array([u[1], -u[0]]) * 6.5 * MM)], pose.l, lever_at)[0]
    low = turned([(0.62 * unit.wippen.lever_centre[0], 16 * MM)], pose.w, unit.wippen.centre)[0]
    loop = np.asarray(disc((float(low[0]), float(low[1])), 2.6 * MM, math.pi * 0.25, math.pi * 2.25))
    t = np.linspace(0.0, 1.0, 24)[:, None]
    sag = loop[-1] * 0.45 + slot * 0.55 - np.array([0.0, 7 * MM])
    bow = (1 - t) ** 2 * loop[-1] + 2 * t * (1 - t) * sag + t**2 * slot
    return Shape("spring", "wire", np.vstack([loop, bow]), closed=False)
