"""Diagnosis put to the test on units with a hidden fault: drawn, read as a technician reads, and looked into."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from sim.diagnosis.bench_tests import BenchTest, Symptoms, read, tests_of
from sim.diagnosis.faults import faults, pairs, spoiled
from sim.diagnosis.inference import FELT, Cells, Evidence, Posterior, posterior
from sim.diagnosis.library import OF_LEAP
from sim.diagnosis.next_test import SURE, TAKE_OUT, next_tests
from sim.parallel import on_all_cores
from sim.physics.run import DEFAULT_STEP
from sim.regulation.regulate import regulate
from sim.studies.healthy_variation import drawn, regulated_to
from sim.unit.model import ActionUnit, ContactLaw

BUYS = 5
CERTAIN = 0.9999
"""Probability from which no further test is bought."""
LEAST = 1e-5
"""Bits that are not worth any test."""
TRIES = 200


@dataclass(frozen=True)
class Hidden:
    """A unit and what is wrong with it: faults with severities, none for a healthy one; ``found``: all its readings."""

    unit: ActionUnit
    ill: tuple[tuple[str, float], ...]
    found: Symptoms | None

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(name for name, _ in self.ill)


def hide(unit: ActionUnit, kind: str, random: np.random.Generator, step: float = DEFAULT_STEP) -> Hidden:
    """A unit like this one of a ``kind``: healthy, fault or pair, by the catalogue's priors.

    A fault is as bad as shifts some reading in the action by FELT accuracies.
    """
    well, before = healthy(unit, random, step)
    if kind == "healthy":
        return Hidden(well, (), before)
    ways: list[Way] = (
        [(p.faults, p.prior) for p in pairs()] if kind == "pair" else [((n,), f.prior) for n, f in faults().items()]
    )
    ways = [(names, prior) for names, prior in ways if all(faults()[n].of(unit) for n in names)]
    for hidden in spoilings(well, ways, random, step):
        if hidden.found is not None and shifts(unit, before, hidden.found):
            return hidden
    raise RuntimeError("no fault was felt")


Way = tuple[tuple[str, ...], float]
"""Faults that come together, and how often they do."""


def spoilings(
    well: ActionUnit, ways: Sequence[Way], random: np.random.Generator, step: float = DEFAULT_STEP, least: float = 0.0
) -> Iterator[Hidden]:
    """TRIES times the unit with one of the ``ways``, as bad as ``least`` to 1; without those that cannot be read."""
    weights = np.array([prior for _, prior in ways])
    for _ in range(TRIES):
        names = ways[int(random.choice(len(ways), p=weights / weights.sum()))][0]
        ill = tuple((n, float(random.uniform(least, 1.0))) for n in names)
        try:
            sick = spoiled(well, ill)
        except ValueError:
            continue
        found = read(sick, step)
        if found is not None:
            yield Hidden(sick, ill, found)


def healthy(unit: ActionUnit, random: np.random.Generator, step: float) -> tuple[ActionUnit, Symptoms]:
    """A healthy unit that plays."""
    for _ in range(TRIES):
        well = drawn(unit, random)
        found = read(well, step)
        if found is not None and found.words["slow_press"] == "plays":
            return well, found
    raise RuntimeError("no healthy unit plays")


def shifts(unit: ActionUnit, before: Symptoms, after: Symptoms) -> bool:
    """Whether some reading in the action is felt to be another."""
    return any(apart(test, before, after) >= FELT for test in tests_of(unit).values() if test.first)


def apart(test: BenchTest, before: Symptoms, after: Symptoms) -> float:
    """How far a reading is from what it was, in accuracies; another word is infinitely far, no reading is not."""
    if test.words:
        return math.inf if before.words[test.name] != after.words[test.name] else 0.0
    a, b = before.numbers[test.name], after.numbers[test.name]
    return 0.0 if a is None or b is None else abs(a - b) / test.si


def as_read(test: BenchTest, value: float, random: np.random.Generator) -> float:
    """A number (SI) as a bench reads it: noise of half its accuracy, rounded to half of it.  In accuracies."""
    noisy = value / test.si + 0.5 * random.standard_normal()
    return float(np.clip(np.round(2 * noisy) / 2, test.least / test.si, test.most / test.si))


@dataclass
class Sheet:
    """What a technician has read so far of a hidden unit, and what it took."""

    hidden: Hidden
    tests: dict[str, BenchTest]
    random: np.random.Generator
    numbers: dict[str, float]
    words: dict[str, str]
    bought: list[str]
    seconds: float = 0.0
    out: bool = False

    @classmethod
    def begun(cls, hidden: Hidden, random: np.random.Generator) -> Sheet:
        """With the first readings."""
        sheet = cls(hidden, tests_of(hidden.unit), random, {}, {}, [])
        for name, test in sheet.tests.items():
            if test.first:
                sheet.take(name)
        return sheet

    def take(self, name: str) -> None:
        """Take one reading; what needs a word reads that too."""
        test, found = self.tests[name], self.hidden.found
        assert found is not None
        if test.needs is not None and test.needs[0] not in self.words:
            self.words[test.needs[0]] = found.words[test.needs[0]]
        if test.words:
            self.words[name] = found.words[name]
            return
        value = found.numbers[name]
        if value is not None and (test.needs is None or self.words[test.needs[0]] == test.needs[1]):
            self.numbers[name] = as_read(test, value, self.random)

    def buy(self, name: str) -> None:
        """Take one that costs."""
        test = self.tests[name]
        self.seconds += test.seconds + (TAKE_OUT if test.out and not self.out else 0.0)
        self.out = self.out or test.out
        self.bought.append(name)
        self.take(name)

    @property
    def evidence(self) -> Evidence:
        return Evidence(dict(self.numbers), dict(self.words), {})


@dataclass(frozen=True)
class Trial:
    """One hidden unit looked into: the list from the first readings, and after the tests that were bought."""

    names: tuple[str, ...]
    first: tuple[tuple[str, float], ...]
    last: tuple[tuple[str, float], ...]
    bought: tuple[str, ...]
    seconds: float
    severity: tuple[float, float, float, float] | None
    """Of a single fault: true, mean, and the ends of the interval."""


def checklist(grid: Cells) -> list[str]:
    """The readings that show the catalogue's faults, cheapest first, the first readings apart."""
    tests = grid.library.tests
    named = {f.read for f in grid.library.faults.values() if f.read in tests and not tests[f.read].first}
    return sorted(named, key=lambda n: (tests[n].seconds + (TAKE_OUT if tests[n].out else 0.0), n))


