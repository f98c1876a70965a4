"""Units with a hidden fault: drawn as healthy ones differ, spoiled, and read as a technician reads."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from sim.diagnosis.bench_tests import BenchTest, Symptoms, try_symptoms
from sim.diagnosis.faults import apply_faults
from sim.physics.run import DEFAULT_STEP
from sim.studies.healthy_variation import draw_healthy_unit
from sim.unit.model import ActionUnit

MOST_TRIES = 200


@dataclass(frozen=True)
class HiddenUnit:
    """A unit and what is wrong with it: faults with severities, none for a healthy one; ``found``: all its readings."""

    unit: ActionUnit
    ill: tuple[tuple[str, float], ...]
    found: Symptoms | None

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(name for name, _ in self.ill)


FaultCombination = tuple[tuple[str, ...], float]
"""Faults that come together, and how often they do."""


def draw_faulty_units(
    well: ActionUnit,
    ways: Sequence[FaultCombination],
    random: np.random.Generator,
    step: float = DEFAULT_STEP,
    least: float = 0.0,
) -> Iterator[HiddenUnit]:
    """TRIES times the unit with one of the ``ways``, as bad as ``least`` to 1; without those that cannot be read."""
    weights = np.array([prior for _, prior in ways])
    for _ in range(MOST_TRIES):
        names = ways[int(random.choice(len(ways), p=weights / weights.sum()))][0]
        ill = tuple((n, float(random.uniform(least, 1.0))) for n in names)
        try:
            sick = apply_faults(well, ill)
        except ValueError:
            continue
        found = try_symptoms(sick, step)
        if found is not None:
            yield HiddenUnit(sick, ill, found)


def draw_playing_unit(unit: ActionUnit, random: np.random.Generator, step: float) -> tuple[ActionUnit, Symptoms]:
    """A healthy unit that plays."""
    for _ in range(MOST_TRIES):
        well = draw_healthy_unit(unit, random)
        found = try_symptoms(well, step)
        if found is not None and found.words["slow_press"] == "plays":
            return well, found
    raise RuntimeError("no healthy unit plays")


def count_accuracies_apart(test: BenchTest, before: Symptoms, after: Symptoms) -> float:
    """How far a reading is from what it was, in accuracies; another word is infinitely far, no reading is not."""
    if test.words:
        return math.inf if before.words[test.name] != after.words[test.name] else 0.0
    a, b = before.numbers[test.name], after.numbers[test.name]
    return 0.0 if a is None or b is None else abs(a - b) / test.si


def simulate_bench_reading(test: BenchTest, value: float, random: np.random.Generator) -> float:
    """A number (SI) as a bench reads it: noise of half its accuracy, rounded to half of it.  In accuracies."""
    noisy = value / test.si + 0.5 * random.standard_normal()
    return float(np.clip(np.round(2 * noisy) / 2, test.least / test.si, test.most / test.si))
