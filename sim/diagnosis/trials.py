"""Diagnosis put to the test on units with a hidden fault: drawn, read as a technician reads, and looked into."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from sim.bench.outcomes import Outcome
from sim.diagnosis.bench_tests import BenchTest, Symptoms, list_unit_tests, try_symptoms
from sim.diagnosis.faults import apply_faults, load_fault_pairs, load_faults
from sim.diagnosis.inference import NOTICED_FROM, CauseGrid, Evidence, Posterior, compute_posterior
from sim.diagnosis.library import LEAP_ERROR
from sim.diagnosis.next_test import SURE_CHANCE, TAKE_OUT_SECONDS, rank_next_tests
from sim.errors import UnitError
from sim.parallel import run_on_all_cores
from sim.physics.run import DEFAULT_STEP
from sim.regulation.regulate import regulate
from sim.studies.healthy_variation import draw_healthy_unit, read_regulated
from sim.unit.model import ActionUnit, ContactLaw

MOST_BOUGHT = 5
CERTAIN_CHANCE = 0.9999
"""Probability from which no further test is bought."""
LEAST_INFORMATION = 1e-5
"""Bits that are not worth any test."""
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


def draw_hidden_unit(
    unit: ActionUnit, kind: str, random: np.random.Generator, step: float = DEFAULT_STEP
) -> HiddenUnit:
    """A unit like this one of a ``kind``: healthy, fault or pair, by the catalogue's priors.

    A fault is as bad as shifts some reading in the action by FELT accuracies.
    """
    well, before = draw_playing_unit(unit, random, step)
    if kind == "healthy":
        return HiddenUnit(well, (), before)
    ways: list[FaultCombination] = (
        [(p.faults, p.prior) for p in load_fault_pairs()]
        if kind == "pair"
        else [((n,), f.prior) for n, f in load_faults().items()]
    )
    ways = [(names, prior) for names, prior in ways if all(load_faults()[n].of(unit) for n in names)]
    for hidden in draw_faulty_units(well, ways, random, step):
        if hidden.found is not None and has_felt_change(unit, before, hidden.found):
            return hidden
    raise RuntimeError("no fault was felt")


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
        except UnitError:
            continue
        found = try_symptoms(sick, step)
        if found is not None:
            yield HiddenUnit(sick, ill, found)


def draw_playing_unit(unit: ActionUnit, random: np.random.Generator, step: float) -> tuple[ActionUnit, Symptoms]:
    """A healthy unit that plays."""
    for _ in range(MOST_TRIES):
        well = draw_healthy_unit(unit, random)
        found = try_symptoms(well, step)
        if found is not None and found.words["slow_press"] == Outcome.PLAYS:
            return well, found
    raise RuntimeError("no healthy unit plays")


def has_felt_change(unit: ActionUnit, before: Symptoms, after: Symptoms) -> bool:
    """Whether some reading in the action is felt to be another."""
    return any(
        count_accuracies_apart(test, before, after) >= NOTICED_FROM
        for test in list_unit_tests(unit).values()
        if test.first
    )


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


@dataclass
class TechnicianSheet:
    """What a technician has read so far of a hidden unit, and what it took."""

    hidden: HiddenUnit
    tests: dict[str, BenchTest]
    random: np.random.Generator
    numbers: dict[str, float]
    words: dict[str, str]
    bought: list[str]
    seconds: float = 0.0
    out: bool = False

    @classmethod
    def begun(cls, hidden: HiddenUnit, random: np.random.Generator) -> TechnicianSheet:
        """With the first readings."""
        sheet = cls(hidden, list_unit_tests(hidden.unit), random, {}, {}, [])
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
            self.numbers[name] = simulate_bench_reading(test, value, self.random)

    def buy(self, name: str) -> None:
        """Take one that costs."""
        test = self.tests[name]
        self.seconds += test.seconds + (TAKE_OUT_SECONDS if test.out and not self.out else 0.0)
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


def order_checklist(grid: CauseGrid) -> list[str]:
    """The readings that show the catalogue's faults, cheapest first, the first readings apart."""
    tests = grid.library.tests
    named = {f.read for f in grid.library.faults.values() if f.read in tests and not tests[f.read].first}
    return sorted(named, key=lambda n: (tests[n].seconds + (TAKE_OUT_SECONDS if tests[n].out else 0.0), n))


