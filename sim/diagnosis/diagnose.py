"""Why is this note sluggish: causes with likelihood and size, what cannot be told apart, the test to make next."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtrc

from sim.diagnosis.bench_tests import BenchTest
from sim.diagnosis.faults import Fault
from sim.diagnosis.inference import CauseGrid, Posterior, compute_posterior
from sim.diagnosis.next_test import SURE_CHANCE, NextTest, rank_next_tests
from sim.diagnosis.observations import Observations

Array = NDArray[np.float64]

LEAST_LISTED_CHANCE = 0.02
"""Causes less likely than this are not listed."""
SEPARATION = 4.0
"""Two causes are told apart where their readings differ by this squared distance: two standard errors."""
LEAST_MISFIT_CHANCE = 1e-3
"""Chance of so great a misfit under the best cause from which none is said to explain the readings."""
UNEXPLAINED_ERRORS = 2.5
"""Standard errors from which a reading is said to disagree."""


@dataclass(frozen=True)
class ListedFault:
    """A fault that may be there: its probability, and severity if it is (mean, and ends of the 90 % interval)."""

    fault: Fault
    probability: float
    severity: tuple[float, float, float]

    def sizes(self, inches: bool = False) -> tuple[str, str, str]:
        """The same as a bench would say it of this unit, the lesser end before the greater."""
        mean, low, high = (self.fault.magnitude(min(max(s, 0.0), 1.0), inches) for s in self.severity)
        return (mean, low, high) if self.fault.low <= self.fault.high else (mean, high, low)


@dataclass(frozen=True)
class IndistinguishableFaults:
    """Faults that the readings taken cannot tell apart, and the test that would ("" where none would)."""

    faults: tuple[str, ...]
    by: str


@dataclass(frozen=True)
class UnexplainedReading:
    """A reading that the best cause does not explain: read and expected (SI), and how far off in standard errors."""

    test: BenchTest
    read: float
    expected: float
    off: float


@dataclass(frozen=True)
class Diagnosis:
    """All of it."""

    found: Posterior
    listed: tuple[ListedFault, ...]
    healthy: float
    alike: tuple[IndistinguishableFaults, ...]
    chance: float
    """Of a misfit as great as the best cause's, were it the true one."""
    disagrees: tuple[UnexplainedReading, ...]
    """Where no cause explains the readings: those that disagree with the best one."""
    tests: tuple[NextTest, ...]

    @property
    def explained(self) -> bool:
        return self.chance >= LEAST_MISFIT_CHANCE

    @property
    def verdict(self) -> str:
        """In a word: unexplained, unsure, healthy, or the fault's name."""
        if not self.explained:
            return "unexplained"
        name, p = self.found.ranked[0]
        if p < SURE_CHANCE:
            return "unsure"
        return name or "healthy"


def diagnose_evidence(grid: CauseGrid, observed: Observations, *, out: bool = False, slips: bool = True) -> Diagnosis:
    """The causes of what was observed.

    ``out``: the action is out already, so that tests there cost less; ``slips``: one number may be a slip of the pen.
    """
    found = compute_posterior(grid, observed.evidence, slips=slips)
    listed = []
    for name, p in found.faults.items():
        if p >= LEAST_LISTED_CHANCE:
            fault = grid.library.faults[name]
            listed.append(ListedFault(fault, p, found.severity(name)))
    chance, best = _compute_misfit_chance(found)
    off = _find_unexplained(found, best) if chance < LEAST_MISFIT_CHANCE else ()
    alike = (
        _group_indistinguishable(found, [c.fault.name for c in listed if c.probability >= 2 * LEAST_LISTED_CHANCE])
        if not off
        else ()
    )
    return Diagnosis(found, tuple(listed), found.healthy, alike, chance, off, rank_next_tests(found, out))


def _compute_misfit_chance(found: Posterior) -> tuple[float, int]:
    """Of so great a misfit, and the cell that fits best."""
    n = len(found.evidence.numbers)
    best = int(np.argmin(found.misfit + _count_word_misfit(found)))
    if n == 0:
        return 1.0, best
    return float(chdtrc(n, found.misfit[best])), best


