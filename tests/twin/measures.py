"""What the laws need of a unit, as arrays: surfaces, felts, the bent shank, the string; and the engine's own arrays."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from sim.unit.contacts import CONTACT_INDEX as LAW
from sim.unit.contacts import CONTACT_NAMES
from sim.unit.model import GRAVITY, ActionUnit
from tests.twin import bodies
from tests.twin.bodies import FRONT, HEAD, JACK, LEVER, REAR, SHANK, WIPPEN

Array = Any
JACK_STOP, JACK_WINDOW, LEVER_STOP, STRING, KEY_DAMPER, DAMPER_SEAT = (
    LAW[n] for n in ("jack_stop", "jack_window", "lever_stop", "string", "key_damper", "damper_seat")
)

FAR = 10.0
"""Half the length of what stands for an endless face, m."""
RUBBING = ("capstan", "jack_knuckle", "lever_knuckle", "toe_button", "drop_screw", "backcheck")
"""Contacts that rub, in the order of their tendons."""
FACE = np.dtype(
    [(n, "i8") for n in ("law", "body", "face", "corners", "tendon")]
    + [(n, "f8") for n in ("x", "y", "radius", "x0", "y0", "x1", "y1", "x2", "y2")]
    + [(n, "f8") for n in ("lift_e", "lift_r", "slope_e", "slope_r")]
)
"""A circle on ``body`` against the left side of the line through two or three points of ``face``."""

UNIT = np.dtype(
    [(n, "f8") for n in ("touch_x", "touch_y", "strike_x", "strike_y", "string_y")]
    + [(n, "f8") for n in ("stop", "window", "height_stop", "half_admittance", "far_end", "turn_spring", "turn_drag")]
    + [(n, "f8") for n in ("damper_x", "damper_y", "damper_gap")]
    + [(n, "i8") for n in ("bends", "damper", "near_steps", "far_steps")]
    + [(n, "f8") for n in ("near_part", "far_part", "dt")]
)
ROW = ("key", "torque", "travel", "crown", "crown_speed", "string_place") + CONTACT_NAMES
"""What is written at every step: key angle, torque that moves it, travel of the touch point, crown below the string
at its line and its speed, how far the string gave way, every contact's force by its name (SI)."""
FORCES = len(ROW) - len(CONTACT_NAMES)
"""Where the forces begin in a row."""


class View(NamedTuple):
    """The engine's own arrays, looked into."""

    place: Array
    turn: Array
    speed: Array
    about: Array
    """For each body the point at which ``speed`` is told."""
    mass_centre: Array
    q: Array
    v: Array
    body_force: Array
    joint_force: Array
    axes: Array
    """How a joint moves what it carries: turn and, at the point of ``about``, speed."""
    carries: Array
    """Whether a body is moved by a joint (bodies, joints)."""
    slides: Array
    """How far each rubbing contact slides per joint (contacts, joints); read at the next step."""
    bounds: Array
    """Coulomb's bounds (N), likewise."""


class Memory(NamedTuple):
    """What lasts from step to step: the string's place and waves, [steps done]."""

    string: Array
    waves: Array
    done: Array


