"""The mechanism as data: bodies, joints, springs and contacts, each in one entry.

The straight-line kernel (`kernel.py`) is written from these entries by
`generate.py`; the plain reference stepper of the tests reads the same entries
and works everything else out for itself.  To add a contact, add one entry to
``CONTACTS`` (and its law to the defaults); to add a parameter, one line to
``PARAMETERS``.

Symbols: q angles (rad) measured from the design pose, the hammer's from the
horizontal; ``e`` the deflection (m) and ``r`` the turn (rad) of the shank's tip by
bending; ``d`` the lift of the damper (m); ``f`` the height of the finger's tip over the
touch point of the key in the design pose (m).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from sim.physics import shank
from sim.unit.model import CENTRES, GRAVITY, ActionUnit, Hammer
from sim.unit.model import CONTACTS as CONTACT_NAMES

DOFS = ("kf", "kr", "w", "j", "l", "h", *shank.BENDING, "d", "f")
"""Key front half, key rear half, wippen, jack, lever, hammer, shank's tip (deflection, turn), damper, finger."""

HAMMER = ("h", *shank.BENDING)
"""Coordinates that share the hammer's mass."""

BODY_NAMES = {
    "kf": "key",
    "kr": "key",
    "w": "wippen",
    "j": "jack",
    "l": "lever",
    "h": "hammer",
    "e": "shank",
    "r": "shank",
    "d": "damper",
    "f": "finger",
}


@dataclass(frozen=True)
class Point:
    """A point fixed on a body: parameters holding its coordinates in the body's frame.

    On the hammer, ``station`` names where along the shank it sits, for the
    share of the bending that it takes part in.
    """

    body: str
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
    """A circle against two straight faces A-B and B-C of a body (jack top and its rear face), edges rounded."""

    centre: Point
    radius: str
    a: Point
    b: Point
    c: Point


@dataclass(frozen=True)
class TurnStop:
    """A stop of one body's turn against another; gap = arm * sense * (turn - limit)."""

    body: str
    against: str
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
class Contact:
    name: str
    shape: Shape
    rubs: bool = False


KNUCKLE = Point("h", "knuckle_x", "knuckle_y", "knuckle")
TOUCH = Point("kf", "touch_x", "touch_y")

CONTACTS: tuple[Contact, ...] = (
    Contact("finger", Tip(TOUCH)),
    Contact("back_cloth", OnPlane(Point("kr", "cloth_x", "cloth_y"), "0", "cloth_plane", +1)),
    Contact("punching", OnPlane(Point("kf", "punching_x", "zero"), "0", "punching_plane", +1)),
    Contact(
        "capstan",
        CircleOnLine(
            Point("kr", "capstan_x", "capstan_y"),
            "capstan_r",
            Point("w", "heel_x", "heel_y"),
            ("heel_tx", "heel_ty"),
            "",
        ),
        rubs=True,
    ),
    Contact(
        "jack_knuckle",
        CircleOnCorner(
            KNUCKLE,
            "knuckle_on_jack_r",
            Point("j", "top_ax", "top_ay"),
            Point("j", "top_bx", "top_by"),
            Point("j", "top_cx", "top_cy"),
        ),
        rubs=True,
    ),
    Contact(
        "lever_knuckle",
        CircleOnLine(
            KNUCKLE, "knuckle_r", Point("l", "surface_x", "surface_y"), ("surface_tx", "surface_ty"), "surface_length"
        ),
        rubs=True,
    ),
    Contact("toe_button", OnPlane(Point("j", "toe_x", "toe_y"), "toe_r", "button_plane", -1), rubs=True),
    Contact(
        "drop_screw",
        CircleOnLine(
            Point("", "screw_x", "screw_y"),
            "screw_r",
            Point("l", "surface_x", "surface_y"),
            ("surface_tx", "surface_ty"),
            "surface_length",
        ),
        rubs=True,
    ),
    Contact("jack_stop", TurnStop("j", "w", "jack_stop_turn", +1, "stop_arm")),
    Contact("jack_window", TurnStop("j", "w", "jack_window_turn", -1, "stop_arm")),
    Contact("lever_stop", TurnStop("l", "w", "lever_stop_turn", +1, "stop_arm")),
    Contact("rest_cushion", OnPlane(Point("h", "cushion_x", "cushion_y", "cushion"), "0", "cushion_plane", +1)),
    Contact(
        "backcheck",
        CircleOnLine(
            Point("h", "tail_x", "tail_y", "tail"),
            "tail_r",
            Point("kr", "check_x", "check_y"),
            ("check_tx", "check_ty"),
            "check_length",
        ),
        rubs=True,
    ),
    Contact("string", Crown(Point("h", "strike_x", "strike_y", "strike"))),
    Contact("key_damper", Lift(Point("kr", "damper_x", "damper_y"), "damper_gap")),
    Contact("damper_seat", Lift(None, "zero")),
)

