"""What does not move in the picture: key frame, rails, flanges, button, screw, cushion and string (metres)."""

from __future__ import annotations

import numpy as np

from sim.report.drawing.shapes import MM, Shape, build_box, build_disc
from sim.unit.model import ActionUnit, Vec

PartOutline = tuple[str, str, list[Vec]]


def build_fixed_shapes(unit: ActionUnit, bed: float = -35 * MM) -> list[Shape]:
    """The fixed parts; ``bed`` is the level of the key bed under the key."""
    found = [*_frame(unit, bed), *_wippen_rail(unit), *_hammer_rail(unit), *_let_off(unit), *_cushion(unit)]
    shapes = [Shape(part, stuff, np.asarray(points), stuff not in ("wire", "string")) for part, stuff, points in found]
    return [*shapes, _string(unit)]


def _frame(unit: ActionUnit, bed: float) -> list[PartOutline]:
    k = unit.key
    cloth, punch = k.back_cloth_plane_y, k.punching_plane_y
    return [
        ("frame", "wire", [(k.punching_x, bed + 12 * MM), (k.punching_x, 10 * MM)]),
        ("frame", "rail", build_box(k.punching_x - 22 * MM, k.punching_x + 22 * MM, bed, punch - 5 * MM)),
        ("punching", "felt", build_box(k.punching_x - 11 * MM, k.punching_x + 11 * MM, punch - 5 * MM, punch)),
        ("frame", "wire", [(0.0, bed + 12 * MM), (0.0, k.touch_point[1] + 5 * MM)]),
        ("frame", "rail", build_box(-24 * MM, 24 * MM, bed, -3 * MM)),
        ("frame", "felt", build_box(-9 * MM, 9 * MM, -3 * MM, 0.0)),
        ("frame", "rail", build_box(k.back_cloth_x - 26 * MM, k.back_cloth_x + 26 * MM, bed, cloth - 6 * MM)),
        ("back cloth", "felt", build_box(k.back_cloth_x - 18 * MM, k.back_cloth_x + 18 * MM, cloth - 6 * MM, cloth)),
        ("frame", "bed", build_box(k.front_edge_x - 5 * MM, k.back_cloth_x + 60 * MM, bed - 8 * MM, bed)),
    ]


def _wippen_rail(unit: ActionUnit) -> list[PartOutline]:
    x, y = unit.wippen.centre
    return [
        ("rail", "rail", build_box(x + 10 * MM, x + 46 * MM, y - 26 * MM, y - 8 * MM)),
        (
            "flange",
            "beech",
            [
                *build_disc((x, y), 4.5 * MM, 1.2, 4.9),
                (x + 8 * MM, y - 8 * MM),
                (x + 40 * MM, y - 8 * MM),
                (x + 40 * MM, y),
            ],
        ),
    ]


def _hammer_rail(unit: ActionUnit) -> list[PartOutline]:
    x, y = unit.hammer.centre
    sx, sy = unit.rails.drop_screw_tip
    r = unit.rails.drop_screw_radius
    left = x - 46 * MM
    flange = [
        (left, y + 4 * MM), (x - 12 * MM, y + 4 * MM), *build_disc((x, y), 5 * MM, 1.9, -1.2),
        (x - 12 * MM, y - 4 * MM), (left, y - 4 * MM),
    ]  # fmt: skip
    tip = build_disc((sx, sy), r, 3.14159, 2 * 3.14159)
    return [
        ("rail", "rail", build_box(left - 4 * MM, x - 14 * MM, y - 24 * MM, y - 4 * MM)),
        ("flange", "beech", flange),
        (
            "drop screw",
            "steel",
            [
                *tip,
                (sx + 1.6 * MM, sy),
                (sx + 1.6 * MM, y + 14 * MM),
                (sx - 1.6 * MM, y + 14 * MM),
                (sx - 1.6 * MM, sy),
            ],
        ),
    ]


def _let_off(unit: ActionUnit) -> list[PartOutline]:
    toe_x = unit.wippen.centre[0] + unit.wippen.jack_centre[0] + unit.jack.toe_centre[0]
    y = unit.rails.let_off_button_plane_y
    return [
        ("button", "wire", [(toe_x, y + 5 * MM), (toe_x, y + 22 * MM)]),
        ("button", "felt", build_box(toe_x - 5 * MM, toe_x + 5 * MM, y, y + 2.5 * MM)),
        ("button", "beech", build_box(toe_x - 5 * MM, toe_x + 5 * MM, y + 2.5 * MM, y + 8 * MM)),
        ("rail", "rail", build_box(toe_x - 10 * MM, toe_x + 5 * MM, y + 14 * MM, y + 27 * MM)),
    ]


def _cushion(unit: ActionUnit) -> list[PartOutline]:
    h = unit.hammer
    x = h.centre[0] + h.cushion_point[0] * np.cos(h.rest_angle) - h.cushion_point[1] * np.sin(h.rest_angle)
    y = unit.rails.rest_cushion_plane_y
    return [
        ("cushion", "felt", build_box(x - 8 * MM, x + 8 * MM, y - 6 * MM, y)),
        ("rail", "rail", build_box(x - 9 * MM, x + 9 * MM, y - 14 * MM, y - 6 * MM)),
    ]


def _string(unit: ActionUnit) -> Shape:
    x = unit.hammer.centre[0] + unit.hammer.strike_point[0]
    y = unit.rails.string_y
    return Shape("string", "string", np.array([(x - 190 * MM, y), (x + 75 * MM, y)]), closed=False)
