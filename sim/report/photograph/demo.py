"""An invented photograph: a shipped unit beside card and rule, as a camera would see it; to try out, and for tests.

The camera is a pinhole with a lens that bows; it knows nothing of ``perspective.py``, which has to find it again.
"""

from __future__ import annotations

import io
import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from PIL import Image, ImageDraw

from sim.photo import points
from sim.report.drawing.mechanism import EDGE, FILLS, LINES
from sim.report.drawing.outline import place_moving_shapes
from sim.report.drawing.shapes import Pose, Shape, build_disc
from sim.report.drawing.surroundings import build_fixed_shapes
from sim.unit.model import ActionUnit, Vec
from sim.unit.plane import add_vectors, rotate_vector

Array = NDArray[np.float64]

CARD, CARD_AT = (0.240, 0.160), (-0.125, 0.122)
RULE, RULE_AT = (0.0, 0.15, 0.3), (-0.045, -0.057)
LEVEL = ((-0.235, -0.036), (0.265, -0.036))
"""Ends of the key bed's upper edge."""
PAPER, STEEL, GROUND, INK = "#fdfdfb", "#c3c9ce", "#e9e6df", "#22282d"
DOT = 1.1e-3
"""Radius of a dot that marks a place, m."""


@dataclass(frozen=True)
class Camera:
    """Where it stands and how it looks: ``distance`` (m) from what ``at`` (m) shows in the middle of the picture.

    ``tilt``, ``turn`` and ``roll`` (rad) look down, aside and lean; ``bow`` moves the corner outward by that share;
    ``depth`` (m) is how much nearer than the card parts and rule lie; ``wide`` (m) is what the picture's width holds.
    """

    pixels: tuple[int, int] = (3600, 2400)
    wide: float = 0.60
    distance: float = 1.2
    at: Vec = (0.0, 0.075)
    tilt: float = 0.0
    turn: float = 0.0
    roll: float = 0.0
    bow: float = 0.0
    depth: float = 0.0

    def sees(self, places: ArrayLike, depth: float = 0.0) -> Array:
        """Pixels (n, 2) of places in the plane of the card (n, 2; m) or nearer by ``depth`` (m)."""
        flat = np.asarray(places, float).reshape(-1, 2) - self.at
        c, s = math.cos(self.turn), math.sin(self.turn)
        x, back = c * flat[:, 0] + s * depth, c * depth - s * flat[:, 0]
        c, s = math.cos(self.tilt), math.sin(self.tilt)
        y, near = c * flat[:, 1] - s * back, s * flat[:, 1] + c * back
        seen = np.column_stack([x, -y]) * (self.pixels[0] * self.distance / self.wide)
        seen /= (self.distance - near)[:, None]
        c, s = math.cos(self.roll), math.sin(self.roll)
        seen = seen @ np.array([[c, s], [-s, c]])
        half = math.hypot(*self.pixels) / 2
        seen *= (1.0 + self.bow * (seen**2).sum(axis=1) / half**2)[:, None]
        return np.asarray(seen + np.array(self.pixels) / 2)


def compute_true_places(unit: ActionUnit) -> dict[str, Vec]:
    """Where each click belongs in the action's frame (m), parts in their design pose; planes are clicked beside it."""
    w, h = unit.wippen, unit.hammer
    base = {
        "action": (0.0, 0.0), "wippen": w.centre, "jack": add_vectors(w.centre, w.jack_centre),
        "lever": add_vectors(w.centre, w.lever_centre), "shank": h.centre,
    }  # fmt: skip
    beside = {"key.front_edge_x": 0.012, "key.punching_x": -0.016, "key.punching_plane_y": unit.key.punching_x + 0.006,
              "key.back_cloth_x": -0.003, "key.back_cloth_plane_y": unit.key.back_cloth_x + 0.012,
              "rails.let_off_button_plane_y": w.centre[0] + w.jack_centre[0] + unit.jack.toe_centre[0] + 0.004,
              "rails.rest_cushion_plane_y": h.centre[0] + h.cushion_point[0] - 0.008,
              "rails.string_y": h.centre[0] + h.strike_point[0] + 0.012}  # fmt: skip
    out = {points.PIN: (0.0, 0.0), points.LEVEL_FRONT: LEVEL[0], points.LEVEL_REAR: LEVEL[1]}
    for want in points.list_coordinate_fields():
        part, name = want.path.split(".")
        value = getattr(getattr(unit, part), name)
        if want.gives == "angle":
            out[want.click] = add_vectors(h.centre, rotate_vector((0.8 * h.shank_length, 0.0), value))
        elif want.gives != "point":
            out[want.click] = (value, beside[want.path]) if want.gives == "x" else (beside[want.path], value)
        else:
            out[want.click] = add_vectors(
                base[want.frame], rotate_vector(value, h.rest_angle) if want.frame == "shank" else value
            )
    return out


def compute_clicks(unit: ActionUnit, camera: Camera) -> dict[str, Array]:
    """Pixels at which the camera shows each place to be clicked."""
    card = {name: camera.sees(_on_card(share))[0] for name, share in points.CARD.items()}
    marks = {points.name_rule_mark(i): (RULE_AT[0] + along, RULE_AT[1]) for i, along in enumerate(RULE)}
    return card | {name: camera.sees(at, camera.depth)[0] for name, at in (marks | compute_true_places(unit)).items()}