JOINTS: tuple[tuple[str, str, str], ...] = (
    ("key", "kf", ""),
    ("wippen", "w", ""),
    ("jack", "j", "w"),
    ("lever", "l", "w"),
    ("hammer", "h", ""),
    ("damper", "d", ""),
)
"""Dry friction: name, the body, the body it turns against ("" for the frame)."""

RUBBING: tuple[str, ...] = tuple(c.name for c in CONTACTS if c.rubs)
FRICTION_ROWS: tuple[str, ...] = tuple(name for name, _, _ in JOINTS) + RUBBING
"""Friction rows in the order of the solver."""

STATIONS = ("knuckle", "cushion", "tail", "strike")
"""Points of the hammer that the bending shank carries; the last two sit on the head."""

STOP_ARM = 0.020
"""Arm at which the stops of jack and lever act, m (design choice)."""


def compute_station_shapes(hm: Hammer) -> dict[str, float]:
    """How a station is lifted (m) and turned (rad) per unit of the shank's tip deflection and tip turn."""
    places = {
        "knuckle": hm.knuckle_centre,
        "cushion": hm.cushion_point,
        "tail": hm.tail_centre,
        "strike": hm.strike_point,
    }
    out = {}
    for name, (x, _) in places.items():
        shape = (shank.evaluate_head_shapes if name in ("tail", "strike") else shank.evaluate_shapes)(
            x, hm.shank_length
        )
        for q, (lift, turn) in zip(shank.BENDING, shape, strict=True):
            out[f"lift_{q}_{name}"], out[f"turn_{q}_{name}"] = (lift, turn) if hm.shank_bends else (0.0, 0.0)
    return out


def _hammer(hm: Hammer) -> dict[str, float]:
    """Masses, weights and the bending of hammer and shank."""
    mass, bends = shank.compute_mass_matrix(hm), hm.shank_bends
    if not bends:
        mass = np.diag([mass[0, 0], 0.0, 0.0])
    inverse = np.linalg.inv(mass) if bends else np.diag([1 / mass[0, 0], 0.0, 0.0])
    out = {
        "hammer_mx": hm.head_mass * hm.head_mass_centre[0] + hm.shank_mass_moment,
        "hammer_my": hm.head_mass * hm.head_mass_centre[1],
        "shank_period": 1 / float(shank.compute_frequencies(hm, root_held=False)[-1]) if bends else 1.0,
    }
    for i, a in enumerate(HAMMER):
        for k, b in enumerate(HAMMER[i:], i):
            out[f"mass_{a}{b}"], out[f"inv_{a}{b}"] = float(mass[i, k]), float(inverse[i, k])
    spring, damping, weights = (
        bends * f(hm)
        for f in (shank.compute_stiffness_matrix, shank.compute_damping_matrix, shank.compute_gravity_moments)
    )
    for i, a in enumerate(shank.BENDING):
        out[f"bend_{a}_x"], out[f"bend_{a}_y"] = map(float, weights[i])
        for k, b in enumerate(shank.BENDING[i:], i):
            out[f"spring_{a}{b}"], out[f"damping_{a}{b}"] = float(spring[i, k]), float(damping[i, k])
    return out


def _unit_vector(a: tuple[float, float], b: tuple[float, float]) -> tuple[float, float, float]:
    dx, dy = b[0] - a[0], b[1] - a[1]
    n = math.hypot(dx, dy)
    return dx / n, dy / n, n