def follow_suggestions(
    grid: CauseGrid, hidden: HiddenUnit, seed: int, buys: int = MOST_BOUGHT, enough: float = CERTAIN_CHANCE
) -> Trial:
    """Follow the suggested tests until one cause is certain or so many have been bought."""
    sheet = TechnicianSheet.begun(hidden, np.random.default_rng(seed))
    found = first = compute_posterior(grid, sheet.evidence)
    while len(sheet.bought) < buys and found.ranked[0][1] < enough:
        ahead = [t for t in rank_next_tests(found, sheet.out) if t.test.name not in sheet.bought]
        if not ahead or ahead[0].tells < LEAST_INFORMATION:
            break
        sheet.buy(ahead[0].test.name)
        found = compute_posterior(grid, sheet.evidence)
    return _summarise_trial(hidden, first, found, sheet)


def follow_checklist(
    grid: CauseGrid, hidden: HiddenUnit, seed: int, order: Sequence[str], enough: float = SURE_CHANCE
) -> Trial:
    """Take the tests in a fixed order until one cause is certain."""
    sheet = TechnicianSheet.begun(hidden, np.random.default_rng(seed))
    found = first = compute_posterior(grid, sheet.evidence)
    for name in order:
        if found.ranked[0][1] >= enough:
            break
        needs = sheet.tests[name].needs
        if needs is not None and sheet.words.get(needs[0], needs[1]) != needs[1]:
            continue
        sheet.buy(name)
        found = compute_posterior(grid, sheet.evidence)
    return _summarise_trial(hidden, first, found, sheet)


def _summarise_trial(hidden: HiddenUnit, first: Posterior, last: Posterior, sheet: TechnicianSheet) -> Trial:
    severity = None
    if len(hidden.ill) == 1:
        severity = (hidden.ill[0][1], *last.severity(hidden.ill[0][0]))
    return Trial(
        hidden.names, tuple(first.ranked), tuple(last.ranked), tuple(sheet.bought), sheet.seconds, severity
    )  # fmt: skip


def measure_library_error(grid: CauseGrid, count: int, random: np.random.Generator) -> tuple[float, float]:
    """How wrong the library is of single faults at random severities, against runs.

    Root mean square of the error over the standard error the library gives itself, as the
    bench reads; and the median error, in accuracies.
    """
    library = grid.library
    singles = [i for i, cause in enumerate(grid.causes) if len(cause) == 1]
    picks = [(int(random.choice(singles)), float(random.uniform())) for _ in range(count)]
    jobs = [partial(_read_faulty_unit, library.unit, grid.causes[c][0], s) for c, s in picks]
    over, errors = [], []
    for (cause, severity), found in zip(picks, run_on_all_cores(jobs), strict=True):
        if found is None:
            continue
        cell = grid.cell(grid.causes[cause][0], severity)
        numbers, _ = library.pack(found)
        there = np.isfinite(numbers)
        off = (numbers - grid.mean[cell] + 0.5 * library.leaps)[there]
        stated = np.sqrt(grid.own[cell] ** 2 + grid.noise + LEAP_ERROR * library.leaps**2)[there]
        over += (off / stated).tolist()
        errors += np.abs(off).tolist()
    return float(np.sqrt(np.mean(np.square(over)))), float(np.median(errors))


def _read_faulty_unit(unit: ActionUnit, name: str, severity: float) -> Symptoms | None:
    try:
        return try_symptoms(apply_faults(unit, [(name, severity)]))
    except UnitError:
        return None


OTHER_TIME_STEP = 25e-6
FELTS = ("back_cloth", "punching", "capstan", "jack_knuckle", "lever_knuckle", "backcheck", "drop_screw", "toe_button")
REFERENCE_FORCE = 5.0
"""Force at which another exponent leaves a felt as it was, N."""


def change_contact_laws(unit: ActionUnit) -> ActionUnit:
    """The unit in other mechanics, regulated there to what it read before: steeper felts, rounder contacts.

    Exponents up by a sixth at the same squeeze under REFERENCE; the capstan's and the
    toe's radius half as large again, their highest points where they were.
    """
    contacts = {n: _steepen_law(law) if n in FELTS else law for n, law in unit.contacts.items()}
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
    return regulate(other, read_regulated(unit), check=False).unit


def _steepen_law(law: ContactLaw) -> ContactLaw:
    squeeze = (REFERENCE_FORCE / law.stiffness) ** (1 / law.exponent)
    exponent = law.exponent * 7 / 6
    return replace(law, exponent=exponent, stiffness=REFERENCE_FORCE / squeeze**exponent)
