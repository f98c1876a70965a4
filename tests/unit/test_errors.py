"""What is caught where units are tried: that a unit cannot be built or read, and nothing else."""

from __future__ import annotations

import pickle
from dataclasses import replace
from functools import partial

import pytest

import sim
from sim.diagnosis import library
from sim.diagnosis.bench_tests import try_symptoms
from sim.errors import InputError, NoUnitError, SimulationError, UnitError
from sim.physics.run import pack_parameters
from sim.unit.model import ActionUnit


def headless() -> ActionUnit:
    """A hammer whose head weighs less than nothing."""
    unit = sim.load("concert-grand-natural")
    return replace(unit, hammer=replace(unit.hammer, head_mass=-0.02))


def broken() -> ActionUnit:
    raise ValueError("a slip in the code, not in the unit")


def test_a_unit_that_no_bodies_make_up_is_passed_over() -> None:
    with pytest.raises(UnitError, match="masses"):
        pack_parameters(headless())
    assert try_symptoms(headless()) is None and library._read_made_unit(headless) is None


def test_a_slip_in_the_code_is_not_taken_for_such_a_unit() -> None:
    with pytest.raises(ValueError, match="a slip"):
        library._read_made_unit(broken)


def test_measures_that_make_no_unit_are_both_bad_input_and_no_unit() -> None:
    with pytest.raises(NoUnitError) as refused:
        sim.load("concert-grand-natural", {"hammer.knuckle_set": "90 mm"})
    assert isinstance(refused.value, InputError) and isinstance(refused.value, UnitError) and refused.value.faults


@pytest.mark.parametrize("made", [partial(SimulationError, "leaves", 0.1, "jack"), partial(NoUnitError, [])])
def test_they_go_from_process_to_process(made: partial[UnitError]) -> None:
    error = made()
    again = pickle.loads(pickle.dumps(error))
    assert type(again) is type(error) and again.name == error.name and str(again) == str(error)
