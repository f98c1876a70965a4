"""Every fault of the catalogue shows on the bench what its entry says (symptoms: common practice, no source)."""

from __future__ import annotations

from functools import cache

import pytest

from sim.bench.outcomes import Outcome
from sim.bench.predict import predict
from sim.bench.reading_list import NamedReading, list_readings
from sim.diagnosis.faults import load_faults
from sim.display_units import convert_si
from sim.studies.variants import BaseScenario
from sim.unit.model import ActionUnit
from tests.tiers import try_each

REPETITION = ("tight-lever-centre", "tight-jack-centre", "weak-spring", "lever-low")


@cache
def healthy(needs: str) -> ActionUnit:
    return BaseScenario.of("damped" if needs else "concert-grand-natural").ready


@cache
def well(needs: str) -> dict[str, NamedReading]:
    return list_readings(predict(healthy(needs), repetition=False))


@pytest.mark.parametrize("name", [name for name, fault in load_faults().items() if fault.signs])
def test_worst_case_moves_the_readings_it_names(name: str) -> None:
    """In the direction it says, by more than a bench's accuracy."""
    fault = load_faults()[name]
    ill = list_readings(predict(fault.spoil(healthy(fault.needs), 1.0), repetition=False))
    for reading, sign in fault.signs.items():
        before, after = well(fault.needs)[reading], ill[reading]
        assert before.value is not None and after.value is not None and before.accuracy, reading
        moved = convert_si(after.value - before.value, before.unit)
        assert moved is not None and sign * moved > before.accuracy, (reading, moved)


@try_each("name", REPETITION)
def test_worst_case_of_what_keeps_a_note_from_repeating_does(name: str) -> None:
    found = predict(load_faults()[name].spoil(healthy(""), 1.0))
    assert found.outcome in (Outcome.DOES_NOT_REPEAT, Outcome.JACK_DOES_NOT_RETURN), found.reason


def test_a_tight_hammer_centre_makes_a_right_spring_seem_weak() -> None:
    """Trade: the hammer hardly rises from the check though the spring is right (symptoms of sluggish pinning)."""
    unit = healthy("")
    start, ill = (predict(u).repetition for u in (unit, load_faults()["tight-hammer-centre"].spoil(unit, 1.0)))
    assert start is not None and ill is not None
    assert start.spring_rise > 1e-3 and ill.spring_rise < 0.2 * start.spring_rise  # type: ignore[operator]


def test_friction_leaves_the_balance_weight_and_weight_leaves_the_friction() -> None:
    """Statics: friction adds to the down weight what it takes from the up weight; weight moves both alike."""
    start = predict(healthy(""), repetition=False).touch
    for name, constant, moved in (
        ("tight-key", "balance_weight", "friction"),
        ("tight-wippen-centre", "balance_weight", "friction"),
        ("lead-missing", "friction", "balance_weight"),
    ):
        touch = predict(load_faults()[name].spoil(healthy(""), 1.0), repetition=False).touch
        kept, changed = (abs(getattr(touch, n) - getattr(start, n)) for n in (constant, moved))
        assert kept < 0.02 * changed, (name, kept, changed)


def test_hammer_friction_weighs_at_the_key_by_its_leverage() -> None:
    """About 4 gf for each mN·m: torque over the key's travel a turn of the hammer (principle of virtual work)."""
    unit = healthy("")
    loose, tight = (
        load_faults()["loose-hammer-centre"].spoil(unit, 0.0),
        load_faults()["tight-hammer-centre"].spoil(unit, 0.5),
    )
    torque = tight.friction["hammer"] - loose.friction["hammer"]
    touches = [predict(u, repetition=False).touch for u in (loose, tight)]
    down = touches[1].down_weight - touches[0].down_weight  # type: ignore[operator]
    front = unit.key.touch_point[0] / unit.key.front_edge_x
    turn = touches[0].leverage_mean / unit.hammer.strike_point[0] / front  # type: ignore[operator]
    assert down == pytest.approx(torque * turn, rel=0.15)
