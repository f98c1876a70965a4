"""A pendulum with dry friction, forward: what ``sim.unit.centres`` inverts."""

from __future__ import annotations

import math


def compute_amplitude_loss(torque: float, stiffness: float) -> float:
    """Amplitude (rad) lost in each half swing."""
    return 2 * torque / stiffness


def convert_torque_to_swings(torque: float, start: float, stiffness: float) -> float:
    """Half swings, not rounded, in which a start angle (rad) is used up; infinite without friction."""
    return stiffness * start / (2 * torque) if torque > 0 else math.inf


def count_swings(torque: float, start: float, stiffness: float) -> int:
    """Whole half swings until the part stops within the friction's reach of the vertical."""
    reach = torque / stiffness
    return max(0, math.ceil((start / reach - 1) / 2 - 1e-12)) if torque > 0 else 0