def draw_picture(unit: ActionUnit, camera: Camera, dots: Mapping[str, str] | None = None) -> Image.Image:
    """The picture; ``dots`` has each place to be clicked marked by a dot of that colour."""
    image = Image.new("RGB", camera.pixels, GROUND)
    draw = ImageDraw.Draw(image)
    _card(draw, camera)
    pose = Pose(0.0, 0.0, 0.0, 0.0, 0.0, unit.hammer.rest_angle)
    for shape in (*build_fixed_shapes(unit), *place_moving_shapes(unit, pose)):
        _shape(draw, camera, shape)
    _rule(draw, camera)
    for name, at in compute_true_places(unit).items():
        if dots is None and name not in (points.LEVEL_FRONT, points.LEVEL_REAR):
            draw.polygon(_path(camera, build_disc(at, 0.5 * DOT), camera.depth), INK)
    if dots is not None:
        _dots(draw, unit, camera, dots)
    return image


def make_demo(unit: ActionUnit, seed: int = 7) -> tuple[bytes, dict[str, Vec]]:
    """A JPEG of the unit, seen a little aslant, and clicks on it as a careful hand sets them (within a pixel)."""
    camera = Camera(tilt=0.03, turn=-0.04, bow=0.002, depth=0.004)
    out = io.BytesIO()
    draw_picture(unit, camera).save(out, "JPEG", quality=85)
    hand = np.random.default_rng(seed)
    set_ = {n: np.round(at + hand.normal(0.0, 0.6, 2), 1) for n, at in compute_clicks(unit, camera).items()}
    return out.getvalue(), {n: (float(x), float(y)) for n, (x, y) in set_.items()}


def _on_card(share: Vec) -> Vec:
    return CARD_AT[0] + share[0] * CARD[0], CARD_AT[1] + share[1] * CARD[1]


def _path(camera: Camera, places: ArrayLike, depth: float) -> list[Vec]:
    return [(float(x), float(y)) for x, y in camera.sees(places, depth)]


def _box(x: float, y: float, across: float, up: float) -> list[Vec]:
    return [(x, y), (x + across, y), (x + across, y + up), (x, y + up)]


def _draw_line(draw: ImageDraw.ImageDraw, camera: Camera, a: Vec, b: Vec, depth: float, wide: float = 0.3e-3) -> None:
    scale = camera.pixels[0] / camera.wide
    draw.line(_path(camera, [a, b], depth), INK, max(1, round(wide * scale)))


def _card(draw: ImageDraw.ImageDraw, camera: Camera) -> None:
    x, y = _on_card((-0.5, -0.5))
    draw.polygon(_path(camera, _box(x - 0.012, y - 0.012, CARD[0] + 0.024, CARD[1] + 0.024), 0.0), PAPER)
    for share in points.CARD.values():
        x, y = _on_card(share)
        for dx, dy in ((0.006, 0.0), (0.0, 0.006)):
            _draw_line(draw, camera, (x - dx, y - dy), (x + dx, y + dy), 0.0)
        ring = build_disc((x, y), 2.5e-3)
        draw.line(_path(camera, [*ring, ring[0]], 0.0), INK, 2)


def _rule(draw: ImageDraw.ImageDraw, camera: Camera) -> None:
    x, y = RULE_AT
    draw.polygon(_path(camera, _box(x - 0.008, y - 0.013, RULE[-1] + 0.016, 0.017), camera.depth), STEEL)
    for i in range(round(1e3 * RULE[-1]) // 5 + 1):
        at = x + 5e-3 * i
        long = any(abs(at - x - mark) < 1e-6 for mark in RULE)
        high = 8e-3 if long else 5e-3 if i % 2 == 0 else 3e-3
        _draw_line(draw, camera, (at, y - (4e-3 if long else 0.0)), (at, y - high), camera.depth)
    for mark in RULE:
        draw.polygon(_path(camera, build_disc((x + mark, y), 0.5 * DOT), camera.depth), INK)


def _shape(draw: ImageDraw.ImageDraw, camera: Camera, shape: Shape) -> None:
    path = _path(camera, shape.points, camera.depth)
    scale = camera.pixels[0] / camera.wide * 1e-3
    if shape.closed:
        draw.polygon(path, FILLS[shape.stuff], EDGE, max(1, round(0.25 * scale)))
    else:
        colour, width = LINES[shape.stuff]
        draw.line(path, colour, max(1, round(0.5 * width * scale)))


def _dots(draw: ImageDraw.ImageDraw, unit: ActionUnit, camera: Camera, dots: Mapping[str, str]) -> None:
    card = {name: _on_card(share) for name, share in points.CARD.items()}
    marks = {points.name_rule_mark(i): (RULE_AT[0] + along, RULE_AT[1]) for i, along in enumerate(RULE)}
    for name, at in (card | marks | compute_true_places(unit)).items():
        depth = 0.0 if name in card else camera.depth
        draw.polygon(_path(camera, build_disc(at, DOT), depth), dots[name])