def compute_parameters(u: ActionUnit) -> dict[str, float]:
    """Every number the kernel needs, by name, SI; the one place where model data become parameters."""
    k, w, j, lv, hm, r = u.key, u.wippen, u.jack, u.lever, u.hammer, u.rails
    (ax, ay), (bx, by), (cx, cy) = j.top_front, j.top_rear, j.rear_face_down_to
    sx, sy, s_len = _unit_vector(lv.surface_from, lv.surface_to)
    out = {
        "zero": 0.0,
        "g": GRAVITY,
        "touch_x": k.touch_point[0],
        "touch_y": k.touch_point[1],
        "cloth_x": k.back_cloth_x,
        "cloth_y": 0.0,
        "cloth_plane": k.back_cloth_plane_y,
        "punching_x": k.punching_x,
        "punching_plane": k.punching_plane_y,
        "capstan_x": k.capstan_centre[0],
        "capstan_y": k.capstan_centre[1],
        "capstan_r": k.capstan_radius,
        "check_x": k.backcheck_foot[0],
        "check_y": k.backcheck_foot[1],
        "check_tx": math.cos(k.backcheck_angle),
        "check_ty": math.sin(k.backcheck_angle),
        "check_length": k.backcheck_length,
        "key_moment": k.front_moment,
        "key_spring": k.bending_stiffness,
        "key_damping": k.bending_damping,
        "inv_front": 1 / k.inertia_front,
        "inv_rear": 1 / k.inertia_rear,
        "wx": w.centre[0],
        "wy": w.centre[1],
        "heel_x": w.heel_point[0],
        "heel_y": w.heel_point[1],
        "heel_tx": -math.cos(w.heel_angle),
        "heel_ty": -math.sin(w.heel_angle),
        "jx": w.jack_centre[0],
        "jy": w.jack_centre[1],
        "lx": w.lever_centre[0],
        "ly": w.lever_centre[1],
        "wippen_mx": w.mass * w.mass_centre[0] + j.mass * w.jack_centre[0] + lv.mass * w.lever_centre[0],
        "wippen_my": w.mass * w.mass_centre[1] + j.mass * w.jack_centre[1] + lv.mass * w.lever_centre[1],
        "inertia_w": w.inertia
        + j.mass * (w.jack_centre[0] ** 2 + w.jack_centre[1] ** 2)
        + lv.mass * (w.lever_centre[0] ** 2 + w.lever_centre[1] ** 2),
        "jack_mx": j.mass * j.mass_centre[0],
        "jack_my": j.mass * j.mass_centre[1],
        "inv_j": 1 / j.inertia,
        "top_ax": ax,
        "top_ay": ay,
        "top_bx": bx,
        "top_by": by,
        "top_cx": cx,
        "top_cy": cy,
        "toe_x": j.toe_centre[0],
        "toe_y": j.toe_centre[1],
        "toe_r": j.toe_radius,
        "jack_stop_turn": j.stop_angle,
        "jack_window_turn": j.largest_turn,
        "lever_mx": lv.mass * lv.mass_centre[0],
        "lever_my": lv.mass * lv.mass_centre[1],
        "inv_l": 1 / lv.inertia,
        "surface_x": lv.surface_from[0],
        "surface_y": lv.surface_from[1],
        "surface_tx": sx,
        "surface_ty": sy,
        "surface_length": s_len,
        "lever_stop_turn": lv.stop_angle,
        "stop_arm": STOP_ARM,
        "hx": hm.centre[0],
        "hy": hm.centre[1],
        "knuckle_x": hm.knuckle_centre[0],
        "knuckle_y": hm.knuckle_centre[1],
        "knuckle_r": hm.knuckle_radius,
        "knuckle_on_jack_r": hm.knuckle_radius + j.top_edge_radius,
        "cushion_x": hm.cushion_point[0],
        "cushion_y": hm.cushion_point[1],
        "tail_x": hm.tail_centre[0],
        "tail_y": hm.tail_centre[1],
        "tail_r": hm.tail_radius,
        "strike_x": hm.strike_point[0],
        "strike_y": hm.strike_point[1],
        "screw_x": r.drop_screw_tip[0],
        "screw_y": r.drop_screw_tip[1],
        "screw_r": r.drop_screw_radius,
        "button_plane": r.let_off_button_plane_y,
        "cushion_plane": r.rest_cushion_plane_y,
        "string_y": r.string_y,
        "lever_spring": u.springs.repetition,
        "lever_rate": u.springs.repetition_rate,
        "jack_spring": u.springs.jack,
        "jack_rate": u.springs.jack_rate,
        "half_admittance": 1 / (2 * u.string.impedance),
        "near_delay": u.string.near_end_delay,
        "far_delay": u.string.far_end_delay,
        "far_reflection": u.string.far_end_reflection,
        "damper_x": u.damper.key_end[0] if u.damper else 0.0,
        "damper_y": u.damper.key_end[1] if u.damper else 0.0,
        "damper_gap": u.damper.gap if u.damper else 1.0,
        "damper_weight": u.damper.mass * GRAVITY if u.damper else 0.0,
        "inv_d": 1 / u.damper.mass if u.damper else 0.0,
        "tau_damper": u.damper.friction if u.damper else 0.0,
    }
    out |= compute_station_shapes(hm) | _hammer(hm)
    for centre in CENTRES:
        out[f"tau_{centre}"] = u.friction[centre]
    for name in CONTACT_NAMES:
        law = u.contacts[name]
        out[f"K_{name}"], out[f"p_{name}"], out[f"c_{name}"] = law.stiffness, law.exponent, law.loss
        out[f"limit_{name}"] = law.thickness
        if name in RUBBING:
            out[f"mu_{name}"] = law.friction
    return out
