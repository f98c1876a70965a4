"""One pinned part with dry friction, swinging and hanging freely, against closed forms.

A part turning about its centre with gravity moment G = m g r and a dry torque T
between turning points A, B on either side of the lowest place loses T (A + B) of
energy: G (cos B - cos A) = T (A + B).  For small swings this is the textbook's
amplitude lost per half swing, A - B = 2 T / G (Den Hartog, Mechanical Vibrations,
§ 8.7; Timoshenko, Vibration Problems in Engineering).  It comes to rest for good at
the first turning point inside G sin A <= T.

Every other part is held by an inertia 1e9 times too large, weights of others are
struck out, no contact acts.  The kernel's step of 20 µs against a swing of some 0.5 s:
second order in smooth motion, and a turning point falls within a step, whose angle
is flat there: 1e-8 rad; stops and starts of friction within a step, 1e-6 rad.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pytest
from scipy.special import ellipk

from sim.physics.run import Drive, Run, run
from sim.unit.model import GRAVITY
from tests.lazily import Lazily
from tests.physics.design_unit import load_design_unit
from tests.physics.rig import SPRINGS, Array, make_parameters, make_rigid, make_state, remove_contacts, remove_friction

optimize = Lazily("scipy.optimize")

STEP = 20e-6


@dataclass(frozen=True)
class Part:
    """A part hung so that its mass centre is under its pin at angle 0."""

    coordinate: str
    moment_names: tuple[str, str]
    moment: float
    """Mass times distance, kg·m."""
    inertia: float
    torque: float

    @property
    def gravity(self) -> float:
        return self.moment * GRAVITY


def parts() -> dict[str, Part]:
    u = load_design_unit()
    w, j, lv, hm = u.wippen, u.jack, u.lever, u.hammer

    def out(p: tuple[float, float], mass: float) -> float:
        return mass * math.hypot(*p)

    head = out(hm.head_mass_centre, hm.head_mass) + hm.shank_mass_moment
    whole = hm.head_mass * (math.hypot(*hm.head_mass_centre) ** 2 + hm.head_gyration**2) + hm.shank_inertia
    return {
        "hammer": Part("h", ("hammer_mx", "hammer_my"), head, whole, u.friction["hammer"]),
        "wippen": Part("w", ("wippen_mx", "wippen_my"), out(w.mass_centre, w.mass), w.inertia, u.friction["wippen"]),
        "jack": Part("j", ("jack_mx", "jack_my"), out(j.mass_centre, j.mass), j.inertia, 0.05 * u.friction["jack"]),
        "lever": Part("l", ("lever_mx", "lever_my"), out(lv.mass_centre, lv.mass), lv.inertia, 0.05e-3),
    }


def hung(name: str, torque: float) -> Array:
    """Parameters with everything but the one part held, and that part hanging at angle 0."""
    part = parts()[name]
    p = remove_friction(remove_contacts(make_parameters(make_rigid(load_design_unit()))))
    for moment in ("hammer", "wippen", "jack", "lever"):
        p[f"{moment}_mx"] = p[f"{moment}_my"] = 0.0
    p[part.moment_names[1]] = -part.moment
    for spring in (*SPRINGS, "key_front_moment"):
        p[spring] = 0.0
    p["jx"] = p["jy"] = p["lx"] = p["ly"] = 0.0
    p["inertia_w"] = part.inertia if name == "wippen" else 1e9
    held = 1e-9
    p["inv_j"] = 1 / part.inertia if name == "jack" else held
    p["inv_l"] = 1 / part.inertia if name == "lever" else held
    p["inv_hh"] = 1 / part.inertia if name == "hammer" else held
    for pair in ("he", "hr", "ee", "er", "rr"):
        p[f"inv_{pair}"] = 0.0
    p[f"friction_{name}"] = torque
    return p


def swing(name: str, start: float, torque: float, duration: float) -> Run:
    x = parts()[name].coordinate
    return run(hung(name, torque), Drive(), duration, make_state(**{x: start}), step=STEP, every=STEP).require()


def turning_points(r: Run, x: str) -> Array:
    """|angle| at each change of direction and where it came to rest, the start first."""
    angle = r.trace[x]
    way = np.sign(np.diff(angle))
    moving = np.flatnonzero(way)
    turns = moving[1:][way[moving[1:]] != way[moving[:-1]]]
    return np.abs(np.concatenate([[angle[0]], angle[turns], [angle[-1]]]))


def next_turn(part: Part, a: float, torque: float) -> float:
    """The next turning point b by the energy lost: G (cos b - cos a) = T (a + b), without its root b = -a."""

    def miss(b: float) -> float:
        return part.gravity * math.sin((a - b) / 2) * float(np.sinc((a + b) / (2 * math.pi))) - torque

    return float(optimize.brentq(miss, -a, a, xtol=1e-15))


@pytest.mark.parametrize("name", ["hammer", "wippen", "jack", "lever"])
def test_swing_dies_away_by_twice_the_torque_over_the_gravity_stiffness(name: str) -> None:
    """Every turning point until rest, by the energy law, and the textbook's 2 T / G to the order of the angle.

    Source: module docstring.
    """
    part = parts()[name]
    torque = min(part.torque, 0.02 * part.gravity)
    start = 0.35
    period = 2 * math.pi * math.sqrt(part.inertia / part.gravity)
    halves = math.ceil(start * part.gravity / (2 * torque)) + 2
    r = swing(name, start, torque, 0.55 * period * halves)
    found = turning_points(r, part.coordinate)
    expected = [start]
    while part.gravity * math.sin(expected[-1]) > torque:
        expected.append(abs(next_turn(part, expected[-1], torque)))
    shown = f"{name}: G {part.gravity} N·m, T {torque} N·m, turning points {found}, closed form {expected}"
    assert len(found) in (len(expected), len(expected) + 1), shown
    assert np.abs(found[: len(expected)] - expected).max() < 5e-6, shown
    drops = -np.diff(found[: len(expected) - 1])
    assert np.abs(drops / (2 * torque / part.gravity) - 1).max() < start**2 / 6, f"{shown}; drops {drops}"


@pytest.mark.parametrize("name", ["hammer", "wippen", "jack", "lever"])
def test_period_without_friction_is_that_of_a_pendulum(name: str) -> None:
    """4 sqrt(I/G) K(sin(A/2)), K the complete elliptic integral.

    Source: the plane pendulum (Landau & Lifshitz, Mechanics, § 11).
    """
    part = parts()[name]
    start = 0.35
    period = 4 * math.sqrt(part.inertia / part.gravity) * float(ellipk(math.sin(start / 2) ** 2))
    r = swing(name, start, 0.0, 2.3 * period)
    angle, t = r.trace[part.coordinate], r.trace["t"]
    down = np.flatnonzero((angle[:-1] > 0) & (angle[1:] <= 0))
    zeros = t[down] + STEP * angle[down] / (angle[down] - angle[down + 1])
    assert zeros[1] - zeros[0] == pytest.approx(period, rel=1e-6), f"{name}: {zeros[1] - zeros[0]} s, {period} s"


@pytest.mark.parametrize("name", ["hammer", "wippen", "jack", "lever"])
@pytest.mark.parametrize(("share", "moves"), [(0.999, False), (1.001, True)])
def test_part_hangs_still_until_gravity_passes_the_friction(name: str, share: float, moves: bool) -> None:
    """Let go where G sin A is just under the torque it stays, to the last bit, for a second; just over, it goes."""
    part = parts()[name]
    torque = 0.1 * part.gravity
    start = math.asin(share * torque / part.gravity)
    r = swing(name, start, torque, 1.0)
    x = part.coordinate
    moved = abs(float(r.state[x][0]) - start)
    assert (moved > 1e-5) == moves, f"{name}: moved {moved} rad with {share} of the torque"
    if not moves:
        assert moved < 1e-15, f"{name} creeps: {moved} rad in a second"


def test_friction_of_a_riding_part_acts_on_its_carrier() -> None:
    """Jack and lever drag a freely turning wippen along: no torque from outside, so angular momentum stays.

    With their centres at the wippen's the three turn about one pin and stick together in the end
    at (sum of I w) / (sum of I). Source: conservation of angular momentum.
    """
    u = load_design_unit()
    p = hung("wippen", 0.0)
    p["wippen_my"] = 0.0
    p["inv_j"], p["inv_l"] = 1 / u.jack.inertia, 1 / u.lever.inertia
    p["friction_jack"], p["friction_lever"] = 3e-4, 1.2e-3
    r = run(p, Drive(), 0.1, make_state(v_w=1.0, v_j=-4.0, v_l=6.0), step=STEP, every=None).require()
    inertia = np.array([float(p["inertia_w"][0]), u.jack.inertia, u.lever.inertia])
    together = inertia @ np.array([1.0, -4.0, 6.0]) / inertia.sum()
    speeds = [float(r.state[f"v_{x}"][0]) for x in "wjl"]
    # the solver stops at 1e-6 of the bound: T dt 1e-6 / I = 1e-8 rad/s a step
    assert np.abs(np.array(speeds) - together).max() < 1e-6, f"{speeds}, together {together}"
