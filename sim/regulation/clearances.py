"""Whether everything clears, and by how much: one entry a clearance, read along a slow press.

Least clearances are our conventions where no source is named: what cloth, wood
and a tool need.  Those of rail, key end and damper blocking are known only when
the scenario gives their places.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from sim.bench.rest_pose import rotate_vectors
from sim.bench.slow_press import PressRun
from sim.physics.gaps_along import compute_gaps_and_sliding
from sim.physics.mechanism import DOFS
from sim.unit.contacts import CONTACT_INDEX
from sim.unit.model import ActionUnit, Vec

Array = NDArray[np.float64]
ROW_STEP = 40
"""Rows of the press between two looks: 20 ms, 0.06 mm of key travel."""


@dataclass(frozen=True)
class PressPoses:
    """Poses of a slow press, thinned out."""

    pressed: PressRun

    @property
    def unit(self) -> ActionUnit:
        return self.pressed.rest.unit

    @cached_property
    def poses(self) -> dict[str, Array]:
        """State name to its values, from rest to the bottom of the key."""
        trace = self.pressed.down.trace
        rows = np.append(np.arange(0, len(trace) - 1, ROW_STEP), len(trace) - 1)
        return {x: trace[x][rows] for x in DOFS}

    @cached_property
    def gaps(self) -> Array:
        """Gap of every contact, (poses, contacts), m."""
        return compute_gaps_and_sliding(self.pressed.rest.parameters, np.array([self.poses[x] for x in DOFS]).T)[0]

    def least(self, contact: str) -> float:
        """Least gap of a contact on the way up to let-off, m."""
        before = self.poses["h"].argmax() + 1
        return float(self.gaps[:before, CONTACT_INDEX[contact]].min())

    def at(self, part: str, centre: Vec, point: Vec) -> Array:
        """Where a point of jack or lever goes (2, poses), m."""
        w = self.unit.wippen
        moved: Array = (
            rotate_vectors(self.poses[part], point)
            + rotate_vectors(self.poses["w"], centre)
            + np.array(w.centre)[:, None]
        )
        return moved

    def get_measures(self, *paths: str) -> tuple[float, ...] | None:
        """Values of the scenario, or None where one of them is not told."""
        found = [self.unit.nominal.get(p) for p in paths]
        return None if any(v is None for v in found) else tuple(float(v) for v in found if v is not None)


@dataclass(frozen=True)
class Clearance:
    """What is looked at, the least that will do (m), what to say when it is not there, and how it is found."""

    title: str
    least: float
    why: str
    find: Callable[[PressPoses], float | None]


def _window(way: PressPoses) -> float:
    jack = way.unit.jack
    turn = float((way.poses["j"] - way.poses["w"]).max())
    return float((jack.largest_turn - turn) * abs(jack.top_rear[1]))


def _reach(way: PressPoses) -> float:
    front = way.at("l", way.unit.wippen.lever_centre, way.unit.lever.surface_from)[0]
    return float((way.unit.rails.drop_screw_tip[0] - front).min())


def _knuckle(way: PressPoses) -> float:
    hammer = way.unit.hammer
    knuckle = rotate_vectors(way.poses["h"], hammer.knuckle_centre)[0] + hammer.centre[0]
    ends = [
        way.at("l", way.unit.wippen.lever_centre, p)[0]
        for p in (way.unit.lever.surface_from, way.unit.lever.surface_to)
    ]
    return float(np.minimum(knuckle - ends[0], ends[1] - knuckle).min())


def _rail_to_check(way: PressPoses) -> float | None:
    found = way.get_measures("rails.wippen_rail_rear")
    return None if found is None else float(way.unit.key.backcheck_foot[0] - way.unit.wippen.centre[0] - found[0])


def _rail_over_key(way: PressPoses) -> float | None:
    """Least height of the rail's underside over the key's top under it."""
    found = way.get_measures(
        "rails.wippen_rail_front",
        "rails.wippen_rail_rear",
        "rails.wippen_rail_below",
        "key.thickness",
        "key.rear_length",
    )
    if found is None:
        return None
    front, rear, below, thick, end = found
    x, y = way.unit.wippen.centre
    under = min(x + rear, end)
    if under < x + front:
        return None
    rise = np.sin(way.poses["kr"]) * under + np.cos(way.poses["kr"]) * thick
    return float(y - below - rise.max())


def _key_to_blocking(way: PressPoses) -> float | None:
    found = way.get_measures("rails.damper_blocking", "key.rear_length")
    return None if found is None else found[0] - found[1]


def _rail_to_blocking(way: PressPoses) -> float | None:
    found = way.get_measures("rails.damper_blocking", "rails.wippen_rail_rear")
    return None if found is None else float(found[0] - way.unit.wippen.centre[0] - found[1])


def _capstan(way: PressPoses) -> float | None:
    found = way.get_measures("rails.wippen_rail_front")
    return None if found is None else float(way.unit.wippen.centre[0] + found[0] - way.unit.key.capstan_centre[0])


CLEARANCES: Mapping[str, Clearance] = {
    "window": Clearance(
        "jack to its window cushion, key down", 1e-3, "the jack runs into its window cushion", _window
    ),
    "toe": Clearance(
        "jack's toe to the let-off button, at rest", 0.5e-3, "the button pinches the jack at rest",
        lambda way: way.pressed.rest.at_rest["toe_button"],
    ),
    "drop_screw": Clearance(
        "lever to the drop screw, at rest", 0.5e-3, "the drop screw pinches the lever at rest",
        lambda way: way.pressed.rest.at_rest["drop_screw"],
    ),
    "cushion": Clearance(
        "shank to the rest cushion, at rest", 0.5e-3, "the shank lies on its rest cushion",
        lambda way: way.pressed.rest.at_rest["rest_cushion"],
    ),
    "reach": Clearance(
        "lever's front end beyond the drop screw", 0.5e-3, "the drop screw misses the lever's front end", _reach
    ),
    "knuckle": Clearance("lever's surface beyond the knuckle", 1e-3, "the knuckle runs off the lever", _knuckle),
    "tail": Clearance(
        "tail to the check on the way up", 0.2e-3, "the tail brushes the check on its way up",
        lambda way: way.least("backcheck"),
    ),
    "rail_to_check": Clearance(
        "wippen rail to the backchecks", 2e-3, "the wippen rail stands against the backchecks", _rail_to_check
    ),
    "rail_over_key": Clearance(
        "wippen rail over the key's end, key down", 2e-3, "the key's end meets the wippen rail", _rail_over_key
    ),
    "key_to_blocking": Clearance(
        "key's end to the damper blocking", 2e-3, "the key's end meets the damper blocking", _key_to_blocking
    ),
    "rail_to_blocking": Clearance(
        "wippen rail to the damper blocking", 2e-3, "the wippen rail meets the damper blocking", _rail_to_blocking
    ),
    "capstan": Clearance(
        "capstan's line to the wippen rail", 10e-3, "no room for a tool at the capstan", _capstan
    ),
}  # fmt: skip
"""Name to clearance."""


def measure_clearances(pressed: PressRun) -> dict[str, float]:
    """Every clearance that can be told for a unit that was pressed slowly, m."""
    way = PressPoses(pressed)
    found = {name: c.find(way) for name, c in CLEARANCES.items()}
    return {name: value for name, value in found.items() if value is not None}


def find_obstruction(found: Mapping[str, float]) -> str:
    """What does not clear (the worst, against what it needs), or nothing."""
    short = {n: v - CLEARANCES[n].least for n, v in found.items() if v < CLEARANCES[n].least}
    return CLEARANCES[min(short, key=lambda n: short[n])].why if short else ""
