"""Touches: what the finger does, as tables for the kernel.

*Pressed* starts in contact with the key, *struck* arrives with speed.  A touch
is a named way of driving plus one strength, so that the same finger can play
any unit.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sim.physics.modes import DriveMode
from sim.physics.run import Drive
from sim.unit.model import GRAVITY, Finger

Array = NDArray[np.float64]

TABLE_END = 10.0
"""Time to which tables are held at their last value, s."""


@dataclass(frozen=True)
class Touch:
    """One way of playing one note, *pressed* or *struck*; ``strength`` means, by ``kind``:

    finger: muscle force of the unit's own finger, N; mass: a weight set free, kg;
    force: a force that rises evenly over 20 ms and stays, N; motion: the key
    (pressed) or the finger's tip (struck) is led through the key's way in about
    that time, s.
    """

    name: str
    strength: float
    struck: bool = False
    kind: str = "finger"


TOUCH_KINDS = ("finger", "mass", "force", "motion")


def _activation(strength: float, rise: float) -> Array:
    t = np.concatenate([np.linspace(0.0, 10 * rise, 101), [TABLE_END]])
    x = t / rise
    return np.column_stack([t, strength * (1 - (1 + x) * np.exp(-x)), strength * x / rise * np.exp(-x)])


def drive_pressed(finger: Finger, strength: float) -> Drive:
    """The finger rests on the key and its muscle pulls with ``strength`` N in the end."""
    return Drive(DriveMode.DRIVEN_MASS, _activation(strength, finger.rise_time), finger.mass, finger.muscle_damping)


def drive_struck(finger: Finger, strength: float) -> Drive:
    """The finger starts from ``struck_height`` over the key and arrives with the speed it has gained."""
    table = _activation(strength, finger.rise_time)
    return Drive(DriveMode.DRIVEN_MASS, table, finger.mass, finger.muscle_damping, height=finger.struck_height)


def drive_falling_mass(mass: float, height: float = 0.0) -> Drive:
    """A weight set free over the key (kg, m above the touch point)."""
    weight = mass * GRAVITY
    return Drive(
        DriveMode.DRIVEN_MASS, np.array([[0.0, weight, 0.0], [TABLE_END, weight, 0.0]]), mass, 0.0, height, 0.0
    )


def drive_dead_load(force: float) -> Drive:
    """A constant downward force on the touch point without mass (N)."""
    return Drive(DriveMode.KEY_FORCE, np.array([[0.0, force, 0.0], [TABLE_END, force, 0.0]]))


def drive_force(times: Array, forces: Array) -> Drive:
    """A downward force on the key through the given points, joined by straight lines (s, N)."""
    return Drive(DriveMode.KEY_FORCE, _broken_line(np.asarray(times, float), np.asarray(forces, float)))


def _broken_line(t: Array, y: Array) -> Array:
    """Straight pieces as cubics: every corner twice, with the slopes of both sides."""
    rows = []
    slopes = np.diff(y) / np.diff(t)
    for i in range(len(t)):
        if i > 0:
            rows.append((t[i], y[i], slopes[i - 1]))
        if i < len(t) - 1:
            rows.append((t[i] + (1e-9 if i else 0.0), y[i], slopes[i]))
    return np.array(rows)


def build_smooth_path(times: Array, places: Array, speeds: Array | None = None) -> Array:
    """Table of a path through points; speeds default to zero at both ends and straight joins between."""
    t, y = np.asarray(times, float), np.asarray(places, float)
    if speeds is None:
        speeds = np.zeros_like(y)
        speeds[1:-1] = (y[2:] - y[:-2]) / (t[2:] - t[:-2])
    return np.column_stack([t, y, speeds])


def build_even_path(start: float, end: float, speed: float, ease: float = 0.02) -> Array:
    """Path from start to end at an even speed, eased in and out over ``ease`` seconds (one unit of length)."""
    span = end - start
    cruise = math.copysign(speed, span)
    ease_way = 0.5 * cruise * ease
    if span == 0.0:
        return np.array([[0.0, start, 0.0], [TABLE_END, start, 0.0]])
    if abs(span) < 2 * abs(ease_way):
        t = 2 * abs(span) / speed
        return np.array([[0.0, start, 0.0], [t, end, 0.0], [TABLE_END + t, end, 0.0]])
    t1 = ease + (span - 2 * ease_way) / cruise
    # a cubic from rest to speed over `ease` covers half the way an even speed would
    return np.array(
        [
            [0.0, start, 0.0],
            [ease, start + ease_way, cruise],
            [t1, end - ease_way, cruise],
            [t1 + ease, end, 0.0],
            [t1 + ease + TABLE_END, end, 0.0],
        ]
    )


def build_slowing_path(end: float, turn: float, fast: float, slow: float, ease: float = 0.05) -> Array:
    """Path from rest to ``end`` (m, positive): fast to ``turn``, then slow (m/s), eased at both ends and between."""
    if end - turn < 2 * slow * ease or turn < 2 * fast * ease:
        return build_even_path(0.0, end, slow)
    t1 = ease + (turn - 0.5 * fast * ease) / fast
    t2, y2 = t1 + ease, turn + 0.5 * (fast + slow) * ease
    t3 = t2 + (end - 0.5 * slow * ease - y2) / slow
    rows = [
        (0.0, 0.0, 0.0),
        (ease, 0.5 * fast * ease, fast),
        (t1, turn, fast),
        (t2, y2, slow),
        (t3, end - 0.5 * slow * ease, slow),
        (t3 + ease, end, 0.0),
        (t3 + ease + TABLE_END, end, 0.0),
    ]
    return np.array(rows)


def drive_key_motion(path: Array, arm: float, rest_angle: float) -> Drive:
    """Prescribed motion of the key: a path of the touch point's travel (m, + down) as key angles.

    ``arm`` is the touch point's distance from the balance rail (m, positive);
    travel and angle are taken as proportional, which holds to 0.1 % over the dip.
    """
    table = path.copy()
    table[:, 1] = rest_angle + path[:, 1] / arm
    table[:, 2] = path[:, 2] / arm
    return Drive(DriveMode.KEY_MOTION, table)


def drive_finger_motion(path: Array) -> Drive:
    """Prescribed motion of the finger's tip (m, + down from the touch point of the design pose); it can only push."""
    table = path.copy()
    table[:, 1:] *= -1.0
    return Drive(DriveMode.FINGER_MOTION, table)


def build_power_path(travel: float, duration: float, exponent: float) -> Array:
    """Path s = travel (t / duration)**exponent that stops dead at the bottom (m, s)."""
    t = np.linspace(0.0, duration, 200)
    y = travel * (t / duration) ** exponent
    v = travel * exponent / duration * (t / duration) ** (exponent - 1)
    rows = np.column_stack([t, y, v])
    stop = np.array([[duration + 1e-6, travel, 0.0], [duration + TABLE_END, travel, 0.0]])
    return np.vstack([rows, stop])
