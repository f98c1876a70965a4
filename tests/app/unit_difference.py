"""Two units side by side: what differs, number by number."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import fields, is_dataclass
from typing import Any

from sim.unit.model import ActionUnit

TOLD = ("name", "note", "sources", "nominal", "targets", "path")
"""What tells where a unit comes from, not what it is."""


def list_differences(a: ActionUnit, b: ActionUnit, within: float = 1e-11) -> list[tuple[str, Any, Any]]:
    """Values that are not the same in both (SI)."""
    left, right = dict(_list_values(a)), dict(_list_values(b))
    return [
        (name, left.get(name), right.get(name))
        for name in sorted({*left, *right})
        if not _is_same(left.get(name), right.get(name), within)
    ]


def _list_values(part: Any, name: str = "") -> Iterator[tuple[str, Any]]:
    if is_dataclass(part):
        for field in fields(part):
            if field.name not in TOLD or name:
                yield from _list_values(getattr(part, field.name), f"{name}.{field.name}")
    elif isinstance(part, Mapping):
        for key, value in part.items():
            yield from _list_values(value, f"{name}.{key}")
    elif isinstance(part, tuple):
        for i, value in enumerate(part):
            yield from _list_values(value, f"{name}[{i}]")
    else:
        yield name, part


def _is_same(a: Any, b: Any, within: float) -> bool:
    if isinstance(a, float) and isinstance(b, float):
        return abs(a - b) <= within
    return type(a) is type(b) and bool(a == b)
