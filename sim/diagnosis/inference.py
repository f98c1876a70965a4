"""Which faults, and how bad, explain what was read: the posterior over causes and severities.

Bayes' rule on a grid (MacKay, Information Theory, Inference, and Learning Algorithms, 2003,
ch. 3 and 28): causes are no fault, each fault and each pair of the catalogue; a cell is one
cause at one severity.  In a cell the numbers are Gaussian about what the library gives there,
with the covariance of healthy units (what is not known of felts, masses, frictions and
settings is averaged over, not fixed), of reading errors and of the library's own error; words
come with the share of the neighbouring severities that gives them.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from sim.diagnosis.library import PAIR_SEVERITY, FaultCurve, Library
from sim.regulation.model_inputs import find_model_input
from sim.value_records import value_record

Array = NDArray[np.float64]
Cause = tuple[str, ...]

NO_FAULT: Cause = ()
SINGLE_SEVERITIES = 21
"""Severities of a single fault."""
PAIR_SEVERITIES = 6
"""Severities of each of a pair."""
HEALTHY_WEIGHT = 1.0
"""Prior weight of no fault, over that of all faults and pairs: every other note looked at is healthy."""
NOTICED_FROM = 2.0
"""A fault is looked for when some reading in the action is off by this many accuracies ..."""
UNNOTICED_SHARE = 0.1
"""... and this much more seldom otherwise."""
OUTLIER_CHANCE = 0.01
"""Chance that a number is not what its cell has it be at all: the reading leaps there, or the pen slipped ..."""
OUTLIER_RANGE = 60.0
"""... and lies anywhere over so many accuracies."""
BEND_ERROR = 0.5
"""Standard error where a fault's curve bends or leaps, as a share of the bend: another unit leaps elsewhere."""
LIBRARY_ERROR = 0.15
"""Standard error of a fault's shift as the library has it, as a share of the shift (tests/diagnosis_trials.py)."""


@value_record
@dataclass(frozen=True)
class Evidence:
    """What was read: numbers in units of their accuracy, how well (1: as the bench does), and words."""

    numbers: Mapping[str, float]
    words: Mapping[str, str]
    rough: Mapping[str, float]
    """Accuracy as a multiple of the usual, where it is another."""


@value_record
@dataclass(frozen=True)
class CauseGrid:
    """All causes at all severities."""

    library: Library
    causes: tuple[Cause, ...]
    of: NDArray[np.int64]
    """Index of each cell's cause."""
    severity: Array
    """(cell, 2), the second of pairs only."""
    prior: Array
    mean: Array
    """(cell, number), also where it cannot be taken: as if it could."""
    own: Array
    """(cell, number) standard error of the library itself."""
    said: tuple[Array, ...]
    """For each test of words (cell, word): probability."""

    @cached_property
    def noise(self) -> Array:
        """Variance of reading: half an accuracy, and the rounding to half of it."""
        return np.full(self.mean.shape[1], 0.25 + 0.25 / 12)

    def covariance(self, columns: list[int], rough: Array, of: NDArray[np.int64] | None = None) -> Array:
        """(cell, number, number) of some numbers, in all cells or some."""
        whole = self.library.scatter[np.ix_(columns, columns)] + np.diag(self.noise[columns] * rough**2)
        own = self.own[:, columns] if of is None else self.own[of][:, columns]
        return np.asarray(whole[None] + (own**2)[:, :, None] * np.eye(len(columns)))

    def cell(self, name: str, severity: float) -> int:
        """The cell of one fault alone whose severity is nearest to this."""
        mine = np.flatnonzero(self.of == self.causes.index((name,)))
        return int(mine[np.argmin(np.abs(self.severity[mine, 0] - severity))])

    def variance(self, columns: list[int]) -> Array:
        """(cell, number): the diagonal of it, read as the bench does."""
        whole = np.diag(self.library.scatter)[columns] + self.noise[columns]
        return np.asarray(whole + self.own[:, columns] ** 2)


