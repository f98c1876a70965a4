"""A template that touches the hammers: statics by hand, and cause and effect."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from sim.bench.rest import at_rest
from sim.bench.template import Touching, touching
from sim.unit.model import CENTRES, GRAVITY, ActionUnit
from sim.unit.scenario import load

SCENARIO = Path(__file__).resolve().parents[2] / "scenarios" / "concert-grand-natural.toml"
GF = 1e-3 * GRAVITY


@cache
def unit() -> ActionUnit:
    return load(SCENARIO)


@cache
def by_cloth() -> dict[float, Touching]:
    return {t.cloth: t for t in touching(unit())}


def test_a_template_that_is_clear_reads_true_and_bears_on_nothing() -> None:
    for t in by_cloth().values():
        clear = t.gap >= 0
        assert clear.sum() >= 3
        assert np.all(t.read[clear] == 0) and np.all(t.force[clear] == 0) and np.all(t.squeeze[clear] == 0)


def test_a_template_that_touches_reads_below_the_true_line() -> None:
    """The crown gives way under it; taken off, friction keeps some of the way but never more than all of it."""
    for t in by_cloth().values():
        pressed = t.gap < 0
        assert np.all(t.read[pressed] == t.gap[pressed])
        assert np.all(t.left[pressed] >= t.read[pressed] - 1e-6) and np.all(t.left <= 1e-6)
        assert np.all(t.squeeze[t.gap < -0.1e-3] > 0), "the back-rail cloth is loaded through the action"


def test_a_softer_cloth_gives_more() -> None:
    """Under one force that reaches the cloth (the jack bears the knuckle) the softer cloth reads farther off."""
    soft, own, hard = (by_cloth()[c].high_at(10 * GF) for c in (0.25, 1.0, 4.0))
    assert soft is not None and own is not None and hard is not None
    assert soft > own + 0.1e-3 > hard + 0.1e-3
    squeezed = [float(np.interp(10 * GF, t.force[t.gap <= 0], t.squeeze[t.gap <= 0])) for t in by_cloth().values()]
    assert squeezed[0] > squeezed[1] > squeezed[2]


def test_first_the_springs_margin_then_the_jack() -> None:
    """The way on the spring alone is the jack's gap below the lever by the arms crown : knuckle (131 : 17), by hand.

    The jack stands 0.20 mm below: 1.5 mm at the crown; its own and the knuckle's leather give on top of it.
    """
    t = by_cloth()[1.0]
    steps = np.diff(t.force[t.gap <= -0.5e-3]) / np.diff(-t.gap[t.gap <= -0.5e-3])
    middle = -0.5 * (t.gap[t.gap <= -0.5e-3][1:] + t.gap[t.gap <= -0.5e-3][:-1])
    bears = middle[steps > 1e-3 * GRAVITY / 1e-3][0]
    assert bears == pytest.approx(0.20e-3 * 131 / 17, abs=0.35e-3)


def test_cloth_carries_what_the_levers_hand_on() -> None:
    """Without friction, jack bearing: cloth force = template force times crown travel per cloth travel (virtual work).

    By hand from level arms at rest: crown over knuckle about the hammer centre, knuckle over heel (57.42 mm) about the
    wippen centre, capstan over cloth (131.02 and 225 mm) about the balance pin.
    """
    smooth = replace(
        unit(),
        friction=dict.fromkeys(CENTRES, 0.0),
        contacts={n: replace(law, friction=0.0) for n, law in unit().contacts.items()},
    )
    (t,) = touching(smooth, 3e-3, (1.0,))
    law = smooth.contacts["back_cloth"]
    bedded = -at_rest(smooth).at_rest["back_cloth"]
    borne = law.stiffness * ((bedded + t.squeeze) ** law.exponent - bedded**law.exponent)
    c, s = np.cos(smooth.hammer.rest_angle), np.sin(smooth.hammer.rest_angle)
    crown, knuckle = 131e-3 * c - 50e-3 * s, 17e-3 * c + 6.5e-3 * s
    heel_side = (smooth.wippen.centre[0] - smooth.hammer.centre[0] - knuckle) / 57.42e-3
    hand = crown / knuckle * heel_side * 131.02 / 225
    deep = t.gap < -2.3e-3
    slope = np.polyfit(t.force[deep], borne[deep], 1)[0]
    assert slope == pytest.approx(hand, rel=0.1)
