"""Trials of sections: ``python tests/section_trials.py [--each 1] [--seed 1] [--keep]``.

Sections of 20 notes that do not exist, four spoiled in each, until every fault of the catalogue that a bench sheet's
columns show has been hidden ``each`` times, at any severity.  Counted: spoiled notes that stand out with their cause
named, those that stand out with another or none, those that do not; healthy notes that stand out.  ``--keep`` writes
the record.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from sim.diagnosis.faults import load_faults
from sim.section.columns import list_columns
from sim.section.section import SectionNote, analyse_section
from tests.evidence import write_record
from tests.section_sheets import draw_section

KEYS, SPOILED = range(30, 50), 4
NAMED, OTHERWISE, MISSED = "named", "stands out, otherwise", "does not stand out"


@dataclass(frozen=True)
class Trial:
    """One spoiled note."""

    fault: str
    severity: float
    outcome: str
    told: str


def list_shown_faults() -> list[str]:
    """Faults of any unit that some column of the sheet shows first."""
    return [n for n, f in load_faults().items() if not f.needs and f.read in list_columns()]


def draw_hidden_faults(each: int, seed: int) -> list[dict[int, tuple[str, float]]]:
    """What is hidden in each section: note to fault and severity."""
    random = np.random.default_rng(seed)
    names = [str(n) for n in random.permutation(np.repeat(list_shown_faults(), each))]
    names += [str(n) for n in random.choice(list_shown_faults(), -len(names) % SPOILED)]
    out = []
    for i in range(0, len(names), SPOILED):
        keys = random.choice(list(KEYS), SPOILED, replace=False)
        hidden = zip(keys, names[i : i + SPOILED], random.uniform(0.0, 1.0, SPOILED), strict=True)
        out.append({int(k): (n, float(s)) for k, n, s in hidden})
    return out


def try_section(ill: Mapping[int, tuple[str, float]], seed: int) -> tuple[list[Trial], list[str]]:
    """One section: its spoiled notes, and what is said of healthy ones that stand out."""
    found = analyse_section(draw_section(KEYS, ill, seed), play=False)
    trials, wrong = [], []
    for note in found.notes:
        if note.key_number in ill:
            fault, severity = ill[note.key_number]
            trials.append(Trial(fault, severity, _outcome(note, fault), _told(note)))
        elif note.outlier:
            wrong.append(_told(note))
    return trials, wrong


def _outcome(note: SectionNote, fault: str) -> str:
    if not note.outlier:
        return MISSED
    best = note.found.listed[0].fault.name if note.found is not None and note.found.listed else ""
    return NAMED if best == fault else OTHERWISE


def _told(note: SectionNote) -> str:
    found = note.found
    if found is None:
        return "nothing was read"
    causes = ", ".join(f"{c.fault.name} {c.probability:.2f}" for c in found.listed[:2])
    return f"{causes or 'healthy'}; healthy {found.healthy:.2f}{'; a slip is as likely' if note.slip else ''}"


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--each", type=int, default=1, help="times that each fault is hidden")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--keep", action="store_true")
    args = parser.parse_args()
    trials: list[Trial] = []
    wrong: list[str] = []
    sections = draw_hidden_faults(args.each, args.seed)
    for i, ill in enumerate(sections):
        mine, others = try_section(ill, 1000 * args.seed + i)
        trials, wrong = trials + mine, wrong + others
        for t in mine:
            print(f"{t.outcome:<22} {t.fault} {t.severity:.2f}: {t.told}", flush=True)
        for told in others:
            print(f"healthy, stands out: {told}", flush=True)
    count = {o: sum(t.outcome == o for t in trials) for o in (NAMED, OTHERWISE, MISSED)}
    healthy = len(sections) * len(KEYS) - len(trials)
    print(f"{count}; healthy notes that stand out: {len(wrong)} of {healthy}")
    if args.keep:
        rows = [
            {"fault": t.fault, "severity": round(t.severity, 2), "outcome": t.outcome, "told": t.told} for t in trials
        ]
        made = f"python tests/section_trials.py --each {args.each} --seed {args.seed} --keep"
        title = "Sections of 20 notes, four of them spoiled: which stand out, and as what"
        print(write_record("section", title, made, rows, healthy_that_stand_out=f"{len(wrong)} of {healthy}"))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
