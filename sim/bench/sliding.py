"""How far surfaces slide on each other in one slow press, and what that rubs away."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sim.bench.rest_pose import Rest
from sim.bench.slow_press import PressRun
from sim.physics.gaps_along import compute_gaps_and_sliding
from sim.physics.mechanism import DOFS
from sim.physics.run import Run
from sim.unit.contacts import CONTACT_INDEX

Array = NDArray[np.float64]

ROW_STEP = 12
"""Rows of the press between two looks: 6 ms, 0.02 mm of key travel."""
SLIDING_CONTACTS = ("capstan", "jack_knuckle", "lever_knuckle")
"""Contacts whose sliding is read."""


@dataclass(frozen=True)
class Sliding:
    """Way slid (m) and work rubbed away (J) while pressing, up to let-off, by contact."""

    length: dict[str, float]
    work: dict[str, float]


def measure_sliding(pressed: PressRun, span: tuple[float, float] | None = None) -> Sliding:
    """Slide lengths of a slow press while the surfaces touch.

    From rest to the crown's highest point, or over a ``span`` of touch-point travel (m).
    """
    trace, first, last = pressed.down.trace, 0, pressed.peak
    if span is not None:
        first, last = np.searchsorted(np.maximum.accumulate(pressed.rest.travel(pressed.down)), span)
    rows = slice(first, last, ROW_STEP)
    ways = np.abs(compute_sliding(pressed.rest, pressed.down, rows))
    length, work = {}, {}
    for c in SLIDING_CONTACTS:
        way = ways[:, CONTACT_INDEX[c]] * (trace[f"N_{c}"][rows][1:] > 0)
        length[c] = float(way.sum())
        work[c] = float(way @ np.abs(trace[f"T_{c}"][rows][1:]))
    return Sliding(length, work)


def compute_sliding(rest: Rest, run: Run, rows: slice) -> Array:
    """Way that every contact slides from each of these rows of a run to the next (rows - 1, contacts), m, signed."""
    poses = np.array([run.trace[x][rows] for x in DOFS]).T
    _, slides = compute_gaps_and_sliding(rest.parameters, 0.5 * (poses[1:] + poses[:-1]))
    found: Array = np.einsum("rcx,rx->rc", slides, np.diff(poses, axis=0))
    return found
