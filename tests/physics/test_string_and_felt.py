"""Hammer, felt and string alone, against closed forms.

The hammer is held to a straight path: shank level and rigid, crown on its line (so
that its lever arm is at its largest and does not change to first order), no weight,
no friction, no other contact.  Its effective mass is the inertia over the arm's
square.  Left over: the arm's change over the way x, (x / 131 mm)²/2, which is 1e-5 for the
squeeze of a felt by 0.5 mm, and the step, 1 µs against a contact of 2 ms: order 2, 1e-6.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from sim.physics.mechanism import FRICTION_ROWS
from sim.physics.run import Drive, Run, run
from tests.lazily import Lazily
from tests.physics.design_unit import load_design_unit
from tests.physics.rig import Array, make_parameters, make_rigid, make_state, remove_contacts, remove_friction
from tests.tiers import try_each

optimize = Lazily("scipy.optimize")

STEP = 1e-6
ARM = load_design_unit().hammer.strike_point[0]
NEVER = 1e6
RIGID_WALL = 1e12
"""Impedance, kg/s, against which no hammer moves the string."""


def hammer_on_string(*, impedance: float, stiffness: float, exponent: float, loss: float, near_delay: float) -> Array:
    p = remove_friction(remove_contacts(make_parameters(make_rigid(load_design_unit()))))
    p["g"] = 0.0
    p["strike_y"], p["string_y"] = 0.0, p["hy"]
    p["K_string"], p["p_string"], p["c_string"], p["limit_string"] = stiffness, exponent, loss, 1.0
    p["half_admittance"], p["near_delay"] = 1 / (2 * impedance), near_delay
    return p


def blow(p: Array, speed: float, duration: float) -> Run:
    """The hammer starts 2.3 steps short of the string."""
    start = make_state(h=-2.3 * speed * STEP / ARM, v_h=speed / ARM)
    return run(p, Drive(), duration, start, step=STEP, every=STEP).require()


def mass(p: Array) -> float:
    return float(p["mass_hh"][0]) / ARM**2


def on_string(r: Run) -> float:
    """Time from the first make to the first break of the contact, s."""
    return float(r.log.times("string", make=False)[0] - r.log.times("string", make=True)[0])


@try_each("speed", [2.0, 0.7, 4.5])
@try_each("exponent", [2.5, 2.0, 3.5])
def test_felt_on_a_rigid_wall(speed: float, exponent: float) -> None:
    """Largest squeeze ((p+1) m v²/2K)^(1/(p+1)); contact 2 squeeze/v √π Γ(1+q)/Γ(½+q), q = 1/(p+1).

    Source: energy and quadrature, mechanics (the lossless power law; e.g. Landau & Lifshitz,
    Theory of Elasticity, § 9, for p = 3/2).
    """
    stiffness = 4e9 * 0.5e-3 ** (2.5 - exponent)
    p = hammer_on_string(impedance=RIGID_WALL, stiffness=stiffness, exponent=exponent, loss=0.0, near_delay=1.0)
    m, q = mass(p), 1 / (exponent + 1)
    squeeze = ((exponent + 1) * m * speed**2 / (2 * stiffness)) ** q
    contact = 2 * squeeze / speed * math.sqrt(math.pi) * math.gamma(1 + q) / math.gamma(0.5 + q)
    r = blow(p, speed, 1.2 * contact)
    deepest = ARM * float(np.sin(r.trace["h"]).max())
    assert deepest == pytest.approx(squeeze, rel=5e-5), f"squeeze {deepest} m, closed form {squeeze} m"
    assert on_string(r) == pytest.approx(contact, rel=1e-4), f"contact {on_string(r)} s, closed form {contact} s"
    peak = float(r.trace["N_string"].max())
    assert peak == pytest.approx(stiffness * squeeze**exponent, rel=2e-4)
    back = -float(r.state["v_h"][0]) * ARM
    assert back == pytest.approx(speed, rel=1e-5), f"{back} m/s back from a lossless felt, {speed} m/s in"


@try_each("speed", [2.0, 0.7, 4.5])
@try_each("loss", [0.25, 0.05, 1.0])
def test_rebound_from_a_felt_with_loss(speed: float, loss: float) -> None:
    """v/c - ln(1 + c v)/c² is the same (v counted inward, negative on the way out) before and after.

    Source: m v dv = -K d**p (1 + c v) dd, separated and integrated over a whole contact
    (Hunt & Crossley, J. Appl. Mech. 42 (1975) 440; Marhefka & Orin, IEEE Trans. SMC A 29 (1999) 566);
    independent of stiffness, exponent and mass.
    """
    p = hammer_on_string(impedance=RIGID_WALL, stiffness=4e9, exponent=2.5, loss=loss, near_delay=1.0)
    r = blow(p, speed, 0.02)
    assert len(r.log.times("string", make=False)), "still on the string"

    def kept(v: float) -> float:
        return v / loss - math.log1p(loss * v) / loss**2

    expected = -optimize.brentq(lambda v: kept(v) - kept(speed), -(1 - 1e-12) / loss, 0.0, xtol=1e-14)
    back = -float(r.state["v_h"][0]) * ARM
    assert back == pytest.approx(expected, rel=2e-4), f"{back} m/s back, closed form {expected} m/s"
    lost = r.ledger.felts["string"]
    assert lost == pytest.approx(0.5 * mass(p) * (speed**2 - expected**2), rel=5e-4), f"ledger: {lost} J"


@try_each("impedance", [10.0, 5.0, 20.0])
@try_each("stiffness", [2e4, 1e5])
def test_linear_felt_on_an_impedance(impedance: float, stiffness: float) -> None:
    """Mass, spring and dashpot 2Z in a row: F'' + K/2Z F' + K/m F = 0, F(0) = 0, F'(0) = K v.

    Hall, JASA 81 (1987) 535 (soft linear hammer on a long string, before waves come back).
    The pulse is followed in time, with its end, the hammer's speed and the string's place after.
    """
    speed = 2.0
    p = hammer_on_string(impedance=impedance, stiffness=stiffness, exponent=1.0, loss=0.0, near_delay=1.0)
    m = mass(p)
    decay, square = stiffness / (4 * impedance), stiffness / m - (stiffness / (4 * impedance)) ** 2
    end = math.pi / math.sqrt(square) if square > 0 else math.inf  # overdamped, felt and string never part
    duration = 1.3 * end if square > 0 else 8 / (decay - math.sqrt(-square))

    def force(t: Array) -> Array:
        root = math.sqrt(abs(square))
        wave = np.sin(root * t) if square > 0 else np.sinh(root * t)
        return np.maximum(0.0, stiffness * speed / root * np.exp(-decay * t) * wave)

    r = blow(p, speed, duration)
    t = r.trace["t"] - float(r.log.times("string", make=True)[0])
    t, measured = t[t > 0], r.trace["N_string"][t > 0]
    expected = np.where(t < end, force(t), 0.0)
    miss = np.abs(measured - expected).max() / expected.max()
    shown = f"2Z {2 * impedance} kg/s, K {stiffness} N/m, {'under' if square > 0 else 'over'}damped"
    way = m * speed / (2 * impedance) + speed * math.sqrt(m / stiffness)
    arm = (way / ARM) ** 2
    # the force starts with a corner: one step's part of it is uncertain
    assert miss < arm + 2 * STEP * stiffness * speed / expected.max(), f"{shown}: pulse off by {miss} of its peak"
    if square > 0:
        assert on_string(r) == pytest.approx(end, rel=arm + 1e-5), f"{shown}: contact {on_string(r)}, expected {end}"
    fine = np.linspace(0.0, min(end, float(t[-1])), 200001)
    impulse = np.trapezoid(force(fine), fine)
    assert float(r.state["v_h"][0]) * ARM == pytest.approx(speed - impulse / m, abs=(arm + 1e-5) * speed), shown
    assert float(r.state["ys"][0]) == pytest.approx(impulse / (2 * impedance), rel=arm + 1e-5), shown


def test_energy_sent_along_the_string_is_that_of_two_waves() -> None:
    """Work on an impedance 2Z, no wave back: integral of F²/2Z; and it is what the hammer has lost, felt lossless."""
    p = hammer_on_string(impedance=6.2, stiffness=4e9, exponent=2.5, loss=0.0, near_delay=1.0)
    r = blow(p, 2.0, 8e-3)
    sent = float(np.sum(r.trace["N_string"] ** 2) * STEP) / (2 * 6.2)
    after = float(r.state["v_h"][0]) * ARM
    assert r.ledger.string == pytest.approx(sent, rel=1e-5)
    assert r.ledger.string == pytest.approx(0.5 * mass(p) * (2.0**2 - after**2), rel=1e-4)


@pytest.mark.parametrize(("delay", "far", "reflection"), [(0.46e-3, NEVER, 0.0), (0.3e-3, 0.71e-3, 0.8)])
def test_string_moves_as_its_waves_add_up(delay: float, far: float, reflection: float) -> None:
    """d'Alembert: a pulse F/2Z goes both ways, comes back turned over after its delay and passes on.

    The string's place at the strike point is worked out from the recorded force alone, by
    lists of travelling waves at the step (delays are whole steps here), and must be the
    recorded one to round-off.  Near end alone: y(t) = integral of (F(t) - F(t - delay)) / 2Z,
    so that the string is back at rest after the pulse.
    """
    impedance = 6.2
    p = hammer_on_string(impedance=impedance, stiffness=4e9, exponent=2.5, loss=0.25, near_delay=delay)
    p["far_delay"], p["far_reflection"] = min(far, 1.0), reflection
    r = blow(p, 2.0, 6e-3)
    force, place = r.trace["N_string"], r.trace["string"]
    n, near, back = len(force), round(delay / STEP), round(min(far, 1.0) / STEP)
    to_near, to_far, speed = np.zeros(n), np.zeros(n), np.zeros(n)
    for k in range(n):
        from_near = -to_near[k - near] if k >= near else 0.0
        from_far = -reflection * to_far[k - back] if k >= back else 0.0
        speed[k] = force[k] / (2 * impedance) + from_near + from_far
        to_near[k], to_far[k] = speed[k] - from_near, speed[k] - from_far
    own = np.cumsum(0.5 * STEP * (speed + np.concatenate([[0.0], speed[:-1]])))
    miss = np.abs(own - place).max()
    assert miss < 1e-9 * place.max(), f"string off by {miss} m of {place.max()} m"
    if reflection == 0.0:
        assert abs(place[-1]) < 1e-6 * place.max(), f"the string does not come back: {place[-1]} m"
    assert set(r.ledger.rubbing) == set(FRICTION_ROWS)
