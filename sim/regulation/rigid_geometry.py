"""The parts laid on each other without weight: screws from plane geometry alone, before any felt has given.

Settings found so are off by what the felts give (tenths of a millimetre); they
are where the correction with felts starts.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from sim.bench import slow_press
from sim.bench.rest_pose import Rest
from sim.physics.run import find_start_state, pack_parameters
from sim.regulation.screws import BUTTON, CAPSTAN, DROP_SCREW, SCREWS, Screw
from sim.unit.model import ActionUnit

RIGID_TOLERANCE = 2e-5
"""A laid quantity is met within this, m."""
ROUNDS = 12

RIGID_SCREWS: Mapping[str, Screw] = {
    "blow": CAPSTAN,
    "lever_height": SCREWS["lever_height"],
    "jack_address": SCREWS["jack_address"],
    "rest_cushion_gap": SCREWS["rest_cushion_gap"],
    "toe_button": replace(BUTTON, gain=1.0, longest=5e-3),
    "drop_screw": replace(DROP_SCREW, gain=1.0, longest=5e-3),
}
"""Laid quantity (m) to what is turned for it, as it answers there."""


def measure_rigid_pose(u: ActionUnit) -> dict[str, float]:
    """Blow, lever height, jack address and gaps of button, drop screw and rest cushion, nothing squeezed, m."""
    p = pack_parameters(u)
    rest = Rest(u, p, find_start_state(u, p), 0.0)
    gaps = rest.gaps()
    return {
        "blow": gaps["string"],
        "lever_height": slow_press.measure_lever_height(rest),
        "jack_address": slow_press.measure_jack_address(rest),
        "rest_cushion_gap": gaps["rest_cushion"],
        "toe_button": gaps["toe_button"],
        "drop_screw": gaps["drop_screw"],
    }


def set_rigid_pose(u: ActionUnit, wanted: Mapping[str, float]) -> ActionUnit:
    """The screws of ``wanted`` turned until the laid parts show it (m), or as near as they come.

    Newton's steps with the screws' own gains, all at once: the quantities hang
    together through blow and jack only, and settle in a few rounds.
    """
    for _ in range(ROUNDS):
        have = measure_rigid_pose(u)
        miss = {n: have[n] - v for n, v in wanted.items()}
        if all(abs(m) <= RIGID_TOLERANCE for m in miss.values()):
            break
        for n, m in miss.items():
            s = RIGID_SCREWS[n]
            u = s.move(u, float(np.clip(-m / s.gain, -2 * s.longest, 2 * s.longest)))
    return u


def match_rigid_pose(u: ActionUnit, other: ActionUnit) -> ActionUnit:
    """A unit whose laid parts stand as another's do: where a neighbour of a regulated unit starts from."""
    return set_rigid_pose(u, measure_rigid_pose(other))
