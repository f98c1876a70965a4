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

from sim.diagnosis.bench_tests import bench_tests
from sim.diagnosis.faults import faults
from sim.diagnosis.inference import FELT, posterior
from sim.diagnosis.next_test import SURE
from sim.teaching.cheapest_path import cheapest
from sim.teaching.exercise import LEAPING, LEVELS, USUAL, Exercise, bench, exercise
from sim.teaching.known_readings import Known
from sim.teaching.learner import guesser, learner
from sim.teaching.mark import marked
from sim.teaching.practice import Attempt, attempt
from sim.teaching.repairs import answers
from tests import practice_trials as trials
from tests.lazily import Lazily
from tests.physics.test_diagnosis import REJECTED, SEED, grid
from tests.tiers import try_each

stats = Lazily("scipy.stats")


@cache
def known() -> Known:
    return Known(grid())


def sample(exercises: Mapping[int, int], seed: int) -> list[Exercise]:
    """So many of every level, of faults drawn without putting back."""
    names = [n for n, f in faults().items() if not f.needs]
    random = np.random.default_rng(seed)
    drawn = random.choice(names, sum(exercises.values()), replace=False).tolist()
    levels = [level for level, count in exercises.items() for _ in range(count)]
    return [exercise(level, seed % 10**9, USUAL, name) for level, name in zip(levels, drawn, strict=True)]


@try_each("exercises, seed", (({1: 1, 2: 1, 3: 1}, 1), ({1: 4, 2: 3, 3: 2}, SEED)), ids=("few", "many"))
def test_learner_solves_nearly_all_and_guesser_does_not_pass(exercises: dict[int, int], seed: int) -> None:
    found = trials.run(sample(exercises, seed), {USUAL: known()})
    p = stats.binomtest(trials.solved(found), len(found), 0.95, alternative="less").pvalue
    lost = [t.exercise.code for t in found if t.learnt is None or not t.learnt.passed]
    assert p >= REJECTED, f"not solved: {', '.join(lost)}; TRIALS_SEED={os.environ['TRIALS_SEED']}"
    assert stats.binomtest(trials.guessed(found), len(found), 0.05, alternative="greater").pvalue >= REJECTED


def test_learners_see_nothing_of_what_is_hidden(monkeypatch: pytest.MonkeyPatch) -> None:
    """Neither the unit nor its readings without noise, which are for marking alone; nor which faults there are."""

    def looked(_: object) -> None:
        raise AssertionError("looked at what is hidden")

    e = exercise(2, 3, USUAL, "tight-key")
    bench(e)
    monkeypatch.setattr(Attempt, "unit", property(looked))
    monkeypatch.setattr(Attempt, "found", property(looked))
    for name in ("bench", "marked"):
        for module in ("learner", "mending", "trying", "known"):
            monkeypatch.setattr(f"sim.lessons.{module}.{name}", looked, raising=False)
    made = learner(e, known())
    assert made.named == ("tight-key",)
    assert guesser(e, known(), np.random.default_rng(1)).named


def test_a_fault_named_beforehand_changes_nothing_for_the_learner() -> None:
    """It is a wish of who sets the exercise: a learner who had it told would have nothing to look for."""
    e = exercise(1, 4, USUAL, "tight-wippen-centre")
    same = Exercise(1, 4, ill=bench(e).hidden.ill)
    grids = known().of(e), known().of(same)
    assert grids[0] is grids[1]


@try_each("level", LEVELS)
def test_cheapest_path_makes_the_cause_sure_and_no_part_of_it_does(level: int) -> None:
    e = exercise(level, 2, USUAL)
    path = cheapest(e, known())
    titles = {t.title: n for n, t in bench_tests().items()}
    names = [titles[t] for t in path.readings]
    cells = known().of(e)
    true = next(c for c in cells.causes if set(c) == set(bench(e).hidden.names))

    def sure(some: list[str]) -> float:
        return posterior(cells, attempt(e, [f"take {n}" for n in some]).evidence()).causes[true]

    assert path.sure == pytest.approx(sure(names))
    if path.sure >= SURE:
        assert all(sure([n for n in names if n != left]) < SURE for left in names)
        assert path.seconds < marked(Attempt(e)).allowed


def test_readings_that_are_not_held_to_a_span_are_those_that_leap() -> None:
    """The key's bounce: no other reading in the action leaps between healthy units by what is felt."""
    library = grid().library
    leap = {n for n, by in zip(library.numbers, library.leaps, strict=True) if by >= FELT and library.tests[n].first}
    assert leap == set(LEAPING)


def test_learner_knows_how_readings_answer_their_hands() -> None:
    """To first order as the knobs have it: a screw turned for a reading moves it by that."""
    for name in ("let_off", "drop", "dip", "blow"):
        assert answers(known(), f"screw.{name}", name) == pytest.approx(1.0, abs=0.35)
