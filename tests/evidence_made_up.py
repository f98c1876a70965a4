"""A comparison made up for tests of how the report looks: no unit was run, and every verdict occurs."""

from __future__ import annotations

from functools import cache

import numpy as np

from sim.fingerprint import compute_version
from sim.studies.variants import BaseScenario
from sim.validation.evidence import DrawnCurve, Evidence, KeyStroke
from sim.validation.published import CheckResult, JudgedRow, PublishedCheck, load_curves, load_rows

COUNT = 5


def _value(check: PublishedCheck, number: int) -> float:
    """Inside the gate for even rows, outside for odd ones."""
    low, high = check.gate or (1.0, 2.0)
    low, high = max(low, -1e3), min(high, 1e3)
    return 0.5 * (low + high) if number % 2 == 0 else high + 1.0


@cache
def make_evidence() -> Evidence:
    judged = [
        JudgedRow(
            row,
            tuple(
                CheckResult(c, (*[_value(c, i)] * (COUNT - 1), None if i == 3 else _value(c, i))) for c in row.checks
            ),
        )
        for i, row in enumerate(load_rows())
    ]
    lines = tuple(
        DrawnCurve(c, np.outer(np.linspace(0.9, 1.1, COUNT), 50.0 / np.array(c.speeds))) for c in load_curves()
    )
    part = np.linspace(0.0, 1.0, 50)
    strokes = tuple(KeyStroke(name, part, 0.5 * part) for name in ("pressed", "struck", "struck, rigid shank"))
    unit = BaseScenario.of("concert-grand-natural").loaded
    return Evidence(unit, {}, COUNT, 1, 1, compute_version("validation report"), tuple(judged), lines, strokes)
