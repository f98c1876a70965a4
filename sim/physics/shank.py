"""The bending shank as one beam: tip deflection ``e`` (m) and tip turn ``r`` (rad), the head rigid on its end.

Euler-Bernoulli beam clamped at the hammer centre, one cubic element (consistent
mass matrix; Cook, Malkus, Plesha & Witt, Concepts and Applications of Finite
Element Analysis, 4th ed. 2002, ch. 2 and 11).  With the hammer free to turn, the
two coordinates give the shank's own modes near those of a beam with a head on its
end (tests/physics/test_shank.py holds them to the exact ones).

The shank swings as the even rod that has its inertia and hangs as the even rod
that has its weighed moment, so that the mass matrix stays positive whatever it was
weighed at.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from sim.unit.model import Hammer

Array = NDArray[np.float64]

BENDING = ("e", "r")


def evaluate_shapes(x: float, length: float) -> tuple[tuple[float, float], tuple[float, float]]:
    """(deflection, slope) at ``x`` (m) from the root for a unit of tip deflection, and of tip turn.

    Beyond the tip the shank's line goes on straight, as the head does.
    """
    if x >= length:
        return (1.0, 0.0), (x - length, 1.0)
    s = x / length
    return (s * s * (3 - 2 * s), 6 * s * (1 - s) / length), (length * s * s * (s - 1), s * (3 * s - 2))


def evaluate_head_shapes(x: float, length: float) -> tuple[tuple[float, float], tuple[float, float]]:
    """As ``evaluate_shapes`` for a point of the head, which is rigid: also on the near side of the tip."""
    return (1.0, 0.0), (x - length, 1.0)


def compute_mass_matrix(hm: Hammer) -> Array:
    """Mass matrix of turn about the centre, tip deflection and tip turn (3, 3; kg·m², kg·m, kg)."""
    x, y, length = *hm.head_mass_centre, hm.shank_length
    beyond, m = x - length, hm.head_mass
    head = np.array([[-y, x], [0.0, 1.0], [-y, beyond]])
    turns = np.array([1.0, 0.0, 1.0])
    out: Array = m * head @ head.T + m * hm.head_gyration**2 * np.outer(turns, turns)
    rod = 3 * hm.shank_inertia / length**2
    even = np.array([[1 / 3, 7 / 20, -1 / 20], [7 / 20, 13 / 35, -11 / 210], [-1 / 20, -11 / 210, 1 / 105]])
    scale = np.array([length, 1.0, length])
    return out + rod * even * np.outer(scale, scale)


def compute_stiffness_matrix(hm: Hammer) -> Array:
    """Stiffness of tip deflection and tip turn (2, 2; N/m, N, N·m).

    ``shank_bending_stiffness`` is the force at the tip over its deflection, 3 EI / L³.
    """
    k, length = hm.shank_bending_stiffness, hm.shank_length
    out: Array = k * np.array([[4.0, -2 * length], [-2 * length, 4 / 3 * length**2]])
    return out


def compute_damping_matrix(hm: Hammer) -> Array:
    """Damping that gives both modes of the shank held at its root the damping ratio of the first (2, 2)."""
    m = compute_mass_matrix(hm)[1:, 1:]
    squares, modes = _modes(compute_stiffness_matrix(hm), m)
    shape = m @ modes
    out: Array = shape @ np.diag(2 * hm.shank_damping_ratio * np.sqrt(squares)) @ shape.T
    return out


def compute_frequencies(hm: Hammer, *, root_held: bool) -> Array:
    """Frequencies (Hz) of the shank with its head: held at the root, or free to turn about the hammer centre."""
    k, m = compute_stiffness_matrix(hm), compute_mass_matrix(hm)
    if root_held:
        return np.asarray(np.sqrt(_modes(k, m[1:, 1:])[0]) / (2 * math.pi))
    inverse = np.linalg.inv(m)[1:, 1:]
    return np.asarray(np.sqrt(_modes(k, np.linalg.inv(inverse))[0]) / (2 * math.pi))


def _modes(k: Array, m: Array) -> tuple[Array, Array]:
    """Squares of the circular frequencies (1/s²), rising, and mass-normalised modes in the columns."""
    root = np.linalg.cholesky(m)
    into = np.linalg.inv(root)
    squares, vectors = np.linalg.eigh(into @ k @ into.T)
    return squares, into.T @ vectors


def compute_gravity_moments(hm: Hammer) -> Array:
    """Moments along and across the shank per unit of tip deflection and tip turn (2, 2; kg and kg·m)."""
    (x, y), length, m = hm.head_mass_centre, hm.shank_length, hm.head_mass
    rod = 2 * hm.shank_mass_moment / length
    return np.array([[m + 0.5 * rod, 0.0], [m * (x - length) - rod * length / 12, m * y]])