def build_cause_grid(
    library: Library,
    couples: Mapping[tuple[str, str], float] | None = None,
    *,
    well: float = HEALTHY_WEIGHT,
    felt: bool = True,
) -> CauseGrid:
    """The grid of a library; ``couples``: other pairs than the catalogue's with their priors, taken to add up.

    ``well``: prior weight of no fault over all others; ``felt``: the note is looked at because something is felt.
    """
    grid = np.linspace(0.0, 1.0, SINGLE_SEVERITIES)
    coarse = np.linspace(0.0, 1.0, PAIR_SEVERITIES)
    causes: list[Cause] = [NO_FAULT]
    of, severity, prior = [0], [(0.0, 0.0)], [0.0]
    means = [library.healthy[None]]
    bends = [np.zeros((1, len(library.numbers)))]
    says = [tuple(_encode_words(library, np.array([library.well]), t) for t in range(len(library.words)))]
    for name, fault in library.faults.items():
        numbers, words = _interpolate_curve(library, library.curves[name], grid, (name,))
        _add_cell(
            (name,), fault.prior, np.stack([grid, np.zeros(SINGLE_SEVERITIES)], axis=1), causes, of, severity, prior
        )
        means.append(numbers)
        bends.append(_measure_bend(library.curves[name], grid))
        says.append(words)
    moved = [np.abs(np.concatenate(means) - library.healthy)]
    for names, pair_prior in ({c: p.prior for c, p in library.pairs.items()} | dict(couples or {})).items():
        one, two = (np.repeat(coarse, PAIR_SEVERITIES), np.tile(coarse, PAIR_SEVERITIES))
        numbers, words = _combine_pair(library, names, one, two)
        _add_cell(names, pair_prior, np.stack([one, two], axis=1), causes, of, severity, prior)
        means.append(numbers)
        moved.append(_combine_shifts(library, names, numbers, one, two))
        both = [_measure_bend(library.curves[n], s) for n, s in zip(names, (one, two), strict=True)]
        bends.append(np.hypot(*both))
        says.append(words)
    mean = np.concatenate(means)
    shift = mean - library.healthy
    own = np.hypot(LIBRARY_ERROR * np.concatenate(moved), BEND_ERROR * np.concatenate(bends))
    weight = np.array(prior) * (_compute_noticed_share(library, shift, says) if felt else 1.0)
    mean = mean + 0.5 * library.leaps
    weight[0] = well * weight[1:].sum()
    said = tuple(np.concatenate([s[t] for s in says]) for t in range(len(library.words)))
    return CauseGrid(library, tuple(causes), np.array(of), np.array(severity), weight / weight.sum(), mean, own, said)


def _add_cell(
    cause: Cause, prior: float, at: Array, causes: list[Cause], of: list[int], severity: list[tuple[float, float]],
    priors: list[float],
) -> None:  # fmt: skip
    of += [len(causes)] * len(at)
    severity += [(float(a), float(b)) for a, b in at]
    priors += [prior / len(at)] * len(at)
    causes.append(cause)


def _combine_shifts(library: Library, names: tuple[str, str], numbers: Array, one: Array, two: Array) -> Array:
    """How far two faults move a reading; where nobody ran them together, each by itself."""
    if names in library.together:
        return np.asarray(np.abs(numbers - library.healthy))
    alone = (_interpolate_curve(library, library.curves[n], s, (n,))[0] for n, s in zip(names, (one, two), strict=True))
    return np.asarray(np.hypot(*(numbers - library.healthy for numbers in alone)))


def _compute_noticed_share(library: Library, shift: Array, says: list[tuple[Array, ...]]) -> Array:
    """How often each cell brings a note to the bench at all."""
    first = [i for i, n in enumerate(library.numbers) if library.tests[n].first]
    moved = np.abs(shift[:, first]).max(axis=1) >= NOTICED_FROM
    for t, name in enumerate(library.words):
        if library.tests[name].first:
            moved |= np.concatenate([s[t] for s in says])[:, library.well[t]] < 0.5
    return np.where(moved, 1.0, UNNOTICED_SHARE)


