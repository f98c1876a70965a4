"""Outlines of the parts in a pose, from the unit's own geometry (metres, plane of the unit).

What the model knows (centres, faces, radii, planes) is drawn where it is; the
wood between is filled in as such parts usually look.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

from sim.physics import shank
from sim.physics.mechanism import STOP_ARM
from sim.report.drawing.shapes import (
    MM,
    CarriedShape,
    Points,
    Pose,
    Shape,
    SpringShape,
    build_bar,
    build_box,
    build_disc,
    build_smooth_curve,
    turn_points,
)
from sim.unit.model import ActionUnit, Vec

PIN = 1.3 * MM
"""Radius at which centre pins are drawn, m."""
PartOutline = tuple[str, str, list[Vec]]
"""Part, material and points about the part's own centre."""
NO_GIVE: Mapping[str, Points] = {}


def place_centres(unit: ActionUnit, pose: Pose) -> dict[str, Vec]:
    """Centre about which each body turns, in a pose (m)."""
    w = unit.wippen
    jack, lever = turn_points([w.jack_centre, w.lever_centre], pose.w, w.centre)
    origin = (0.0, 0.0)
    return {
        "kf": origin, "kr": origin, "d": origin, "w": w.centre, "h": unit.hammer.centre,
        "j": (float(jack[0]), float(jack[1])), "l": (float(lever[0]), float(lever[1])),
    }  # fmt: skip


def build_carried_shapes(unit: ActionUnit) -> list[CarriedShape]:
    """Every moving shape but the spring, about its own centre, from the back to the front of the picture."""
    rigid = {"kf": _key_front, "kr": _key_rear}
    front = {"w": _wippen, "l": _lever, "j": _jack}
    out = _damper(unit)
    out += [_carry_shape(body, shape) for body, shapes in rigid.items() for shape in shapes(unit)]
    out += [_carry_with_bending(unit, shape) for shape in _hammer(unit)]
    return out + [_carry_shape(body, shape) for body, shapes in front.items() for shape in shapes(unit)]


def place_moving_shapes(unit: ActionUnit, pose: Pose) -> list[Shape]:
    """Key, wippen, jack, lever and hammer in the pose, from the back to the front of the picture."""
    at = place_centres(unit, pose)
    placed = [shape.placed(pose, at) for shape in build_carried_shapes(unit)]
    pins = [Shape("pin", "pin", np.asarray(build_disc(at[body], PIN))) for body in ("w", "j", "l", "h")]
    return [*placed, build_spring(unit).placed(pose, at), *pins]


def _carry_shape(body: str, shape: PartOutline, give: Mapping[str, Points] = NO_GIVE) -> CarriedShape:
    part, stuff, points = shape
    return CarriedShape(body, part, stuff, np.asarray(points, dtype=float), stuff not in ("wire", "hole"), give)


def _carry_with_bending(unit: ActionUnit, shape: PartOutline) -> CarriedShape:
    """A shape of the hammer with its share of the shank's bending: as the physics has it at the head's and
    the knuckle's stations, and in between along the shank."""
    hm = unit.hammer
    _, stuff, points = shape
    p = np.asarray(points, dtype=float)
    if not hm.shank_bends:
        return _carry_shape("h", shape)
    at, up = p[:, 0].clip(0.0, hm.shank_length), p[:, 1]
    head = stuff in ("walnut", "white felt")
    if head:
        at = p[:, 0]
    elif stuff == "leather" or at.max() < hm.shank_length:
        at, up = np.full(len(p), hm.knuckle_centre[0]), np.full(len(p), hm.knuckle_centre[1])
    shape_at = shank.evaluate_head_shapes if head else shank.evaluate_shapes
    give = np.array([shape_at(float(x), hm.shank_length) for x in at])
    moved = {
        q: np.column_stack([-turn * up, lift])
        for q, (lift, turn) in zip(shank.BENDING, give.transpose(1, 2, 0), strict=True)
    }
    return _carry_shape("h", shape, moved)


def _key_front(unit: ActionUnit) -> list[PartOutline]:
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


