"""Hidden-fault exercises: a unit with one fault or two, drawn from a level and a seed, or written by a teacher."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from types import MappingProxyType

import numpy as np

from sim.bench.outcomes import Outcome
from sim.diagnosis.bench_tests import Symptoms, Word, list_bench_tests, list_unit_tests, try_symptoms
from sim.diagnosis.faults import apply_faults, load_fault_pairs, load_faults
from sim.diagnosis.inference import NOTICED_FROM
from sim.diagnosis.next_test import TAKE_OUT_SECONDS
from sim.diagnosis.trials import (
    MOST_TRIES,
    FaultCombination,
    HiddenUnit,
    count_accuracies_apart,
    draw_faulty_units,
    draw_playing_unit,
)
from sim.errors import Fault, InputError, UnitError
from sim.fields.field_paths import suggest_name
from sim.fields.quantity_field import shorten_value
from sim.fields.untrusted_text import make_input_error
from sim.physics.run import DEFAULT_STEP
from sim.scenario.shipped import list_shipped_scenarios
from sim.studies.variants import BaseScenario
from sim.teaching.adjustments import load_adjustments
from sim.unit.model import ActionUnit

USUAL_SCENARIO = "concert-grand-natural"
LARGEST_SEED = 999_999_999
MOST_DRAWS = 12
"""Draws after which a fault that is felt on no reading in the action may show on another one."""
JUMPING_READINGS = ("return_time",)
"""Readings that leap between healthy units (one bounce of the key more, some 40 ms): they tell little either way."""
UNITS = 8
"""Units that are drawn until one shows the fault."""
FELT_BY_OWNER = 4.0
"""Accuracies by which a reading has to be off for an owner to feel it: our convention.

For most readings some two standard deviations of healthy units (sim.diagnosis.library).
"""
HEALTHY_WORDS = {"slow_press": Outcome.PLAYS, "check": Word.CAUGHT, "home": Word.YES, "repeats": Word.YES}
"""What is said of a scenario's unit in which something can be hidden."""
CACHE_SIZE = 24
"""Benches that are kept made."""


@dataclass(frozen=True)
class Level:
    """How hard: faults at once, whether the unit differs as healthy ones do, the least severity, what is allowed."""

    number: int
    told: str
    count: int
    varied: bool
    least: float
    dear: int
    """Readings of the dearest kind that are allowed for each fault."""


LEVELS: Mapping[int, Level] = MappingProxyType(
    {
        1: Level(1, "one plain fault in the unit as the scenario has it", 1, False, 0.5, 2),
        2: Level(2, "one fault, plain or slight, in a unit that differs as healthy ones do", 1, True, 0.0, 3),
        3: Level(3, "two faults at once in a unit that differs as healthy ones do", 2, True, 0.0, 3),
    }
)
TURNS = 2
"""The right hands may be put to work so often."""


@dataclass(frozen=True)
class Exercise:
    """What is set.  ``ill``: faults and severities of a teacher; without them they are drawn from level and seed."""

    level: int = 1
    seed: int = 1
    scenario: str = USUAL_SCENARIO
    fault: str = ""
    """One fault that is to be among those drawn."""
    ill: tuple[tuple[str, float], ...] = ()
    title: str = ""
    owner: str = ""
    """What the owner says; without it, what the readings give to say."""
    allowed: float | None = None
    """Seconds, all told; without it the level's rule."""

    @property
    def code(self) -> str:
        """A few characters that make the same exercise again; "" for one that a teacher wrote."""
        if self.ill:
            return ""
        where = "" if self.scenario == USUAL_SCENARIO else f"@{self.scenario}"
        return "-".join(filter(None, (str(self.level), str(self.seed), self.fault))) + where

    @property
    def name(self) -> str:
        return self.title or f"Exercise {self.code}"

    @property
    def rule(self) -> Level:
        return LEVELS[self.level]

    @property
    def count(self) -> int:
        """How many faults are in it, which the learner is told."""
        return len(self.ill) or self.rule.count

    @property
    def reading_seconds(self) -> float:
        """What reading may cost: all first readings and the action out before and after each mend, and dear ones.

        A rule of ours, from what the readings cost and from nothing that anyone needed.
        """
        tests = list_bench_tests().values()
        first = sum(t.seconds for t in tests if t.first)
        dearest = max(t.seconds for t in tests)
        return (1 + self.count) * (first + TAKE_OUT_SECONDS) + self.count * self.rule.dear * dearest

    def allowed_with(self, right: Iterable[str]) -> float:
        """Seconds for everything if these were the right hands: the teacher's word, or reading and TURNS of each."""
        if self.allowed is not None:
            return self.allowed
        return self.reading_seconds + TURNS * sum(load_adjustments()[at].seconds for at in right)


@dataclass(frozen=True)
class ExerciseBench:
    """What the exercise puts on the bench.  ``sound`` and ``right``: the scenario's unit and what it reads."""

    sound: ActionUnit
    right: Symptoms
    well: ActionUnit
    before: Symptoms
    """What this very unit read before it was spoiled."""
    hidden: HiddenUnit


