"""Friction of a centre told by swings: the closed form of a pendulum with dry friction.

A part hung from its centre with gravity stiffness c = m g r (N·m per rad of
turn) and a dry-friction torque T loses the same amplitude 2 T / c in each half
swing (small angles; Coulomb damping, Den Hartog, Mechanical Vibrations, § 2.8),
and stops where gravity can no longer overcome the friction, within T / c of
the vertical.  A *swing* here is half a swing: one way across.
"""

from __future__ import annotations

import math

from sim.unit.model import GRAVITY, Vec


def compute_gravity_stiffness(mass: float, mass_centre: Vec) -> float:
    """m g r of a part hanging from its centre, N·m/rad; the mass centre from that centre, m."""
    return mass * GRAVITY * math.hypot(*mass_centre)


def convert_swings_to_torque(swings: float, start: float, stiffness: float) -> float:
    """Friction torque (N·m) of a part that makes ``swings`` half swings from ``start`` (rad) until it stops.

    A count leaves the torque open between start·c/(2n + 1) and
    start·c/(2n - 1); the value between them that loses all of the amplitude is
    taken.
    """
    return stiffness * start / (2 * swings)


def convert_force_to_torque(force: float, radius: float) -> float:
    """Friction torque (N·m) from the force (N) at a radius (m) that just keeps the freed part turning."""
    return force * radius


def convert_torque_to_force(torque: float, radius: float) -> float:
    """Inverse of ``convert_force_to_torque``."""
    return torque / radius