def _encode_words(library: Library, words: NDArray[np.int64], t: int) -> Array:
    test = library.tests[library.words[t]]
    k = len(test.words)
    out = np.full((len(words), k), 1.0 / k)
    known = words[:, t] >= 0
    out[known] = np.eye(k)[words[known, t]]
    return np.asarray((1 - test.slip) * out + test.slip / k)


def _interpolate_curve(
    library: Library, curve: FaultCurve, grid: Array, names: Cause
) -> tuple[Array, tuple[Array, ...]]:
    """Readings and words of one fault at every severity of the grid."""
    numbers = np.empty((len(grid), len(library.numbers)))
    nodes = np.array(curve.severities)
    if len(nodes) == 1:
        fault = library.faults[names[0]]
        right = 1.0 if fault.how == "share" else 0.0 if fault.how == "by" else _read_healthy(library, names[0])
        size = np.array([fault.value(float(s)) - right for s in grid]) / (fault.value(float(nodes[0])) - right)
        step = np.nan_to_num(curve.numbers[0] - library.healthy)
        numbers = library.healthy + size[:, None] * step
        words = tuple(
            np.repeat(_encode_words(library, curve.words, t), len(grid), axis=0) for t in range(len(library.words))
        )
        return numbers, words
    for i in range(len(library.numbers)):
        there = np.isfinite(curve.numbers[:, i])
        numbers[:, i] = np.interp(grid, nodes[there], curve.numbers[there, i]) if there.any() else library.healthy[i]
    words = tuple(
        np.stack([np.interp(grid, nodes, column) for column in _encode_words(library, curve.words, t).T], axis=1)
        for t in range(len(library.words))
    )
    return numbers, words


def _measure_bend(curve: FaultCurve, grid: Array) -> Array:
    """How far each reading is from going straight along the severities, from node to node."""
    nodes = np.array(curve.severities)
    if len(nodes) < 3:
        return np.zeros((len(grid), curve.numbers.shape[1]))
    inner = np.abs(np.nan_to_num(np.diff(curve.numbers, 2, axis=0)))
    at_nodes = np.vstack([inner[:1], inner, inner[-1:]])
    return np.stack([np.interp(grid, nodes, column) for column in at_nodes.T], axis=1)


def _read_healthy(library: Library, name: str) -> float:
    return find_model_input(library.faults[name].at).get(library.unit)


def _combine_pair(library: Library, names: tuple[str, str], one: Array, two: Array) -> tuple[Array, tuple[Array, ...]]:
    """Of a pair: what each does, and what they do to each other, in proportion to both severities.

    A word is the worse of both: where either gives another than the healthy unit's, that one.
    """
    (a, said_a), (b, said_b) = (
        _interpolate_curve(library, library.curves[n], s, (n,)) for n, s in zip(names, (one, two), strict=True)
    )
    numbers = a + b - library.healthy
    if names in library.together:
        here = np.array([PAIR_SEVERITY])
        alone = sum(_interpolate_curve(library, library.curves[n], here, (n,))[0][0] - library.healthy for n in names)
        mixed = np.nan_to_num(library.together[names].numbers[0] - library.healthy - alone)
        numbers = numbers + mixed * (one * two / PAIR_SEVERITY**2)[:, None]
    words = []
    for t in range(len(library.words)):
        well = library.well[t]
        fine = said_a[t][:, well] * said_b[t][:, well]
        ill = said_a[t] + said_b[t]
        ill[:, well] = 0.0
        total = ill.sum(axis=1, keepdims=True)
        ill = np.divide(ill, total, out=np.zeros_like(ill), where=total > 0) * (1 - fine)[:, None]
        ill[:, well] = fine
        words.append(ill)
    return numbers, tuple(words)


