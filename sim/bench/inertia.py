"""Inertia felt at the key: apparent mass at the touch point, from the model's kinetic energy along a slow press.

Two nearby rows of the press say how far every part goes while the touch point
goes a little way: its speed, when the touch point moves at 1 m/s.  The kinetic
energy T of those speeds makes the apparent mass 2 T / (1 m/s)².  No trade target
for it was found (trade.md): compare units with it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sim.bench.slow_press import WEIGHT_SPAN, PressRun
from sim.physics.kernel_loader import kernel
from sim.physics.mechanism import DOFS
from sim.physics.run import STATE_TYPE
from sim.physics.shank import BENDING
from sim.unit.contacts import CONTACTS

Array = NDArray[np.float64]

SPEED_SPAN = 0.3e-3
"""Touch-point travel between the two rows that make a speed, m: felts that creep a micrometre do not show."""
CURVE_STEP = 0.1e-3
"""Touch-point travel between two points of the curve, m."""
MOVING_DOFS = tuple(x for x in DOFS if x not in ("f", *BENDING))
"""What moves with the key; the finger is not part of the action, and a shank pressed slowly does not swing."""


@dataclass(frozen=True)
class Inertia:
    """Apparent mass at the touch point (kg) against its travel (m) up to let-off.

    ``felt`` is its median over 2-5 mm of travel: where jack and lever hand the
    knuckle to each other, the hammer takes a short quick step that is no part of
    the steady motion, and its place moves with the friction.
    """

    travel: Array
    mass: Array
    felt: float | None


def read_inertia(pressed: PressRun) -> Inertia:
    """Inertia felt at the key, from rest to the crown's highest point."""
    rest, trace = pressed.rest, pressed.down.trace
    travel = rest.travel(pressed.down)[: pressed.peak + 1]
    rising = np.maximum.accumulate(travel) if len(travel) else travel
    last = float(rising[-1]) if len(rising) else 0.0
    places = np.arange(SPEED_SPAN, last - SPEED_SPAN, CURVE_STEP)
    angles = {x: trace[x][: pressed.peak + 1] for x in MOVING_DOFS}
    order = np.unique(rising, return_index=True)[1]
    speeds, poses = {}, {}
    for x, angle in angles.items():
        before, after = (
            np.interp(places + by, rising[order], angle[order]) for by in (-0.5 * SPEED_SPAN, 0.5 * SPEED_SPAN)
        )
        speeds[x], poses[x] = (after - before) / SPEED_SPAN, 0.5 * (after + before)
    mass = np.array([_mass(rest.parameters, _at(poses, i), _at(speeds, i)) for i in range(len(places))])
    inside = (places >= WEIGHT_SPAN[0]) & (places <= WEIGHT_SPAN[1])
    return Inertia(places, mass, float(np.median(mass[inside])) if inside.any() else None)


def _at(columns: dict[str, Array], row: int) -> dict[str, float]:
    return {x: float(column[row]) for x, column in columns.items()}


def _mass(parameters: Array, pose: dict[str, float], speed: dict[str, float]) -> float:
    state = np.zeros(1, STATE_TYPE)
    for x, value in pose.items():
        state[x] = value
        state[f"v_{x}"] = speed[x]
    kinetic, _ = kernel.energy(parameters[0], state[0], np.zeros(len(CONTACTS)))
    return 2 * float(kinetic)