def _key_rear(unit: ActionUnit) -> list[PartOutline]:
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
    dome = build_disc(cap, k.capstan_radius, math.pi / 2 - half, math.pi / 2 + half)
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


def _wippen(unit: ActionUnit) -> list[PartOutline]:
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
        ("wippen", "maple", build_bar(root, post, 12 * MM, 8 * MM)),
        ("wippen", "maple", build_bar((0.0, 0.0), j, 10 * MM, 12 * MM)),
        *_stops(unit),
    ]


def _stops(unit: ActionUnit) -> list[PartOutline]:
    """What the jack leans against at its arm, and what holds the lever down behind its centre, on the wippen."""
    w, jack, lever = unit.wippen, unit.jack, unit.lever
    low, r = jack.rear_face_down_to, jack.top_edge_radius
    rear = 4.5 * MM + (low[0] + r - 4.5 * MM) * (STOP_ARM - 5 * MM) / (low[1] - 5 * MM)
    felt, wire = [(rear, STOP_ARM - 3 * MM), (rear + 2 * MM, STOP_ARM + 3 * MM)], (rear + 2 * MM, STOP_ARM)
    j, post = w.jack_centre, w.lever_centre
    at = turn_points([*felt, wire], jack.stop_angle, j)
    a, b = np.asarray(lever.surface_from), np.asarray(lever.surface_to)
    under = b + (b - a) / math.hypot(*(b - a)) * 6 * MM - np.array([0.0, 5.5 * MM])
    tail = turn_points([(float(under[0]), float(under[1]))], lever.stop_angle, post)[0]
    x, y = float(tail[0]), float(tail[1])
    return [
        (
            "jack stop",
            "wire",
            [(float(at[2][0]), float(at[2][1])), (j[0] + 16 * MM, j[1] + 9 * MM), (j[0] + 16 * MM, j[1] - 4 * MM)],
        ),
        ("jack stop", "felt", build_box(float(at[0][0]), float(at[1][0]), float(at[0][1]), float(at[1][1]))),
        ("lever stop", "wire", [(x, y - 2 * MM), (x, y - 12 * MM), (post[0] * 0.9, post[1] - 16 * MM)]),
        ("lever stop", "felt", build_box(x - 3 * MM, x + 3 * MM, y - 2 * MM, y)),
    ]


def _lever(unit: ActionUnit) -> list[PartOutline]:
    lv = unit.lever
    a, b = np.asarray(lv.surface_from), np.asarray(lv.surface_to)
    u = (b - a) / math.hypot(*(b - a))
    n = np.array([u[1], -u[0]])
    tail = b + u * 10 * MM
    front = [a, tail, tail + n * 5 * MM, b + n * 8 * MM, n * 4 * MM, a * 0.45 + n * 6 * MM, a + n * 5.5 * MM]
    pad = _screw_pad(unit)
    return [
        ("lever", "beech", [(float(p[0]), float(p[1])) for p in front]),
        ("lever", "leather", [(float(p[0]), float(p[1])) for p in pad]),
    ]


def _screw_pad(unit: ActionUnit) -> list[Points]:
    """The leather under the drop screw, let into the lever's surface."""
    lv, w = unit.lever, unit.wippen
    a, b = np.asarray(lv.surface_from), np.asarray(lv.surface_to)
    u = (b - a) / math.hypot(*(b - a))
    deep, half = MM * np.array([u[1], -u[0]]), 5 * MM
    screw = np.asarray(unit.rails.drop_screw_tip) - w.centre - np.asarray(w.lever_centre)
    middle = float(np.clip((screw - a) @ u, half, math.hypot(*(b - a)) - half))
    front, back = a + (middle - half) * u, a + (middle + half) * u
    return [front, back, back + deep, front + deep]


def _jack(unit: ActionUnit) -> list[PartOutline]:
    k = unit.jack
    (fx, fy), (rx, ry), r = k.top_front, k.top_rear, k.top_edge_radius
    up = math.atan2(ry - fy, rx - fx) + math.pi / 2
    top = build_disc(k.top_rear, r, up - math.pi / 2, up) + build_disc(k.top_front, r, up, up + math.pi / 2)
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
    toe = build_bar((0.0, 0.0), (tx, ty), 7 * MM, 2 * k.toe_radius)
    return [("jack", "pear", toe), ("jack", "pear", body)]


