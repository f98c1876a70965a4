"""Gaps and sliding of every contact along a trace, for many poses at once."""

from __future__ import annotations

import numba
import numpy as np
from numpy.typing import NDArray

from sim.physics.kernel_loader import kernel
from sim.physics.mechanism import DOFS
from sim.physics.run import STATE_TYPE
from sim.unit.contacts import CONTACTS

Array = NDArray[np.float64]


def compute_gaps_and_sliding(parameters: Array, poses: Array) -> tuple[Array, Array]:
    """Gaps (rows, contacts) in m and gradients of the sliding speed (rows, contacts, states) at given poses.

    ``poses`` (rows, states) in the order of DOFS; the string stands at its line.
    """
    states = np.zeros(len(poses), STATE_TYPE)
    for k, name in enumerate(DOFS):
        states[name] = poses[:, k]
    gaps = np.zeros((len(poses), len(CONTACTS)))
    slides = np.zeros((len(poses), len(CONTACTS), len(DOFS)))
    _along(parameters[0], states, gaps, slides)
    return gaps, slides


@numba.njit(nogil=True, cache=True)
def _along(p, states, gaps, slides):  # type: ignore[no-untyped-def]
    normal = np.zeros(slides.shape[1:])
    for row in range(len(states)):
        kernel.gaps(p, states[row], gaps[row], normal, slides[row])
