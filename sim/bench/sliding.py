"""How far surfaces slide on each other in one slow press, and what that rubs away."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sim.bench.slow_press import Pressed
from sim.physics import kernel
from sim.physics.mechanism import CONTACTS, DOFS, RUBBING
from sim.physics.run import CONTACT_INDEX, STATE_TYPE

EVERY = 12
"""Rows of the press between two looks: 6 ms, 0.02 mm of key travel."""


@dataclass(frozen=True)
class Sliding:
    """Way slid (m) and work rubbed away (J) while pressing, up to let-off, by contact."""

    length: dict[str, float]
    work: dict[str, float]


def sliding(pressed: Pressed, contacts: tuple[str, ...] = ("capstan", "jack_knuckle", "lever_knuckle")) -> Sliding:
    """Slide lengths of a slow press while the surfaces touch, from rest to the crown's highest point."""
    run, p = pressed.down, pressed.rest.parameters[0]
    trace = run.trace
    rows = range(0, pressed.peak, EVERY)
    n = len(CONTACTS)
    gap, normal, slide = np.zeros(n), np.zeros((n, len(DOFS))), np.zeros((n, len(DOFS)))
    state = np.zeros(1, STATE_TYPE)
    length, work = dict.fromkeys(contacts, 0.0), dict.fromkeys(contacts, 0.0)
    rubs = {c: f"T_{c}" for c in contacts if c in RUBBING}
    before: np.ndarray | None = None
    for row in rows:
        here = np.array([trace[x][row] for x in DOFS])
        if before is not None:
            mid = 0.5 * (here + before)
            for x, value in zip(DOFS, mid, strict=True):
                state[x] = value
            kernel.gaps(p, state[0], gap, normal, slide)
            for c in contacts:
                if trace[f"N_{c}"][row] > 0:
                    way = float(slide[CONTACT_INDEX[c]] @ (here - before))
                    length[c] += abs(way)
                    work[c] += abs(way * float(trace[rubs[c]][row]))
        before = here
    return Sliding(length, work)
