"""How healthy units differ (shared/healthy_variation.toml): drawn for trials, and what an inference averages over."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np

from sim.unit.data import shared_file
from sim.unit.model import ActionUnit
from sim.units import NUMBER, parse
from sim.workshop.knobs import knob_at


@dataclass(frozen=True)
class Variation:
    """One input: a standard deviation, of the logarithm of its share or of its change (SI)."""

    at: str
    share: bool
    deviation: float
    source: str

    def put(self, unit: ActionUnit, z: float) -> ActionUnit:
        """The unit with this input so many standard deviations off."""
        knob = knob_at(self.at)
        now = knob.get(unit)
        return knob.put(unit, now * math.exp(self.deviation * z) if self.share else now + self.deviation * z)


@cache
def variations() -> tuple[Variation, ...]:
    """All of the file, in its order."""
    with shared_file("healthy_variation.toml").open("rb") as file:
        rows = tomllib.load(file)["variation"]
    return tuple(
        Variation(row["at"], True, parse(row["share"], NUMBER), row["source"])
        if "share" in row
        else Variation(row["at"], False, parse(row["by"], knob_at(row["at"]).dimension), row["source"])
        for row in rows
    )


def varied(unit: ActionUnit, z: Sequence[float]) -> ActionUnit:
    """A unit with every input off by its own number of standard deviations, one an input.  Raises ValueError."""
    for variation, by in zip(variations(), z, strict=True):
        unit = variation.put(unit, float(by))
    return unit


def drawn(unit: ActionUnit, random: np.random.Generator) -> ActionUnit:
    """A healthy unit like this one."""
    return varied(unit, random.standard_normal(len(variations())).tolist())