def build_faces(u: ActionUnit) -> Array:
    """Every contact of a circle with a face, as rows of FACE."""
    k, w, j, lv, hm, r = u.key, u.wippen, u.jack, u.lever, u.hammer, u.rails
    out = np.zeros(9, FACE)

    def level(y: float, up: bool) -> list[tuple[float, float]]:
        return [(-FAR, y), (FAR, y)] if up else [(FAR, y), (-FAR, y)]

    heel = np.array([-np.cos(w.heel_angle), -np.sin(w.heel_angle)])
    heel_ends = [tuple(np.array(w.heel_point) + s * FAR * heel) for s in (-1, 1)]
    foot = np.array(k.backcheck_foot)
    check = foot + k.backcheck_length * np.array([np.cos(k.backcheck_angle), np.sin(k.backcheck_angle)])
    jack = [j.top_front, j.top_rear, j.rear_face_down_to]
    lever = [lv.surface_from, lv.surface_to]
    rows = [
        ("back_cloth", REAR, (k.back_cloth_x, 0.0), 0.0, 0, level(k.back_cloth_plane_y, True)),
        ("punching", FRONT, (k.punching_x, 0.0), 0.0, 0, level(k.punching_plane_y, True)),
        ("capstan", REAR, k.capstan_centre, k.capstan_radius, WIPPEN, heel_ends),
        ("jack_knuckle", SHANK, hm.knuckle_centre, hm.knuckle_radius + j.top_edge_radius, JACK, jack),
        ("lever_knuckle", SHANK, hm.knuckle_centre, hm.knuckle_radius, LEVER, lever),
        ("toe_button", JACK, j.toe_centre, j.toe_radius, 0, level(r.let_off_button_plane_y, False)),
        ("drop_screw", 0, r.drop_screw_tip, r.drop_screw_radius, LEVER, lever),
        ("rest_cushion", SHANK, hm.cushion_point, 0.0, 0, level(r.rest_cushion_plane_y, True)),
        ("backcheck", HEAD, place_on_head(u, hm.tail_centre), hm.tail_radius, REAR, [tuple(foot), tuple(check)]),
    ]
    for row, (name, body, (x, y), radius, face, line) in zip(out, rows, strict=True):
        row["law"], row["body"], row["face"], row["corners"] = LAW[name], body, face, len(line)
        row["tendon"] = RUBBING.index(name) if name in RUBBING else -1
        row["x"], row["y"], row["radius"] = x, y, radius
        for i, (px, py) in enumerate(line):
            row[f"x{i}"], row[f"y{i}"] = px, py
        if body == SHANK and hm.shank_bends:
            (_, row["lift_e"], row["lift_r"]), (_, row["slope_e"], row["slope_r"]) = bodies.solve_beam(
                x, hm.shank_length
            )
    return out


def place_on_head(u: ActionUnit, point: tuple[float, float]) -> tuple[float, float]:
    """A point given along and across the shank, from the head's foot."""
    return point[0] - u.hammer.shank_length, point[1]


def build_felts(u: ActionUnit) -> Array:
    """K, p, c, friction coefficient of every contact."""
    laws = [u.contacts[name] for name in CONTACT_NAMES]
    return np.array([(x.stiffness, x.exponent, x.loss, x.friction) for x in laws])


def build_rod_points(u: ActionUnit) -> Array:
    """Weight (N), lift per turn, deflection and turn of the points that stand for the bent shank's mass."""
    hm = u.hammer
    if not hm.shank_bends:
        return np.zeros((0, 4))
    mass = 2 * hm.shank_mass_moment / hm.shank_length
    return np.array(
        [
            (GRAVITY * mass * m, *bodies.solve_beam(x, hm.shank_length)[0])
            for x, m in zip(*bodies.place_rod_points(hm), strict=True)
        ]
    )


def build_numbers(u: ActionUnit, dt: float) -> Array:
    """The rest, as one record of UNIT."""
    k, s, d = u.key, u.string, u.damper
    out = np.zeros(1, UNIT)
    row = out[0]
    row["touch_x"], row["touch_y"] = k.touch_point
    row["strike_x"], row["strike_y"] = place_on_head(u, u.hammer.strike_point)
    row["string_y"] = u.rails.string_y
    row["stop"], row["window"], row["height_stop"] = u.jack.stop_angle, u.jack.largest_turn, u.lever.stop_angle
    row["half_admittance"], row["far_end"] = 0.5 / s.impedance, s.far_end_reflection
    # the rod that leads the key, as stiff as the step allows: a quarter turn of its own swing takes some six steps
    row["turn_spring"] = k.inertia_front * (0.25 / dt) ** 2
    row["turn_drag"] = 0.25 * k.inertia_front / dt
    row["bends"], row["dt"] = u.hammer.shank_bends, dt
    if d:
        row["damper"], row["damper_gap"] = 1, d.gap
        row["damper_x"], row["damper_y"] = d.key_end
    for end, delay in (("near", s.near_end_delay), ("far", s.far_end_delay)):
        row[f"{end}_steps"], row[f"{end}_part"] = int(delay / dt), delay / dt - int(delay / dt)
    return out


def make_memory(u: ActionUnit, dt: float) -> Memory:
    longest = int(max(u.string.near_end_delay, u.string.far_end_delay) / dt) + 3
    return Memory(np.zeros(1), np.zeros((2, longest)), np.zeros(1, np.int64))
