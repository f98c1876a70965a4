"""Whether a mend that was tried has helped: what it changed, and whether the note now reads as a healthy one."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping

import numpy as np

from sim.diagnosis.faults import load_faults
from sim.diagnosis.inference import LIBRARY_ERROR, NO_FAULT, Cause, compute_posterior
from sim.teaching.adjustments import load_adjustments
from sim.teaching.known_readings import KnownReadings
from sim.teaching.practice import Attempt

SPRING = "springs.repetition"
"""Regulated: that of a healthy unit stands where its own rise is right, and moves with any torque that it is put to."""
PLAIN_ODDS = 20.0
"""A screw is turned to see only where the readings speak so much more for its fault than for a healthy note."""


def is_regulated(causes: Iterable[str]) -> bool:
    """Whether the hand of one of these faults is turned until a reading is right, and not put to what it should be."""
    return any(load_adjustments()[load_faults()[n].at].relative or load_faults()[n].at == SPRING for n in causes)


def is_worth_trying(causes: Cause, made: Attempt, known: KnownReadings) -> bool:
    """Whether a mend could tell anything: of a pin, spring or surface always, of a screw if it seems to be off."""
    if not causes:
        return False
    if not is_regulated(causes):
        return True
    grid = known.cells
    found, at = compute_posterior(grid, made.evidence()).causes, grid.causes.index(causes)
    prior = float(grid.prior[grid.of == at].sum()) / float(grid.prior[0])
    return found[causes] >= PLAIN_ODDS * prior * found[NO_FAULT]


def has_helped(before: Attempt, after: Attempt, known: KnownReadings, severities: Mapping[str, float]) -> bool:
    """Whether the readings after a mend speak for it.

    A screw that is turned moves its reading whatever the cause: there the note has to read as a
    healthy one.  A pin, a spring or a surface put to what it should be changes nothing where it was
    right: there the readings have to have changed, as far as the fault has been said to move them.
    """
    if not is_regulated(severities):
        return compute_change_odds(before, after, known, severities) > 0.0
    return compute_posterior(known.cells, after.evidence()).ranked[0][0] == ""


def compute_change_odds(
    before: Attempt, after: Attempt, known: KnownReadings, severities: Mapping[str, float]
) -> float:
    """Log of how much likelier the change of all readings taken twice is if the fault was there than if not.

    The same unit was read both times: how healthy units differ cancels out, the noise of two readings is left.
    """
    cells = known.cells
    was, now = before.evidence(), after.evidence()
    expected = np.zeros(len(cells.library.numbers))
    for name, severity in severities.items():
        expected -= cells.mean[cells.cell(name, severity)] - cells.mean[0]
    told = 0.0
    for name in set(was.numbers) & set(now.numbers):
        i = cells.library.numbers.index(name)
        noise = cells.noise[i] * (was.rough.get(name, 1.0) ** 2 + now.rough.get(name, 1.0) ** 2)
        there = noise + (LIBRARY_ERROR * expected[i]) ** 2
        by = now.numbers[name] - was.numbers[name]
        told += 0.5 * (by**2 / noise - (by - expected[i]) ** 2 / there + np.log(noise / there))
    for name in set(was.words) & set(now.words):
        if was.words[name] != now.words[name]:
            test = cells.library.tests[name]
            well = test.words[int(cells.said[cells.library.words.index(name)][0].argmax())]
            told += math.log(1 / test.slip) * (1 if now.words[name] == well else -1)
    return float(told)
