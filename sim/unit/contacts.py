"""The contacts of the unit, one row each; all else that knows contacts by name follows from these rows.

To add one, add its row here and its law, ``[contacts.NAME]``, to ``shared/defaults.toml`` (a law is data: every value
with its source, some of them over the compass).  Then ``python -m sim.physics.generate_step`` and
``python -m sim.fields.schema``.

Bodies: kf, kr key front and rear half; w wippen; j jack; l lever; h hammer; "" the frame.  Coordinates, radii and
planes are parameters of ``sim/physics/mechanism.py`` by name; the generator refuses a name that is not among them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Body = Literal["", "kf", "kr", "w", "j", "l", "h"]


@dataclass(frozen=True)
class Point:
    """A point fixed on a body: parameters holding its coordinates in the body's frame.

    On the hammer, ``station`` names where along the shank it sits, for the
    share of the bending that it takes part in.
    """

    body: Body
    x: str
    y: str
    station: str = ""


@dataclass(frozen=True)
class OnPlane:
    """A circle (radius may be "0") on a body against a level plane; side +1: the body is above it."""

    point: Point
    radius: str
    plane: str
    side: int


@dataclass(frozen=True)
class CircleOnLine:
    """A circle against a straight face of another body; the face looks to the left of its direction.

    ``length`` empty: the face has no ends.
    """

    centre: Point
    radius: str
    start: Point
    direction: tuple[str, str]
    length: str


@dataclass(frozen=True)
class CircleOnCorner:
    """A circle against two straight faces A-B and B-C of a body (jack top and its rear face), edges rounded.

    ``radius`` holds the rounding of the edges too, ``own`` is the circle's alone.
    """

    centre: Point
    radius: str
    own: str
    a: Point
    b: Point
    c: Point


@dataclass(frozen=True)
class TurnStop:
    """A stop of one body's turn against another; gap = arm * sense * (turn - limit)."""

    body: Body
    against: Body
    limit: str
    sense: int
    arm: str


@dataclass(frozen=True)
class Crown:
    """The hammer's crown against the moving string."""

    point: Point


@dataclass(frozen=True)
class Tip:
    """The finger's tip on the key's touch point."""

    point: Point


@dataclass(frozen=True)
class Lift:
    """The damper against a point of the key (or its seat where ``point`` is None)."""

    point: Point | None
    gap: str


Shape = OnPlane | CircleOnLine | CircleOnCorner | TurnStop | Crown | Tip | Lift


@dataclass(frozen=True)
class Soft:
    """What a contact squeezes, as it is drawn: part, material, and the width over which a flat one is pressed (mm)."""

    part: str
    material: str
    width: float = 0.0


HARD = Soft("", "")


@dataclass(frozen=True)
class Contact:
    """``title`` says what presses on what, told of the body that is pushed; ``rubs`` names the place in tables of
    friction, "" where nothing slides.  ``on_face``: its force is told as it acts on the face (heel, lever), not on the
    body of the shape's first point (jack and lever push the knuckle, the button the toe, the check the tail)."""

    name: str
    title: str
    shape: Shape
    soft: Soft = HARD
    rubs: str = ""
    on_face: bool = False


KNUCKLE = Point("h", "knuckle_x", "knuckle_y", "knuckle")
TOUCH = Point("kf", "touch_x", "touch_y")
SURFACE = Point("l", "surface_x", "surface_y")
ALONG_SURFACE = ("surface_tx", "surface_ty")

CONTACTS: tuple[Contact, ...] = (
    Contact("finger", "finger on the key", Tip(TOUCH)),
    Contact("back_cloth", "back-rail cloth under the key",
            OnPlane(Point("kr", "cloth_x", "cloth_y"), "0", "cloth_plane", +1), Soft("back cloth", "felt", 36.0)),
    Contact("punching", "front punching under the key",
            OnPlane(Point("kf", "punching_x", "zero"), "0", "punching_plane", +1), Soft("punching", "felt", 22.0)),
    Contact("capstan", "capstan on the heel",
            CircleOnLine(Point("kr", "capstan_x", "capstan_y"), "capstan_r",
                         Point("w", "heel_x", "heel_y"), ("heel_tx", "heel_ty"), ""),
            Soft("wippen", "felt"), rubs="capstan on heel", on_face=True),
    Contact("jack_knuckle", "jack on the knuckle",
            CircleOnCorner(KNUCKLE, "knuckle_on_jack_r", "knuckle_r", Point("j", "top_ax", "top_ay"),
                           Point("j", "top_bx", "top_by"), Point("j", "top_cx", "top_cy")),
            Soft("hammer", "leather"), rubs="jack on knuckle"),
    Contact("lever_knuckle", "lever on the knuckle",
            CircleOnLine(KNUCKLE, "knuckle_r", SURFACE, ALONG_SURFACE, "surface_length"),
            Soft("hammer", "leather"), rubs="lever on knuckle"),
    Contact("toe_button", "button on the jack's toe",
            OnPlane(Point("j", "toe_x", "toe_y"), "toe_r", "button_plane", -1),
            Soft("button", "felt"), rubs="jack toe on button"),
    Contact("drop_screw", "drop screw on the lever",
            CircleOnLine(Point("", "screw_x", "screw_y"), "screw_r", SURFACE, ALONG_SURFACE, "surface_length"),
            Soft("lever", "leather"), rubs="lever on drop screw", on_face=True),
    Contact("jack_stop", "jack's stop",
            TurnStop("j", "w", "jack_stop_turn", +1, "stop_arm"), Soft("jack stop", "felt")),
    Contact("jack_window", "end of the jack's window", TurnStop("j", "w", "jack_window_turn", -1, "stop_arm")),
    Contact("lever_stop", "lever's height stop",
            TurnStop("l", "w", "lever_stop_turn", +1, "stop_arm"), Soft("lever stop", "felt")),
    Contact("rest_cushion", "rest cushion under the shank",
            OnPlane(Point("h", "cushion_x", "cushion_y", "cushion"), "0", "cushion_plane", +1),
            Soft("cushion", "felt", 10.0)),
    Contact("backcheck", "check on the tail",
            CircleOnLine(Point("h", "tail_x", "tail_y", "tail"), "tail_r",
                         Point("kr", "check_x", "check_y"), ("check_tx", "check_ty"), "check_length"),
            Soft("backcheck", "leather"), rubs="tail on backcheck"),
    Contact("string", "string on the crown",
            Crown(Point("h", "strike_x", "strike_y", "strike")), Soft("hammer", "white felt")),
    Contact("key_damper", "key under the damper's lever",
            Lift(Point("kr", "damper_x", "damper_y"), "damper_gap"), Soft("damper", "felt")),
    Contact("damper_seat", "string under the damper", Lift(None, "zero"), Soft("damper", "white felt")),
)  # fmt: skip
"""In the order in which the physics evaluates them."""

CONTACT_NAMES: tuple[str, ...] = tuple(c.name for c in CONTACTS)
CONTACT_INDEX = {name: i for i, name in enumerate(CONTACT_NAMES)}
RUBBING: tuple[str, ...] = tuple(c.name for c in CONTACTS if c.rubs)


def moving_body(shape: Shape) -> str:
    """The body that a shape's circle, point or stop sits on (its face, where that is fixed); "d" damper, "f" finger."""
    match shape:
        case CircleOnLine():
            return shape.centre.body or shape.start.body
        case OnPlane(point=point) | CircleOnCorner(centre=point) | Crown(point=point):
            return point.body
        case TurnStop(body=body):
            return body
        case Tip():
            return "f"
        case Lift():
            return "d"