@value_record
@dataclass(frozen=True)
class Posterior:
    """Probability of every cell given the evidence, and what the other numbers are expected to read in it."""

    cells: CauseGrid
    evidence: Evidence
    weight: Array
    misfit: Array
    """Squared distance of the numbers from each cell, in its own covariance (chi-squared if it is the one)."""

    @cached_property
    def causes(self) -> dict[Cause, float]:
        """Probability by cause."""
        sums = np.bincount(self.cells.of, self.weight, len(self.cells.causes))
        return dict(zip(self.cells.causes, sums.tolist(), strict=True))

    @cached_property
    def faults(self) -> dict[str, float]:
        """Probability that each fault is there, alone or in a pair, the likeliest first."""
        sums = dict.fromkeys(self.cells.library.faults, 0.0)
        for cause, p in self.causes.items():
            for name in cause:
                sums[name] += p
        return dict(sorted(sums.items(), key=lambda item: -item[1]))

    @property
    def healthy(self) -> float:
        return self.causes[NO_FAULT]

    @cached_property
    def ranked(self) -> list[tuple[str, float]]:
        """Faults and "" for none, the likeliest first."""
        return sorted([("", self.healthy), *self.faults.items()], key=lambda item: -item[1])

    def severity(self, name: str, share: float = 0.9) -> tuple[float, float, float]:
        """Mean, and the ends of an interval of this share, of a fault's severity, if it is there."""
        s, w = self._of(name)
        order = np.argsort(s)
        sums = np.cumsum(w[order])
        low, high = np.interp([0.5 * (1 - share), 0.5 * (1 + share)], sums - 0.5 * w[order], s[order])
        return float(s @ w), float(low), float(high)

    def _of(self, name: str) -> tuple[Array, Array]:
        severities, weights = [], []
        for i, cause in enumerate(self.cells.causes):
            if name in cause:
                mine = self.cells.of == i
                severities.append(self.cells.severity[mine, cause.index(name)])
                weights.append(self.weight[mine])
        s, w = np.concatenate(severities), np.concatenate(weights)
        total = w.sum()
        return s, (w / total if total > 0 else np.full(len(w), 1.0 / len(w)))


def _weigh_outlier(pulls: Array, precision: Array) -> Array:
    """What it adds to each cell's log likelihood that one of the numbers may be amiss.

    The likelihood without one number is the whole one over that number's own given all
    the others, a Gaussian of variance 1/precision about what they lead one to expect.
    """
    alone = -0.5 * pulls**2 / precision + 0.5 * np.log(precision / (2 * math.pi))
    return np.asarray(np.log1p(OUTLIER_CHANCE / OUTLIER_RANGE * np.exp(np.minimum(-alone, 700.0)).sum(axis=1)))


def compute_posterior(grid: CauseGrid, evidence: Evidence, *, slips: bool = True) -> Posterior:
    """Bayes' rule over the cells; ``slips``: one of the numbers may be amiss."""
    columns = [grid.library.numbers.index(n) for n in evidence.numbers]
    log = np.log(np.maximum(grid.prior, 1e-300))
    misfit = np.zeros(len(log))
    if columns:
        read = np.array(list(evidence.numbers.values()))
        rough = np.array([evidence.rough.get(n, 1.0) for n in evidence.numbers])
        inverse = np.linalg.inv(grid.covariance(columns, rough))
        off = read - grid.mean[:, columns]
        pulls = np.einsum("cij,cj->ci", inverse, off)
        misfit = (off * pulls).sum(axis=1)
        log += -0.5 * misfit + 0.5 * np.linalg.slogdet(inverse)[1] - 0.5 * len(columns) * math.log(2 * math.pi)
        log += slips * _weigh_outlier(pulls, np.diagonal(inverse, axis1=1, axis2=2))
    for name, word in evidence.words.items():
        t = grid.library.words.index(name)
        log += np.log(grid.said[t][:, grid.library.tests[name].words.index(word)])
    weight = np.exp(log - log.max())
    return Posterior(grid, evidence, weight / weight.sum(), misfit)
