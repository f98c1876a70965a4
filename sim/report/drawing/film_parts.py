"""What a film shows besides its motion: shapes, names, contacts and views, as plain data (mm)."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np

from sim.display_units import convert_column
from sim.physics.mechanism import compute_parameters
from sim.report.drawing.outline import NO_GIVE, PIN, build_carried_shapes, build_spring
from sim.report.drawing.shapes import MM, SPRING_SHARE, Points, build_disc
from sim.report.drawing.surroundings import build_fixed_shapes
from sim.unit.contacts import CONTACTS, CircleOnCorner, CircleOnLine, Crown, OnPlane, Shape
from sim.unit.model import ActionUnit, Vec

CROWN_RADIUS = 4 * MM
"""How round the crown is drawn, m."""

TOP_SHAPES = (("key", "brass"), ("drop screw", "steel"), ("string", "string"))
"""Hard parts drawn over the soft ones that they press into."""

NEAR_END = 75 * MM
"""How far in front of the strike point the string's near end is drawn, m (its distance is not among the inputs)."""


def build_shapes(unit: ActionUnit) -> list[dict[str, Any]]:
    """Every shape, back to front: body ("" for the frame), part, material, flat x, y list (mm), how it gives way.

    With the shank's tip by mm of deflection ("e") and by rad of turn ("r"), with the damper by mm of lift ("d").
    """
    still = [_shape("", s.part, s.stuff, s.points, s.closed) for s in build_fixed_shapes(unit)]
    moved = [_shape(s.body, s.part, s.stuff, s.points, s.closed, s.give) for s in build_carried_shapes(unit)]
    pins = [_shape(body, "pin", "pin", np.asarray(build_disc((0.0, 0.0), PIN))) for body in ("w", "j", "l", "h")]
    found = [*still, *moved, *pins]
    return sorted(found, key=lambda s: (s["part"], s["stuff"]) in TOP_SHAPES)


def _shape(
    body: str, part: str, stuff: str, points: Points, closed: bool = True, give: Mapping[str, Points] = NO_GIVE
) -> dict[str, Any]:
    out = {"body": body, "part": part, "stuff": stuff, "closed": closed, "points": _flatten_points(points)}
    if not give:
        return out
    ways = {by: convert_column(way, "mm") if by == "r" else way for by, way in give.items()}
    return out | {"give": {by: np.round(way, 9).ravel().tolist() for by, way in ways.items()}}


def _flatten_points(points: Points) -> list[float]:
    return [float(v) for v in np.round(convert_column(points, "mm"), 7).ravel()]


def build_spring_bow(unit: ActionUnit) -> dict[str, Any]:
    """The repetition spring: loop on the wippen, slot on the lever, and the bow between them (see shapes.Spring)."""
    s = build_spring(unit)
    return {
        "loop": _flatten_points(s.loop),
        "slot": _flatten_points(np.asarray([s.slot])),
        "sag": float(convert_column(s.sag, "mm")),
        "share": SPRING_SHARE,
    }


def build_centres(unit: ActionUnit) -> dict[str, list[float]]:
    """Centres of wippen and hammer in the plane, of jack and lever on the wippen."""
    w = unit.wippen
    found = {"w": w.centre, "h": unit.hammer.centre, "j": w.jack_centre, "l": w.lever_centre}
    return {body: _flatten_points(np.asarray([centre])) for body, centre in found.items()}


def build_contacts(unit: ActionUnit) -> list[dict[str, Any]]:
    """Every contact: title, the shape it squeezes and the squeeze at which that is through, and either the
    radius of what presses into it or the width of the patch (mm)."""
    p = compute_parameters(unit)
    return [
        {
            "name": c.name,
            "title": c.title,
            "part": c.soft.part,
            "stuff": c.soft.material,
            "thick": float(convert_column(unit.contacts[c.name].thickness, "mm")),
            "radius": float(convert_column(_radius(c.shape, p), "mm")),
            "width": c.soft.width,
        }
        for c in CONTACTS
    ]


def _radius(shape: Shape, p: Mapping[str, float]) -> float:
    match shape:
        case CircleOnCorner(own=radius) | CircleOnLine(radius=radius) | OnPlane(radius=radius):
            return p.get(radius, 0.0)
        case Crown():
            return CROWN_RADIUS
        case _:
            return 0.0


def build_string(unit: ActionUnit) -> dict[str, float]:
    """Where the string stands, its strike point and near end, and how fast a bend runs along it as drawn (mm, ms)."""
    x = unit.hammer.centre[0] + unit.hammer.strike_point[0]
    near, far = x - NEAR_END, x + NEAR_END
    found = {"y": unit.rails.string_y, "strike": x, "near": near, "far": far}
    run = 2 * NEAR_END / unit.string.near_end_delay
    return {name: float(convert_column(v, "mm")) for name, v in found.items()} | {"run": run}


