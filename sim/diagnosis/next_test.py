"""Which reading to take next: the one expected to tell most about the cause for what it costs.

What a test tells is the expected fall of the entropy of the causes, in bits (Lindley, Ann. Math.
Statist. 27 (1956) 986), by summing over its outcomes.  Until one cause is 90 % sure the suggested
test tells most for the fourth root of its cost, since a person would rather take one dear test than three
that tell little; from then on it is the one that tells most, to confirm the cause or to overturn it.
"""

from __future__ import annotations

import math
from collections.abc import Collection
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sim.diagnosis.bench_tests import BenchTest
from sim.diagnosis.inference import Posterior

Array = NDArray[np.float64]

TAKE_OUT_SECONDS = 240.0
"""Seconds to take the action out and put it back: common practice, no source."""
LEAST_CELL_WEIGHT = 1e-5
"""Cells less likely than this are left out of what a test would tell."""
LEAST_SHOWN_CHANCE = 0.02
"""Outcomes less likely than this are not told one by one."""
MOST_OUTCOMES = 240
"""Outcomes of a number that are told apart at most."""
SURE_CHANCE = 0.9
"""Probability from which a cause is called sure."""
COST_POWER = 0.25
"""Power of the cost in the worth of a test."""


@dataclass(frozen=True)
class PossibleOutcome:
    """Readings from ``low`` to ``high`` (SI), or a word: how likely, and the leading cause then ("" for no fault)."""

    word: str
    low: float
    high: float
    probability: float
    leading: str
    sure: float


@dataclass(frozen=True)
class NextTest:
    """One test that could be taken now."""

    test: BenchTest
    tells: float
    """Bits."""
    cost: float
    """Seconds, taking the action out among them if it is in."""
    outcomes: tuple[PossibleOutcome, ...]
    worth: float
    """By which tests are put in order."""


CANNOT = "cannot be taken"


def rank_next_tests(found: Posterior, out: bool = False, only: Collection[str] | None = None) -> tuple[NextTest, ...]:
    """All tests not taken yet (of ``only``), the suggested one first; ``out``: the action is out already."""
    view, power = _LikelyCells(found), 0.0 if found.ranked[0][1] >= SURE_CHANCE else COST_POWER
    library, taken = found.cells.library, {*found.evidence.numbers, *found.evidence.words}
    rows = []
    for name, test in library.tests.items():
        if name in taken or (only is not None and name not in only) or not view.possible(test):
            continue
        chances, labels = view.outcomes(name, test)
        tells, outcomes = view.compute_outcomes(chances, labels)
        cost = test.seconds + (TAKE_OUT_SECONDS if test.out and not out else 0.0)
        rows.append(NextTest(test, tells, cost, outcomes, tells / cost**power))
    return tuple(sorted(rows, key=lambda row: -row.worth))


class _LikelyCells:
    """The likely cells, and what every number not taken reads in each of them, given those taken."""

    def __init__(self, found: Posterior) -> None:
        self.found, grid = found, found.cells
        self.library = grid.library
        keep = np.flatnonzero(found.weight > LEAST_CELL_WEIGHT)
        self.keep, self.weight = keep, found.weight[keep]
        self.one_hot = np.zeros((len(grid.causes), len(keep)))
        self.one_hot[grid.of[keep], np.arange(len(keep))] = 1.0
        self.causes = self.one_hot @ self.weight
        self._numbers()

    def _numbers(self) -> None:
        grid, taken = self.found.cells, self.found.evidence
        names = self.library.numbers
        got = [names.index(n) for n in taken.numbers]
        left = [i for i in range(len(names)) if i not in got]
        scatter, noise = self.library.scatter, grid.noise
        own = grid.variance(left)[self.keep]
        mean = grid.mean[self.keep][:, left]
        if got:
            rough = np.array([taken.rough.get(n, 1.0) for n in taken.numbers])
            inner = grid.covariance(got, rough, self.keep)
            across = np.broadcast_to(scatter[np.ix_(got, left)], (len(self.keep), len(got), len(left)))
            gain = np.linalg.solve(inner, across)
            off = np.array(list(taken.numbers.values())) - grid.mean[self.keep][:, got]
            mean = mean + np.einsum("cgl,cg->cl", gain, off)
            own = own - np.einsum("cgl,cgl->cl", gain, across)
        self.place = {names[i]: k for k, i in enumerate(left)}
        self.mean, self.deviation = mean, np.sqrt(np.maximum(own, noise[left]))

    def _said(self, name: str) -> Array:
        return np.asarray(self.found.cells.said[self.library.words.index(name)][self.keep])

    def possible(self, test: BenchTest) -> bool:
        """Unless a word already read says that it cannot be taken."""
        if test.needs is None:
            return True
        word = self.found.evidence.words.get(test.needs[0])
        return word is None or word == test.needs[1]

    def outcomes(self, name: str, test: BenchTest) -> tuple[Array, list[tuple[str, float, float]]]:
        """Probability of each outcome in each cell (cell, outcome), and what the outcomes are."""
        if test.words:
            return self._said(name), [(word, math.nan, math.nan) for word in test.words]
        k = self.place[name]
        mean, deviation = self.mean[:, k], self.deviation[:, k]
        main = self.weight > 1e-5 * self.weight.max()
        low, high = (mean - 4 * deviation)[main].min(), (mean + 4 * deviation)[main].max()
        step = max(0.5, (high - low) / MOST_OUTCOMES)
        at = np.arange(low, high + step, step)
        chances = np.exp(-0.5 * ((at - mean[:, None]) / deviation[:, None]) ** 2)
        chances /= np.maximum(chances.sum(axis=1, keepdims=True), 1e-300)
        labels = [("", (a - step / 2) * test.si, (a + step / 2) * test.si) for a in at.tolist()]
        if test.needs is not None and test.needs[0] not in self.found.evidence.words:
            codes = self.library.tests[test.needs[0]].words
            can = self._said(test.needs[0])[:, [codes.index(test.needs[1])]]
            chances = np.concatenate([chances * can, 1 - can], axis=1)
            labels.append((CANNOT, math.nan, math.nan))
        return chances, labels

    def compute_outcomes(
        self, chances: Array, labels: list[tuple[str, float, float]]
    ) -> tuple[float, tuple[PossibleOutcome, ...]]:
        """Bits expected, and outcomes with what they would mean; neighbours with the same leading cause are one."""
        joint = self.one_hot @ (self.weight[:, None] * chances)
        total = joint.sum(axis=0)
        tells = _compute_entropy(self.causes) + float(
            np.sum(joint * np.log2(np.maximum(joint, 1e-300) / np.maximum(total, 1e-300)))
        )
        leading = joint.argmax(axis=0)
        runs: list[list[int]] = []
        for i in np.flatnonzero(total > 1e-9).tolist():
            numeric = not labels[i][0]
            if runs and numeric and not labels[runs[-1][-1]][0] and leading[runs[-1][-1]] == leading[i]:
                runs[-1].append(i)
            else:
                runs.append([i])
        outcomes = []
        for run in runs:
            p = float(total[run].sum())
            if p >= LEAST_SHOWN_CHANCE:
                best = int(leading[run[0]])
                cause = " and ".join(self.found.cells.causes[best])
                sure = float(joint[best, run].sum()) / p
                outcomes.append(
                    PossibleOutcome(labels[run[0]][0], labels[run[0]][1], labels[run[-1]][2], p, cause, sure)
                )
        return max(0.0, tells), tuple(outcomes)


def _compute_entropy(p: Array) -> float:
    return float(-np.sum(p * np.log2(np.maximum(p, 1e-300))))
