"""The fault catalogue as data."""

from __future__ import annotations

from dataclasses import fields

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.bench.readings import Repetition, Settings, Strike, TouchWeight, readings_of
from sim.diagnosis.faults import faults, pairs, spoiled
from sim.regulation.model_inputs import knob_at
from sim.studies.variants import Origin

NATURAL, DAMPED = Origin.of("concert-grand-natural").loaded, Origin.of("damped").loaded
NAMES = st.sampled_from(sorted(faults()))
SEVERITY = st.floats(0, 1)


def test_every_entry_is_whole() -> None:
    known = {name for record in (Settings, TouchWeight, Strike, Repetition) for name in readings_of(record)}
    for fault in faults().values():
        assert fault.prior > 0 and fault.low != fault.high and fault.low != 0
        assert set(fault.signs) <= known
        assert all((fault.title, fault.shows, fault.test, fault.cure))


def test_pairs_are_of_known_faults_that_change_different_inputs() -> None:
    for pair in pairs():
        one, other = (faults()[name] for name in pair.faults)
        assert one.at != other.at and pair.prior < min(one.prior, other.prior)


@given(NAMES, SEVERITY)
def test_a_fault_changes_its_input_by_what_it_says(name: str, severity: float) -> None:
    fault = faults()[name]
    assert fault.of(DAMPED) and fault.of(NATURAL) == (fault.needs == "")
    ill = fault.spoil(DAMPED, severity)
    knob = knob_at(fault.at)
    if fault.how == "to":
        assert knob.get(ill) == pytest.approx(fault.value(severity))
    elif fault.how == "share":
        assert knob.get(ill) == pytest.approx(fault.value(severity) * knob.get(DAMPED))
    changed = [f.name for f in fields(ill) if getattr(ill, f.name) != getattr(DAMPED, f.name)]
    assert changed and len(changed) <= 3 and fault.magnitude(severity)


@given(NAMES)
def test_worse_is_farther(name: str) -> None:
    fault = faults()[name]
    assert abs(fault.high - _right(name)) > abs(fault.low - _right(name))


def _right(name: str) -> float:
    fault = faults()[name]
    return {"to": knob_at(fault.at).get(NATURAL), "by": 0.0, "share": 1.0}[fault.how]


@given(NAMES, NAMES, SEVERITY, SEVERITY)
def test_faults_of_different_inputs_come_in_any_order(one: str, other: str, a: float, b: float) -> None:
    if faults()[one].at == faults()[other].at:
        return
    there, back = spoiled(DAMPED, [(one, a), (other, b)]), spoiled(DAMPED, [(other, b), (one, a)])
    for name in ("friction", "contacts", "springs", "lever", "jack"):
        assert getattr(there, name) == getattr(back, name)
    assert there.key.front_moment == pytest.approx(back.key.front_moment)
    assert there.wippen.centre == pytest.approx(back.wippen.centre)


@pytest.mark.parametrize("severity", [-0.1, 1.1, float("nan")])
def test_severity_is_between_least_and_worst(severity: float) -> None:
    with pytest.raises(ValueError, match="severity"):
        faults()["tight-key"].spoil(NATURAL, severity)


def test_how_bad_is_told_as_at_the_bench() -> None:
    assert faults()["tight-hammer-centre"].magnitude(0.0) == "2.00 N·mm"
    assert faults()["weak-spring"].magnitude(0.0) == "93 %"
    assert faults()["let-off-far"].magnitude(0.0) == "+0.50 mm"
    assert faults()["lead-missing"].magnitude(1.0) == "-12.0 gf"
