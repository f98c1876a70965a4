"""With hindsight: the least costly readings that would have made the true cause sure, and the right mend."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from itertools import combinations

from sim.diagnosis.bench_tests import BenchTest, list_unit_tests
from sim.diagnosis.faults import load_faults
from sim.diagnosis.inference import CauseGrid, compute_posterior
from sim.diagnosis.next_test import SURE_CHANCE, TAKE_OUT_SECONDS
from sim.teaching.adjustments import load_adjustments
from sim.teaching.exercise import Exercise, prepare_bench
from sim.teaching.known_readings import KnownReadings
from sim.teaching.practice import Taken, build_observations, simulate_reading

CANDIDATES = 10
"""Readings of which every set is looked at: those a search step by step takes, then those that tell most alone."""
STEPS = 6
LARGEST = 4
"""Readings of a set at most."""


@dataclass(frozen=True)
class CheapestPath:
    """Readings, the cheaper first, and the hands that mend, by title; ``sure``: probability of the true cause."""

    readings: tuple[str, ...]
    repairs: tuple[str, ...]
    sure: float
    reading_seconds: float
    repair_seconds: float

    @property
    def seconds(self) -> float:
        return self.reading_seconds + self.repair_seconds


def find_cheapest_path(e: Exercise, known: KnownReadings) -> CheapestPath:
    """Of all sets of up to LARGEST of the CANDIDATES, as this exercise reads them, the cheapest that is SURE.

    The set that a search step by step takes is looked at too, of up to STEPS.

    Where none is so sure, the surest, and the path says how sure.
    """
    tests = list_unit_tests(prepare_bench(e).sound)
    search = _Search(e, known.of(e), {n: simulate_reading(e, (), test, 0) for n, test in tests.items()})
    stepwise, names = search.candidates()
    sets = [stepwise, *(s for size in range(1, LARGEST + 1) for s in combinations(names, size))]
    sets.sort(key=lambda s: (sum_reading_cost([tests[n] for n in s]), len(s)))
    chosen = next((s for s in sets if search.sure(s) >= SURE_CHANCE), None) or max(sets, key=search.sure)
    mending = [load_adjustments()[load_faults()[n].at] for n in prepare_bench(e).hidden.names]
    return CheapestPath(
        tuple(tests[n].title for n in sorted(chosen, key=lambda n: (tests[n].out, tests[n].seconds))),
        tuple(hand.title for hand in mending),
        search.sure(chosen),
        sum_reading_cost([tests[n] for n in chosen]),
        sum(hand.seconds for hand in mending),
    )


def sum_reading_cost(tests: Collection[BenchTest]) -> float:
    """Seconds of readings in the best order: those in the action first, the action taken out once."""
    return sum(t.seconds for t in tests) + (TAKE_OUT_SECONDS if any(t.out for t in tests) else 0.0)


class _Search:
    """How sure of its true cause an exercise is after a set of its readings."""

    def __init__(self, e: Exercise, grid: CauseGrid, taken: Mapping[str, Taken]) -> None:
        self.grid, self.taken = grid, taken
        ill = set(prepare_bench(e).hidden.names)
        self.true = next(cause for cause in grid.causes if set(cause) == ill)
        self.known: dict[frozenset[str], float] = {}

    def sure(self, names: Collection[str]) -> float:
        key = frozenset(names)
        if key not in self.known:
            found = compute_posterior(self.grid, build_observations({n: self.taken[n] for n in names}))
            self.known[key] = found.causes[self.true]
        return self.known[key]

    def candidates(self) -> tuple[tuple[str, ...], list[str]]:
        """What a search step by step takes, and the candidates."""
        able = [n for n, one in self.taken.items() if one.word or one.value is not None]
        alone = sorted(able, key=lambda n: -self.sure([n]))
        chosen: list[str] = []
        while len(chosen) < STEPS and self.sure(chosen) < SURE_CHANCE:
            left = [n for n in able if n not in chosen]
            chosen.append(max(left, key=lambda n: self._worth(chosen, n)))
        return tuple(chosen), list(dict.fromkeys([*chosen, *alone]))[:CANDIDATES]

    def _worth(self, chosen: list[str], name: str) -> float:
        """Gain of log odds for the root of what it costs."""
        one = self.taken[name].test
        return (_log_odds(self.sure([*chosen, name])) - _log_odds(self.sure(chosen))) / math.sqrt(
            sum_reading_cost([one])
        )


def _log_odds(p: float) -> float:
    p = min(max(p, 1e-12), 1 - 1e-12)
    return math.log(p / (1 - p))
