"""The fault catalogue as data."""

from __future__ import annotations

from dataclasses import fields

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.bench.readings import Repetition, Settings, Strike, TouchWeight, list_reading_fields
from sim.diagnosis.faults import apply_faults, load_fault_pairs, load_faults
from sim.regulation.model_inputs import find_model_input
from sim.studies.variants import BaseScenario

NATURAL, DAMPED = BaseScenario.of("concert-grand-natural").loaded, BaseScenario.of("damped").loaded
NAMES = st.sampled_from(sorted(load_faults()))
SEVERITY = st.floats(0, 1)


def test_every_entry_is_whole() -> None:
    known = {name for record in (Settings, TouchWeight, Strike, Repetition) for name in list_reading_fields(record)}
    for fault in load_faults().values():
        assert fault.prior > 0 and fault.low != fault.high and fault.low != 0
        assert set(fault.signs) <= known
        assert all((fault.title, fault.shows, fault.test, fault.cure))


def test_pairs_are_of_known_faults_that_change_different_inputs() -> None:
    for pair in load_fault_pairs():
        one, other = (load_faults()[name] for name in pair.faults)
        assert one.at != other.at and pair.prior < min(one.prior, other.prior)


@given(NAMES, SEVERITY)
def test_a_fault_changes_its_input_by_what_it_says(name: str, severity: float) -> None:
    fault = load_faults()[name]
    assert fault.of(DAMPED) and fault.of(NATURAL) == (fault.needs == "")
    ill = fault.spoil(DAMPED, severity)
    model_input = find_model_input(fault.at)
    if fault.how == "to":
        assert model_input.get(ill) == pytest.approx(fault.value(severity))
    elif fault.how == "share":
        assert model_input.get(ill) == pytest.approx(fault.value(severity) * model_input.get(DAMPED))
    changed = [f.name for f in fields(ill) if getattr(ill, f.name) != getattr(DAMPED, f.name)]
    assert changed and len(changed) <= 3 and fault.magnitude(severity)


@given(NAMES)
def test_worse_is_farther(name: str) -> None:
    fault = load_faults()[name]
    assert abs(fault.high - _right(name)) > abs(fault.low - _right(name))


def _right(name: str) -> float:
    fault = load_faults()[name]
    return {"to": find_model_input(fault.at).get(NATURAL), "by": 0.0, "share": 1.0}[fault.how]


@given(NAMES, NAMES, SEVERITY, SEVERITY)
def test_faults_of_different_inputs_come_in_any_order(one: str, other: str, a: float, b: float) -> None:
    if load_faults()[one].at == load_faults()[other].at:
        return
    there, back = apply_faults(DAMPED, [(one, a), (other, b)]), apply_faults(DAMPED, [(other, b), (one, a)])
    for name in ("friction", "contacts", "springs", "lever", "jack"):
        assert getattr(there, name) == getattr(back, name)
    assert there.key.front_moment == pytest.approx(back.key.front_moment)
    assert there.wippen.centre == pytest.approx(back.wippen.centre)


@pytest.mark.parametrize("severity", [-0.1, 1.1, float("nan")])
def test_severity_is_between_least_and_worst(severity: float) -> None:
    with pytest.raises(ValueError, match="severity"):
        load_faults()["tight-key"].spoil(NATURAL, severity)


def test_how_bad_is_told_as_at_the_bench() -> None:
    assert load_faults()["tight-hammer-centre"].magnitude(0.0) == "2.00 N·mm"
    assert load_faults()["weak-spring"].magnitude(0.0) == "93 %"
    assert load_faults()["let-off-far"].magnitude(0.0) == "+0.50 mm"
    assert load_faults()["lead-missing"].magnitude(1.0) == "-12.0 gf"
