"""Small pieces of the bench: paths, limits, swings, closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from sim.bench import centres, repetition
from sim.physics.finger import build_even_path, build_power_path, drive_force
from tests.swings import count_swings
from tests.tiers import limit_draws


def value(table: np.ndarray, t: float) -> float:
    """Piecewise cubic Hermite, by numpy."""
    i = int(np.clip(np.searchsorted(table[:, 0], t, side="right") - 1, 0, len(table) - 2))
    w = table[i + 1, 0] - table[i, 0]
    x = (t - table[i, 0]) / w
    a, b, va, vb = table[i, 1], table[i + 1, 1], table[i, 2] * w, table[i + 1, 2] * w
    return float(
        (2 * x**3 - 3 * x**2 + 1) * a + (x**3 - 2 * x**2 + x) * va + (3 * x**2 - 2 * x**3) * b + (x**3 - x**2) * vb
    )


@given(st.floats(-0.01, 0.01), st.floats(-0.01, 0.01), st.floats(1e-3, 0.05))
@limit_draws(100)
def test_even_travel_goes_one_way_and_arrives(start: float, end: float, speed: float) -> None:
    assume(abs(end - start) > 1e-6)
    table = build_even_path(start, end, speed)
    t = np.linspace(0, table[-2, 0], 300)
    y = np.array([value(table, x) for x in t])
    assert y[0] == pytest.approx(start, abs=1e-12)
    assert y[-1] == pytest.approx(end, abs=1e-9)
    steps = np.diff(y) * math.copysign(1, end - start)
    assert steps.min() >= -1e-9
    # a cubic that is eased over its whole way is at most 1.5 times as fast as its mean
    assert np.abs(np.diff(y) / np.diff(t)).max() <= 1.5 * speed * (1 + 1e-6)


def test_power_stroke_follows_its_power() -> None:
    table = build_power_path(0.01, 0.1, 3.0)
    for t in (0.02, 0.05, 0.09):
        assert value(table, t) == pytest.approx(0.01 * (t / 0.1) ** 3, rel=1e-9)


def test_force_over_time_passes_through_its_points() -> None:
    table = drive_force(np.array([0.0, 0.1, 0.2]), np.array([0.0, 5.0, 1.0])).table
    for t, f in ((0.05, 2.5), (0.1, 5.0), (0.15, 3.0), (0.2, 1.0)):
        assert value(table, t) == pytest.approx(f, abs=1e-6)


def test_limit_is_read_between_rates() -> None:
    rates = (4.0, 6.0, 8.0)
    assert repetition.find_limit(rates, np.array([1.0, 0.95, 0.85])) == pytest.approx(7.0)
    assert repetition.find_limit(rates, np.array([0.5, 1.0, 1.0])) is None
    assert repetition.find_limit(rates, np.array([1.0, 1.0, 0.9])) == 8.0


@given(st.floats(0.02, 0.3), st.floats(0.05, 0.35))
@limit_draws(60)
def test_swings_of_small_arcs_agree_with_the_closed_form(share: float, start: float) -> None:
    """Amplitude lost per half swing = 2 torque / gravity stiffness (Coulomb damping, Den Hartog, Mech. Vibrations)."""
    moment, torque = 0.012, 0.012 * start * share
    counted = centres.count_half_swings(torque, moment, start)
    assert abs(counted - count_swings(torque, start, moment)) <= 1


def test_swings_fall_with_friction() -> None:
    counts = [centres.count_half_swings(t, 0.0125) for t in (0.4e-3, 0.8e-3, 1.6e-3, 3.2e-3)]
    assert counts == sorted(counts, reverse=True) and len(set(counts)) == len(counts)
    with pytest.raises(ValueError, match="for ever"):
        centres.count_half_swings(0.0, 0.0125)
