"""The compiled kernel against the plain reference stepper (reference.py), phase by phase of a stroke.

Both follow the same scheme, so they may differ only by round-off and by the
friction solver's stop.  The kernel stops when no impulse moved by more than 1e-6
of its bound in a sweep; the reference goes on to round-off.  A full impulse of
one step moves the lightest part (the jack) by some 0.1 rad/s, so speeds may
differ by 1e-7 rad/s (against speeds of 1-50 rad/s), and the next step starts
from the same impulses and corrects it; places may differ by that times the time
run, 3e-10 rad.  Source: own derivation from mechanism.py, references there.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from sim.physics.mechanism import DOFS, FRICTION_ROWS
from sim.physics.modes import DriveMode
from sim.physics.run import Drive, Run, continue_run, pack_parameters, run
from sim.unit.contacts import CONTACT_NAMES as NAMES
from sim.unit.model import ActionUnit
from tests.lazily import Lazily
from tests.physics.design_unit import load_design_unit
from tests.physics.reference import Reference
from tests.physics.rig import Array, find_first_contact, fit_damper, load_rest, make_pull, make_state, read_vector

interpolate = Lazily("scipy.interpolate")

STEP = 25e-6
PHASES = ("start of the stroke", "push", "escape", "string", "check", "return")
OUT_OF_REACH = {"key_damper", "damper_seat", "jack_window", "rest_cushion"}
PRESS, GENTLE = make_pull(11.0), make_pull(2.0)
LET_GO = Drive(DriveMode.DRIVEN_MASS, np.array([[0.0, -3.0, 0.0]]), mass=0.5, muscle_damping=2.0)


@cache
def phases() -> dict[str, tuple[Run, Drive]]:
    """A kernel run that ends where the phase begins, and the drive that takes it on."""
    unit = load_design_unit()
    whole = run(unit, PRESS, 0.2, load_rest(), step=STEP, every=None).require()
    touch = find_first_contact(whole)[0]
    caught = whole.log.times("backcheck", True)[0]
    back = run(unit, LET_GO, 0.2, whole.state, step=STEP, every=None, previous=whole, t0=0.2).require()
    reset = back.log.times("jack_knuckle", True)[0] - 0.2
    gentle = run(unit, GENTLE, 0.2, load_rest(), step=STEP, every=None).require()
    leaves = gentle.log.times("jack_knuckle", False)
    escape = leaves[leaves < find_first_contact(gentle)[0]][-1]
    spans = {"start of the stroke": 5e-3, "push": 18e-3, "string": touch - 0.1e-3, "check": caught - 0.5e-3}
    out = {n: (run(unit, PRESS, t, load_rest(), step=STEP, every=None).require(), PRESS) for n, t in spans.items()}
    late = run(unit, LET_GO, reset - 1e-3, whole.state, step=STEP, every=None, previous=whole, t0=0.2).require()
    out["escape"] = run(unit, GENTLE, escape - 2e-3, load_rest(), step=STEP, every=None).require(), GENTLE
    return out | {"return": (late, LET_GO)}


def table_value(drive: Drive, t: float) -> float:
    d = drive.table
    if len(d) == 1 or t <= d[0, 0] or t >= d[-1, 0]:
        return float(d[0 if len(d) == 1 or t <= d[0, 0] else -1, 1])
    return float(interpolate.CubicHermiteSpline(d[:, 0], d[:, 1], d[:, 2])(t))


def both(
    unit: ActionUnit, drive: Drive, start: Run | None, steps: int, dt: float = STEP, state: Array | None = None
) -> tuple[Run, dict[str, Any]]:
    """The same steps by kernel and by reference; the string's ends silent at the start."""
    begin = start.state if start is not None else state
    assert begin is not None
    t0 = 0.0 if start is None else start.end
    fast = run(
        pack_parameters(unit),
        drive,
        steps * dt,
        begin,
        step=dt,
        every=dt,
        t0=t0,
        keep_finger=start is not None,
        sweeps=20000,
        stop=1e-13,
    ).require()
    slow = Reference(unit, dt, finger_mass=drive.mass, muscle_damping=drive.muscle_damping)
    v = read_vector(begin, "v_")
    s = {
        "q": read_vector(begin) + 0.5 * dt * v,
        "v": v,
        "o": read_vector(begin, "o_"),
        "ys": float(begin["ys"][0]),
        "vs": float(begin["vs"][0]),
        "impulse": {r: float(begin[f"L_{r}"][0]) for r in FRICTION_ROWS},
    }
    for k in range(steps):
        t = t0 + (k + 0.5) * dt
        if drive.mode == DriveMode.KEY_MOTION:
            slow.step(s, hold={"kf": (table_value(drive, t + dt) - s["q"][0]) / dt})
        else:
            slow.step(s, pull=table_value(drive, t))
    s["q"] = s["q"] - 0.5 * dt * s["v"]
    return fast, s


def assert_same(fast: Run, slow: dict[str, Any], what: str) -> None:
    speed = read_vector(fast.state, "v_")
    place = read_vector(fast.state)
    scale = np.where([x in "edf" for x in DOFS], 0.02, 1.0)  # 1 rad/s is about 0.02 m/s at these arms
    v_error = np.abs(speed - slow["v"]) / scale
    q_error = np.abs(place - slow["q"]) / scale
    text = f"{what}: {dict(zip(DOFS, zip(v_error, q_error, strict=True), strict=True))}"
    assert v_error.max() < 1e-7, text
    assert q_error.max() < 1e-7 * 3e-3, text
    assert abs(float(fast.state["ys"][0]) - slow["ys"]) < 1e-12, text
    assert abs(float(fast.state["vs"][0]) - slow["vs"]) < 1e-9, text


