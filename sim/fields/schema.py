"""The JSON Schema of a scenario, for editors; made from the same definitions that validate it.

``python -m sim.fields.schema`` writes it to ``shared/scenario.schema.json``.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

from sim.fields.definition import Scenario
from sim.fields.quantity_field import SOURCE_KINDS
from sim.shared_files import find_shared_file

DIALECT = "https://json-schema.org/draft/2020-12/schema"

_TEXT: dict[str, Any] = {"type": "string", "minLength": 1, "maxLength": 80}
_PROVENANCE = {
    "source": {"enum": list(SOURCE_KINDS), "description": "where the value comes from"},
    "uncertainty": {**_TEXT, "description": 'standard uncertainty, such as "0.2 mm" or "5 %"'},
    "note": {"type": "string"},
}
_WAYS: dict[str, tuple[dict[str, Any], list[list[str]]]] = {
    "plain": ({"value": _TEXT}, [["value"]]),
    "number": ({"value": {"anyOf": [_TEXT, {"type": "number"}]}}, [["value"]]),
    "torque": ({"value": _TEXT, "force": _TEXT, "radius": _TEXT}, [["value"], ["force", "radius"]]),
    "key torque": ({"value": _TEXT, "force": _TEXT, "radius": _TEXT}, [["value"], ["force"]]),
    "swings": (
        {"value": _TEXT, "force": _TEXT, "radius": _TEXT, "swings": {"type": "number"}, "from": _TEXT},
        [["value"], ["force", "radius"], ["swings", "from"]],
    ),
}


def build_schema() -> dict[str, Any]:
    """The schema as plain data."""
    schema = Scenario.model_json_schema()
    for table in _tables(schema):
        for entry in table.values():
            _describe(entry)
    del schema["required"]
    return {
        "$schema": DIALECT,
        **schema,
        "title": "Scenario of one action unit",
        "anyOf": [{"required": ["name", "key_number"]}, {"required": ["based_on"]}],
        "$defs": {**schema["$defs"], **{_name(way): _quantity(way) for way in _WAYS}},
    }


def _tables(schema: dict[str, Any]) -> Iterator[dict[str, Any]]:
    for part in (schema, *schema["$defs"].values()):
        yield part["properties"]


def _describe(entry: dict[str, Any]) -> None:
    """Point a quantity to the way it is written, and tell its range in words."""
    entry.pop("title", None)
    if entry.get("default", "") is None:
        del entry["default"]
    form = entry.pop("x-form", None)
    if form is None:
        return
    low, high, unit = entry.pop("x-minimum"), entry.pop("x-maximum"), entry.pop("x-unit")
    entry["description"] = f"{entry['description']} ({low:g} to {high:g}{' ' + unit if unit else ''})"
    entry.pop("anyOf", None)
    way = form if form in _WAYS and form != "plain" else ("plain" if unit else "number")
    entry["$ref"] = f"#/$defs/{_name(way)}"


def _name(way: str) -> str:
    return "quantity" if way == "plain" else f"{way.replace(' ', '_')}_quantity"


def _quantity(way: str) -> dict[str, Any]:
    columns, sets = _WAYS[way]
    table = {
        "type": "object",
        "properties": {**columns, **_PROVENANCE},
        "additionalProperties": False,
        "oneOf": [{"required": names} for names in sets],
    }
    plain = [_TEXT, {"type": "number"}] if way == "number" else [_TEXT]
    return {"anyOf": [*plain, table], "description": "a number with its unit in quotes, or a table with its source"}


def render_schema() -> str:
    """The schema as the file holds it."""
    return json.dumps(build_schema(), indent=1, ensure_ascii=False) + "\n"


def main() -> None:
    """Write the file."""
    find_shared_file("scenario.schema.json").write_text(render_schema(), encoding="utf-8")


if __name__ == "__main__":
    main()
