"""What every fault does to every reading of one unit, computed once and kept: the library of a diagnosis.

Each fault is run at a few severities and read in between by straight lines.  The inputs in
which healthy units differ are turned one by one, up and down by one standard deviation: their
slopes give how healthy readings scatter together, their bends how far straight lines go wrong.
Numbers are in units of each reading's accuracy; NaN where a reading cannot be taken.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, partial

import numpy as np
from numpy.typing import NDArray

from sim.diagnosis.bench_tests import BenchTest, Symptoms, Word, list_unit_tests, try_symptoms
from sim.diagnosis.faults import Fault, FaultPair, apply_faults, load_fault_pairs, load_faults
from sim.errors import SimulationError, UnitError
from sim.parallel import run_on_all_cores
from sim.studies.healthy_variation import REGULATED_READINGS, load_variations
from sim.unit.model import ActionUnit

Array = NDArray[np.float64]
Progress = Callable[[float, str], None]
Stop = Callable[[], bool]

SEVERITIES = (0.0, 0.25, 0.5, 0.75, 1.0)
PAIR_SEVERITY = 0.6
"""Severity of both at which pairs are run."""
ROUGH_SEVERITIES = (0.5,)
SCATTER_FACTOR = 1.1
"""Healthy units scatter so much wider than the inputs that are listed make them: they differ in more than those."""
LEAP_ERROR = 0.5
"""Variance of a leaping reading over the leap squared: half the units leap, some twice (the key bounces once more)."""
LEAP_RATIO = 1.5
"""Bend over slope from which a reading leaps rather than bends (2: one way alone changes it)."""


@dataclass(frozen=True)
class FaultCurve:
    """One fault: readings (severity, number), and the word each test of words gives (severity, test)."""

    severities: tuple[float, ...]
    numbers: Array
    words: NDArray[np.int64]


@dataclass(frozen=True)
class Library:
    """Of one unit.  ``slopes`` and ``bends`` are (input, number), a standard deviation a step."""

    unit: ActionUnit
    numbers: tuple[str, ...]
    words: tuple[str, ...]
    healthy: Array
    well: NDArray[np.int64]
    slopes: Array
    bends: Array
    leaps: Array
    """How far a reading leaps that one step one way changes and the other does not."""
    curves: Mapping[str, FaultCurve]
    together: Mapping[tuple[str, str], FaultCurve]
    """Pairs, both at PAIRED, in one row."""
    rough: bool
    """Whether faults were run at one severity only and inputs turned one way."""

    @cached_property
    def tests(self) -> dict[str, BenchTest]:
        return {n: t for n, t in list_unit_tests(self.unit).items() if n in self.numbers or n in self.words}

    @cached_property
    def scatter(self) -> Array:
        """Covariance of healthy readings, of slopes, bends and leaps."""
        bent = 2.0 * (0.5 * self.bends) ** 2
        listed = self.slopes.T @ self.slopes + np.diag(bent.sum(axis=0) + LEAP_ERROR * self.leaps**2)
        return np.asarray(SCATTER_FACTOR**2 * listed)

    @cached_property
    def faults(self) -> dict[str, Fault]:
        """Those of the catalogue that this unit can have."""
        return {n: load_faults()[n] for n in self.curves}

    @cached_property
    def pairs(self) -> dict[tuple[str, str], FaultPair]:
        return {p.faults: p for p in load_fault_pairs() if p.faults in self.together}

    def pack(self, found: Symptoms | None) -> tuple[Array, NDArray[np.int64]]:
        """Readings as rows of this library."""
        if found is None:
            lost = [self.tests[w].words.index(Word.OTHERWISE) if w == "slow_press" else -1 for w in self.words]
            return np.full(len(self.numbers), np.nan), np.array(lost)
        values = [found.numbers[n] for n in self.numbers]
        numbers = [np.nan if v is None else v / self.tests[n].si for n, v in zip(self.numbers, values, strict=True)]
        return np.array(numbers), np.array([self.tests[w].words.index(found.words[w]) for w in self.words])


Key = tuple[str, object, float]
"""What one run is of: a fault at a severity, an input one way, or a pair."""


def compute_library(
    unit: ActionUnit,
    progress: Progress | None = None,
    stop: Stop | None = None,
    early: Callable[[Library], None] | None = None,
) -> Library:
    """Compute it, on all cores.  Raises SimulationError when the unit itself cannot be read: it has to play.

    ``early`` is given a rough one after about a third of the way: each fault run once,
    inputs turned one way, no pairs.
    """
    own = try_symptoms(unit)
    if own is None or any(own.numbers[n] is None for n, t in list_unit_tests(unit).items() if t.first and not t.words):
        raise SimulationError("not healthy", None, "the unit as the scenario gives it does not play: regulate it first")
    ills = {n: f for n, f in load_faults().items() if f.of(unit)}
    couples = tuple(p.faults for p in load_fault_pairs() if all(n in ills for n in p.faults))
    jobs: dict[Key, Callable[[], ActionUnit]] = {
        ("fault", n, s): partial(f.spoil, unit, s) for s in (*ROUGH_SEVERITIES, *SEVERITIES) for n, f in ills.items()
    }
    jobs |= {
        ("input", i, way): partial(v.put, unit, way) for way in (1.0, -1.0) for i, v in enumerate(load_variations())
    }
    jobs |= {("pair", c, PAIR_SEVERITY): partial(apply_faults, unit, [(n, PAIR_SEVERITY) for n in c]) for c in couples}
    soon = [
        key for key in jobs if (key[0] == "fault" and key[2] in ROUGH_SEVERITIES) or (key[0] == "input" and key[2] > 0)
    ]
    later = [key for key in jobs if key not in soon]
    found: dict[Key, Symptoms | None] = {}
    for keys in (soon, later):
        done = len(found)

        def say(fraction: float, what: str, done: int = done, count: int = len(keys)) -> None:
            if progress is not None:
                progress((done + fraction * count) / len(jobs), what)

        told = [_describe_run(key) for key in keys]
        ran = run_on_all_cores([partial(_read_made_unit, jobs[key]) for key in keys], say, told.__getitem__, stop)
        found |= dict(zip(keys, ran, strict=True))
        if keys is soon and early is not None:
            early(_pack_library(unit, own, ills, (), found))
    return _pack_library(unit, own, ills, couples, found)


def _describe_run(key: Key) -> str:
    kind, name, _ = key
    return (
        load_faults()[str(name)].title
        if kind == "fault"
        else "how healthy units differ"
        if kind == "input"
        else "pairs"
    )


def _read_made_unit(made: Callable[[], ActionUnit]) -> Symptoms | None:
    try:
        return try_symptoms(made())
    except UnitError:
        return None


def _pack_library(
    unit: ActionUnit, own: Symptoms, ills: Mapping[str, Fault], couples: Sequence[tuple[str, str]],
    found: Mapping[Key, Symptoms | None],
) -> Library:  # fmt: skip
    """The library of all that has been run: a rough one as long as inputs were turned one way only."""
    tests = list_unit_tests(unit)
    names = tuple(n for n, t in tests.items() if not t.words)
    words = tuple(n for n, t in tests.items() if t.words)
    empty, rough = np.empty((0, len(names))), not couples
    blank = Library(unit, names, words, empty, np.empty(0, int), empty, empty, empty, {}, {}, rough)
    rows = {key: blank.pack(s) for key, s in found.items()}
    healthy, well = blank.pack(own)
    severities = ROUGH_SEVERITIES if rough else SEVERITIES
    curves = {n: _build_curve(severities, [rows["fault", n, s] for s in severities]) for n in ills}
    up, down = (
        np.array([_compute_step_effect(rows, i, way, healthy) for i in range(len(load_variations()))])
        for way in (1.0, -1.0)
    )
    left = np.array([[v.left] for v in load_variations()])
    slopes, bends = _zero_missing(0.5 * (up - down)), _zero_missing(up + down)
    leaps = np.abs(bends) > np.maximum(LEAP_RATIO * np.abs(slopes), 0.5)
    sizes = np.where(leaps, np.sign(bends) * (np.abs(slopes) + 0.5 * np.abs(bends)), 0.0)
    leapt = np.take_along_axis(sizes, np.abs(sizes).argmax(axis=0)[None], axis=0)[0]
    slopes = _correct_for_regulation(names, np.where(leaps, 0.0, slopes))
    bends = np.where(leaps | ~left, 0.0, bends)  # what is regulated away leaves no bend worth the name
    together = {c: _build_curve((PAIR_SEVERITY,), [rows["pair", c, PAIR_SEVERITY]]) for c in couples}
    return Library(unit, names, words, healthy, well, slopes, bends, leapt, curves, together, rough)


def _compute_step_effect(
    rows: Mapping[Key, tuple[Array, NDArray[np.int64]]], i: int, way: float, healthy: Array
) -> Array:
    """What one step of an input does; the mirror image of the other way where this one was not run."""
    if ("input", i, way) in rows:
        return np.asarray(rows["input", i, way][0] - healthy)
    return np.asarray(healthy - rows["input", i, -way][0])


def _correct_for_regulation(names: tuple[str, ...], slopes: Array) -> Array:
    """Slopes of the parts with every screw turned back until what is regulated reads as before."""
    left = np.array([v.left for v in load_variations()])
    place = {v.at.removeprefix("screw."): i for i, v in enumerate(load_variations())}
    screws = slopes[[place.get(target, place["springs.repetition"]) for target in REGULATED_READINGS]]
    read = [names.index(test) for test in REGULATED_READINGS.values()]
    out = slopes.copy()
    turns = np.linalg.solve(screws[:, read].T, slopes[~left][:, read].T)
    out[~left] -= turns.T @ screws
    return out


def _build_curve(severities: tuple[float, ...], rows: Sequence[tuple[Array, NDArray[np.int64]]]) -> FaultCurve:
    return FaultCurve(severities, np.array([r[0] for r in rows]), np.array([r[1] for r in rows]))


def _zero_missing(values: Array) -> Array:
    """A reading that one step of an input loses says nothing of its slope."""
    return np.nan_to_num(values, nan=0.0)
