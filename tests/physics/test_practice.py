"""Hidden-fault practice on simulated units: solvable by following the diagnosis, and not by guessing.

A sample of tests/practice_trials.py: in the fast tier one exercise a level, always the same; in the full one more,
drawn anew each time from the seed at the end of the tests' report.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from functools import cache

import numpy as np
import pytest

from sim.diagnosis.bench_tests import list_bench_tests
from sim.diagnosis.faults import load_faults
from sim.diagnosis.inference import NOTICED_FROM, compute_posterior
from sim.diagnosis.next_test import SURE_CHANCE
from sim.teaching import known_readings
from sim.teaching.cheapest_path import find_cheapest_path
from sim.teaching.exercise import JUMPING_READINGS, LEVELS, USUAL_SCENARIO, Exercise, draw_exercise, prepare_bench
from sim.teaching.known_readings import KnownReadings
from sim.teaching.mark import mark_attempt
from sim.teaching.practice import Attempt, make_attempt
from tests import practice_trials as trials
from tests.lazily import Lazily
from tests.learner import learner as learning
from tests.learner import repair_check, repairs
from tests.learner.learner import run_guesser, run_learner
from tests.learner.repairs import estimate_response
from tests.physics.test_diagnosis import REJECTED, SEED, grid
from tests.tiers import try_each

stats = Lazily("scipy.stats")


@cache
def known() -> KnownReadings:
    return KnownReadings(grid())


def sample(exercises: Mapping[int, int], seed: int) -> list[Exercise]:
    """So many of every level, of faults drawn without putting back."""
    names = [n for n, f in load_faults().items() if not f.needs]
    random = np.random.default_rng(seed)
    drawn = random.choice(names, sum(exercises.values()), replace=False).tolist()
    levels = [level for level, count in exercises.items() for _ in range(count)]
    return [draw_exercise(level, seed % 10**9, USUAL_SCENARIO, name) for level, name in zip(levels, drawn, strict=True)]


@try_each("exercises, seed", (({1: 4, 2: 3, 3: 2}, SEED),), fast=0, ids=("many",))
def test_learner_solves_nearly_all_and_guesser_does_not_pass(exercises: dict[int, int], seed: int) -> None:
    found = trials.run_trials(sample(exercises, seed), {USUAL_SCENARIO: known()})
    p = stats.binomtest(trials.count_solved(found), len(found), 0.95, alternative="less").pvalue
    lost = [t.exercise.code for t in found if t.learnt is None or not t.learnt.passed]
    assert p >= REJECTED, f"not solved: {', '.join(lost)}; TRIALS_SEED={os.environ['TRIALS_SEED']}"
    assert stats.binomtest(trials.count_guessed(found), len(found), 0.05, alternative="greater").pvalue >= REJECTED


def test_learners_see_nothing_of_what_is_hidden(monkeypatch: pytest.MonkeyPatch) -> None:
    """Neither the unit nor its readings without noise, which are for marking alone; nor which faults there are."""

    def looked(_: object) -> None:
        raise AssertionError("looked at what is hidden")

    e = draw_exercise(2, 3, USUAL_SCENARIO, "tight-key")
    prepare_bench(e)
    monkeypatch.setattr(Attempt, "unit", property(looked))
    monkeypatch.setattr(Attempt, "found", property(looked))
    for name in ("prepare_bench", "mark_attempt"):
        for module in (learning, repairs, repair_check, known_readings):
            monkeypatch.setattr(module, name, looked, raising=False)
    made = run_learner(e, known())
    assert made.named == ("tight-key",)
    assert run_guesser(e, known(), np.random.default_rng(1)).named


def test_a_fault_named_beforehand_changes_nothing_for_the_learner() -> None:
    """It is a wish of who sets the exercise: a learner who had it told would have nothing to look for."""
    e = draw_exercise(1, 4, USUAL_SCENARIO, "tight-wippen-centre")
    same = Exercise(1, 4, ill=prepare_bench(e).hidden.ill)
    grids = known().of(e), known().of(same)
    assert grids[0] is grids[1]


@try_each("level", LEVELS)
def test_cheapest_path_makes_the_cause_sure_and_no_part_of_it_does(level: int) -> None:
    e = draw_exercise(level, 2, USUAL_SCENARIO)
    path = find_cheapest_path(e, known())
    titles = {t.title: n for n, t in list_bench_tests().items()}
    names = [titles[t] for t in path.readings]
    cells = known().of(e)
    true = next(c for c in cells.causes if set(c) == set(prepare_bench(e).hidden.names))

    def sure(some: list[str]) -> float:
        return compute_posterior(cells, make_attempt(e, [f"take {n}" for n in some]).evidence()).causes[true]

    assert path.sure == pytest.approx(sure(names))
    if path.sure >= SURE_CHANCE:
        assert all(sure([n for n in names if n != left]) < SURE_CHANCE for left in names)
        assert path.seconds < mark_attempt(Attempt(e)).allowed


def test_readings_that_are_not_held_to_a_span_are_those_that_leap() -> None:
    """The key's bounce: no other reading in the action leaps between healthy units by what is felt."""
    library = grid().library
    leap = {
        n for n, by in zip(library.numbers, library.leaps, strict=True) if by >= NOTICED_FROM and library.tests[n].first
    }
    assert leap == set(JUMPING_READINGS)


def test_learner_knows_how_readings_answer_their_hands() -> None:
    """To first order as the knobs have it: a screw turned for a reading moves it by that."""
    for name in ("let_off", "drop", "dip", "blow"):
        assert estimate_response(known(), f"screw.{name}", name) == pytest.approx(1.0, abs=0.35)