def _count_word_misfit(found: Posterior) -> Array:
    """What the words take from each cell, on the scale of the misfit."""
    grid, off = found.cells, np.zeros(len(found.misfit))
    for name, word in found.evidence.words.items():
        t = grid.library.words.index(name)
        off -= 2 * np.log(grid.said[t][:, grid.library.tests[name].words.index(word)])
    return off


def _find_unexplained(found: Posterior, best: int) -> tuple[UnexplainedReading, ...]:
    grid, tests = found.cells, found.cells.library.tests
    names = list(found.evidence.numbers)
    columns = [grid.library.numbers.index(n) for n in names]
    rough = np.array([found.evidence.rough.get(n, 1.0) for n in names])
    whole = grid.covariance(columns, rough, np.array([best]))[0]
    read = np.array(list(found.evidence.numbers.values()))
    expected = grid.mean[best, columns]
    inverse = np.linalg.inv(whole)
    # each reading against what all the others lead one to expect
    off = (inverse @ (read - expected)) / np.sqrt(np.diag(inverse))
    expected = read - (inverse @ (read - expected)) / np.diag(inverse)
    rows = [
        UnexplainedReading(tests[n], float(r) * tests[n].si, float(e) * tests[n].si, float(z))
        for n, r, e, z in zip(names, read, expected, off, strict=True)
    ]
    rows.sort(key=lambda row: -abs(row.off))
    far = [row for row in rows if abs(row.off) >= UNEXPLAINED_ERRORS]
    return tuple(far or rows[:1])


def _group_indistinguishable(found: Posterior, names: Sequence[str]) -> tuple[IndistinguishableFaults, ...]:
    """Groups of listed faults whose readings lie within two standard errors of each other."""
    grid = found.cells
    taken = [grid.library.numbers.index(n) for n in found.evidence.numbers]
    words = [grid.library.words.index(n) for n in found.evidence.words]
    groups: list[list[str]] = []
    for name in names:
        for group in groups:
            if any(compute_distance(grid, found, name, other, taken, words) < SEPARATION for other in group):
                group.append(name)
                break
        else:
            groups.append([name])
    return tuple(
        IndistinguishableFaults(tuple(g), _find_separating_test(found, g[0], g[1])) for g in groups if len(g) > 1
    )


def compute_distance(
    grid: CauseGrid,
    found: Posterior,
    one: str,
    two: str,
    numbers: Sequence[int],
    words: Sequence[int],
    *,
    as_bad: bool = False,
) -> float:
    """Squared distance of some readings under a fault, as bad as it seems, from the nearest under another.

    ``as_bad``: from the other one as bad as that seems, not the nearest.
    """
    a = grid.cell(one, found.severity(one)[0])
    if not numbers and not words:
        return 0.0
    others = (
        np.array([grid.cell(two, found.severity(two)[0])])
        if as_bad
        else np.flatnonzero(grid.of == grid.causes.index((two,)))
    )
    off = np.zeros(len(others))
    if numbers:
        columns = list(numbers)
        factor = np.linalg.inv(grid.covariance(columns, np.ones(len(columns)), np.array([a]))[0])
        step = grid.mean[others][:, columns] - grid.mean[a, columns]
        off += np.einsum("ci,ij,cj->c", step, factor, step)
    for t in words:
        same = (grid.said[t][others] * grid.said[t][a]).sum(axis=1)
        off += np.where(same < 0.1, SEPARATION, 0.0)
    return float(off.min())


def _find_separating_test(found: Posterior, one: str, two: str) -> str:
    """The cheapest test not taken that by itself tells two faults apart."""
    grid, library = found.cells, found.cells.library
    taken = {*found.evidence.numbers, *found.evidence.words}
    for name, test in sorted(library.tests.items(), key=lambda item: (item[1].out, item[1].seconds)):
        if name in taken:
            continue
        numbers = [] if test.words else [library.numbers.index(name)]
        words = [library.words.index(name)] if test.words else []
        ways = ((one, two), (two, one))
        if min(compute_distance(grid, found, *pair, numbers, words, as_bad=True) for pair in ways) >= SEPARATION:
            return name
    return ""
