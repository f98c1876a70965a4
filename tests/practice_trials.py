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

from sim.diagnosis.faults import faults
from sim.diagnosis.inference import cells
from sim.diagnosis.library import library
from sim.errors import InputError
from sim.parallel import on_all_cores
from sim.teaching.exercise import LEVELS, USUAL, Exercise, exercise, sound
from sim.teaching.known_readings import Known
from sim.teaching.learner import guesser, learner
from sim.teaching.mark import Mark, marked
from tests.evidence import keep

SALT = 100
"""Seeds of one fault lie so far apart from those of another start of the trials."""


@dataclass(frozen=True)
class Trial:
    """One exercise and the marks of both; None where none could be set."""

    exercise: Exercise
    learnt: Mark | None
    guessed: Mark | None


def scenario_of(fault: str) -> str:
    """The usual scenario, or one that has the part."""
    return "damped" if faults()[fault].needs == "damper" else USUAL


def set_of(names: Sequence[str], level: int, each: int, seed: int) -> list[Exercise]:
    """So many exercises of each fault."""
    return [exercise(level, SALT * seed + i, scenario_of(n), n) for n in names for i in range(each)]


def tried(e: Exercise, known: Known, *, guess: bool = True) -> Trial:
    """Both learners at one exercise."""
    try:
        learnt = marked(learner(e, known))
        random = np.random.default_rng([e.seed, e.level, *e.fault.encode()])
        return Trial(e, learnt, marked(guesser(e, known, random)) if guess else None)
    except InputError:
        return Trial(e, None, None)


def run(exercises: Sequence[Exercise], known: dict[str, Known]) -> list[Trial]:
    return on_all_cores([partial(tried, e, known[e.scenario]) for e in exercises])


def solved(trials: Sequence[Trial]) -> int:
    return sum(t.learnt is not None and t.learnt.passed for t in trials)


def guessed(trials: Sequence[Trial]) -> int:
    return sum(t.guessed is not None and t.guessed.passed for t in trials)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--each", type=int, default=3, help="exercises of each fault at each level")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--level", type=int, choices=tuple(LEVELS), help="one level only")
    parser.add_argument("--keep", action="store_true")
    args = parser.parse_args()
    names = list(faults())
    known = {s: Known(cells(library(sound(s)[0]))) for s in sorted({scenario_of(n) for n in names})}
    found: dict[int, list[Trial]] = {}
    for level in [args.level] if args.level else LEVELS:
        found[level] = run(set_of(names, level, args.each, args.seed), known)
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
    print(f"level {level}: learner {solved(trials)}, guesser {guessed(trials)} of {len(trials)}", flush=True)


def _keep(found: dict[int, list[Trial]], made: str) -> None:
    rows = []
    for name, fault in faults().items():
        mine = {n: [t for t in trials if t.exercise.fault == name] for n, trials in found.items()}
        row = {"fault": fault.title}
        for n, trials in mine.items():
            row[f"level {n}"] = f"{solved(trials)} of {len(trials)}"
        rows.append(row)
    head = {}
    for n, trials in found.items():
        marks = [t.learnt for t in trials if t.learnt is not None]
        head[f"level_{n}"] = {
            "what": LEVELS[n].told,
            "learner": f"{solved(trials)} of {len(trials)} solved within the allowed cost",
            "guesser": f"{guessed(trials)} of {len(trials)}",
            "median_cost_over_allowed": round(median(m.cost / m.allowed for m in marks), 2),
        }
    title = "Hidden-fault practice: solved by a learner that follows the diagnosis, and by one that guesses"
    print(keep("practice", title, made, rows, **head))


if __name__ == "__main__":
    raise SystemExit(main())
