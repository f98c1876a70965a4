"""The mechanism without dry friction is an ordinary differential equation: the kernel against scipy's stiff solvers.

Sources: scipy.integrate Radau (Hairer & Wanner, Solving ODEs II, ch. IV.8) and LSODA
(Petzold, SIAM J. Sci. Stat. Comput. 4 (1983) 136) on the right-hand side of
``tests/regularised.py``, written apart from the kernel save for the gaps, which
test_gaps.py holds against finite differences.  The string is its wave impedance
(no wave comes back within the run).
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from tests.physics.rig import (
    TOUCHES,
    Array,
    find_impact,
    fit_slope,
    load_rest,
    make_parameters,
    make_pull,
    read_vector,
    run_strike,
)
from tests.regularised import N, find_string_contact, integrate, make_problem, measure_stroke_speed
from tests.tiers import try_each

P = make_parameters(near_delay=1.0)
DURATION = {"soft": 0.125, "medium": 0.060, "hard": 0.045}
STEPS = [5e-6, 2.5e-6, 1.25e-6]
"""Whole numbers of them make every duration; coarser ones hardly resolve the shank's third mode (1.2 kHz)."""


@cache
def smooth(touch: str, method: str, rtol: float) -> tuple[float, float, Array]:
    """Time and speed of string contact, and the state some milliseconds after it."""
    prob = make_problem(P, make_pull(TOUCHES[touch]), load_rest(), rub=0.0)
    t, y = integrate(prob, DURATION[touch], method, rtol, grid=DURATION[touch] / 100)
    return *find_string_contact(prob, t, y), y[-1]


@try_each("touch", ("medium", "hard", "soft"))
def test_two_stiff_integrators_agree(touch: str) -> None:
    """The yardstick itself: global errors of some hundred local tolerances (1e-8) are usual for both methods."""
    t1, v1, y1 = smooth(touch, "Radau", 1e-9)
    t2, v2, y2 = smooth(touch, "LSODA", 1e-9)
    assert t1 == pytest.approx(t2, rel=1e-6)
    assert v1 == pytest.approx(v2, rel=1e-6)
    assert np.abs(y1[:N] - y2[:N]).max() < 1e-6, f"{touch}: {y1[:N] - y2[:N]}"


@try_each("touch", ("hard", "medium", "soft"))
def test_kernel_converges_to_the_smooth_limit_at_second_order(touch: str) -> None:
    """Claim: order 2 (mid-step forces), so a slope of 2; 1.8 leaves room for where in a step contacts begin.

    Speed and time of string contact, the hammer's angle and speed after the rebound.
    """
    time, speed, after = smooth(touch, "Radau", 1e-9)
    errors: dict[str, list[float]] = {"speed": [], "time": [], "angle after": [], "speed after": []}
    for step in STEPS:
        r = run_strike(P, make_pull(TOUCHES[touch]), DURATION[touch], step, rub=0.0, every=step)
        t, v = find_impact(r)
        errors["time"].append(abs(t - time))
        errors["speed"].append(abs(v - speed))
        errors["angle after"].append(abs(read_vector(r.state)[5] - after[5]))
        errors["speed after"].append(abs(read_vector(r.state, "v_")[5] - after[N + 5]))
    slopes = {n: fit_slope(STEPS, e) for n, e in errors.items()}
    shown = f"{touch}: orders {slopes}, errors {errors}, contact at {time} s with {speed} m/s"
    assert min(slopes.values()) > 1.8, shown
    assert errors["speed"][-1] < 1e-5 * speed, shown
    assert errors["time"][-1] < 1e-2 * STEPS[-1], shown


@try_each("touch", ("hard", "medium", "soft"))
def test_smoothed_friction_tends_to_the_set_valued_law(touch: str) -> None:
    """Sharper tanh, nearer to the kernel.

    T = -bound tanh(v / width) differs from Coulomb's law only while |v| is within some
    widths; for speeds that pass through zero evenly the lost impulse is of first order
    in the width.  The narrowest is 1/256 of the widest: even at order 1/2 the miss must
    fall to a sixteenth; a quarter is asked, since misses of either sign pass through zero.
    Source: Coulomb friction as a limit (Moreau, in Nonsmooth Mechanics and Applications,
    1988); LSODA as above.
    """
    step = 6.25e-6
    drive = make_pull(TOUCHES[touch])
    time, speed = find_impact(run_strike(P, drive, DURATION[touch], step, every=step))
    widths = [4.0, 1.0, 0.25, 1 / 16, 1 / 64]
    found = [
        measure_stroke_speed(P, drive, load_rest(), DURATION[touch], "LSODA", 1e-7, slip=1e-3 * w, turn=1e-2 * w)
        for w in widths
    ]
    misses = [abs(v - speed) / speed for v, _ in found]
    shown = f"{touch}: set-valued {speed} m/s at {time} s; smoothed (m/s, s) {found}; misses {misses}"
    assert misses[-1] < 0.25 * misses[0], shown
    assert misses[-1] < 2e-4, shown
    assert found[-1][1] == pytest.approx(time, rel=1e-3), shown
