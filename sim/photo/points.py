"""What is clicked on a photograph of the action: the scales, the frame, and the points that ``[coordinates]`` names."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Literal

Frame = Literal["action", "wippen", "jack", "lever", "shank"]
Gives = Literal["point", "x", "y", "angle"]


@dataclass(frozen=True)
class RequestedClick:
    """One place to click: its name in a file of marks, and what it is, for who clicks."""

    name: str
    group: str
    told: str
    needed: bool = False


@dataclass(frozen=True)
class CoordinateField:
    """One field of ``[coordinates]``: which click gives it, in which frame, and which clicks that frame needs."""

    path: str
    click: str
    frame: Frame
    gives: Gives
    rests_on: tuple[str, ...]


PIN, SHANK = "frame.pin", "frame.shank"
LEVEL_FRONT, LEVEL_REAR = "frame.level_front", "frame.level_rear"
CARD: Mapping[str, tuple[float, float]] = {
    "card.front_low": (-0.5, -0.5), "card.rear_low": (0.5, -0.5), "card.rear_high": (0.5, 0.5),
    "card.front_high": (-0.5, 0.5), "card.low": (0.0, -0.5), "card.rear": (0.5, 0.0), "card.high": (0.0, 0.5),
    "card.front": (-0.5, 0.0),
}  # fmt: skip
"""The card's crosses, as shares of its width and height from its middle; the corners first, in turn."""
CORNERS = tuple(CARD)[:4]
_CARD_TEXTS = (
    "lower corner, player's side", "lower corner, string's side", "upper corner, string's side",
    "upper corner, player's side", "middle of the lower side", "middle of the side toward the string",
    "middle of the upper side", "middle of the side toward the player",
)  # fmt: skip
MOST_RULE_MARKS = 5
"""Marks of the second scale."""

_PART_TEXTS: Mapping[str, str] = {
    "wippen.centre": "wippen's centre pin",
    "wippen.jack_centre": "jack's centre pin",
    "wippen.lever_centre": "repetition lever's centre pin",
    "wippen.heel_point": "heel's underside, over the middle of the capstan",
    "jack.top_front": "jack's top, front edge: middle of its rounding",
    "jack.top_rear": "jack's top, rear edge: middle of its rounding",
    "jack.rear_face_down_to": "lower end of the jack's rear face, as far in from the face as the rounding of its top",
    "jack.toe_centre": "jack's toe: middle of the rounding that meets the let-off button",
    "lever.surface_from": "front end of the lever's surface that the knuckle lies on",
    "lever.surface_to": "rear end of the lever's surface",
    "hammer.centre": "hammer's centre pin",
    "hammer.knuckle_centre": "middle of the knuckle",
    "hammer.strike_point": "crown of the hammer, where it meets the string",
    "hammer.tail_centre": "hammer's tail: middle of the circle that its rounding belongs to",
    "hammer.cushion_point": "shank's underside, over the rest cushion",
    "key.capstan_centre": "capstan: middle of the circle that its rounded top belongs to",
    "key.touch_point": "top of the key, where it is weighed",
    "key.front_edge_x": "front edge of the key",
    "key.punching_x": "middle of the front punching, along the key",
    "key.punching_plane_y": "top of the front punching",
    "key.back_cloth_x": "middle of the back-rail cloth, along the key",
    "key.back_cloth_plane_y": "top of the back-rail cloth",
    "key.backcheck_foot": "foot of the backcheck's leather face",
    "rails.let_off_button_plane_y": "underside of the let-off button",
    "rails.drop_screw_tip": "drop screw: middle of its rounded end",
    "rails.rest_cushion_plane_y": "top of the hammer's rest cushion",
    "rails.string_y": "underside of the string, over the crown",
}
"""What each point of the coordinates is on the action; a test holds these to the parts of the model."""


@cache
def list_coordinate_fields() -> tuple[CoordinateField, ...]:
    """The fields of ``[coordinates]`` that a picture gives: every point but centres of mass, every plane, the shank."""
    found = [_define_coordinate_field(path) for path in _PART_TEXTS]
    return (*found, CoordinateField("hammer.rest_angle", SHANK, "action", "angle", ("hammer.centre",)))


@cache
def list_frame_origins() -> tuple[str, ...]:
    """Clicks that the frame may be hung on: the balance pin, or a place of the action's frame that is known."""
    return (PIN, *(w.click for w in list_coordinate_fields() if w.frame == "action" and w.gives == "point"))


def _define_coordinate_field(path: str) -> CoordinateField:
    part, name = path.split(".")
    gives: Gives = "x" if name.endswith("_x") else "y" if name.endswith("_y") else "point"
    if part in ("key", "rails") or name == "centre":
        return CoordinateField(path, path, "action", gives, ())
    if part == "wippen":
        return CoordinateField(path, path, "wippen", gives, ("wippen.centre",))
    if part == "hammer":
        return CoordinateField(path, path, "shank", gives, ("hammer.centre", SHANK))
    return CoordinateField(path, path, "jack" if part == "jack" else "lever", gives, (f"wippen.{part}_centre",))


def list_clicks(rule: int, level_line: bool, origin: str = PIN) -> tuple[RequestedClick, ...]:
    """Everything to click, in order: card, ``rule`` marks of the second scale, frame, parts."""
    card = [RequestedClick(n, "card", f"card: {told}", n in CORNERS) for n, told in zip(CARD, _CARD_TEXTS, strict=True)]
    marks = [
        RequestedClick(name_rule_mark(i), "rule", f"second scale: mark {i + 1} of {rule}", True) for i in range(rule)
    ]
    pin = RequestedClick(PIN, "frame", "balance pin, where the key's underside meets the balance rail", origin == PIN)
    ends = [
        RequestedClick(LEVEL_FRONT, "frame", "level line: its end toward the player", True),
        RequestedClick(LEVEL_REAR, "frame", "level line: its end toward the string", True),
    ]
    parts = [RequestedClick(path, "parts", told, path == origin) for path, told in _PART_TEXTS.items()]
    shank = RequestedClick(SHANK, "parts", "middle line of the hammer's shank, close to the head")
    at = next(i for i, a in enumerate(parts) if a.name == "hammer.centre") + 1
    return (*card, *marks, pin, *(ends if level_line else []), *parts[:at], shank, *parts[at:])


def name_rule_mark(i: int) -> str:
    """Name of a mark of the second scale, from 0."""
    return f"rule.{i + 1}"
