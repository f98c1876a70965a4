"""The mechanism as data: coordinates, joints and parameters, each in one entry.

The straight-line kernel (`kernel.py`) is written from these entries by
`generate.py`; the plain reference stepper of the tests reads the same entries
and works everything else out for itself.  The contacts stand in ``sim/unit/contacts.py``;
to add a parameter, add one line to ``compute_parameters``.

Symbols: q angles (rad) measured from the design pose, the hammer's from the
horizontal; ``e`` the deflection (m) and ``r`` the turn (rad) of the shank's tip by
bending; ``d`` the lift of the damper (m); ``f`` the height of the finger's tip over the
touch point of the key in the design pose (m).
"""

from __future__ import annotations

import math

import numpy as np

from sim.physics import shank
from sim.unit.contacts import CONTACT_NAMES, RUBBING
from sim.unit.model import CENTRES, GRAVITY, ActionUnit, Hammer

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

JOINTS: tuple[tuple[str, str, str], ...] = (
    ("key", "kf", ""),
    ("wippen", "w", ""),
    ("jack", "j", "w"),
    ("lever", "l", "w"),
    ("hammer", "h", ""),
    ("damper", "d", ""),
)
"""Dry friction: name, the body, the body it turns against ("" for the frame)."""

FRICTION_ROWS: tuple[str, ...] = tuple(name for name, _, _ in JOINTS) + RUBBING
"""Friction rows in the order of the solver."""

LAW = {"K": "stiffness", "p": "exponent", "c": "loss", "limit": "thickness", "mu": "friction"}
"""A felt's symbols in the kernel (``K_capstan``) and what they stand for (``contacts.capstan.stiffness``)."""

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
    sx, sy, s_len = _unit_vector(lv.surface_from, lv.surface_to)
    out = {
        "zero": 0.0,
        "g": GRAVITY,
        "cloth_x": k.back_cloth_x,
        "cloth_y": 0.0,
        "cloth_plane": k.back_cloth_plane_y,
        "punching_x": k.punching_x,
        "punching_plane": k.punching_plane_y,
        "capstan_r": k.capstan_radius,
        "check_tx": math.cos(k.backcheck_angle),
        "check_ty": math.sin(k.backcheck_angle),
        "check_length": k.backcheck_length,
        "key_front_moment": k.front_moment,
        "key_bending_stiffness": k.bending_stiffness,
        "key_bending_damping": k.bending_damping,
        "inv_front": 1 / k.inertia_front,
        "inv_rear": 1 / k.inertia_rear,
        "heel_tx": -math.cos(w.heel_angle),
        "heel_ty": -math.sin(w.heel_angle),
        "wippen_mx": w.mass * w.mass_centre[0] + j.mass * w.jack_centre[0] + lv.mass * w.lever_centre[0],
        "wippen_my": w.mass * w.mass_centre[1] + j.mass * w.jack_centre[1] + lv.mass * w.lever_centre[1],
        "inertia_w": w.inertia
        + j.mass * (w.jack_centre[0] ** 2 + w.jack_centre[1] ** 2)
        + lv.mass * (w.lever_centre[0] ** 2 + w.lever_centre[1] ** 2),
        "jack_mx": j.mass * j.mass_centre[0],
        "jack_my": j.mass * j.mass_centre[1],
        "inv_j": 1 / j.inertia,
        "toe_r": j.toe_radius,
        "jack_stop_turn": j.stop_angle,
        "jack_window_turn": j.largest_turn,
        "lever_mx": lv.mass * lv.mass_centre[0],
        "lever_my": lv.mass * lv.mass_centre[1],
        "inv_l": 1 / lv.inertia,
        "surface_tx": sx,
        "surface_ty": sy,
        "surface_length": s_len,
        "lever_stop_turn": lv.stop_angle,
        "stop_arm": STOP_ARM,
        "knuckle_r": hm.knuckle_radius,
        "knuckle_on_jack_r": hm.knuckle_radius + j.top_edge_radius,
        "tail_r": hm.tail_radius,
        "screw_r": r.drop_screw_radius,
        "button_plane": r.let_off_button_plane_y,
        "cushion_plane": r.rest_cushion_plane_y,
        "string_y": r.string_y,
        "springs_repetition": u.springs.repetition,
        "springs_repetition_rate": u.springs.repetition_rate,
        "springs_jack": u.springs.jack,
        "springs_jack_rate": u.springs.jack_rate,
        "half_admittance": 1 / (2 * u.string.impedance),
        "near_delay": u.string.near_end_delay,
        "far_delay": u.string.far_end_delay,
        "far_reflection": u.string.far_end_reflection,
        "damper_gap": u.damper.gap if u.damper else 1.0,
        "damper_weight": u.damper.mass * GRAVITY if u.damper else 0.0,
        "inv_d": 1 / u.damper.mass if u.damper else 0.0,
        "friction_damper": u.damper.friction if u.damper else 0.0,
    }
    points = {
        "touch_": k.touch_point, "capstan_": k.capstan_centre, "check_": k.backcheck_foot,
        "w": w.centre, "heel_": w.heel_point, "j": w.jack_centre, "l": w.lever_centre,
        "top_a": j.top_front, "top_b": j.top_rear, "top_c": j.rear_face_down_to, "toe_": j.toe_centre,
        "surface_": lv.surface_from, "h": hm.centre, "knuckle_": hm.knuckle_centre, "cushion_": hm.cushion_point,
        "tail_": hm.tail_centre, "strike_": hm.strike_point, "screw_": r.drop_screw_tip,
        "damper_": u.damper.key_end if u.damper else (0.0, 0.0),
    }  # fmt: skip
    out |= {f"{name}{axis}": value for name, point in points.items() for axis, value in zip("xy", point, strict=True)}
    out |= compute_station_shapes(hm) | _hammer(hm)
    for centre in CENTRES:
        out[f"friction_{centre}"] = u.friction[centre]
    for name in CONTACT_NAMES:
        out |= {
            f"{symbol}_{name}": getattr(u.contacts[name], field)
            for symbol, field in LAW.items()
            if symbol != "mu" or name in RUBBING
        }
    return out
