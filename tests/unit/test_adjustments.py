"""What a learner can change: every fault can be mended, values are read with units and refused in words."""

from __future__ import annotations

import pytest

import sim
from sim.diagnosis.faults import load_faults
from sim.errors import InputError, UnitError
from sim.teaching.adjustments import Adjustment, load_adjustments
from sim.unit.model import ActionUnit


@pytest.fixture(scope="module")
def unit() -> ActionUnit:
    return sim.load("damped")


def test_every_fault_can_be_mended(unit: ActionUnit) -> None:
    """From the worst of each fault its hand reaches back to where the input stood."""
    for fault in load_faults().values():
        hand, worst = load_adjustments()[fault.at], fault.value(1.0)
        back = {"to": hand.now(unit), "by": -worst, "share": hand.now(unit)}[fault.how]
        assert hand.low <= back <= hand.high, fault.name
        assert hand.seconds > 0 and hand.step > 0


@pytest.mark.parametrize("hand", load_adjustments().values(), ids=lambda h: h.at)
def test_a_hand_puts_what_it_reads(hand: Adjustment, unit: ActionUnit) -> None:
    value = hand.low + 0.75 * (hand.high - hand.low)
    assert hand.of(unit)
    assert hand.now(hand.put(unit, value)) == pytest.approx(0.0 if hand.relative else value)
    with pytest.raises(UnitError, match="outside"):
        hand.put(unit, hand.high + hand.step)


def test_a_change_and_the_one_back_leave_the_unit(unit: ActionUnit) -> None:
    hand = load_adjustments()["screw.let_off"]
    there = hand.put(unit, 1e-3)
    assert there != unit
    assert hand.put(there, -1e-3).rails.let_off_button_plane_y == pytest.approx(unit.rails.let_off_button_plane_y)


@pytest.mark.parametrize(("typed", "words"), [("9 mm", "-3"), ("2 furlongs", "let-off button"), ("", "let-off button")])
def test_a_value_that_cannot_be_is_refused_in_words(typed: str, words: str) -> None:
    with pytest.raises(InputError, match=words):
        load_adjustments()["screw.let_off"].read(typed)


def test_a_value_is_read_with_its_unit() -> None:
    assert load_adjustments()["screw.let_off"].read("-1/16 in") == pytest.approx(-25.4e-3 / 16)
    assert load_adjustments()["friction.hammer"].read("1.1 N·mm") == pytest.approx(1.1e-3)


def test_what_is_missing_from_a_unit_is_told() -> None:
    assert not load_adjustments()["screw.damper_start"].of(sim.load("treble"))
