"""A unit back to the text of a scenario file: what was read, with what has changed since written over it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields
from typing import Any

import tomli_w

from sim.fields.coordinates import PARTS, SECTIONS
from sim.fields.field_paths import kind_at
from sim.fields.overrides import apply
from sim.fields.quantity_field import written
from sim.fields.scenario_files import Leaf, Leaves, tree
from sim.fields.section_base import kind_of
from sim.scenario.load import from_leaves
from sim.unit.model import ActionUnit
from sim.units import LENGTH, show

WHERE = "as changed"
PLAIN = ("springs.repetition", "springs.repetition_rate", "springs.jack", "springs.jack_rate")
SOURCE = {"source": "set up", "note": "as it stands after the changes made"}


def text_of(leaves: Leaves) -> str:
    """The text of a scenario file that holds these leaves and rests on no other file."""
    kept = {path: leaf for path, leaf in leaves.items() if path != ("based_on",)}
    return tomli_w.dumps(tree(kept))


def with_unit(leaves: Leaves, unit: ActionUnit, settings: Mapping[str, float] | None = None) -> Leaves:
    """Leaves that make ``unit``: scenario fields where there is one for a change, raw coordinates for the rest.

    ``settings`` are screws and papers by scenario path (SI).  Raises InputError when
    the leaves themselves are faulty.
    """
    told = {path: _text(path, si) for path, si in {**(settings or {}), **_plain(leaves, unit)}.items()}
    changed = apply(leaves, WHERE, told)
    for path, raw in _coordinates(from_leaves(changed, WHERE), unit).items():
        changed[tuple(path.split("."))] = Leaf(raw, WHERE, None)
    return changed


def _text(path: str, si: float) -> str:
    kind = kind_at(path)
    if kind is None:
        raise ValueError(f"{path} is no quantity")
    return written(si, kind)


def _plain(leaves: Leaves, unit: ActionUnit) -> dict[str, float]:
    """Springs and frictions that are not as the leaves have them."""
    was = from_leaves(leaves, WHERE)
    now = {path: float(getattr(unit.springs, path.split(".")[1])) for path in PLAIN}
    old = {path: float(getattr(was.springs, path.split(".")[1])) for path in PLAIN}
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
            out[f"coordinates.{part}.{field.name}"] = {"value": _value(part, field.name, new), **SOURCE}
    return out


def _same(old: Any, new: Any) -> bool:
    pair = [x if isinstance(x, tuple) else (x,) for x in (old, new)]
    return old is not None and all(abs(a - b) < 1e-10 for a, b in zip(*pair, strict=True))


def _value(part: str, name: str, new: Any) -> Any:
    if isinstance(new, tuple):
        return [show(x, "mm", LENGTH) for x in new]
    kind = kind_of(SECTIONS[part].model_fields[name])
    if kind is None:
        raise ValueError(f"coordinates.{part}.{name} is no quantity")
    return written(float(new), kind)
