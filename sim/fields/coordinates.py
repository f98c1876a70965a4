"""Raw coordinates for a researcher: the names of the parts in ``model.py``, replacing what follows from the measures.

``[coordinates.wippen]`` with ``centre = ["188.44 mm", "64.84 mm"]`` puts that
point where it says; nothing else moves with it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields as dataclass_fields
from typing import Annotated, Any

from pydantic import BeforeValidator, Field, WithJsonSchema, create_model

from sim.fields.quantity_field import PROVENANCE, Kind, make_field_error, read_quantity, shorten_value
from sim.fields.section_base import Quantity, Section, quantity
from sim.unit import model
from sim.units import LENGTH

PARTS: Mapping[str, type] = {
    "key": model.Key,
    "wippen": model.Wippen,
    "jack": model.Jack,
    "lever": model.Lever,
    "hammer": model.Hammer,
    "rails": model.Rails,
}

_POINT = Kind(LENGTH, "mm", -600, 600)

_UNITS: Mapping[str, tuple[str, float, float]] = {
    "angle": ("deg", -180, 180),
    "turn": ("deg", 0, 90),
    "inertia": ("kg·m²", 1e-8, 0.05),
    "inertia_front": ("kg·m²", 1e-8, 0.05),
    "inertia_rear": ("kg·m²", 1e-8, 0.05),
    "mass": ("g", 0, 300),
    "moment": ("g·mm", -1e5, 1e5),
    "key.bending_stiffness": ("N·m/rad", 50, 1e5),
    "bending_damping": ("N·m·s/rad", 0, 10),
    "shank_bending_stiffness": ("N/m", 100, 1e5),
    "ratio": ("", 0, 0.5),
    "radius": ("mm", 0, 100),
    "gyration": ("mm", 0, 100),
    "front_edge_x": ("mm", -600, -30),
    "punching_x": ("mm", -600, -30),
    "backcheck_length": ("mm", 1, 600),
    "shank_length": ("mm", 20, 600),
}
"""Unit and range by the field's name, or by its last word; lengths are the rest."""


def _read_point(raw: Any) -> Any:
    """A point as two lengths, or a table with ``value`` and its source."""
    if raw is None or isinstance(raw, tuple):
        return raw
    table = dict(raw) if isinstance(raw, Mapping) else {"value": raw}
    pair = table.get("value")
    provenance = {k: v for k, v in table.items() if k != "value"}
    if not isinstance(pair, list) or len(pair) != 2 or any(k not in PROVENANCE for k in provenance):
        raise make_field_error(
            "not a point", shorten_value(raw), "two lengths, -600 to 600 mm each", 'write ["-43 mm", "10 mm"]'
        )
    x, y = ({"value": part, **provenance} for part in pair)
    return read_quantity(x, _POINT, "measured"), read_quantity(y, _POINT, "measured")


_POINT_SCHEMA = {
    "anyOf": [
        {"type": "array", "items": {"type": "string"}, "minItems": 2, "maxItems": 2},
        {"type": "object", "required": ["value"]},
    ]
}
Point = Annotated[Any, BeforeValidator(_read_point), WithJsonSchema(_POINT_SCHEMA)]


def _field(part: str, name: str, kind: str) -> tuple[Any, Any]:
    if kind == "Vec":
        return Point, Field(default=None, description="x and y (hammer: along and across the shank)")
    for key in (f"{part}.{name}", name, name.rsplit("_", 1)[-1]):
        if key in _UNITS:
            unit, low, high = _UNITS[key]
            return Quantity | None, quantity(unit, low, high, "as in the part's own data")
    return Quantity | None, quantity("mm", -600, 600, "as in the part's own data")


def _part_section(part: str, parent: type) -> type[Section]:
    wanted = {f.name: str(f.type) for f in dataclass_fields(parent) if f.type != "bool"}
    columns: dict[str, Any] = {name: _field(part, name, kind) for name, kind in wanted.items()}
    return create_model(
        f"{parent.__name__}Coordinates", __base__=Section, __doc__=f"Raw coordinates of the {part}.", **columns
    )


