"""Trials of the hidden-fault practice: ``python tests/practice_trials.py [--each 3] [--seed 1] [--keep]``.

Every fault of the catalogue at each level, a few exercises each.  One learner follows the diagnosis, one
guesses; both see what a learner sees.  ``--keep`` writes the record.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from statistics import median

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from sim.diagnosis.faults import load_faults
from sim.diagnosis.inference import build_cause_grid
from sim.diagnosis.library import compute_library
from sim.errors import InputError
from sim.parallel import run_on_all_cores
from sim.teaching.exercise import LEVELS, USUAL_SCENARIO, Exercise, draw_exercise, load_sound_unit
from sim.teaching.known_readings import KnownReadings
from sim.teaching.mark import Mark, mark_attempt
from tests.evidence import write_record
from tests.learner.learner import run_guesser, run_learner

SALT = 100
"""Seeds of one fault lie so far apart from those of another start of the trials."""


@dataclass(frozen=True)
class Trial:
    """One exercise and the marks of both; None where none could be set."""

    exercise: Exercise
    learnt: Mark | None
    guessed: Mark | None


def choose_scenario(fault: str) -> str:
    """The usual scenario, or one that has the part."""
    return "damped" if load_faults()[fault].needs == "damper" else USUAL_SCENARIO


def draw_exercise_set(names: Sequence[str], level: int, each: int, seed: int) -> list[Exercise]:
    """So many exercises of each fault."""
    return [draw_exercise(level, SALT * seed + i, choose_scenario(n), n) for n in names for i in range(each)]


def try_exercise(e: Exercise, known: KnownReadings, *, guess: bool = True) -> Trial:
    """Both learners at one exercise."""
    try:
        learnt = mark_attempt(run_learner(e, known))
        random = np.random.default_rng([e.seed, e.level, *e.fault.encode()])
        return Trial(e, learnt, mark_attempt(run_guesser(e, known, random)) if guess else None)
    except InputError:
        return Trial(e, None, None)


def run_trials(exercises: Sequence[Exercise], known: dict[str, KnownReadings]) -> list[Trial]:
    return run_on_all_cores([partial(try_exercise, e, known[e.scenario]) for e in exercises])


def count_solved(trials: Sequence[Trial]) -> int:
    return sum(t.learnt is not None and t.learnt.passed for t in trials)


def count_guessed(trials: Sequence[Trial]) -> int:
    return sum(t.guessed is not None and t.guessed.passed for t in trials)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--each", type=int, default=3, help="exercises of each fault at each level")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--level", type=int, choices=tuple(LEVELS), help="one level only")
    parser.add_argument("--keep", action="store_true")
    args = parser.parse_args()
    names = list(load_faults())
    known = {
        s: KnownReadings(build_cause_grid(compute_library(load_sound_unit(s)[0])))
        for s in sorted({choose_scenario(n) for n in names})
    }
    found: dict[int, list[Trial]] = {}
    for level in [args.level] if args.level else LEVELS:
        found[level] = run_trials(draw_exercise_set(names, level, args.each, args.seed), known)
        _tell(level, found[level])
    if args.keep:
        _keep(found, f"python tests/practice_trials.py --each {args.each} --seed {args.seed} --keep")
    return 0


def _tell(level: int, trials: Sequence[Trial]) -> None:
    for t in trials:
        if t.learnt is None:
            print(f"{t.exercise.code}: no exercise could be set", flush=True)
        elif not t.learnt.passed:
            wrong = "; ".join(f"{row.what}: {row.words}" for row in t.learnt.rows if not row.passed)
            print(f"{t.exercise.code}: {'; '.join(t.learnt.truth)}. {wrong}", flush=True)
    print(
        f"level {level}: learner {count_solved(trials)}, guesser {count_guessed(trials)} of {len(trials)}", flush=True
    )


def _keep(found: dict[int, list[Trial]], made: str) -> None:
    rows = []
    for name, fault in load_faults().items():
        mine = {n: [t for t in trials if t.exercise.fault == name] for n, trials in found.items()}
        row = {"fault": fault.title}
        for n, trials in mine.items():
            row[f"level {n}"] = f"{count_solved(trials)} of {len(trials)}"
        rows.append(row)
    head = {}
    for n, trials in found.items():
        marks = [t.learnt for t in trials if t.learnt is not None]
        head[f"level_{n}"] = {
            "what": LEVELS[n].told,
            "learner": f"{count_solved(trials)} of {len(trials)} solved within the allowed cost",
            "guesser": f"{count_guessed(trials)} of {len(trials)}",
            "median_cost_over_allowed": round(median(m.cost / m.allowed for m in marks), 2),
        }
    title = "Hidden-fault practice: solved by a learner that follows the diagnosis, and by one that guesses"
    print(write_record("practice", title, made, rows, **head))


if __name__ == "__main__":
    raise SystemExit(main())
