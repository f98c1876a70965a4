"""How healthy units differ (shared/healthy_variation.toml): drawn for trials, and what an inference averages over.

A healthy unit has been regulated: its parts differ, then every screw is turned until the
note reads as it should, and at last each screw is off by what a bench leaves.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np

from sim.display_units import format_si
from sim.fields.catalogue import Entry, load_catalogue, one_of
from sim.regulation.model_inputs import find_bench_unit, find_model_input
from sim.regulation.regulate import regulate
from sim.regulation.targets import read_all
from sim.unit.model import ActionUnit
from sim.units import NUMBER, parse_quantity

REGULATED_READINGS: Mapping[str, str] = {
    "lever_height": "lever_height", "jack_address": "jack_address", "blow": "blow", "key_height": "key_height",
    "rest_cushion_gap": "rest_gap", "let_off": "let_off", "drop": "drop", "dip": "dip",
    "checking_distance": "checking_distance", "spring_rise": "spring_rise",
}  # fmt: skip
"""What is regulated, by the name of its target, and the bench test that reads it."""


@dataclass(frozen=True)
class Variation:
    """One input: a standard deviation, of the logarithm of its share or of its change (SI)."""

    at: str
    share: bool
    deviation: float
    source: str

    @property
    def left(self) -> bool:
        """Whether it is what a bench leaves of a screw's setting, the spring's among them."""
        return self.at.startswith("screw.") or self.at == "springs.repetition"

    def format_deviation(self) -> str:
        """Its standard deviation as the bench would write it."""
        return f"{100 * self.deviation:.3g} %" if self.share else format_si(self.deviation, find_bench_unit(self.at))

    def put(self, unit: ActionUnit, z: float) -> ActionUnit:
        """The unit with this input so many standard deviations off."""
        model_input = find_model_input(self.at)
        now = model_input.get(unit)
        return model_input.put(unit, now * math.exp(self.deviation * z) if self.share else now + self.deviation * z)


class _Row(Entry):
    at: str
    share: str | None = None
    by: str | None = None
    source: str
    _either = one_of("share", "by")


class _File(Entry):
    variation: tuple[_Row, ...]


@cache
def load_variations() -> tuple[Variation, ...]:
    """All of the file, in its order."""
    return tuple(map(_variation, load_catalogue("healthy_variation.toml", _File).variation))


def _variation(row: _Row) -> Variation:
    deviation = (
        parse_quantity(row.share, NUMBER)
        if row.share
        else parse_quantity(row.by or "", find_model_input(row.at).dimension)
    )
    return Variation(row.at, row.share is not None, deviation, row.source)


def vary_unit(unit: ActionUnit, z: Sequence[float]) -> ActionUnit:
    """A unit with every input off by its own number of standard deviations, one an input, regulated in between.

    What the parts do not let it be regulated to stays as far off as the search came.  Raises UnitError.
    """
    off = list(zip(load_variations(), map(float, z), strict=True))
    parts = [(v, by) for v, by in off if by and not v.left]
    made = unit
    for variation, by in parts:
        made = variation.put(made, by)
    if parts:
        made = regulate(made, read_regulated(unit), warm=True, check=False).unit
    for variation, by in off:
        if variation.left:
            made = variation.put(made, by)
    return made


def read_regulated(unit: ActionUnit) -> dict[str, float]:
    """What this unit reads of all that is regulated (SI)."""
    found = read_all(unit, dict.fromkeys(REGULATED_READINGS, 0.0))
    return {name: value for name in REGULATED_READINGS if (value := found[name]) is not None}


def draw_healthy_unit(unit: ActionUnit, random: np.random.Generator) -> ActionUnit:
    """A healthy unit like this one."""
    return vary_unit(unit, random.standard_normal(len(load_variations())).tolist())