def build_views(unit: ActionUnit) -> dict[str, list[float]]:
    """Left, right, low and high edge of what each zoom shows."""
    k, h, r = unit.key, unit.hammer, unit.rails
    hx, hy = h.centre
    head, top = hx + h.strike_point[0], r.string_y + (30 * MM if unit.damper else 10 * MM)
    rear = max(k.back_cloth_x + 60 * MM, k.backcheck_foot[0] + 40 * MM, head + 66 * MM)
    if unit.damper is not None:
        rear = max(rear, unit.damper.key_end[0] + 72 * MM)
    boxes = {
        "whole": (k.front_edge_x - 10 * MM, rear, -45 * MM, top),
        "escapement": (hx - 60 * MM, hx + 62 * MM, r.let_off_button_plane_y - 26 * MM, hy + 22 * MM),
        "head": (head - 78 * MM, head + 62 * MM, k.backcheck_foot[1] - 6 * MM, r.string_y + 10 * MM),
    }
    return {name: [float(v) for v in convert_column(box, "mm")] for name, box in boxes.items()}


def build_names(unit: ActionUnit) -> list[dict[str, Any]]:
    """Names of the parts: text, body and point named (mm), where the text stands from there (px), in which views."""
    k, w, h, r, lv = unit.key, unit.wippen, unit.hammer, unit.rails, unit.lever
    toe_x = w.centre[0] + w.jack_centre[0] + unit.jack.toe_centre[0]
    check = k.backcheck_foot
    along = (math.cos(k.backcheck_angle), math.sin(k.backcheck_angle))
    middle = (check[0] + 0.6 * k.backcheck_length * along[0], check[1] + 0.6 * k.backcheck_length * along[1])
    mean = 0.5 * (np.asarray(lv.surface_from) + np.asarray(lv.surface_to)) - np.array([0.0, 3 * MM])
    cushion = h.centre[0] + h.cushion_point[0] * math.cos(h.rest_angle) - h.cushion_point[1] * math.sin(h.rest_angle)
    entries: list[tuple[str, str, Vec, Vec, str]] = [
        ("key", "kf", (k.front_edge_x * 0.55, 0.6 * k.touch_point[1]), (0, -34), "whole"),
        ("front punching", "", (k.punching_x + 8 * MM, k.punching_plane_y - 3 * MM), (70, 4), "whole"),
        ("balance rail", "", (16 * MM, -20 * MM), (62, 2), "whole"),
        ("back-rail cloth", "", (k.back_cloth_x + 14 * MM, k.back_cloth_plane_y - 3 * MM), (20, 26), "whole"),
        ("capstan", "kr", k.capstan_centre, (-52, 2), "whole"),
        ("wippen", "w", (0.45 * w.jack_centre[0], 0.4 * w.jack_centre[1]), (64, 16), "whole"),
        ("hammer rail", "", (h.centre[0] - 30 * MM, h.centre[1] - 14 * MM), (-64, -10), "whole"),
        ("shank", "h", (h.shank_length * 0.6, 2 * MM), (-10, -34), "whole"),
        ("hammer", "h", (h.strike_point[0] + 4 * MM, h.strike_point[1] * 0.6), (52, -8), "whole head"),
        ("tail", "h", (h.tail_centre[0], h.tail_centre[1]), (-54, 22), "head"),
        ("backcheck", "kr", middle, (48, 14), "whole head"),
        ("string", "", (h.centre[0] + h.strike_point[0] - 60 * MM, r.string_y), (-40, -14), "whole head"),
        ("rest cushion", "", (cushion, r.rest_cushion_plane_y - 4 * MM), (-30, 34), "head"),
        ("jack", "j", (0.4 * unit.jack.top_rear[0], 0.45 * unit.jack.top_rear[1]), (-50, -6), "escapement"),
        ("jack's toe", "j", unit.jack.toe_centre, (-30, 42), "escapement"),
        ("let-off button", "", (toe_x - 4 * MM, r.let_off_button_plane_y + 5 * MM), (-66, -12), "whole escapement"),
        ("jack stop", "w", (w.jack_centre[0] + 7 * MM, w.jack_centre[1] + 20 * MM), (74, 34), "escapement"),
        ("knuckle", "h", h.knuckle_centre, (62, 40), "escapement"),
        ("shank", "h", (38 * MM, 0.0), (40, -30), "escapement"),
        ("repetition lever", "l", (float(mean[0]) + 18 * MM, float(mean[1])), (70, 30), "escapement"),
        ("drop screw", "", (r.drop_screw_tip[0], h.centre[1] + 12 * MM), (-62, -10), "escapement"),
        ("repetition spring", "w", (0.62 * w.lever_centre[0], 14 * MM), (84, 10), "escapement"),
    ]  # fmt: skip
    return [
        {
            "text": text,
            "body": body,
            "at": _flatten_points(np.asarray([at])),
            "away": list(away),
            "views": views.split(),
        }
        for text, body, at, away, views in entries
    ]
