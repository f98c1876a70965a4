"""The friction budget: its sites add up to what the bench feels, and each is what statics makes of it."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from sim.bench import slow_press
from sim.bench.friction_budget import FrictionBudget, compute_friction_budget
from sim.bench.readings import TouchWeight
from sim.bench.rest_pose import settle_at_rest
from sim.bench.slow_press import WEIGHT_SPAN, PressRun
from sim.diagnosis.faults import apply_faults
from sim.physics import kernel
from sim.physics.run import STATE_TYPE, Run
from sim.studies.friction import compare_friction
from sim.studies.variants import BaseScenario
from sim.unit.contacts import CONTACT_INDEX, CONTACTS
from sim.unit.model import GRAVITY
from tests.tiers import try_each

GF = 1e-3 * GRAVITY
ILL = [(), (("tight-hammer-centre", 0.6),), (("tight-wippen-centre", 1.0),), (("tight-key", 0.5),),
       (("dry-capstan", 1.0),), (("tight-lever-centre", 0.5),)]  # fmt: skip


@cache
def pressed(scenario: str, ill: tuple[tuple[str, float], ...] = ()) -> tuple[PressRun, TouchWeight, FrictionBudget]:
    press = slow_press.press_slowly(settle_at_rest(apply_faults(BaseScenario.of(scenario).ready, ill)))
    found = compute_friction_budget(press)
    assert found is not None
    return press, slow_press.read_touch_weight(press)[0], found


def stored(press: PressRun, run: Run, travel: float) -> float:
    """What weights, springs and felts hold at a travel, J."""
    row = int(np.argmin(np.abs(press.rest.travel(run) - travel)))
    state = np.zeros(1, STATE_TYPE)
    for name in set(STATE_TYPE.names or ()) & set(kernel.TRACE):
        state[name] = run.trace[name][row]
    squeezed = np.zeros(len(CONTACTS))
    energy = kernel.energy(press.rest.parameters[0], state[0], squeezed)
    squeezed[CONTACT_INDEX["finger"]] = 0.0
    return float(energy[1] + squeezed.sum())


@try_each("ill", ILL, fast=2)
@try_each("scenario", ["concert-grand-natural", "treble", "damped"])
def test_sites_add_up_to_half_of_down_less_up_weight(scenario: str, ill: tuple[tuple[str, float], ...]) -> None:
    """Energy: both ways take what is lost, and what is held otherwise at the ends of the span on either way."""
    press, touch, found = pressed(scenario, ill)
    assert touch.friction is not None and press.up is not None
    more = [stored(press, press.down, at) - stored(press, press.up, at) for at in WEIGHT_SPAN]
    held = 0.5 * (more[1] - more[0]) / (WEIGHT_SPAN[1] - WEIGHT_SPAN[0])
    assert found.total() + held == pytest.approx(touch.friction, abs=0.04 * GF)
    assert abs(held) < 0.35 * GF


def test_whole_stroke_loses_what_the_ledger_says() -> None:
    """The run's own account of rubbing, kept in the kernel at every step, against this one from sampled poses."""
    press, _, found = pressed("concert-grand-natural")
    for site, joule in press.down.ledger.rubbing.items():
        assert found.pressing.work[site][-1] == pytest.approx(joule, rel=0.03, abs=2e-6), site


def test_a_centres_share_is_its_torque_times_its_turn() -> None:
    """Virtual work by hand: the hammer turns by the crown's rise over its radius."""
    press, _, found = pressed("concert-grand-natural")
    rest, unit = press.rest, press.rest.unit
    travel = rest.travel(press.down)
    rise = -np.interp(WEIGHT_SPAN, travel, press.down.place.crown_to_string)
    turn = (rise[1] - rise[0]) / np.hypot(*unit.hammer.strike_point)
    assert found.pressing.over("hammer", WEIGHT_SPAN) == pytest.approx(
        unit.friction["hammer"] * turn / (WEIGHT_SPAN[1] - WEIGHT_SPAN[0]), rel=0.03
    )
    arm = -unit.key.touch_point[0]
    assert found.pressing.over("key", WEIGHT_SPAN) == pytest.approx(unit.friction["key"] / arm, rel=0.01)


def test_what_is_tight_stands_out_beside_the_healthy_unit() -> None:
    found = compare_friction(BaseScenario.of("concert-grand-natural", {"friction.wippen": "8 N·mm"}))
    own, healthy = found.own.budget, found.healthy.budget
    assert own is not None and healthy is not None
    more = {site: own.felt(site) - healthy.felt(site) for site in own.sites}
    assert max(more, key=lambda site: more[site]) == "wippen"
    assert own.felt("wippen") == pytest.approx(10 * healthy.felt("wippen"), rel=0.05)
    assert all(abs(value) < 0.3 * GF for site, value in more.items() if site != "wippen")


def test_let_off_is_lost_at_the_jack_and_knuckle() -> None:
    """What the finger feels there is not in the weights that are read before it (common practice)."""
    _, _, found = pressed("concert-grand-natural")
    at = np.array([8.0e-3])
    forces = {site: float(found.pressing.force(site, at)[0]) for site in found.sites}
    assert max(forces, key=lambda site: forces[site]) == "jack_knuckle"
    assert found.felt("jack_knuckle") < 0.03 * found.total()
