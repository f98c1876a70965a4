"""A unit at rest on the bench: where every procedure starts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from sim.physics.gaps_along import compute_gaps_and_sliding
from sim.physics.kernel_loader import kernel
from sim.physics.mechanism import DOFS
from sim.physics.run import DEFAULT_STEP, Run, Trace, pack_parameters, settle_unit
from sim.unit.contacts import CONTACT_INDEX, CONTACTS
from sim.unit.model import ActionUnit
from sim.value_records import value_record

Array = NDArray[np.float64]

JACK_HOME_TOLERANCE = 0.5e-3
"""The jack is home, able to lift the hammer, when its top's rear edge stands at most this far in front of
the knuckle's core, m. Our convention."""


@value_record
@dataclass(frozen=True)
class Rest:
    """A settled unit with its packed parameters (SI)."""

    unit: ActionUnit
    parameters: Array
    state: Array
    step: float

    def gaps(self, state: Array | None = None) -> dict[str, float]:
        """Gap of every contact, m, at rest or in ``state``."""
        n = len(CONTACTS)
        gap, normal, sliding = np.zeros(n), np.zeros((n, len(DOFS))), np.zeros((n, len(DOFS)))
        kernel.gaps(self.parameters[0], (self.state if state is None else state)[0], gap, normal, sliding)
        return {c.name: float(g) for c, g in zip(CONTACTS, gap, strict=True)}

    def gap_along(self, contact: str, trace: Trace, rows: slice | Sequence[int]) -> Array:
        """Gap of one contact, not the string's, at rows of a trace, m."""
        poses = np.column_stack([trace[name][rows] for name in DOFS])
        return compute_gaps_and_sliding(self.parameters, poses)[0][:, CONTACT_INDEX[contact]]

    @cached_property
    def at_rest(self) -> dict[str, float]:
        return self.gaps()

    @cached_property
    def angle(self) -> float:
        """Key front's angle at rest, rad."""
        return float(self.state["kf"][0])

    @property
    def arm(self) -> float:
        """Touch point's distance from the balance rail, m."""
        return -self.unit.key.touch_point[0]

    @property
    def front_edge_ratio(self) -> float:
        """Front-edge travel per travel of the touch point."""
        return self.unit.key.front_edge_x / self.unit.key.touch_point[0]

    @cached_property
    def design_travel(self) -> float:
        """How far the touch point lies at rest below its place in the design pose, m."""
        x, y = self.unit.key.touch_point
        return y - (np.sin(self.angle) * x + np.cos(self.angle) * y)

    def travel(self, run: Run) -> Array:
        """Touch-point travel from rest along a run's trace, m."""
        return run.place.key_travel - self.design_travel

    def address(self, angles: Trace | Array) -> Array:
        """Rear edge of the jack's top to the rear of the knuckle's core, along the jack's top, + to the player, m."""
        u, (w, j, h) = self.unit, (angles[x] for x in ("w", "j", "h"))
        gap = rotate_vectors(h, u.hammer.knuckle_centre) - rotate_vectors(w, u.wippen.jack_centre)
        gap += np.subtract(u.hammer.centre, u.wippen.centre)[:, None]
        front, rear = rotate_vectors(j, u.jack.top_front), rotate_vectors(j, u.jack.top_rear)
        along = (rear - front) / np.hypot(*(rear - front))
        return np.asarray(((gap - rear) * along).sum(axis=0))

    def jack_home(self, angles: Trace | Array) -> NDArray[np.bool_]:
        """Whether the jack stands under the knuckle, able to lift it."""
        return np.asarray(self.address(angles) < JACK_HOME_TOLERANCE)


def measure_key_height(rest: Rest) -> float:
    """Top of the key at its front edge over the key bed, at rest, m."""
    _, y = rest.unit.key.touch_point
    edge = np.sin(rest.angle) * rest.unit.key.front_edge_x + np.cos(rest.angle) * y
    return float(edge) + rest.unit.nominal.get("key.balance_rail_height", 0.0)


def rotate_vectors(angle: Array, v: tuple[float, float]) -> Array:
    c, s = np.cos(angle), np.sin(angle)
    return np.array([c * v[0] - s * v[1], s * v[0] + c * v[1]])


def settle_at_rest(unit: ActionUnit, step: float = DEFAULT_STEP) -> Rest:
    """Settle the unit.  Raises SimulationError when it does not come to rest."""
    return Rest(unit, pack_parameters(unit), settle_unit(unit, step=step), step)
