"""Results are values: read-only, compared by what they hold, hashable, shown on a screen at most."""

from __future__ import annotations

import copy
import pickle
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, field, fields, replace
from functools import cache
from typing import Any

import numba
import numpy as np
import pytest

import sim
from sim.bench import friction_budget, inertia, slow_press
from sim.bench import strike as blows
from sim.bench.predict import find_touch, predict
from sim.bench.rest_pose import Rest, settle_at_rest
from sim.diagnosis.inference import Evidence, build_cause_grid, compute_posterior
from sim.diagnosis.library import FaultCurve, Library
from sim.physics.kernel_loader import kernel
from sim.physics.run import Drive, continue_run, run
from sim.unit.model import ActionUnit
from sim.value_records import ReadOnly, value_record

SCREEN = 25 * 100


@value_record
@dataclass(frozen=True)
class Record:
    name: str
    array: np.ndarray
    table: Mapping[str, Any] = field(default_factory=dict)
    many: tuple[Any, ...] = ()
    aside: int = field(default=0, compare=False)


@value_record
@dataclass(frozen=True, slots=True)
class Slim:
    array: np.ndarray


def made(**changes: Any) -> Record:
    array = np.array([1.0, np.nan, -0.0])
    return replace(Record("a", array, {"x": 1.0, "y": np.arange(3)}, (np.ones(2), np.zeros(2))), **changes)


@cache
def unit() -> ActionUnit:
    return sim.set_up(sim.load("concert-grand-natural"))


@cache
def rest() -> Rest:
    return settle_at_rest(unit())


def library() -> Library:
    curve = FaultCurve((0.0, 1.0), np.array([[1.0], [2.0]]), np.zeros((2, 1), int))
    one, none = np.ones(1), np.zeros((1, 1))
    return Library(
        unit(),
        ("down_weight",),
        ("slow_press",),
        one,
        np.zeros(1, int),
        none,
        none,
        one,
        {"tight-key": curve},
        {},
        True,
    )


RESULTS: dict[str, Callable[[], Any]] = {
    "unit": lambda: sim.set_up(sim.load("concert-grand-natural")),
    "prediction": lambda: predict(unit(), repetition=False),
    "rest": lambda: settle_at_rest(unit()),
    "drive": lambda: Drive(1, np.ones((3, 3))),
    "run": lambda: blows.play_touch(rest(), find_touch("soft"))[1],
    "press": lambda: slow_press.press_slowly(rest()),
    "budget": lambda: friction_budget.compute_friction_budget(slow_press.press_slowly(rest())),
    "inertia": lambda: inertia.read_inertia(slow_press.press_slowly(rest())),
    "library": library,
    "posterior": lambda: compute_posterior(build_cause_grid(library()), Evidence({"down_weight": 1.5}, {}, {})),
}


@pytest.mark.parametrize("name", RESULTS)
def test_the_same_result_is_equal_hashable_and_brief(name: str) -> None:
    first, again = RESULTS[name](), RESULTS[name]()
    assert first is not again
    assert first == again and hash(first) == hash(again) and {first: 1}[again] == 1
    assert first != "another" and len(repr(first)) <= SCREEN


@pytest.mark.parametrize("name", RESULTS)
def test_a_result_goes_through_a_pickle_as_it_was(name: str) -> None:
    """As from a worker's process."""
    first = RESULTS[name]()
    again = pickle.loads(pickle.dumps(first))
    assert again == first and hash(again) == hash(first)
    held = [getattr(again, f.name) for f in fields(again)]
    assert not any(value.flags.writeable for value in held if isinstance(value, np.ndarray))


@pytest.mark.parametrize(
    "changed",
    [
        made(array=np.array([1.0, np.nan, 1.0])),
        made(array=np.array([1.0, 2.0, 0.0])),
        made(array=np.array([[1.0, np.nan, 0.0]])),
        made(array=np.array([1, 0, 0])),
        made(table={"x": 1.0, "y": np.arange(4)}),
        made(table={"x": 1.0}),
        made(many=(np.ones(2), np.ones(2))),
        made(many=(np.ones(2),)),
        made(name="b"),
    ],
)
def test_a_record_that_holds_something_else_is_another(changed: Record) -> None:
    assert changed != made()


def test_records_are_equal_by_what_they_hold() -> None:
    assert made() == made() and hash(made()) == hash(made())
    assert made(aside=1) == made() and made(array=np.array([1.0, np.nan, 0.0])) == made()
    pair = np.array([(1.0, np.nan)], [("a", "f8"), ("b", "f8")])
    other = np.array([(2.0, np.nan)], [("a", "f8"), ("b", "f8")])
    assert Slim(pair) == Slim(pair.copy()) and Slim(pair) != Slim(other)


def test_arrays_and_mappings_of_a_record_refuse_changes() -> None:
    mine, table = np.ones(3), {"x": 1.0}
    record = Record("a", mine, table, (mine,))
    for array in (record.array, *record.many, Slim(mine).array, made().table["y"], copy.copy(record).array):
        with pytest.raises(ValueError, match="read-only"):
            array[0] = 2.0
    for name in ("update", "__setitem__", "__delitem__", "pop", "popitem", "setdefault", "clear", "__ior__"):
        with pytest.raises(TypeError, match="read-only"):
            getattr(record.table, name)("x")
    mine[0], table["x"] = 5.0, 5.0  # whoever made them may go on with them
    assert record.table == {"x": 1.0} and {**record.table, "x": 2.0} == {"x": 2.0} == record.table | {"x": 2.0}
    assert asdict(record)["table"] == {"x": 1.0} and copy.deepcopy(record) == record
    assert isinstance(pickle.loads(pickle.dumps(record.table)), ReadOnly)


def test_a_long_record_is_told_briefly() -> None:
    told = repr(Record("a" * 500, np.ones((400, 3)), {str(i): i for i in range(500)}, tuple(range(500))))
    assert len(told) < 250 and "<400 x 3 array>" in told
    assert repr(Record("a", np.ones(1), {}, (0.1 + 0.2, made()))) == (
        "Record(name='a', array=<1 array>, table={}, many=(0.3, Record(...)), aside=0)"
    )


def test_the_compiler_sees_no_read_only_array() -> None:
    """For which it would make another code, in twenty seconds."""
    first = run(rest().parameters, Drive(), 0.01, rest().state)
    assert not first.state.flags.writeable and not first.trace["kf"].flags.writeable
    continue_run(first, Drive(), 0.01)
    rest().gaps(first.state)
    made_for = [s for function in (kernel.stroke, kernel.energy, kernel.gaps) for s in function.signatures]
    arrays = [kind for signature in made_for for kind in signature if isinstance(kind, numba.types.Array)]
    assert arrays and all(kind.mutable for kind in arrays)
