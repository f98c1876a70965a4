"""Healthy units differ, and play; their readings answer nearly in proportion, so that they can be averaged over."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from numpy.typing import NDArray

from sim.bench.reading_list import list_readings, take_readings
from sim.parallel import run_on_all_cores
from sim.studies.healthy_variation import draw_healthy_unit, load_variations, vary_unit
from sim.studies.variants import BaseScenario
from sim.unit.model import ActionUnit
from tests.tiers import try_each

PRESSED = ("down_weight", "up_weight", "blow", "dip", "let_off", "drop", "aftertouch")
READ = {"weigh": PRESSED, "predict": (*PRESSED, "checking_distance", "reset_point")}
sized = try_each("kind, count", (("weigh", 20), ("predict", 40)))


@cache
def base() -> ActionUnit:
    return BaseScenario.of("concert-grand-natural").ready


def read(unit: ActionUnit, kind: str) -> tuple[str, list[float]]:
    p = take_readings(unit, kind)
    found = list_readings(p)
    return p.outcome, [np.nan if (v := found[name].value) is None else v for name in READ[kind]]


@cache
def units(kind: str, count: int) -> tuple[list[str], NDArray[np.float64]]:
    random = np.random.default_rng(20261125)
    made = [draw_healthy_unit(base(), random) for _ in range(count)]
    found = run_on_all_cores([lambda u=u: read(u, kind) for u in made])
    return [outcome for outcome, _ in found], np.array([values for _, values in found])


@sized
def test_healthy_units_play(kind: str, count: int) -> None:
    """All but the odd one, in which several inputs are far off at once: a bench would regulate that one again."""
    outcomes, values = units(kind, count)
    assert outcomes.count("plays") >= 0.95 * count
    assert np.isfinite(values[[outcome == "plays" for outcome in outcomes]]).all()


@sized
def test_spread_is_what_slopes_make_of_it(kind: str, count: int) -> None:
    """Variances of small independent causes add: slopes one by one against units drawn freely.

    The sample's deviation has a standard error of 1 in 9 for 40 units: a factor of 1.5 is over three of them.  (The few
    of the fast tier are always the same, and slopes are taken one way there.)
    """
    n, ways = len(load_variations()), (1.0, -1.0) if kind == "predict" else (1.0,)
    steps = [vary_unit(base(), [way if i == k else 0.0 for i in range(n)]) for k in range(n) for way in ways]
    found = np.array([values for _, values in run_on_all_cores([lambda u=u: read(u, kind) for u in steps])])
    changes = found.reshape(n, len(ways), -1) - read(base(), kind)[1]
    slopes = np.mean([way * changes[:, i] for i, way in enumerate(ways)], axis=0)
    expected = np.sqrt((slopes**2).sum(axis=0))
    _, values = units(kind, count)
    ratio = np.nanstd(values, axis=0, ddof=1) / expected
    assert dict(zip(READ[kind], ratio, strict=True)) == {name: pytest.approx(1.0, abs=0.5) for name in READ[kind]}
    assert (ratio > 1 / 1.5).all()


def test_no_variation_is_the_unit_itself() -> None:
    unit = vary_unit(base(), [0.0] * len(load_variations()))
    assert read(unit, "predict") == read(base(), "predict")


def test_number_of_deviations_has_to_fit() -> None:
    with pytest.raises(ValueError, match=r"zip\(\)"):
        vary_unit(base(), [0.0])