def active(fast: Run) -> set[str]:
    return {n for n in NAMES if np.any(fast.trace[f"N_{n}"] > 0)}


@pytest.mark.parametrize("phase", PHASES)
def test_kernel_follows_the_reference(phase: str) -> None:
    """Source: reference.py (own derivation of the same scheme)."""
    start, drive = phases()[phase]
    fast, slow = both(load_design_unit(), drive, start, 120)
    assert_same(fast, slow, phase)


def test_phases_reach_every_contact_of_the_mechanism() -> None:
    """The comparison is worth no more than the contacts it goes through (the others have their own)."""
    reached: set[str] = set()
    for start, drive in phases().values():
        reached |= active(continue_run(start, drive, 120 * STEP, step=STEP, every=STEP))
    missing = set(NAMES) - reached - OUT_OF_REACH
    assert not missing, f"no phase goes through {sorted(missing)}: add one, or to OUT_OF_REACH and the test of those"


def test_prescribed_key_motion_follows_the_reference() -> None:
    """Key front half led along a cubic; source: reference.py, holding that coordinate's speed."""
    start = load_rest()
    turn = float(start["kf"][0])
    lead = Drive(DriveMode.KEY_MOTION, np.array([[0.0, turn, 0.0], [20e-3, turn + 0.03, 0.0]]))
    fast, slow = both(load_design_unit(), lead, None, 120, state=start)
    assert_same(fast, slow, "key motion")


def test_parts_out_of_reach_of_a_stroke_follow_the_reference() -> None:
    """Damper fallen into its seat and lifted by the key, jack swung to its window, hammer on its cushion.

    Source: reference.py.
    """
    unit = fit_damper(load_design_unit())
    unit = replace(unit, rails=replace(unit.rails, rest_cushion_plane_y=unit.rails.rest_cushion_plane_y + 4.2e-3))
    begin = make_state(h=unit.hammer.rest_angle)
    values = {"d": -2e-5, "kf": 0.0129, "kr": 0.0129, "v_kr": 0.5, "v_kf": 0.5, "j": 0.419, "v_j": 5.0}
    for name, value in values.items():
        begin[name] = value
    fast, slow = both(unit, Drive(), None, 120, state=begin)
    assert active(fast) >= OUT_OF_REACH, sorted(active(fast))
    assert_same(fast, slow, "damper, window, cushion")


def changed(unit: ActionUnit, rng: np.random.Generator) -> ActionUnit:
    """The unit with masses, springs, laws, friction, string and points changed at random."""

    def near(value: float, share: float) -> float:
        return value * float(rng.uniform(1 - share, 1 + share))

    def shifted(v: tuple[float, float]) -> tuple[float, float]:
        return v[0] + float(rng.uniform(-1e-4, 1e-4)), v[1] + float(rng.uniform(-1e-4, 1e-4))

    laws = {
        n: replace(
            c,
            stiffness=near(c.stiffness, 0.4),
            exponent=c.exponent + 0.1 * rng.integers(2),
            loss=near(c.loss, 0.9),
            friction=near(c.friction, 0.5),
        )
        for n, c in unit.contacts.items()
    }
    w, j, lv, hm, k = unit.wippen, unit.jack, unit.lever, unit.hammer, unit.key
    return replace(
        unit,
        key=replace(
            k,
            bending_stiffness=near(k.bending_stiffness, 0.5),
            bending_damping=near(k.bending_damping, 1.0),
            front_moment=near(k.front_moment, 0.5),
            capstan_centre=shifted(k.capstan_centre),
            inertia_rear=near(k.inertia_rear, 0.3),
        ),
        wippen=replace(w, mass=near(w.mass, 0.1), mass_centre=shifted(w.mass_centre), heel_angle=near(0.05, 1.0)),
        jack=replace(j, mass=near(j.mass, 0.3), top_rear=shifted(j.top_rear), toe_radius=near(j.toe_radius, 0.01)),
        lever=replace(lv, inertia=near(lv.inertia, 0.3), surface_to=shifted(lv.surface_to)),
        hammer=replace(
            hm,
            head_mass=near(hm.head_mass, 0.3),
            head_mass_centre=(near(0.131, 0.02), near(0.02, 0.5)),
            knuckle_centre=shifted(hm.knuckle_centre),
            head_gyration=near(hm.head_gyration, 0.3),
            shank_bending_stiffness=near(hm.shank_bending_stiffness, 0.5),
            shank_bends=bool(rng.integers(2)),
        ),
        springs=replace(unit.springs, repetition=near(0.033, 0.3), jack_rate=near(0.004, 1.0)),
        friction={n: near(v, 1.0) for n, v in unit.friction.items()},
        contacts=laws,
        string=replace(
            unit.string,
            impedance=near(6.2, 0.5),
            far_end_reflection=float(rng.uniform(0.0, 1.0)),
            far_end_delay=float(rng.uniform(0.2e-3, 0.8e-3)),
        ),
    )


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(seed=st.integers(0, 2**32 - 1), phase=st.sampled_from(PHASES), dt=st.sampled_from([10e-6, 25e-6, 40e-6]))
def test_kernel_follows_the_reference_whatever_the_unit(seed: int, phase: str, dt: float) -> None:
    """Random units, started in the states of the design unit; source: reference.py."""
    unit = changed(load_design_unit(), np.random.default_rng(seed))
    start, drive = phases()[phase]
    fast, slow = both(unit, drive, start, 40, dt=dt)
    assert_same(fast, slow, f"{phase}, seed {seed}")