def draw_exercise(level: int = 1, seed: int = 1, scenario: str = USUAL_SCENARIO, fault: str = "") -> Exercise:
    """One that is drawn.  Raises InputError with all that is wrong."""
    found = Exercise(level, seed, scenario, fault)
    wrong = list(list_problems(found))
    if wrong:
        raise InputError(wrong)
    return found


_CODE = re.compile(r"(\d{1,3})-(\d{1,9})(?:-([a-z]+(?:-[a-z]+)*))?(?:@([\w.-]{1,80}))?")


def parse_code(text: str) -> Exercise:
    """The exercise of a code such as 2-7.  Raises InputError."""
    match = _CODE.fullmatch(text.strip())
    if match is None:
        allowed = "LEVEL-SEED such as 2-7, with -FAULT or @SCENARIO where wanted"
        raise make_input_error("exercise", "code", text, allowed, "copy it whole")
    level, seed, fault, scenario = match.groups()
    return draw_exercise(int(level), int(seed), scenario or USUAL_SCENARIO, fault or "")


def list_problems(e: Exercise, file: str = "exercise", lines: Mapping[str, int] | None = None) -> Iterator[Fault]:
    """Everything that is wrong with one."""
    at = lines or {}
    if e.level not in LEVELS:
        told = "; ".join(f"{n}: {level.told}" for n, level in LEVELS.items())
        yield Fault(file, at.get("level"), "level", str(e.level), told, "choose 1, 2 or 3")
    if not 0 <= e.seed <= LARGEST_SEED:
        yield Fault(file, at.get("seed"), "seed", str(e.seed), f"0 to {LARGEST_SEED}", "a shorter whole number")
    if e.scenario not in list_shipped_scenarios():
        hint = suggest_name(e.scenario, list_shipped_scenarios())
        yield Fault(file, at.get("scenario"), "scenario", shorten_value(e.scenario), hint.allowed, hint.remedy)
    for name in filter(None, (e.fault, *(n for n, _ in e.ill))):
        yield from _find_misnamed(e, name, file, at)
    names = [n for n, _ in e.ill]
    if len(names) > 2 or len(set(names)) < len(names):
        remedy = "keep one, or two different ones"
        yield Fault(file, at.get("fault"), "fault", ", ".join(names), "one or two, each once", remedy)
    elif len({load_faults()[n].at for n in names if n in load_faults()}) < len(
        [n for n in names if n in load_faults()]
    ):
        remedy = "the second would undo the first: take another"
        yield Fault(file, at.get("fault"), "fault", ", ".join(names), "faults of two different parts", remedy)


def _find_misnamed(e: Exercise, name: str, file: str, at: Mapping[str, int]) -> Iterator[Fault]:
    if name not in load_faults():
        hint = suggest_name(name, load_faults())
        yield Fault(file, at.get("fault"), "fault", shorten_value(name), hint.allowed, hint.remedy)
    elif e.scenario in list_shipped_scenarios() and not load_faults()[name].of(BaseScenario.of(e.scenario).loaded):
        with_it = ", ".join(n for n in list_shipped_scenarios() if load_faults()[name].of(BaseScenario.of(n).loaded))
        remedy = f"this unit has no such part; take one of these scenarios: {with_it}"
        yield Fault(file, at.get("fault"), "fault", name, "a fault that the unit can have", remedy)


@lru_cache(maxsize=CACHE_SIZE)
def load_sound_unit(scenario: str) -> tuple[ActionUnit, Symptoms]:
    """A scenario's unit set up, and what it reads.  Raises InputError where it does not play."""
    unit = BaseScenario.of(scenario).ready
    right = try_symptoms(unit)
    if right is None or any(right.words[n] != word for n, word in HEALTHY_WORDS.items()):
        remedy = "take another: in this one something is amiss before anything is hidden in it"
        raise InputError([Fault("exercise", None, "scenario", scenario, "a unit that plays", remedy)])
    return unit, right


@lru_cache(maxsize=CACHE_SIZE)
def prepare_bench(e: Exercise) -> ExerciseBench:
    """The unit with what is hidden in it.  Raises InputError where the scenario or the faults cannot be worked on."""
    unit, right = load_sound_unit(e.scenario)
    random = np.random.default_rng([e.level, e.seed, *e.fault.encode()])
    ways = list(list_hidden_choices(e, unit))
    for _ in range(UNITS if e.rule.varied else 1):
        well, before = _draw_healthy_unit(unit, right, random) if e.rule.varied else (unit, right)
        if e.ill:
            return ExerciseBench(unit, right, well, before, _build_teacher_fault(e, well))
        hidden = _choose_felt_fault(right, well, before, draw_faulty_units(well, ways, random, least=e.rule.least))
        if hidden is not None:
            return ExerciseBench(unit, right, well, before, hidden)
    remedy = "take another seed, or another scenario"
    raise InputError([Fault("exercise", None, "code", e.code, "a fault that some reading shows", remedy)])