def look_into(grid: Cells, hidden: Hidden, seed: int, buys: int = BUYS, enough: float = CERTAIN) -> Trial:
    """Follow the suggested tests until one cause is certain or so many have been bought."""
    sheet = Sheet.begun(hidden, np.random.default_rng(seed))
    found = first = posterior(grid, sheet.evidence)
    while len(sheet.bought) < buys and found.ranked[0][1] < enough:
        ahead = [t for t in next_tests(found, sheet.out) if t.test.name not in sheet.bought]
        if not ahead or ahead[0].tells < LEAST:
            break
        sheet.buy(ahead[0].test.name)
        found = posterior(grid, sheet.evidence)
    return _trial(hidden, first, found, sheet)


def by_checklist(grid: Cells, hidden: Hidden, seed: int, order: Sequence[str], enough: float = SURE) -> Trial:
    """Take the tests in a fixed order until one cause is certain."""
    sheet = Sheet.begun(hidden, np.random.default_rng(seed))
    found = first = posterior(grid, sheet.evidence)
    for name in order:
        if found.ranked[0][1] >= enough:
            break
        needs = sheet.tests[name].needs
        if needs is not None and sheet.words.get(needs[0], needs[1]) != needs[1]:
            continue
        sheet.buy(name)
        found = posterior(grid, sheet.evidence)
    return _trial(hidden, first, found, sheet)


def _trial(hidden: Hidden, first: Posterior, last: Posterior, sheet: Sheet) -> Trial:
    severity = None
    if len(hidden.ill) == 1:
        severity = (hidden.ill[0][1], *last.severity(hidden.ill[0][0]))
    return Trial(
        hidden.names, tuple(first.ranked), tuple(last.ranked), tuple(sheet.bought), sheet.seconds, severity
    )  # fmt: skip


def own_error(grid: Cells, count: int, random: np.random.Generator) -> tuple[float, float]:
    """How wrong the library is of single faults at random severities, against runs.

    Root mean square of the error over the standard error the library gives itself, as the
    bench reads; and the median error, in accuracies.
    """
    library = grid.library
    singles = [i for i, cause in enumerate(grid.causes) if len(cause) == 1]
    picks = [(int(random.choice(singles)), float(random.uniform())) for _ in range(count)]
    jobs = [partial(_run, library.unit, grid.causes[c][0], s) for c, s in picks]
    over, errors = [], []
    for (cause, severity), found in zip(picks, on_all_cores(jobs), strict=True):
        if found is None:
            continue
        cell = grid.cell(grid.causes[cause][0], severity)
        numbers, _ = library.pack(found)
        there = np.isfinite(numbers)
        off = (numbers - grid.mean[cell] + 0.5 * library.leaps)[there]
        stated = np.sqrt(grid.own[cell] ** 2 + grid.noise + OF_LEAP * library.leaps**2)[there]
        over += (off / stated).tolist()
        errors += np.abs(off).tolist()
    return float(np.sqrt(np.mean(np.square(over)))), float(np.median(errors))


def _run(unit: ActionUnit, name: str, severity: float) -> Symptoms | None:
    try:
        return read(spoiled(unit, [(name, severity)]))
    except ValueError:
        return None


OTHER_STEP = 25e-6
FELTS = ("back_cloth", "punching", "capstan", "jack_knuckle", "lever_knuckle", "backcheck", "drop_screw", "toe_button")
REFERENCE = 5.0
"""Force at which another exponent leaves a felt as it was, N."""


def another_model(unit: ActionUnit) -> ActionUnit:
    """The unit in other mechanics, regulated there to what it read before: steeper felts, rounder contacts.

    Exponents up by a sixth at the same squeeze under REFERENCE; the capstan's and the
    toe's radius half as large again, their highest points where they were.
    """
    contacts = {n: _steeper(law) if n in FELTS else law for n, law in unit.contacts.items()}
    key, jack = unit.key, unit.jack
    more = 0.5 * key.capstan_radius
    x, y = key.capstan_centre
    toe_x, toe_y = jack.toe_centre
    toe = 0.5 * jack.toe_radius
    other = replace(
        unit,
        contacts=contacts,
        key=replace(key, capstan_radius=key.capstan_radius + more, capstan_centre=(x, y - more)),
        jack=replace(jack, toe_radius=jack.toe_radius + toe, toe_centre=(toe_x, toe_y - toe)),
    )
    return regulate(other, regulated_to(unit), check=False).unit


def _steeper(law: ContactLaw) -> ContactLaw:
    squeeze = (REFERENCE / law.stiffness) ** (1 / law.exponent)
    exponent = law.exponent * 7 / 6
    return replace(law, exponent=exponent, stiffness=REFERENCE / squeeze**exponent)
