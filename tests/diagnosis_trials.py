"""Trials of the diagnosis: ``python tests/diagnosis_trials.py [--faults 1000] [--healthy 300] [--seed 1] [--keep]``.

Units differ as healthy ones do, are regulated, and get a hidden fault (tests/hidden_units.py);
their readings are noised and rounded as a bench reads them.  Part of them is read from
another model than the one inverted.  ``--keep`` writes the table of the record beside this file.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from functools import partial
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from sim.diagnosis.hidden_faults import HiddenUnit
from sim.diagnosis.inference import HEALTHY_WEIGHT, CauseGrid, build_cause_grid
from sim.diagnosis.library import compute_library
from sim.diagnosis.next_test import SURE_CHANCE
from sim.fingerprint import compute_version
from sim.parallel import run_on_all_cores
from sim.studies.variants import BaseScenario
from sim.unit.model import ActionUnit
from tests.hidden_units import (
    OTHER_TIME_STEP,
    Trial,
    change_contact_laws,
    draw_hidden_unit,
    follow_checklist,
    follow_suggestions,
    measure_library_error,
    order_checklist,
)

RECORD = Path(__file__).with_name("diagnosis_trials.md")
PINNED = ("tight-hammer-centre", "tight-wippen-centre", "tight-lever-centre", "tight-jack-centre", "tight-key")


def draw_hidden_units(
    unit: ActionUnit, kind: str, count: int, seed: int, step: float | None = None
) -> list[HiddenUnit]:
    """So many units of a kind; the same seed gives the same ones."""
    more = {} if step is None else {"step": step}
    salt = {"fault": 0, "healthy": 1, "pair": 2}[kind]
    jobs = [partial(draw_hidden_unit, unit, kind, np.random.default_rng([seed, salt, i]), **more) for i in range(count)]
    return run_on_all_cores(jobs)


def diagnose_units(grid: CauseGrid, units: Sequence[HiddenUnit], seed: int, buys: int = 5) -> list[Trial]:
    """Each with its own noise."""
    return [follow_suggestions(grid, unit, seed + i, buys) for i, unit in enumerate(units)]


def find_rank(listed: Sequence[tuple[str, float]], name: str) -> int:
    """Place of a fault, or of "" for none, in a list: 0 is the first."""
    return [n for n, _ in listed].index(name)


def count_hits(trials: Sequence[Trial], places: int, *, first: bool = False) -> int:
    """Trials with all that is wrong among so many places: after the tests, or before any (``first``)."""
    return sum(max(find_rank(t.first if first else t.last, n) for n in t.names or ("",)) < places for t in trials)


def count_hits_among_faults(trials: Sequence[Trial], places: int) -> int:
    """The same with "no fault", which is told apart as the verdict, taking no place in the list."""
    lists = [([n for n, _ in t.last if n], t.names) for t in trials]
    return sum(max(listed.index(n) for n in names) < places for listed, names in lists)


def count_right_when_sure(
    faulty: Sequence[Trial], healthy: Sequence[Trial], low: float = 0.85, high: float = 0.95
) -> tuple[float, int]:
    """Of the lists led with a probability between: share that were right, and how many there are.

    Healthy and faulty units count in the proportion of the prior, WELL to one.
    """
    weighed = [(t, 1 / len(faulty)) for t in faulty] + [(t, HEALTHY_WEIGHT / len(healthy)) for t in healthy]
    led = [(t, w) for t, w in weighed if low <= t.last[0][1] < high]
    right = sum(w for t, w in led if t.last[0][0] in (t.names or ("",)))
    return right / max(sum(w for _, w in led), 1e-12), len(led)


def count_torque_right(trials: Sequence[Trial], grid: CauseGrid) -> tuple[int, int]:
    """Tight centres found first: torque within a fifth, or inside its interval; and how many there are."""
    mine = [t for t in trials if t.names[0] in PINNED and t.last[0][0] == t.names[0] and t.severity is not None]
    good = 0
    for t in mine:
        fault = grid.library.faults[t.names[0]]
        true, mean, low, high = (fault.value(min(max(s, 0.0), 1.0)) for s in t.severity or ())
        good += abs(mean / true - 1) <= 0.2 or low <= true <= high
    return good, len(mine)


def measure_costs(grid: CauseGrid, units: Sequence[HiddenUnit], seed: int) -> NDArray[np.float64]:
    """Seconds to a sure cause, following the suggestions and down the checklist, of each unit where both get there."""
    order = order_checklist(grid)
    both = []
    for i, unit in enumerate(units):
        a, b = follow_suggestions(grid, unit, seed + i, 40, SURE_CHANCE), follow_checklist(grid, unit, seed + i, order)
        if a.last[0][1] >= SURE_CHANCE and b.last[0][1] >= SURE_CHANCE:
            both.append((a.seconds, b.seconds))
    return np.array(both)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--faults", type=int, default=1000)
    parser.add_argument("--healthy", type=int, default=300)
    parser.add_argument("--pairs", type=int, default=200)
    parser.add_argument("--other", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--keep", action="store_true")
    args = parser.parse_args()
    unit = BaseScenario.of("concert-grand-natural").ready
    grid = build_cause_grid(compute_library(unit))
    lines: list[tuple[str, str, str]] = []

    def row(what: str, k: float, n: int, bound: str) -> None:
        lines.append((what, f"{100 * k / max(n, 1):.1f} % of {n}", bound))
        print(" | ".join(lines[-1]), flush=True)

    units = draw_hidden_units(unit, "fault", args.faults, args.seed)
    faulty = diagnose_units(grid, units, args.seed)
    row("true fault first, readings in the action alone", count_hits(faulty, 1, first=True), len(faulty), "told beside")
    row(
        "true fault among three, readings in the action alone",
        count_hits(faulty, 3, first=True),
        len(faulty),
        "told beside",
    )
    row("true fault first, at most five bought", count_hits(faulty, 1), len(faulty), "85 %")
    row(
        "true fault among the first three faults, at most five bought",
        count_hits_among_faults(faulty, 3),
        len(faulty),
        "97 %",
    )
    row('... "no fault" counted as a place of the list too', count_hits(faulty, 3), len(faulty), "told beside")
    good, n = count_torque_right(faulty, grid)
    row("tight centre found: torque within a fifth or inside its interval", good, n, "all")
    severe = [t for t in faulty if t.severity is not None and t.last[0][0] == t.names[0]]
    inside = sum(t.severity[2] - 1e-9 <= t.severity[0] <= t.severity[3] + 1e-9 for t in severe if t.severity)
    row("severity inside its 90 % interval, fault found", inside, len(severe), "90 %")
    healthy = diagnose_units(grid, draw_hidden_units(unit, "healthy", args.healthy, args.seed), args.seed)
    row(
        "healthy called healthy, readings in the action alone",
        count_hits(healthy, 1, first=True),
        len(healthy),
        "told beside",
    )
    row("healthy called healthy", count_hits(healthy, 1), len(healthy), "95 %")
    pair = diagnose_units(grid, draw_hidden_units(unit, "pair", args.pairs, args.seed), args.seed)
    row("pairs: both among three", count_hits(pair, 3), len(pair), "80 %")
    for low, high in ((0.3, 0.5), (0.5, 0.7), (0.7, 0.85), (0.85, 0.95), (0.95, 0.99), (0.99, 1.01)):
        share, n = count_right_when_sure(faulty, healthy, low, high)
        bound = "85 to 95 %" if low == 0.85 else "told beside"
        row(
            f"right where {100 * low:.0f} to {min(100 * high, 100):.0f} % sure, as the prior mixes them",
            share * n,
            n,
            bound,
        )
    both = measure_costs(grid, units[:300], args.seed)
    followed, listed, n = *both.mean(axis=0), len(both)
    lines.append(
        (
            "cost to 90 % sure, suggested tests over checklist",
            f"{followed:.0f} s / {listed:.0f} s = {followed / listed:.2f} ({n} units)",
            "0.50",
        )
    )
    print(" | ".join(lines[-1]), flush=True)
    other = diagnose_units(
        grid, draw_hidden_units(change_contact_laws(unit), "fault", args.other, args.seed, OTHER_TIME_STEP), args.seed
    )
    row("another model: first", count_hits(other, 1), len(other), "70 %")
    row("another model: among three", count_hits(other, 3), len(other), "told beside")
    over, error = measure_library_error(grid, 200, np.random.default_rng(args.seed))
    lines.append(
        (
            "library against runs at random severities",
            f"rms {over:.2f} of its stated error, median {error:.2f} accuracies",
            "1",
        )
    )
    print(" | ".join(lines[-1]), flush=True)
    if args.keep:
        table = "\n".join(f"| {a} | {b} | {c} |" for a, b, c in lines)
        RECORD.write_text(
            "# Diagnosis: the trials of the record\n\n"
            f"Made by version {compute_version('diagnosis')} with `python tests/diagnosis_trials.py --faults "
            f"{args.faults} "
            f"--healthy {args.healthy} --pairs {args.pairs} --other {args.other} --seed {args.seed} --keep`.\n\n"
            f"| what | came out | bound |\n|---|---|---|\n{table}\n",
            encoding="utf-8",
        )
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
