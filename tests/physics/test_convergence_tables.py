"""The default step against the convergence tables: the record's rule, and a sample of its strokes run again."""

from __future__ import annotations

from dataclasses import replace

import pytest

from sim.bench.predict import list_touches
from sim.physics.run import DEFAULT_STEP
from tests import convergence_tables as tables
from tests import evidence
from tests.tiers import try_each


def test_default_step_is_the_one_the_record_s_rule_gives() -> None:
    record = evidence.load_record("numerics")
    assert pytest.approx(record["step_us"] * 1e-6, rel=1e-9) == DEFAULT_STEP
    assert {r["unit"] for r in record["row"]} == set(tables.UNITS)


@try_each("unit", ["concert-grand-natural", "treble"])
@try_each("touch", ["hard", "soft"])
def test_a_stroke_at_the_default_step_keeps_the_rule(unit: str, touch: str) -> None:
    """Against the same stroke at 1.25 µs; source of the widths: tests/convergence_tables.py."""
    played = next(t for t in list_touches(struck=True) if t.name == touch)
    at_default, fine = (tables.read_stroke(unit, played, step) for step in (DEFAULT_STEP, tables.FINEST))
    found = [tables.Convergence(unit, played, q, fine[q.name], (at_default[q.name],)) for q in tables.QUANTITIES]
    for name, allowed in tables.RULE.items():
        assert tables.find_largest_errors(found, name)[0] <= allowed, (
            f"{name}: {at_default[name]}, at the finest {fine[name]}"
        )


def test_the_rule_takes_the_largest_step_and_counts_a_lost_reading_as_wrong() -> None:
    speed, time = tables.QUANTITIES[:2]
    touch = list_touches()[0]
    n = len(tables.STEPS)
    good = tables.Convergence("", touch, speed, 1.0, (1.1, *[1.0] * (n - 1)))
    assert tables.find_step_by_rule([good]) == tables.STEPS[1]
    lost = tables.Convergence("", touch, time, 50.0, (50.0, None, *[50.0] * (n - 2)))
    assert tables.find_step_by_rule([good, lost]) == tables.STEPS[2]
    with pytest.raises(ValueError, match="no step"):
        tables.find_step_by_rule([replace(good, values=(2.0,) * n)])