SECTIONS = {part: _part_section(part, parent) for part, parent in PARTS.items()}

_columns: dict[str, Any] = {part: (section | None, None) for part, section in SECTIONS.items()}
CoordinatesSection = create_model(
    "CoordinatesSection", __base__=Section, __doc__="Raw coordinates, by part.", **_columns
)

SUPERSEDED_MEASURES: Mapping[str, tuple[str, ...]] = {
    "key.touch_point": ("key.touch_from_edge", "key.height", "touch.point"),
    "key.front_edge_x": ("key.front_to_balance",),
    "key.punching_x": ("key.balance_to_punching",),
    "key.punching_plane_y": ("settings.punching", "settings.punching_height"),
    "key.back_cloth_x": ("key.balance_to_back_cloth",),
    "key.back_cloth_plane_y": ("settings.back_cloth",),
    "key.capstan_centre": ("key.balance_to_capstan", "settings.capstan_height"),
    "key.backcheck_foot": ("settings.backcheck_place", "settings.backcheck_height"),
    "key.backcheck_angle": ("settings.backcheck_angle",),
    "key.front_moment": ("key.front_weight", "key.leads"),
    "wippen.heel_point": ("wippen.centre_to_heel", "wippen.heel_drop"),
    "wippen.jack_centre": ("wippen.centre_to_jack", "wippen.heel_to_jack"),
    "wippen.lever_centre": ("wippen.centre_to_lever", "wippen.jack_to_lever"),
    "wippen.mass": ("wippen.weight",),
    "wippen.mass_centre": ("wippen.balance_distance", "wippen.balance_height"),
    "jack.top_rear": ("jack.length", "settings.jack_address"),
    "jack.top_front": ("jack.top_width",),
    "jack.toe_centre": ("jack.toe_length", "jack.toe_to_top"),
    "jack.rear_face_down_to": ("jack.rear_face_length",),
    "jack.mass_centre": ("jack.balance_length", "jack.balance_toward_toe"),
    "lever.surface_from": ("lever.front_reach", "lever.surface_height", "settings.lever_height"),
    "lever.surface_to": ("lever.rear_reach",),
    "lever.mass_centre": ("lever.balance_distance", "lever.balance_height"),
    "hammer.centre": ("rails.spread", "rails.hammer_centre_height"),
    "hammer.strike_point": ("hammer.bore", "hammer.rake"),
    "hammer.knuckle_centre": ("hammer.knuckle_set", "hammer.knuckle_drop"),
    "hammer.knuckle_radius": ("hammer.knuckle_diameter",),
    "hammer.tail_centre": ("hammer.tail_length", "hammer.tail_offset"),
    "hammer.cushion_point": ("hammer.cushion_place", "hammer.shank_diameter"),
    "hammer.head_mass_centre": ("hammer.head_balance_height",),
    "hammer.head_gyration": ("hammer.head_gyration",),
    "hammer.shank_mass_moment": ("hammer.shank_weight",),
    "hammer.shank_bending_stiffness": ("hammer.shank_stiffness",),
    "hammer.shank_damping_ratio": ("hammer.shank_damping",),
    "wippen.centre": ("rails.balance_to_wippen_centre", "rails.wippen_centre_height"),
    "rails.let_off_button_plane_y": ("settings.let_off_button", "settings.let_off_button_height"),
    "rails.drop_screw_tip": ("settings.drop_screw", "settings.drop_screw_height", "rails.balance_to_drop_screw"),
    "rails.rest_cushion_plane_y": ("settings.rest_cushion", "settings.rest_cushion_height"),
    "rails.string_y": ("rails.string_height",),
}
"""Measures that a raw coordinate leaves without effect on the point itself."""
