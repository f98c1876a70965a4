"""Where the parts touch along a trace, and which way they push (metres; arrays over the rows of the trace).

The plane geometry of every row of ``sim/unit/contacts.py``, for many poses at once.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sim.physics.run import Trace
from sim.physics.shank import BENDING
from sim.unit.contacts import CircleOnCorner, CircleOnLine, Contact, Crown, Lift, OnPlane, Point, Tip, TurnStop

Array = NDArray[np.float64]
Values = np.void | Mapping[str, float]


@dataclass(frozen=True, slots=True)
class ContactTrace:
    """Of one contact: a point on the face touched, the direction out of it, and the force on the body pushed."""

    place: Array
    """(rows, 2), on the face (plane, segment, string; under the finger the key) nearest to what meets it."""
    normal: Array
    """(rows, 2), out of the face."""
    force: Array
    """(rows, 2), N, with the friction along the face, on the body that is told of (``Contact.on_face``)."""


def compute_contact(contact: Contact, p: Values, trace: Trace) -> ContactTrace:
    """Place, direction and force of one contact along a trace."""
    place, normal = _GEOMETRY[type(contact.shape)](contact.shape, p, trace)
    force = compute_pressing_force(contact.name, trace)[:, None] * normal
    if contact.rubs:
        along = np.column_stack([normal[:, 1], -normal[:, 0]])
        force = force + trace[f"T_{contact.name}"][:, None] * along
    return ContactTrace(place, normal, -force if contact.on_face else force)


def compute_pressing_force(name: str, trace: Trace) -> Array:
    """Pressing force of a contact, N; the finger's also where its motion or force on the key was given."""
    return trace["finger_force" if name == "finger" else f"N_{name}"]


def place_point(point: Point, p: Values, trace: Trace) -> Array:
    """World coordinates (rows, 2) of a point fixed on a body, carried by the shank's bending where it sits on it."""
    x, y = float(p[point.x]), float(p[point.y])
    if not point.body:
        return np.tile([x, y], (len(trace), 1))
    local = np.tile([x, y], (len(trace), 1))
    if point.station:
        for q in BENDING:
            lift, turn = p[f"lift_{q}_{point.station}"], p[f"turn_{q}_{point.station}"]
            local += trace[q][:, None] * np.array([-turn * y, lift])
    return _centre(point.body, p, trace) + _turn_points(local, trace[point.body])


def _turn_points(local: Array, angle: Array) -> Array:
    c, s = np.cos(angle), np.sin(angle)
    x, y = local[:, 0], local[:, 1]
    return np.column_stack([c * x - s * y, s * x + c * y])


def _centre(body: str, p: Values, trace: Trace) -> Array:
    rows = len(trace)
    if body in ("kf", "kr"):
        return np.zeros((rows, 2))
    if body == "h":
        return np.tile([float(p["hx"]), float(p["hy"])], (rows, 1))
    wippen = np.tile([float(p["wx"]), float(p["wy"])], (rows, 1))
    if body == "w":
        return wippen
    arm = np.tile([float(p[f"{body}x"]), float(p[f"{body}y"])], (rows, 1))
    return wippen + _turn_points(arm, trace["w"])


def _level(rows: int, side: float) -> Array:
    return np.tile([0.0, side], (rows, 1))


def _on_plane(s: OnPlane, p: Values, trace: Trace) -> tuple[Array, Array]:
    at = place_point(s.point, p, trace)
    at[:, 1] = p[s.plane]
    return at, _level(len(trace), float(s.side))


def _on_line(s: CircleOnLine, p: Values, trace: Trace) -> tuple[Array, Array]:
    centre, start = place_point(s.centre, p, trace), place_point(s.start, p, trace)
    direction = np.tile([float(p[name]) for name in s.direction], (len(trace), 1))
    along = _turn_points(direction, trace[s.start.body])
    way = ((centre - start) * along).sum(axis=1)
    inside = np.ones(len(trace), bool)
    if s.length:
        length = float(p[s.length])
        inside = (way >= 0) & (way <= length)
        way = way.clip(0.0, length)
    foot = start + way[:, None] * along
    out = np.column_stack([-along[:, 1], along[:, 0]])
    return foot, np.where(inside[:, None], out, _unit(centre - foot))


def _on_corner(s: CircleOnCorner, p: Values, trace: Trace) -> tuple[Array, Array]:
    centre = place_point(s.centre, p, trace)
    a, b, c = (place_point(point, p, trace) for point in (s.a, s.b, s.c))
    first, second = _nearest(centre, a, b), _nearest(centre, b, c)
    nearer = _length(centre - first) <= _length(centre - second)
    foot = np.where(nearer[:, None], first, second)
    normal = _unit(centre - foot)
    edge = float(p[s.radius]) - float(p[s.own])
    return foot + edge * normal, normal


def _nearest(at: Array, a: Array, b: Array) -> Array:
    along = b - a
    share = ((at - a) * along).sum(axis=1) / (along**2).sum(axis=1)
    return np.asarray(a + share.clip(0.0, 1.0)[:, None] * along)


def _length(v: Array) -> Array:
    return np.hypot(v[:, 0], v[:, 1])


def _unit(v: Array) -> Array:
    return v / np.maximum(_length(v), 1e-12)[:, None]


def _at_stop(s: TurnStop, p: Values, trace: Trace) -> tuple[Array, Array]:
    """A stop acts at its arm along the limb: up the jack, along the lever's surface to the rear."""
    limb = np.array([0.0, 1.0]) if s.body == "j" else np.array([float(p["surface_tx"]), float(p["surface_ty"])])
    arm = _turn_points(np.tile(float(p[s.arm]) * limb, (len(trace), 1)), trace[s.body])
    push = s.sense * np.column_stack([-arm[:, 1], arm[:, 0]])
    return _centre(s.body, p, trace) + arm, _unit(push)


def _crown(s: Crown, p: Values, trace: Trace) -> tuple[Array, Array]:
    at = place_point(s.point, p, trace)
    at[:, 1] = p["string_y"] + trace["string"]
    return at, _level(len(trace), -1.0)


def _tip(s: Tip, p: Values, trace: Trace) -> tuple[Array, Array]:
    return place_point(s.point, p, trace), _level(len(trace), -1.0)


def _lift(s: Lift, p: Values, trace: Trace) -> tuple[Array, Array]:
    seat = Point("", "damper_x", "string_y")
    return place_point(s.point or seat, p, trace), _level(len(trace), 1.0)


_GEOMETRY: Mapping[type, Callable[..., tuple[Array, Array]]] = {
    OnPlane: _on_plane,
    CircleOnLine: _on_line,
    CircleOnCorner: _on_corner,
    TurnStop: _at_stop,
    Crown: _crown,
    Tip: _tip,
    Lift: _lift,
}
