"""Synthetic photographs for tests: places found in the rendered picture itself, not taken from the projection."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from sim.photo.photograph import Marks, PhotographResult, Picture
from sim.photo.points import list_clicks, list_coordinate_fields
from sim.report.photograph import demo
from sim.unit.model import ActionUnit, Vec

MM = 1e-3
NAMES = tuple(a.name for a in list_clicks(len(demo.RULE), True))
DOTS = {name: f"#{250 - 5 * (i % 20):02x}00{100 + 7 * i % 150:02x}" for i, name in enumerate(NAMES)}
"""A colour of its own for each place, that nothing else in the picture has."""


def find_dots(unit: ActionUnit, camera: demo.Camera) -> dict[str, Vec]:
    """The middle of each dot that is seen, rounded to whole pixels."""
    seen = np.asarray(demo.draw_picture(unit, camera, DOTS)).astype(np.int64)
    down, across = np.nonzero((seen[:, :, 1] == 0) & (seen[:, :, 0] >= 150))
    colours = seen[down, across] @ (65536, 256, 1)
    out = {}
    for name, colour in DOTS.items():
        here = colours == int(colour[1:], 16)
        assert here.sum() > 20, f"{name} is not to be seen"
        out[name] = (float(np.round(across[here].mean())), float(np.round(down[here].mean())))
    return out


def project_places(unit: ActionUnit, camera: demo.Camera) -> dict[str, Vec]:
    """Where the camera shows each place, to the last figure."""
    return {name: (float(x), float(y)) for name, (x, y) in demo.compute_clicks(unit, camera).items()}


def make_marks(clicks: Mapping[str, Vec], camera: demo.Camera, **more: object) -> Marks:
    """Marks on such a picture, card and rule as they were drawn, as a person would tell them."""
    picture = Picture("synthetic.png", *camera.pixels, 1000, "0" * 64)
    told = {"card": demo.CARD, "rule": demo.RULE, "distance": camera.distance, **more}
    return Marks(picture, dict(clicks), **told)  # type: ignore[arg-type]


def measure_errors(done: PhotographResult, unit: ActionUnit) -> dict[str, tuple[float, ...]]:
    """How far each field is off (SI), by path."""
    there = {
        w.path: getattr(getattr(unit, w.path.split(".")[0]), w.path.split(".")[1]) for w in list_coordinate_fields()
    }
    out = {}
    for found in done.found:
        value = there[found.path]
        true = value if isinstance(value, tuple) else (value,)
        out[found.path] = tuple(a - b for a, b in zip(found.value, true, strict=True))
    return out
