"""From what validation found to faults that a person can act on."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from sim.errors import Fault
from sim.fields.derivation_sheet import Contradiction
from sim.fields.field_paths import index_fields, list_names_in_table, suggest_name
from sim.fields.quantity_field import fit_on_line, shorten_value
from sim.fields.scenario_files import FieldPath, Leaf, Leaves

_PLAIN: Mapping[str, tuple[str, str]] = {
    "string_type": ("a text", "put it in quotes"),
    "bool_type": ("true or false", "write true or false, without quotes"),
    "int_type": ("a whole number", "write a whole number, without quotes"),
    "model_type": ("a table of fields", "write [section] on a line of its own, its fields below"),
    "model_attributes_type": ("a table of fields", "write [section] on a line of its own, its fields below"),
    "list_type": ("a list of tables", 'write [{ mass = "15 g", place = "160 mm" }]'),
}


def collect_validation_faults(error: ValidationError, leaves: Leaves, file: str) -> list[tuple[FieldPath, Fault]]:
    """Every fault of a failed validation, with the path to take out to go on."""
    return [_fault(detail, leaves, file) for detail in error.errors(include_url=False)]


def _fault(detail: ErrorDetails, leaves: Leaves, file: str) -> tuple[FieldPath, Fault]:
    path = tuple(str(part) for part in detail["loc"])
    leaf_path, leaf = find_nearest_leaf(path, leaves)
    value, allowed, remedy = _words(detail, path)
    shown = shorten_value(leaf.raw) if leaf and leaf_path == path and detail["type"] != "missing" else value
    name = format_path(path)
    where = leaf.file if leaf else file
    return leaf_path or path, Fault(where, leaf.line if leaf else None, name, shown, allowed, remedy)


def find_nearest_leaf(path: FieldPath, leaves: Leaves) -> tuple[FieldPath | None, Leaf | None]:
    """The leaf at a path, or the one that holds it."""
    for n in range(len(path), 0, -1):
        if path[:n] in leaves:
            return path[:n], leaves[path[:n]]
    return None, None


def format_path(path: FieldPath) -> str:
    """A path as a person reads it, list places in brackets."""
    name = ""
    for part in path:
        shown = part or '""'
        name += f"[{part}]" if part.isdigit() else f".{shown}" if name else shown
    return fit_on_line(name, 80)


def _words(detail: ErrorDetails, path: FieldPath) -> tuple[str, str, str]:
    """Value, allowed range and remedy of one finding."""
    kind, context = detail["type"], detail.get("ctx", {})
    value = shorten_value(detail.get("input"))
    if kind == "scenario":
        return context["value"], context["allowed"], f"{context['problem']}: {context['remedy']}"
    if kind == "extra_forbidden":
        hint = _hint(path)
        return value, f"the fields {hint.allowed}", f"unknown field: {hint.remedy}"
    if kind == "missing":
        return "missing", _range_of(path), "every scenario needs it: write it"
    if kind in _PLAIN:
        allowed, remedy = _PLAIN[kind]
        return value, _range_of(path, allowed), f"not {allowed}: {remedy}"
    if kind == "literal_error":
        return value, f"one of {context['expected']}", "unknown word: write one of these, in quotes"
    return value, _range_of(path, _bounds(context)), f"{detail['msg'].lower()}: write a value within the range"


def _hint(path: FieldPath) -> Any:
    parent = path[:-1]
    hint = suggest_name(path[-1], list_names_in_table(parent))
    if "did you mean" in hint.remedy:
        return hint
    elsewhere = [p for p in index_fields() if p.rsplit(".", 1)[-1] == path[-1]]
    return type(hint)(hint.allowed, f"did you mean {elsewhere[0]}?") if elsewhere else hint


def _bounds(context: Mapping[str, Any]) -> str:
    words = {
        "ge": "at least {}", "le": "at most {}", "gt": "more than {}", "lt": "less than {}",
        "min_length": "at least {} characters", "max_length": "at most {} entries or characters",
    }  # fmt: skip
    return ", ".join(text.format(context[key]) for key, text in words.items() if key in context)


_RANGES = {
    "name": "a text of 1 to 120 characters",
    "note": "a text of at most 4000 characters",
    "key_number": "1 to 88",
    "string.count": "1 to 3",
    "key.leads": "at most 12 leads",
}


def _range_of(path: FieldPath, otherwise: str = "a value") -> str:
    name = ".".join(p for p in path if not p.isdigit())
    if name in _RANGES:
        return _RANGES[name]
    field = index_fields().get(name)
    return field.kind.allowed if field and field.kind else otherwise


def make_contradiction_fault(found: Contradiction, leaves: Leaves, file: str, assumed: set[str]) -> Fault:
    """A fault from values that do not go together; says which of them nobody measured."""
    _, leaf = find_nearest_leaf(tuple(found.field.split(".")), leaves)
    if leaf is None:
        others = (find_nearest_leaf(tuple(p.split(".")), leaves)[1] for p in found.involved)
        leaf = next((other for other in others if other), None)
    only = [p for p in found.involved if p in assumed]
    value = f"{shorten_value(found.value)}{' (assumed)' if found.field in assumed else ''}"
    remedy = found.remedy + (f" (assumed: {', '.join(only)})" if only else "")
    return Fault(leaf.file if leaf else file, leaf.line if leaf else None, found.field, value, found.allowed, remedy)
