"""The friction budget: where the friction felt at the key is lost, along one slow press and its return.

By virtual work: what a centre or a rubbing contact takes while the key goes on by
dx, over dx, is its share of the force at the touch point (readings.md, friction budget).
All sites together come within some 0.3 gf of half of down less up weight: springs and felts
hold a little more on one way than on the other.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from sim.bench.rest_pose import Rest
from sim.bench.sliding import ROW_STEP, compute_sliding
from sim.bench.slow_press import WEIGHT_SPAN, PressRun
from sim.physics.mechanism import FRICTION_ROWS, JOINTS
from sim.physics.run import Run
from sim.unit.contacts import CONTACT_INDEX, CONTACTS, RUBBING

Array = NDArray[np.float64]

TITLES: Mapping[str, str] = {
    "key": "key bushings",
    "wippen": "wippen centre",
    "jack": "jack centre",
    "lever": "repetition lever centre",
    "hammer": "hammer centre",
    "damper": "damper wire and underlever",
} | {c.name: c.rubs for c in CONTACTS if c.rubs}
"""Sites of friction, as they are told."""


@dataclass(frozen=True)
class Branch:
    """One way, down or back: travel of the touch point (m), and the work lost so far at every site (J)."""

    travel: Array
    work: Mapping[str, Array]

    def done(self, site: str, at: Array) -> Array:
        """Work lost at a site up to given travels, J."""
        order = np.argsort(self.travel, kind="stable")
        found: Array = np.interp(at, self.travel[order], self.work[site][order])
        return found

    def over(self, site: str, span: tuple[float, float]) -> float:
        """Mean force at the touch point lost at a site between two travels, N."""
        low, high = self.done(site, np.array(span))
        return abs(float(high - low)) / (span[1] - span[0])

    def force(self, site: str, at: Array, width: float = 0.2e-3) -> Array:
        """The same along the stroke, over a window of travel (m), N."""
        return np.abs(self.done(site, at + width / 2) - self.done(site, at - width / 2)) / width


@dataclass(frozen=True)
class FrictionBudget:
    """Friction by site; forces in N at the touch point."""

    pressing: Branch
    returning: Branch

    @cached_property
    def sites(self) -> tuple[str, ...]:
        """Those that lose anything."""
        return tuple(n for n in TITLES if any(b.work[n][-1] > 1e-9 for b in (self.pressing, self.returning)))

    def felt(self, site: str, span: tuple[float, float] = WEIGHT_SPAN) -> float:
        """Share of the friction felt at the key: half the sum of both ways, as it is half of down less up weight."""
        return 0.5 * (self.pressing.over(site, span) + self.returning.over(site, span))

    def total(self, span: tuple[float, float] = WEIGHT_SPAN) -> float:
        """Of all sites."""
        return sum(self.felt(site, span) for site in self.sites)


def compute_friction_budget(pressed: PressRun) -> FrictionBudget | None:
    """Of a slow press that came back; None where it did not."""
    if pressed.up is None:
        return None
    return FrictionBudget(_branch(pressed.rest, pressed.down), _branch(pressed.rest, pressed.up))


def _branch(rest: Rest, run: Run) -> Branch:
    rows = slice(None, None, ROW_STEP)
    turns = {name: run.trace[body] - (run.trace[against] if against else 0.0) for name, body, against in JOINTS}
    ways = {name: np.diff(turn[rows]) for name, turn in turns.items()}
    slides = compute_sliding(rest, run, rows)
    ways |= {name: slides[:, CONTACT_INDEX[name]] for name in RUBBING}
    work = {}
    for name in FRICTION_ROWS:
        pull = run.trace[f"T_{name}"][rows]
        lost = -0.5 * (pull[1:] + pull[:-1]) * ways[name]
        work[name] = np.concatenate([[0.0], np.cumsum(lost)])
    return Branch(rest.travel(run)[rows], work)
