"""The parts' faces as the engine's own shapes, for its own contacts: no felt laws, hard within a millisecond.

What is left is the mechanism: levers, masses, springs, friction.  It shows how much of a
reading the laws of felt and leather make.
"""

from __future__ import annotations

import math

from sim.unit.model import ActionUnit, Vec
from tests.twin.bodies import link_of

DEEP = 4e-3
"""Half of the depth of boxes behind a face, m."""
POINT = 0.5e-3
"""Radius of balls that stand for points, m."""
HARD = 'solref="0.001 1" solimp="0.95 0.99 0.0001"'
"""Time constant 1 ms, the engine's own kind of contact (its default is 20 ms)."""

MET = {
    "back_cloth": ("cloth_point", "cloth"),
    "capstan": ("capstan", "heel"),
    "jack_knuckle": ("knuckle", "jack_top"),
    "jack_edge": ("knuckle", "jack_face"),
    "lever_knuckle": ("knuckle", "surface"),
    "drop_screw": ("screw", "surface"),
    "toe_button": ("toe", "button"),
    "rest_cushion": ("shank_point", "cushion"),
    "backcheck": ("tail", "check"),
}
"""Pairs of shapes that may touch, by contact."""


def _ball(name: str, at: Vec, radius: float) -> str:
    return (
        f'<geom name="{name}" type="sphere" size="{radius!r}" pos="{at[0]!r} {at[1]!r} 0" contype="0" conaffinity="0"/>'
    )


def _face(name: str, a: Vec, t: Vec, length: float) -> str:
    """A box whose face runs from ``a`` along ``t`` and looks to the left of it."""
    nx, ny = -t[1], t[0]
    x, y = a[0] + 0.5 * length * t[0] - DEEP * nx, a[1] + 0.5 * length * t[1] - DEEP * ny
    return (
        f'<geom name="{name}" type="box" size="{0.5 * length!r} {DEEP!r} 0.02" pos="{x!r} {y!r} 0" '
        f'xyaxes="{t[0]!r} {t[1]!r} 0 {nx!r} {ny!r} 0" contype="0" conaffinity="0"/>'
    )


def _level(name: str, y: float, up: int) -> str:
    return (
        f'<geom name="{name}" type="plane" size="1 1 1" pos="0 {y!r} 0" zaxis="0 {up} 0" contype="0" conaffinity="0"/>'
    )


def _rounded(name: str, a: Vec, b: Vec, radius: float) -> str:
    ends = f"{a[0]!r} {a[1]!r} 0 {b[0]!r} {b[1]!r} 0"
    return f'<geom name="{name}" type="capsule" size="{radius!r}" fromto="{ends}" contype="0" conaffinity="0"/>'


def shapes(u: ActionUnit) -> dict[str, str]:
    """The shapes of each body."""
    k, w, j, lv, hm, r = u.key, u.wippen, u.jack, u.lever, u.hammer, u.rails
    heel = (-math.cos(w.heel_angle), -math.sin(w.heel_angle))
    span = math.dist(lv.surface_from, lv.surface_to)
    along = ((lv.surface_to[0] - lv.surface_from[0]) / span, (lv.surface_to[1] - lv.surface_from[1]) / span)
    check = (math.cos(k.backcheck_angle), math.sin(k.backcheck_angle))
    before = (w.heel_point[0] - 0.02 * heel[0], w.heel_point[1] - 0.02 * heel[1])
    link, start = link_of(u, hm.cushion_point[0])
    out = {
        "world": _level("cloth", k.back_cloth_plane_y, 1)
        + _level("button", r.let_off_button_plane_y, -1)
        + _level("cushion", r.rest_cushion_plane_y, 1)
        + _ball("screw", r.drop_screw_tip, r.drop_screw_radius),
        "kr": _ball("cloth_point", (k.back_cloth_x, POINT), POINT)
        + _ball("capstan", k.capstan_centre, k.capstan_radius)
        + _face("check", k.backcheck_foot, check, k.backcheck_length),
        "w": _face("heel", before, heel, 0.04),
        "j": _rounded("jack_top", j.top_front, j.top_rear, j.top_edge_radius)
        + _rounded("jack_face", j.top_rear, j.rear_face_down_to, j.top_edge_radius)
        + _ball("toe", j.toe_centre, j.toe_radius),
        "l": _face("surface", lv.surface_from, along, span),
        "knuckle": _ball("knuckle", hm.knuckle_centre, hm.knuckle_radius),
        "head": _ball("tail", hm.tail_centre, hm.tail_radius),
    }  # fmt: skip
    out[link] = out.get(link, "") + _ball(
        "shank_point", (hm.cushion_point[0] - start, hm.cushion_point[1] + POINT), POINT
    )
    return out


def pairs(u: ActionUnit) -> str:
    """Which shapes may touch, with the friction of their faces."""
    out = ""
    for name, (a, b) in MET.items():
        mu = u.contacts["jack_knuckle" if name == "jack_edge" else name].friction
        out += f'<pair geom1="{a}" geom2="{b}" condim="3" friction="{mu!r} {mu!r} 0 0 0" {HARD}/>'
    return out
