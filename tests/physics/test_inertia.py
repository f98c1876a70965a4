"""Inertia felt at the key against lever arms worked out by hand (plane kinematics, the scenario's own measures)."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from sim.bench.inertia import read_inertia
from sim.bench.rest_pose import settle_at_rest
from sim.bench.slow_press import PressRun, press_slowly
from sim.physics.run import pack_parameters
from sim.scenario.load import load
from sim.unit.model import ActionUnit

SCENARIO = Path(__file__).resolve().parents[2] / "scenarios" / "concert-grand-natural.toml"
ARM = 0.250
"""Balance pin to the touch point, m: 263 - 13 mm."""
PLACE = 3e-3
"""Travel at which the curve is looked at, m: jack and lever carry the knuckle together there."""


@cache
def pressed(*changes: tuple[str, str]) -> PressRun:
    return press_slowly(settle_at_rest(load(SCENARIO, dict(changes))), back=False)


def at(*changes: tuple[str, str]) -> float:
    """Apparent mass at 3 mm of travel, kg."""
    found = read_inertia(pressed(*changes))
    return float(np.interp(PLACE, found.travel, found.mass))


def heavier(changed: ActionUnit) -> float:
    """What a heavier part adds at 3 mm in the same motion (its own felts would settle a little elsewhere), kg."""
    p = pressed()
    found = read_inertia(replace(p, rest=replace(p.rest, parameters=pack_parameters(changed))))
    return float(np.interp(PLACE, found.travel, found.mass)) - at()


def lift() -> float:
    """Crown travel over touch-point travel round 3 mm, read from the crown's distance to the string."""
    p = pressed()
    travel, crown = p.rest.travel(p.down), p.down.place.crown_to_string
    here = np.interp((PLACE - 0.15e-3, PLACE + 0.15e-3), travel, crown)
    return float(here[0] - here[1]) / 0.3e-3


def crown_arm() -> float:
    """Level distance of crown and hammer centre at that place, m: what lifts the crown."""
    p = pressed()
    angle = float(np.interp(PLACE, p.rest.travel(p.down), p.down.trace["h"]))
    x, y = p.rest.unit.hammer.strike_point
    return float(x * np.cos(angle) - y * np.sin(angle))


def test_key_counts_by_its_arm() -> None:
    """Inertia added to the key's front: I / arm²; that of the rear half too, the bending being slight."""
    more = at(("key.inertia_front", "2.7e-3 kg·m²")) - at()
    assert more == pytest.approx(1e-3 / ARM**2, rel=0.003)
    rear = at(("key.inertia_rear", "2.9e-3 kg·m²")) - at()
    assert rear == pytest.approx(1e-3 / ARM**2, rel=0.02)


def test_wippen_counts_by_its_two_arms() -> None:
    """I (capstan arm / touch arm / heel arm)²: 131.02 mm, 250 mm and 188.44 - 131.02 = 57.42 mm."""
    wippen = pressed().rest.unit.wippen
    more = heavier(replace(pressed().rest.unit, wippen=replace(wippen, inertia=wippen.inertia + 3e-5)))
    assert more == pytest.approx(3e-5 * (131.02 / 250 / 57.42e-3) ** 2, rel=0.03)


def test_hammer_head_counts_by_leverage_squared() -> None:
    """A gram more in the head: (its way over the touch point's)², by the crown's reading and its arm, no energy."""
    hammer = pressed().rest.unit.hammer
    expected = 1e-3 * (float(np.hypot(*hammer.head_mass_centre)) * lift() / crown_arm()) ** 2
    more = heavier(replace(pressed().rest.unit, hammer=replace(hammer, head_mass=hammer.head_mass + 1e-3)))
    assert more == pytest.approx(expected, rel=0.03)


def test_whole_unit_by_hand() -> None:
    """Key, wippen with jack and lever riding on it, and hammer, each by its arms."""
    u = pressed().rest.unit
    key = (1.7e-3 + 1.9e-3) / ARM**2
    turn = 131.02e-3 / ARM / 57.42e-3
    riding = u.wippen.inertia
    for part, centre in ((u.jack, u.wippen.jack_centre), (u.lever, u.wippen.lever_centre)):
        place = np.add(centre, part.mass_centre)
        own = part.inertia - part.mass * np.dot(part.mass_centre, part.mass_centre)
        riding += own + part.mass * float(place @ place)
    head = u.hammer.head_mass * float(np.dot(u.hammer.head_mass_centre, u.hammer.head_mass_centre))
    hammer = (head + u.hammer.shank_inertia) * (lift() / crown_arm()) ** 2
    assert at() == pytest.approx(key + riding * turn**2 + hammer, rel=0.02)


def test_curve_runs_to_let_off_and_friction_leaves_it_alone() -> None:
    """Kinetic energy knows no friction: without any, what is felt is the same within what felts and leathers give."""
    curve, p = read_inertia(pressed()), pressed()
    assert curve.travel[0] > 0 and np.all(np.diff(curve.travel) > 0)
    assert float(curve.travel[-1]) < float(p.rest.travel(p.down)[p.peak])
    assert np.all(np.isfinite(curve.mass)) and np.all(curve.mass > (1.7e-3 + 1.9e-3) / ARM**2)
    smooth = read_inertia(pressed(*((f"friction.{c}", "0 N·mm") for c in ("key", "wippen", "jack", "lever", "hammer"))))
    assert smooth.felt == pytest.approx(curve.felt, rel=0.03)
    assert curve.felt == pytest.approx(at(), rel=0.05)
