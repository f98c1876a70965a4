"""Places, gaps and contact points of the reference, by rotation matrices; coordinates may be complex."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np

from sim.physics.mechanism import DOFS
from sim.unit.contacts import CircleOnCorner, CircleOnLine, Contact, Crown, OnPlane, Point, Tip, TurnStop

Array = Any
AT = {x: i for i, x in enumerate(DOFS)}
Values = Mapping[str, float]


def build_rotation(angle: Any) -> Array:
    return np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])


def place_frame(body: str, q: Array, p: Values) -> tuple[Array, Array]:
    """Origin and orientation of a body."""
    if body == "":
        return np.zeros(2), np.eye(2)
    turn = build_rotation(q[AT[body]])
    if body in ("kf", "kr"):
        return np.zeros(2), turn
    if body == "h":
        return np.array([p["hx"], p["hy"]]), turn
    wippen = np.array([p["wx"], p["wy"]])
    if body == "w":
        return wippen, turn
    centre = np.array([p["jx"], p["jy"]] if body == "j" else [p["lx"], p["ly"]])
    return wippen + build_rotation(q[AT["w"]]) @ centre, turn


def bend_point(p: Point, q: Array, values: Values) -> tuple[Array, Any]:
    """A hammer point carried by the bending of its station, and the turn of the section there."""
    x, y = values[p.x], values[p.y]
    lift, turn = (sum(values[f"{way}_{b}_{p.station}"] * q[AT[b]] for b in ("e", "r")) for way in ("lift", "turn"))
    return np.array([x - turn * y, y + lift]), turn


def place_reference_point(p: Point, q: Array, values: Values) -> Array:
    origin, turn = place_frame(p.body, q, values)
    local = bend_point(p, q, values)[0] if p.station else np.array([values[p.x], values[p.y]])
    return origin + turn @ local


def place_particle(p: Point, at: Array, q: Array, values: Values) -> Callable[[Array], Array]:
    """Where the particle of p's body that is now at ``at`` goes; on the hammer it turns with p's section.

    The section's turn by its small angle is linear, as the model's bending is.
    """
    origin, turn = place_frame(p.body, q, values)
    local = turn.T @ (at - origin)
    if not p.station:
        return lambda z: place_frame(p.body, z, values)[0] + place_frame(p.body, z, values)[1] @ local
    offset = local - bend_point(p, q, values)[0]
    now = bend_point(p, q, values)[1]

    def moved(z: Array) -> Array:
        o, r = place_frame(p.body, z, values)
        centre, section = bend_point(p, z, values)
        extra = (section - now) * np.array([-offset[1], offset[0]])
        return o + r @ (centre + offset + extra)

    return moved


def measure_length(v: Array) -> Any:
    return np.sqrt(v @ v)


def find_nearest_on_segment(at: Array, a: Array, b: Array) -> tuple[Any, Array]:
    """Share along a-b (0..1) and the vector from the nearest point of the segment to ``at``."""
    along = b - a
    share = ((at - a) @ along) / (along @ along)
    if share.real < 0:
        share = 0.0 * share
    elif share.real > 1:
        share = 1.0 + 0.0 * share
    return share, at - a - share * along


def measure_line_gap(s: CircleOnLine, q: Array, p: Values) -> tuple[Any, Array, str]:
    """Gap, normal out of the face and region (start, inside, end) of a circle on a face with or without ends."""
    centre, start = place_reference_point(s.centre, q, p), place_reference_point(s.start, q, p)
    along = place_frame(s.start.body, q, p)[1] @ np.array([p[s.direction[0]], p[s.direction[1]]])
    out = np.array([-along[1], along[0]])
    inside = (centre - start) @ out - p.get(s.radius, 0.0), out, "inside"
    if not s.length:
        return inside
    share, arrow = find_nearest_on_segment(centre, start, start + p[s.length] * along)
    if 0 < share.real < 1:
        return inside
    return measure_length(arrow) - p[s.radius], arrow / measure_length(arrow), "start" if share.real == 0 else "end"


def measure_corner_gap(s: CircleOnCorner, q: Array, p: Values) -> tuple[Any, Array, str]:
    centre = place_reference_point(s.centre, q, p)
    a, b, c = (place_reference_point(x, q, p) for x in (s.a, s.b, s.c))
    best = None
    for first, second, names in ((a, b, ("A", "top", "B")), (b, c, ("B", "rear face", "C"))):
        share, arrow = find_nearest_on_segment(centre, first, second)
        d = measure_length(arrow)
        if best is None or d.real < best[0].real:
            region = names[0] if share.real <= 0 else names[2] if share.real >= 1 else names[1]
            best = d, arrow / d, region
    assert best is not None
    return best[0] - p[s.radius], best[1], best[2]


def measure_gap(c: Contact, q: Array, p: Values, ys: float) -> Any:
    s = c.shape
    if isinstance(s, OnPlane):
        return s.side * (place_reference_point(s.point, q, p)[1] - p[s.plane]) - p.get(s.radius, 0.0)
    if isinstance(s, CircleOnLine):
        return measure_line_gap(s, q, p)[0]
    if isinstance(s, CircleOnCorner):
        return measure_corner_gap(s, q, p)[0]
    if isinstance(s, TurnStop):
        return p[s.arm] * s.sense * (q[AT[s.body]] - q[AT[s.against]] - p[s.limit])
    if isinstance(s, Crown):
        return p["string_y"] + ys - place_reference_point(s.point, q, p)[1]
    if isinstance(s, Tip):
        return q[AT["f"]] - (place_reference_point(s.point, q, p)[1] - p[s.point.y])
    lift = q[AT["d"]]
    return lift if s.point is None else p[s.gap] + lift - (place_reference_point(s.point, q, p)[1] - p[s.point.y])


def find_contact_place(c: Contact, q: Array, p: Values) -> tuple[Array, Array, Point, Point | None]:
    """Place of contact on the first body's circle, normal towards the first body, and the two bodies."""
    s = c.shape
    if isinstance(s, OnPlane):
        n = np.array([0.0, float(s.side)])
        return place_reference_point(s.point, q, p) - p.get(s.radius, 0.0) * n, n, s.point, None
    if isinstance(s, CircleOnLine):
        n = measure_line_gap(s, q, p)[1]
        return place_reference_point(s.centre, q, p) - p[s.radius] * n, n, s.centre, s.start
    assert isinstance(s, CircleOnCorner), f"{c.name} does not rub"
    n = measure_corner_gap(s, q, p)[1]
    return place_reference_point(s.centre, q, p) - p[s.radius] * n, n, s.centre, s.a


__all__ = [
    "DOFS",
    "build_rotation",
    "find_contact_place",
    "measure_corner_gap",
    "measure_gap",
    "measure_line_gap",
    "place_particle",
    "place_reference_point",
]
