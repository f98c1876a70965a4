"""Every field a scenario may hold, by path: title, unit, range; and the nearest name to a wrong one."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cache
from types import UnionType
from typing import Annotated, Any, Union, get_args, get_origin

from pydantic import BaseModel

from sim.fields.definition import Scenario
from sim.fields.quantity_field import Kind
from sim.fields.section_base import get_field_kind

Path = tuple[str, ...]
"""The way to a field: ``("contacts", "backcheck", "friction")``."""


@dataclass(frozen=True, slots=True)
class Field:
    """One field of a scenario; ``minimum`` and ``maximum`` are in ``unit``, None where the field is no quantity."""

    path: str
    title: str
    unit: str
    minimum: float | None
    maximum: float | None
    doc: str
    kind: Kind | None = None


@cache
def list_fields() -> tuple[Field, ...]:
    """All fields, in the order of the file."""
    return tuple(_walk(Scenario, ()))


@cache
def index_fields() -> dict[str, Field]:
    """All fields by their path."""
    return {field.path: field for field in list_fields()}


def find_kind(path: str) -> Kind | None:
    """What the quantity at a path accepts; None for other fields and unknown paths."""
    field = index_fields().get(path)
    return field.kind if field else None


def list_names_in_table(path: Path) -> tuple[str, ...]:
    """Names that may stand in a table (the empty path: at the top of the file)."""
    section: type[BaseModel] | None = Scenario
    for name in path:
        found = section.model_fields.get(name) if section else None
        section = _section_in(found.annotation) if found else None
    return tuple(section.model_fields) if section else ()


def is_table(path: Path) -> bool:
    """Whether a path leads to a table of fields rather than to a value."""
    return bool(list_names_in_table(path))


@dataclass(frozen=True, slots=True)
class Hint:
    """What may stand in place of an unknown name."""

    allowed: str
    remedy: str


def suggest_name(name: str, known: Iterable[str]) -> Hint:
    """The nearest known name, and the list it was taken from."""
    names = list(known)
    near = difflib.get_close_matches(name[:80], names, n=1, cutoff=0.6)
    if not near:
        near = [n for n in names if n.endswith(f".{name}")][:1]
    shown = ", ".join(names) if len(names) <= 16 else f"{', '.join(names[:14])} and {len(names) - 14} more"
    remedy = f"did you mean {near[0]}?" if near else "take it out, or use one of the known names"
    return Hint(shown or "none here", remedy)


def _walk(section: type[BaseModel], path: Path) -> Iterator[Field]:
    for name, info in section.model_fields.items():
        here = (*path, name)
        inner = _section_in(info.annotation)
        if inner is not None:
            yield from _walk(inner, here)
            continue
        kind = get_field_kind(info)
        title = name.replace("_", " ")
        low, high, unit = (kind.minimum, kind.maximum, kind.unit) if kind else (None, None, "")
        yield Field(".".join(here), title, unit, low, high, info.description or "", kind)


def _section_in(annotation: Any) -> type[BaseModel] | None:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    if get_origin(annotation) is Annotated:
        return _section_in(get_args(annotation)[0])
    if get_origin(annotation) in (Union, UnionType):
        found = [_section_in(a) for a in get_args(annotation)]
        return next((f for f in found if f is not None), None)
    return None