def _hammer(unit: ActionUnit) -> list[PartOutline]:
    hm = unit.hammer
    (sx, sy), (tx, ty) = hm.strike_point, hm.tail_centre
    lean = (sx - hm.shank_length) / sy if sy else 0.0

    def at(y: float, x: float = 0.0) -> Vec:
        return hm.shank_length + lean * y + x, y

    tail_low = ty - hm.tail_radius
    moulding = [
        at(sy - 9 * MM, -1 * MM), at(sy - 9 * MM, 1 * MM), at(9 * MM, 6.5 * MM), at(-3 * MM, 7 * MM),
        *build_disc((tx, ty), hm.tail_radius, 0.0, -math.pi / 2),
        (tx - 7 * MM, tail_low + 1 * MM), at(-8 * MM, -6 * MM), at(9 * MM, -6.5 * MM),
    ]  # fmt: skip
    right = [
        (sy - 3 * MM, 4.6 * MM), (sy - 10 * MM, 8.6 * MM), (sy - 20 * MM, 11 * MM), (14 * MM, 9.6 * MM),
        (8 * MM, 6.8 * MM), (14 * MM, 3.5 * MM),
    ]  # fmt: skip
    left = [at(y, -x) for y, x in reversed(right)]
    felt = build_smooth_curve([at(sy), *(at(y, x) for y, x in right), at(sy - 12 * MM), *left])
    kx, ky = hm.knuckle_centre
    core = [(kx - 1.2 * MM, -2 * MM), (kx + 1.2 * MM, -2 * MM), (kx + 1.2 * MM, ky), (kx - 1.2 * MM, ky)]
    shank = build_bar((0.0, 0.0), (hm.shank_length, 0.0), 7 * MM, 5.5 * MM)
    return [
        ("hammer", "leather", build_disc((kx, ky), hm.knuckle_radius)),
        ("hammer", "maple", core),
        ("hammer", "maple", shank),
        ("hammer", "walnut", moulding),
        ("hammer", "white felt", felt),
    ]


def _damper(unit: ActionUnit) -> list[CarriedShape]:
    """Underlever over the key's end, wire and damper head on the string, where one is fitted."""
    d = unit.damper
    if d is None:
        return []
    x, low = d.key_end[0], d.key_end[1] + d.gap
    wire, top = x + 24 * MM, unit.rails.string_y
    shapes: list[PartOutline] = [
        ("damper", "wire", [(wire, low + 4 * MM), (wire, top + 10 * MM)]),
        ("damper", "felt", build_box(x - 9 * MM, x + 9 * MM, low, low + 3 * MM)),
        ("damper", "maple", build_bar((x - 8 * MM, low + 7 * MM), (x + 64 * MM, low + 9 * MM), 8 * MM)),
        ("damper", "white felt", build_box(wire - 6 * MM, wire + 6 * MM, top, top + 9 * MM)),
        ("damper", "ebony", build_box(wire - 5 * MM, wire + 5 * MM, top + 9 * MM, top + 16 * MM)),
    ]
    hinge = x + 60 * MM
    return [
        _carry_shape("d", shape, {"d": np.array([(0.0, 1.0 if px < hinge else 0.0) for px, _ in shape[2]])})
        for shape in shapes
    ]


def build_spring(unit: ActionUnit) -> SpringShape:
    """The repetition spring, from the post to its slot under the lever."""
    lv = unit.lever
    a, b = np.asarray(lv.surface_from), np.asarray(lv.surface_to)
    u = (b - a) / math.hypot(*(b - a))
    slot = a * 0.5 + b * 0.5 - u * 4 * MM + np.array([u[1], -u[0]]) * 6.5 * MM
    low = (0.62 * unit.wippen.lever_centre[0], 16 * MM)
    loop = np.asarray(build_disc(low, 2.6 * MM, math.pi * 0.25, math.pi * 2.25))
    return SpringShape(loop, (float(slot[0]), float(slot[1])), 7 * MM)
