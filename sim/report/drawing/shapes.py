"""Drawn shapes: placed in the plane of the unit, or carried by a part that turns (metres)."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields

import numpy as np
from numpy.typing import NDArray

from sim.unit.model import Vec

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
    """Turns of the parts (rad), as the trace names them; ``e`` and ``r`` deflection (m) and turn (rad)
    of the shank's tip by bending, ``d`` the damper's lift (m)."""

    kf: float
    kr: float
    w: float
    j: float
    l: float  # noqa: E741 - the kernel's name of the lever's turn
    h: float
    e: float = 0.0
    r: float = 0.0
    d: float = 0.0


POSE = tuple(f.name for f in fields(Pose))
"""Names of what makes a pose, in its order."""


def turn_points(points: Sequence[Vec] | Points, angle: float, origin: Vec = (0.0, 0.0)) -> Points:
    """Points of a part turned by ``angle`` about its centre and set at ``origin``."""
    p = np.asarray(points, dtype=float)
    c, s = math.cos(angle), math.sin(angle)
    return np.column_stack([origin[0] + c * p[:, 0] - s * p[:, 1], origin[1] + s * p[:, 0] + c * p[:, 1]])


def build_disc(centre: Vec, radius: float, start: float = 0.0, end: float = 2 * math.pi) -> list[Vec]:
    """Points of a circle's arc."""
    angles = np.linspace(start, end, 37)
    return [(centre[0] + radius * math.cos(a), centre[1] + radius * math.sin(a)) for a in angles]


def build_bar(a: Vec, b: Vec, wide_a: float, wide_b: float | None = None) -> list[Vec]:
    """A limb with round ends from a to b, ``wide`` at either end."""
    ra, rb = wide_a / 2, (wide_a if wide_b is None else wide_b) / 2
    along = math.atan2(b[1] - a[1], b[0] - a[0])
    return build_disc(a, ra, along + math.pi / 2, along + 3 * math.pi / 2) + build_disc(
        b, rb, along - math.pi / 2, along + math.pi / 2
    )


def build_box(x0: float, x1: float, y0: float, y1: float) -> list[Vec]:
    """A level rectangle."""
    return [(x0, y0), (x1, y0), (x1, y1), (x0, y1)]


def build_smooth_curve(points: Sequence[Vec], steps: int = 8) -> list[Vec]:
    """A closed round curve through the points (Catmull-Rom)."""
    p = np.asarray(points, dtype=float)
    out: list[Vec] = []
    for i in range(len(p)):
        p0, p1, p2, p3 = (p[(i + k - 1) % len(p)] for k in range(4))
        for t in np.arange(steps) / steps:
            q = p1 + 0.5 * t * (p2 - p0 + t * (2 * p0 - 5 * p1 + 4 * p2 - p3 + t * (3 * (p1 - p2) + p3 - p0)))
            out.append((float(q[0]), float(q[1])))
    return out


@dataclass(frozen=True, slots=True)
class CarriedShape:
    """A shape about the centre of what carries it.

    ``body`` is that part's turn in the trace ("d": moved up and down by the
    damper's lift); ``give`` is how its points move with the shank's bending (by
    "e", m per m; by "r", m per rad), or with the lift ("d", m per m).
    """

    body: str
    part: str
    stuff: str
    points: Points
    closed: bool = True
    give: Mapping[str, Points] = field(default_factory=dict)

    def placed(self, pose: Pose, centres: Mapping[str, Vec]) -> Shape:
        """Where it is in a pose, with the centres of that pose."""
        points = self.points
        for name, by in self.give.items():
            points = points + by * float(getattr(pose, name))
        turn = 0.0 if self.body == "d" else float(getattr(pose, self.body))
        return Shape(self.part, self.stuff, turn_points(points, turn, centres[self.body]), self.closed)


@dataclass(frozen=True, slots=True)
class SpringShape:
    """The repetition spring: a loop on the wippen, and a bow from its end to the slot under the lever (m)."""

    loop: Points
    slot: Vec
    sag: float

    def placed(self, pose: Pose, centres: Mapping[str, Vec]) -> Shape:
        """Loop and bow (a parabola) in a pose."""
        loop = turn_points(self.loop, pose.w, centres["w"])
        slot = turn_points([self.slot], pose.l, centres["l"])[0]
        t = np.linspace(0.0, 1.0, 24)[:, None]
        middle = loop[-1] * SPRING_SHARE + slot * (1 - SPRING_SHARE) - np.array([0.0, self.sag])
        bow = (1 - t) ** 2 * loop[-1] + 2 * t * (1 - t) * middle + t**2 * slot
        return Shape("spring", "wire", np.vstack([loop, bow]), closed=False)


SPRING_SHARE = 0.45
"""How near the bow's control point stands to the loop's end."""
