"""What a run reports about itself: places and speeds along the trace, and the makings and breakings in the log.

Source: a speed is the derivative of a place; differences of the trace leave an error of
second order in its spacing (Abramowitz & Stegun 25.3.21).
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from sim.physics.mechanism import DOFS
from sim.physics.run import DEFAULT_STEP, STATE_TYPE, PartPositions, _other_step, _sent, continue_run
from tests.physics.rig import (
    TOUCHES,
    Array,
    compute_crown_speed,
    find_first_contact,
    find_impact,
    make_parameters,
    make_pull,
    run_strike,
)
from tests.tiers import try_each

STEPS = [50e-6, 25e-6, 12.5e-6, 6.25e-6]
DURATION = {"soft": 0.115, "medium": 0.055, "hard": 0.040}

PAIRS: dict[str, tuple[Callable[[PartPositions], Array], Callable[[PartPositions], Array]]] = {
    "crown": (lambda p: p.crown_height, lambda p: p.crown_speed),
    "key": (lambda p: p.key_travel, lambda p: p.key_speed),
}


@pytest.mark.parametrize("what", PAIRS)
def test_speeds_along_the_trace_are_derivatives_of_places(what: str) -> None:
    """A hard stroke, sampled at every step of 2 µs; speeds reach 5 m/s, shank waves and felts 1e4 1/s.

    A difference over 2 steps is then off by (2e-6 * 1e4)²/6 of the speed: 1e-4 of it.
    """
    r = run_strike(make_parameters(), make_pull(TOUCHES["hard"]), 0.040, 2e-6, every=2e-6)
    place, speed = PAIRS[what][0](r.place), PAIRS[what][1](r.place)
    t = r.trace["t"]
    by_difference = (place[2:] - place[:-2]) / (t[2:] - t[:-2])
    miss = np.abs(by_difference - speed[1:-1])
    worst = int(miss.argmax())
    shown = f"{what} at {t[worst + 1] * 1e3:.3f} ms: {speed[worst + 1]} m/s, by differences {by_difference[worst]} m/s"
    assert miss.max() < 1e-4 * np.abs(speed).max(), shown


@try_each("touch", TOUCHES)
def test_logged_speed_is_that_of_the_moment_of_contact(touch: str) -> None:
    """The log's crown speed at string contact is of second order in the step, as the rest of the scheme is.

    A speed taken at the end of the step in which contact was made would be late by up to a step:
    at a hard touch it misses by the shank's deceleration times the step, some 1e-3 of it at 50 µs.
    """
    misses = []
    for step in STEPS:
        r = run_strike(make_parameters(), make_pull(TOUCHES[touch]), DURATION[touch], step, every=step)
        misses.append(abs(find_first_contact(r)[1] / find_impact(r)[1] - 1))
    assert max(misses) < 5e-4, f"{touch}: logged against extrapolated from before, relative {misses} at {STEPS}"
    assert misses[-1] < 1e-5, f"{touch}: {misses}"


def test_trace_and_log_agree_on_string_contact() -> None:
    """Crown and string meet in the trace where the log says they did, to a hundredth of a step."""
    for touch in TOUCHES:
        r = run_strike(make_parameters(), make_pull(TOUCHES[touch]), DURATION[touch], DEFAULT_STEP, every=DEFAULT_STEP)
        time = find_first_contact(r)[0]
        gap, t = r.place.crown_to_string, r.trace["t"]
        k = int(np.flatnonzero(t <= time)[-1])
        arrival = t[k] + gap[k] / compute_crown_speed(r)[k]
        assert arrival == pytest.approx(time, abs=0.01 * DEFAULT_STEP), f"{touch}: log {time} s, trace {arrival} s"


def test_trace_samples_do_not_depend_on_how_often_they_are_taken() -> None:
    """The same rows, whether every step is recorded or one in ten."""
    often = run_strike(make_parameters(), make_pull(TOUCHES["medium"]), 0.05, 20e-6, every=20e-6)
    seldom = run_strike(make_parameters(), make_pull(TOUCHES["medium"]), 0.05, 20e-6, every=200e-6)
    assert np.array_equal(often.trace.data[::10], seldom.trace.data)


def test_no_event_is_lost_between_two_runs() -> None:
    """A stroke cut in two around string contact logs the same makings and breakings as in one piece.

    Times agree to the friction solver's stop: a thousandth of a step.
    """
    step, p, drive = 25e-6, make_parameters(), make_pull(TOUCHES["medium"])
    whole = run_strike(p, drive, 0.05, step)
    first = int(find_first_contact(whole)[0] / step)
    for cut in range(first - 1, first + 3):
        one = run_strike(p, drive, cut * step, step)
        two = continue_run(one, drive, (2000 - cut) * step, step=step, every=None)
        log = np.vstack([one.log.data, two.log.data])
        shown = f"cut at step {cut}: {len(log)} entries, {len(whole.log.data)} in one piece"
        assert len(log) == len(whole.log.data), shown
        assert np.abs(log[:, 0] - whole.log.data[:, 0]).max() < 1e-3 * step, shown


def test_a_run_may_go_on_with_another_step_while_the_string_rings() -> None:
    """Cut in the middle of string contact and gone on with half the step: the hammer leaves as it would have.

    The whole run at 25 µs is right to 1e-3 of the time on the string (test_convergence.py).
    """
    step, p, drive = 25e-6, make_parameters(), make_pull(TOUCHES["medium"])
    whole = run_strike(p, drive, 0.05, step)
    touch = find_first_contact(whole)[0]
    cut = round((touch + 0.8e-3) / step)
    two = continue_run(run_strike(p, drive, cut * step, step), drive, 0.05 - cut * step, step=step / 2, every=None)
    off, again = whole.log.times("string", make=False), two.log.times("string", make=False)
    on_string = off[off > touch][0] - touch
    assert again[0] - touch == pytest.approx(on_string, rel=3e-3), f"{again[0] - touch} s, in one piece {on_string} s"


def test_waves_on_their_way_are_those_of_the_other_step() -> None:
    """What the strike point has sent, taken to half the step, is what a run with half the step had sent itself.

    To second order in the step: a shift in time by half a step would show in first order, ten times as large.
    """
    step, p, drive = 25e-6, make_parameters(), make_pull(TOUCHES["medium"])
    cut = round((find_first_contact(run_strike(p, drive, 0.05, step))[0] + 0.8e-3) / step)
    one, fine = run_strike(p, drive, cut * step, step), run_strike(p, drive, cut * step, step / 2)
    length = fine.waves.shape[1]
    sent, itself = _sent(one, step / 2, length), np.roll(fine.waves, -(fine.head % length), axis=1)
    last = slice(-60, None)  # since the crown met the string
    miss, size = np.abs(sent - itself)[:, last].max(axis=1), np.abs(itself)[:, last].max(axis=1)
    assert (miss < 0.01 * size).all(), f"{miss / size} of the greatest wave"


@pytest.mark.parametrize("new", [10e-6, 80e-6])
def test_speeds_before_a_step_follow_the_step(new: float) -> None:
    """Extrapolation over the steps goes by the speed one step earlier: at the same acceleration, another one."""
    state, old, acceleration = np.zeros(1, STATE_TYPE), 40e-6, 3.0
    for name in DOFS:
        state[f"v_{name}"] = 2.0
        state[f"o_{name}"] = 2.0 - acceleration * old
    _other_step(state, old, new)
    for name in DOFS:
        assert state[f"v_{name}"][0] == 2.0
        assert state[f"o_{name}"][0] == pytest.approx(2.0 - acceleration * new, rel=1e-12)