def _draw_healthy_unit(unit: ActionUnit, right: Symptoms, random: np.random.Generator) -> tuple[ActionUnit, Symptoms]:
    """A healthy unit of which an owner has nothing to complain; of TRIES the last, be it as it may."""
    tests = [t for n, t in list_unit_tests(unit).items() if t.first and n not in JUMPING_READINGS]
    for _ in range(MOST_TRIES):
        well, before = draw_playing_unit(unit, random, DEFAULT_STEP)
        if all(count_accuracies_apart(t, right, before) <= FELT_BY_OWNER for t in tests):
            break
    return well, before


def list_hidden_choices(e: Exercise, unit: ActionUnit) -> Iterator[FaultCombination]:
    """What may be hidden: each fault, or for two at once the pairs of the catalogue that it is in, else any other."""
    mine = {n: f for n, f in load_faults().items() if f.of(unit)}
    couples = [p for p in load_fault_pairs() if all(n in mine for n in p.faults)]
    for name in [e.fault] if e.fault else list(mine):
        prior = mine[name].prior
        if e.rule.count == 1:
            yield (name,), prior
            continue
        with_it: list[FaultCombination] = [(p.faults, p.prior) for p in couples if name in p.faults]
        if not with_it:
            with_it = [((name, other), f.prior) for other, f in mine.items() if f.at != mine[name].at]
        whole = sum(share for _, share in with_it)
        yield from ((names, prior * share / whole) for names, share in with_it)


def list_fault_pairs(unit: ActionUnit) -> dict[tuple[str, str], float]:
    """Two faults at once that are no pair of the catalogue, and how often they are drawn, by their priors.

    A teacher may put any two together: those that are never drawn count as a tenth of the rarest.
    """
    named: dict[tuple[str, str], float] = {}
    for names, prior in list_hidden_choices(Exercise(max(LEVELS)), unit):
        one, two = sorted(names, key=list(load_faults()).index)
        named[one, two] = named.get((one, two), 0.0) + prior
    shipped_pairs = {tuple(sorted(p.faults, key=list(load_faults()).index)) for p in load_fault_pairs()}
    mine = [n for n, f in load_faults().items() if f.of(unit)]
    seldom = 0.1 * min(named.values())
    return {
        (one, two): named.get((one, two), seldom)
        for i, one in enumerate(mine)
        for two in mine[i + 1 :]
        if load_faults()[one].at != load_faults()[two].at and (one, two) not in shipped_pairs
    }


def _build_teacher_fault(e: Exercise, well: ActionUnit) -> HiddenUnit:
    remedy = "a lesser severity, or another fault"
    try:
        sick = apply_faults(well, e.ill)
    except UnitError:
        sick = None
    found = None if sick is None else try_symptoms(sick)
    if sick is None or found is None:
        told = ", ".join(f"{name} {severity:g}" for name, severity in e.ill)
        raise InputError([Fault("exercise", None, "fault", told, "what leaves a unit that comes to rest", remedy)])
    return HiddenUnit(sick, e.ill, found)


def _choose_felt_fault(
    right: Symptoms, well: ActionUnit, before: Symptoms, drawn: Iterable[HiddenUnit]
) -> HiddenUnit | None:
    """The first that an owner would feel in the action; after PATIENCE draws the plainest on any reading."""
    spare: HiddenUnit | None = None
    plainest = NOTICED_FROM
    for tries, hidden in enumerate(drawn, start=1):
        plain, anywhere = _measure_plainness(right, well, before, hidden)
        if plain >= FELT_BY_OWNER:
            return hidden
        if anywhere > plainest:
            spare, plainest = hidden, anywhere
        if spare is not None and tries >= MOST_DRAWS:
            return spare
    return spare


def _measure_plainness(right: Symptoms, well: ActionUnit, before: Symptoms, hidden: HiddenUnit) -> tuple[float, float]:
    """How far it stands out in the action, and on any reading, in accuracies; of two faults the less plain one.

    That is, from what the unit read before and from what the scenario has, whichever is nearer: what the unit
    differs by must not happen to hide it.  Each of two has to be felt beside the other as well.
    """
    found = hidden.found
    if found is None or found.words["slow_press"] == Word.OTHERWISE:
        return 0.0, 0.0
    tests = [t for n, t in list_unit_tests(well).items() if n not in JUMPING_READINGS]

    def out(one: Symptoms) -> tuple[float, float]:
        by = {t: min(count_accuracies_apart(t, before, one), count_accuracies_apart(t, right, one)) for t in tests}
        return max(by[t] for t in tests if t.first), max(by.values())

    plain = [out(found)]
    for ill in hidden.ill if len(hidden.ill) > 1 else ():
        alone = try_symptoms(apply_faults(well, [ill])) if plain[0][1] >= NOTICED_FROM else None
        if alone is None or all(count_accuracies_apart(t, alone, found) < NOTICED_FROM for t in tests):
            return 0.0, 0.0
        plain.append(out(alone))
    return min(p for p, _ in plain), min(p for _, p in plain)
