"""A template that touches the hammers: statics by hand, and cause and effect."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from sim.bench.rest_pose import settle_at_rest
from sim.piano.template import DEFAULT_GAP, TemplateContact, lower_template, tabulate_settings
from sim.scenario.load import load
from sim.unit.model import CENTRES, GRAVITY, ActionUnit

SCENARIO = Path(__file__).resolve().parents[2] / "scenarios" / "concert-grand-natural.toml"
GF = 1e-3 * GRAVITY


@cache
def unit() -> ActionUnit:
    return load(SCENARIO)


@cache
def by_cloth() -> dict[float, TemplateContact]:
    return {t.cloth: t for t in lower_template(unit())}


@cache
def without_friction() -> TemplateContact:
    u = unit()
    smooth = replace(
        u,
        friction=dict.fromkeys(CENTRES, 0.0),
        contacts={n: replace(law, friction=0.0) for n, law in u.contacts.items()},
    )
    (t,) = lower_template(smooth, 3e-3, (1.0,))
    return t


def test_a_template_that_is_clear_reads_true_and_bears_on_nothing() -> None:
    for t in by_cloth().values():
        clear = t.gap >= 0
        assert clear.sum() >= 3
        for column in (t.read, t.true, t.force, t.squeeze):
            assert np.all(column[clear] == 0)


def test_a_template_that_touches_reads_low_and_playing_brings_the_true_line_back() -> None:
    """Under it the crown gives way; a blow wipes out what it did, within the 0.2 mm by which single blows differ."""
    for t in by_cloth().values():
        pressed = t.gap < 0
        assert np.all(t.read[pressed] == t.gap[pressed])
        assert np.all(np.abs(t.true) < 0.2e-3)
        assert np.all(np.diff(t.force[t.gap <= -0.1e-3]) > 0)
        assert np.all(t.squeeze[t.gap < -0.1e-3] > 0), "the back-rail cloth is loaded through the action"


def test_taken_off_and_not_played_friction_alone_keeps_the_crown_off_its_line() -> None:
    """Thrown up by cloth and spring it stays over its line; without friction there is but one line."""
    thrown = max(float(t.left.max()) for t in by_cloth().values())
    assert thrown > 1e-3
    smooth = without_friction()
    assert abs(smooth.under_rest) < 0.05e-3 < 0.5e-3 < by_cloth()[1.0].under_rest
    assert np.all(np.abs(smooth.true) < 0.05e-3)


def test_hung_as_told_the_true_line_is_the_wanted_one() -> None:
    """At the gap that is told the template bears as it is told to, on a crown whose true line is the wanted one.

    (Of touches lighter than 10 gf the way is no more than blows differ by.)
    """
    wanted = 0.19
    clear, *touched = tabulate_settings(tuple(by_cloth().values()), wanted)
    assert clear.read == clear.true == wanted and clear.gap == DEFAULT_GAP > 0
    assert {row.cloth for row in touched} == set(by_cloth()) and len(touched) >= 6
    for row in touched:
        assert row.cloth is not None and row.true - row.read == pytest.approx(-row.gap)
        under = by_cloth()[row.cloth].at(row.gap)
        assert under is not None and row.true > row.read
        assert row.force < 9 * GF or under.force == pytest.approx(row.force, rel=0.15)
    assert by_cloth()[1.0].at(-9e-3) is None, "deeper than was tried"


def test_a_softer_cloth_gives_more() -> None:
    """Under one force that reaches the cloth (the jack bears the knuckle) the softer cloth reads farther off."""
    soft, own, hard = (by_cloth()[c].find_height_excess(20 * GF) for c in (0.25, 1.0, 4.0))
    assert soft is not None and own is not None and hard is not None
    assert soft > own + 0.1e-3 > hard + 0.2e-3
    squeezed = [float(np.interp(10 * GF, t.force[t.gap <= 0], t.squeeze[t.gap <= 0])) for t in by_cloth().values()]
    assert squeezed[0] > squeezed[1] > squeezed[2]


def test_first_the_springs_margin_then_the_jack() -> None:
    """The way on the spring alone is the jack's gap below the lever by the arms crown : knuckle (131 : 17), by hand.

    The jack stands 0.20 mm below: 1.5 mm at the crown; its own and the knuckle's leather give on top of it.
    """
    t = without_friction()
    deep = t.gap <= -0.5e-3
    steps = np.diff(t.force[deep]) / np.diff(-t.gap[deep])
    middle = -0.5 * (t.gap[deep][1:] + t.gap[deep][:-1])
    bears = middle[steps > 1e-3 * GRAVITY / 1e-3][0]
    assert bears == pytest.approx(0.20e-3 * 131 / 17, abs=0.35e-3)


def test_cloth_carries_what_the_levers_hand_on() -> None:
    """Without friction, jack bearing: cloth force = template force times crown travel per cloth travel (virtual work).

    By hand from level arms at rest: crown over knuckle about the hammer centre, knuckle over heel (57.42 mm) about the
    wippen centre, capstan over cloth (131.02 and 225 mm) about the balance pin.
    """
    u, t = unit(), without_friction()
    law = u.contacts["back_cloth"]
    bedded = -settle_at_rest(u).at_rest["back_cloth"]
    borne = law.stiffness * ((bedded + t.squeeze) ** law.exponent - bedded**law.exponent)
    c, s = np.cos(u.hammer.rest_angle), np.sin(u.hammer.rest_angle)
    crown, knuckle = 131e-3 * c - 50e-3 * s, 17e-3 * c + 6.5e-3 * s
    heel_side = (u.wippen.centre[0] - u.hammer.centre[0] - knuckle) / 57.42e-3
    hand = crown / knuckle * heel_side * 131.02 / 225
    deep = t.gap < -2.3e-3
    slope = np.polyfit(t.force[deep], borne[deep], 1)[0]
    assert slope == pytest.approx(hand, rel=0.1)
