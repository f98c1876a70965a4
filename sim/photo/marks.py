"""A file of marks: what was clicked on which picture, as plain TOML that gives the same coordinates again."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any, Literal

import tomli_w
from pydantic import Field, FiniteFloat, ValidationError

from sim.errors import Fault, InputError
from sim.fields.quantity_field import shorten_value
from sim.fields.section_base import Measured, Name, Quantity, Section, quantity, required
from sim.fields.untrusted_text import decode_text, make_input_error, parse_toml
from sim.photo.photograph import Marks, Picture
from sim.photo.points import MOST_RULE_MARKS, PIN, list_clicks, list_frame_origins
from sim.unit.model import Vec
from sim.units import LENGTH, format_quantity

FORM = 1
"""Form of the file; another one is refused."""
LARGEST_FILE = 100_000
"""Bytes; some sixty clicks have five thousand."""
HEAD = """\
# Marks on a photograph of an action: places in pixels from its upper left corner, x to the right, y down.
# The same marks on the same picture give the same coordinates again.
"""
Pixels = Annotated[list[FiniteFloat], Field(min_length=2, max_length=2)]
Count = Annotated[int, Field(ge=1, le=1_000_000_000)]


class _Picture(Section):
    file: Name
    width: Annotated[int, Field(ge=1, le=100_000)]
    height: Annotated[int, Field(ge=1, le=100_000)]
    bytes: Count
    sha256: Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]


class _Card(Section):
    width: Quantity = required("mm", 20, 1500, "between the corner crosses")
    height: Quantity = required("mm", 20, 1500, "between the corner crosses")


class _Mark(Section):
    at: Quantity = required("mm", -2000, 2000, "along the second scale")


class _Place(Section):
    x: Measured = quantity("mm", -2000, 2000, "along")
    y: Measured = quantity("mm", -2000, 2000, "up")


class _Frame(Section):
    origin: Annotated[str, Field(max_length=60)] = PIN
    at: _Place = Field(default_factory=_Place)
    level: Literal["line", "card"] = "line"


class _Uncertainty(Section):
    click_px: Annotated[FiniteFloat, Field(gt=0, le=100)] = 0.7
    depth: Measured = quantity("mm", 0, 20, "uneven depth, standard deviation")
    distance: Measured = quantity("mm", 100, 100_000, "camera to card")
    most: Measured = quantity("mm", 0.05, 5, "a place more uncertain is not given")


class _File(Section):
    """The whole file, as TOML names it."""

    form: Literal[1]
    picture: _Picture
    card: _Card
    rule: Annotated[list[_Mark], Field(min_length=2, max_length=MOST_RULE_MARKS)]
    frame: _Frame = Field(default_factory=_Frame)
    doubt: _Uncertainty = Field(default_factory=_Uncertainty)
    clicks: Annotated[dict[str, Pixels], Field(max_length=100)] = Field(default_factory=dict)


def format_marks(marks: Marks) -> str:
    """The text of a file of marks."""
    p = marks.picture
    tree = {
        "form": FORM,
        "picture": {"file": p.name, "width": p.width, "height": p.height, "bytes": p.bytes, "sha256": p.sha256},
        "card": {"width": _format_mm(marks.card[0]), "height": _format_mm(marks.card[1])},
        "frame": {
            "origin": marks.origin, "level": "line" if marks.level_line else "card",
            "at": {"x": _format_mm(marks.origin_at[0]), "y": _format_mm(marks.origin_at[1])},
        },
        "doubt": {
            "click_px": marks.click, "depth": _format_mm(marks.depth), "distance": _format_mm(marks.distance),
            "most": _format_mm(marks.most),
        },
        "rule": [{"at": _format_mm(t)} for t in marks.rule],
        "clicks": {name: [*at] for name, at in marks.clicks.items()},
    }  # fmt: skip
    return HEAD + tomli_w.dumps(tree)


def parse_marks(data: bytes, name: str = "marks") -> Marks:
    """The marks that a file's bytes hold.  Raises InputError with all that is wrong."""
    tree = parse_toml(decode_text(data, name, LARGEST_FILE), name)
    if type(tree.get("form")) is not int or tree["form"] != FORM:
        remedy = "it was made by another version: open it with that one" if "form" in tree else "no file of marks"
        raise make_input_error(name, "form", tree.get("form", "missing"), str(FORM), remedy)
    try:
        found = _File.model_validate(tree)
    except ValidationError as error:
        raise InputError(_translate_error(name, dict(e)) for e in error.errors(include_url=False)) from None
    return _build_marks(found, name)


def _build_marks(f: _File, name: str) -> Marks:
    usual = Marks(Picture("", 1, 1, 1, ""))
    places = {a.name for a in list_clicks(MOST_RULE_MARKS, True)}
    if unknown := [click for click in f.clicks if click not in places]:
        remedy = "take out this click, or mend its name"
        raise make_input_error(name, f"clicks.{unknown[0]}", "clicked", "a place that is asked for", remedy)
    if f.frame.origin not in list_frame_origins():
        remedy = "mend its name, or leave it out for the balance pin"
        raise make_input_error(name, "frame.origin", f.frame.origin, "a place of the action's frame", remedy)
    return Marks(
        picture=Picture(f.picture.file, f.picture.width, f.picture.height, f.picture.bytes, f.picture.sha256),
        clicks={click: _convert_pair(at) for click, at in f.clicks.items()},
        card=(f.card.width.value, f.card.height.value),
        rule=tuple(mark.at.value for mark in f.rule),
        origin=f.frame.origin,
        origin_at=(_value_or_usual(f.frame.at.x, 0.0), _value_or_usual(f.frame.at.y, 0.0)),
        level_line=f.frame.level == "line",
        click=float(f.doubt.click_px),
        depth=_value_or_usual(f.doubt.depth, usual.depth),
        distance=_value_or_usual(f.doubt.distance, usual.distance),
        most=_value_or_usual(f.doubt.most, usual.most),
    )


def _convert_pair(at: list[Any]) -> Vec:
    return float(at[0]), float(at[1])


def _value_or_usual(given: Any, usual: float) -> float:
    return usual if given is None else float(given.value)


def _format_mm(si: float) -> str:
    return format_quantity(si, "mm", LENGTH)


def _translate_error(name: str, error: Mapping[str, Any]) -> Fault:
    """One message of pydantic in the words of the house."""
    field = ".".join(str(part) for part in error["loc"])
    told = error.get("ctx") or {}
    if error["type"] == "scenario":
        return Fault(name, None, field, told["value"], told["allowed"], told["remedy"])
    if error["type"] == "missing":
        return Fault(name, None, field, "missing", "given", "a file of marks has it: was a part taken out?")
    if error["type"] == "extra_forbidden":
        return Fault(name, None, field, shorten_value(error["input"]), "no such field", "take it out, or mend its name")
    return Fault(
        name, None, field, shorten_value(error["input"]), str(error["msg"]).lower(), "write it as it was written"
    )
