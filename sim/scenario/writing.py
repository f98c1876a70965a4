"""A unit back to the text of a scenario file: what was read, with what has changed since written over it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields
from typing import Any

import tomli_w

from sim.fields.coordinates import PARTS, SECTIONS
from sim.fields.field_paths import find_kind
from sim.fields.overrides import apply_overrides
from sim.fields.quantity_field import write_quantity
from sim.fields.scenario_files import Leaf, Leaves, nest_leaves
from sim.fields.section_base import get_field_kind
from sim.scenario.load import build_from_leaves
from sim.unit.model import ActionUnit
from sim.units import LENGTH, format_quantity

FILE_LABEL = "as changed"
SPRING_FIELDS = ("springs.repetition", "springs.repetition_rate", "springs.jack", "springs.jack_rate")
CHANGE_SOURCE = {"source": "set up", "note": "as it stands after the changes made"}


def render_scenario(leaves: Leaves) -> str:
    """The text of a scenario file that holds these leaves and rests on no other file."""
    kept = {path: leaf for path, leaf in leaves.items() if path != ("based_on",)}
    return tomli_w.dumps(nest_leaves(kept))


def update_leaves(leaves: Leaves, unit: ActionUnit, settings: Mapping[str, float] | None = None) -> Leaves:
    """Leaves that make ``unit``: scenario fields where there is one for a change, raw coordinates for the rest.

    ``settings`` are screws and papers by scenario path (SI).  Raises InputError when
    the leaves themselves are faulty.
    """
    told = {path: _text(path, si) for path, si in {**(settings or {}), **_plain(leaves, unit)}.items()}
    changed = apply_overrides(leaves, FILE_LABEL, told)
    for path, raw in _coordinates(build_from_leaves(changed, FILE_LABEL), unit).items():
        changed[tuple(path.split("."))] = Leaf(raw, FILE_LABEL, None)
    return changed


def _text(path: str, si: float) -> str:
    kind = find_kind(path)
    if kind is None:
        raise ValueError(f"{path} is no quantity")
    return write_quantity(si, kind)


def _plain(leaves: Leaves, unit: ActionUnit) -> dict[str, float]:
    """Springs and frictions that are not as the leaves have them."""
    was = build_from_leaves(leaves, FILE_LABEL)
    now = {path: float(getattr(unit.springs, path.split(".")[1])) for path in SPRING_FIELDS}
    old = {path: float(getattr(was.springs, path.split(".")[1])) for path in SPRING_FIELDS}
    now |= {f"friction.{name}": value for name, value in unit.friction.items()}
    old |= {f"friction.{name}": value for name, value in was.friction.items()}
    return {path: value for path, value in now.items() if abs(value - old[path]) > 1e-12}


def _coordinates(was: ActionUnit, now: ActionUnit) -> dict[str, Any]:
    """Raw coordinates of what differs, as a scenario writes them."""
    out: dict[str, Any] = {}
    for part, parent in PARTS.items():
        for field in fields(parent):
            old, new = (getattr(getattr(u, part), field.name) for u in (was, now))
            if field.type == "bool" or new is None or _same(old, new):
                continue
            out[f"coordinates.{part}.{field.name}"] = {"value": _value(part, field.name, new), **CHANGE_SOURCE}
    return out


def _same(old: Any, new: Any) -> bool:
    pair = [x if isinstance(x, tuple) else (x,) for x in (old, new)]
    return old is not None and all(abs(a - b) < 1e-10 for a, b in zip(*pair, strict=True))


def _value(part: str, name: str, new: Any) -> Any:
    if isinstance(new, tuple):
        return [format_quantity(x, "mm", LENGTH) for x in new]
    kind = get_field_kind(SECTIONS[part].model_fields[name])
    if kind is None:
        raise ValueError(f"coordinates.{part}.{name} is no quantity")
    return write_quantity(float(new), kind)
