"""Convergence with the step: hammer speed, event times, contact time, let-off.

Claimed orders.  Without dry friction: 2 (leapfrog, forces at the mid-step; felts of
exponent 2 and more are smooth enough at the onset of contact).  With set-valued
friction: 1 in all that depends on when a part starts to stick or slip, since that
happens somewhere within a step (Acary & Brogliato, Numerical Methods for Nonsmooth
Dynamical Systems, 2008, ch. 10: time-stepping schemes are of order 1).  The time on
the string keeps order 2: only a hinge rubs meanwhile.

A single error may pass through zero on its way, so the order is that of the largest
error over five touches from soft to hard.  Slopes are fitted over a sixteenfold change of step
and may fall 0.2 short of the claim.  Friction is solved to its own stop (up to 1000
sweeps), so that the scheme is seen and not the solver; the bounds at the default
step are for the default number of sweeps.  The yardstick is the kernel at 0.5 µs;
that the kernel tends to the right limit is for test_smooth_limit.py.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from sim.physics.finger import build_even_path, drive_finger_motion
from sim.physics.run import DEFAULT_STEP
from tests.physics.rig import TOUCHES, Array, find_impact, fit_slope, make_parameters, make_pull, run_strike
from tests.tiers import try_each

STEPS = [50e-6, 25e-6, 12.5e-6, 6.25e-6, 3.125e-6]
FINE = 0.5e-6
MANY = 1000
STROKES = TOUCHES | {"moderate": 5.0, "loud": 20.0}
DURATION = {"soft": 0.115, "moderate": 0.085, "medium": 0.055, "loud": 0.046, "hard": 0.040}
QUANTITIES = ("hammer speed", "string contact", "toe meets button", "jack leaves knuckle", "time on string")


@cache
def readings(touch: str, step: float, rub: float, **options: int) -> Array:
    """QUANTITIES of one stroke; times in s, speed in m/s."""
    r = run_strike(make_parameters(), make_pull(STROKES[touch]), DURATION[touch], step, every=step, rub=rub, **options)
    time, speed = find_impact(r)
    toe = r.log.times("toe_button", make=True)
    leave = r.log.times("jack_knuckle", make=False)
    off = r.log.times("string", make=False)
    return np.array([speed, time, toe[toe < time][0], leave[leave < time][-1], off[off > time][0] - time])


def largest_errors(rub: float) -> Array:
    """Largest relative error over the touches: a row a step, a column a quantity."""
    rows = []
    for step in STEPS:
        misses = [
            np.abs(readings(t, step, rub, sweeps=MANY) / readings(t, FINE, rub, sweeps=MANY) - 1) for t in STROKES
        ]
        rows.append(np.max(misses, axis=0))
    return np.array(rows)


def check_orders(rub: float, claims: dict[str, float]) -> None:
    errors = largest_errors(rub)
    orders = {n: fit_slope(STEPS, errors[:, i].tolist()) for i, n in enumerate(QUANTITIES)}
    table = "\n".join(f"{n}: order {orders[n]:.2f}, errors {errors[:, i]}" for i, n in enumerate(QUANTITIES))
    short = [n for n, claim in claims.items() if orders[n] < claim - 0.2]
    assert not short, f"{short} at steps {STEPS}:\n{table}"


def test_without_dry_friction_all_is_of_second_order() -> None:
    """Source: module docstring."""
    check_orders(0.0, dict.fromkeys(QUANTITIES, 2.0))


def test_with_dry_friction_the_stroke_is_of_first_order_and_string_contact_of_second() -> None:
    """Source: module docstring."""
    check_orders(1.0, dict.fromkeys(QUANTITIES, 1.0) | {"time on string": 2.0})


@try_each("touch", TOUCHES)
def test_default_step_gives_hammer_speed_within_a_thousandth(touch: str) -> None:
    """The project's own bound on the default step, 0.1 %, and a step's share for the event times."""
    found, fine = readings(touch, DEFAULT_STEP, 1.0), readings(touch, FINE, 1.0, sweeps=MANY)
    assert found[0] == pytest.approx(fine[0], rel=1e-3), f"{touch}: {found[0]} m/s, at a fine step {fine[0]} m/s"
    late = np.abs(found[1:] - fine[1:])
    assert late.max() < DEFAULT_STEP, f"{touch}: {dict(zip(QUANTITIES[1:], late, strict=True))} s"


@cache
def let_off(step: float, **options: int) -> float:
    """Least distance of crown and string (m) as the key goes down at an even 10 mm/s."""
    r = run_strike(
        make_parameters(),
        drive_finger_motion(build_even_path(-0.0005, 0.0095, 0.010)),
        1.04,
        step,
        every=2e-4,
        **options,
    )
    assert not len(r.log.times("string", make=True)), "a slow press must not sound"
    gap, t = r.place.crown_to_string, r.trace["t"]
    near = slice(int(gap.argmin()) - 2, int(gap.argmin()) + 3)
    turn = np.polynomial.Polynomial.fit(t[near], gap[near], 2)  # the vertex, not the lowest sample
    return float(turn(turn.deriv().roots()[0].real))


def test_let_off_of_a_slow_press_converges() -> None:
    """Order 1 (friction), and within a micrometre at the default step: a thousandth of the reading."""
    fine = let_off(STEPS[-1] / 2, sweeps=MANY)
    errors = [abs(let_off(step, sweeps=MANY) - fine) for step in STEPS[:-1]]
    shown = f"let-off {fine} m; errors {errors} m at steps {STEPS[:-1]}, order {fit_slope(STEPS[:-1], errors)}"
    assert fit_slope(STEPS[:-1], errors) > 0.8, shown
    assert abs(let_off(DEFAULT_STEP) - fine) < 1e-6, shown
