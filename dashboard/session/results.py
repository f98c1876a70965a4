"""Computations for the pages, kept: the only cache of the dashboard.  Keyed by the whole work: nothing goes stale."""

from __future__ import annotations

import threading
from collections.abc import Callable, Hashable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, TypeVar

import streamlit as st

from dashboard.session.work import Work, apply_controls, build_origin
from sim.bench import predict as bench
from sim.bench import slow_press
from sim.bench import strike as blows
from sim.bench.outcomes import Outcome
from sim.bench.readings import Prediction, Settings, Strike
from sim.bench.rest_pose import Rest, settle_at_rest
from sim.diagnosis.faults import apply_faults, load_faults
from sim.diagnosis.inference import CauseGrid, build_cause_grid
from sim.diagnosis.library import compute_library
from sim.errors import UnitError
from sim.physics.kernel_loader import prepare_kernel
from sim.report.drawing.film import build_film, build_press_film
from sim.studies.friction import FrictionComparison
from sim.studies.friction import compare_friction as friction_of
from sim.teaching.exercise import Exercise
from sim.teaching.exercise import prepare_bench as bench_of
from sim.teaching.lesson import Change, PredictQuestion, load_lessons
from sim.teaching.lesson_task import PredictionResult, TaskResult, judge_prediction, judge_task
from sim.teaching.lesson_task import load_lesson_unit as unit_of_lesson
from sim.teaching.probes import Seen, probe_unit
from sim.unit.model import ActionUnit

MOST_PREDICTIONS = 24
"""Results kept of each kind, over all sessions: a stroke's film has about half a megabyte."""
MOST_LIBRARIES = 6
DrawnT = TypeVar("DrawnT")
Progress = Callable[[float, str], None]
_predictions: dict[Work, Prediction] = {}
_libraries: dict[Work, CauseGrid] = {}
_lock = threading.Lock()


@dataclass(frozen=True)
class QuickReadings:
    """What follows a slider at once: settings of a slow press, one blow, and both as films."""

    unit: ActionUnit
    outcome: str
    reason: str
    settings: Settings | None = None
    strike: Strike | None = None
    readings: Mapping[str, float | None] = field(default_factory=dict)
    """What the controls settle at, by reading (SI)."""
    stroke: dict[str, Any] | None = None
    press: dict[str, Any] | None = None


@st.cache_resource(show_spinner="Making the engine ready (once on a new machine, about 20 s)")
def compile_kernel() -> bool:
    """Compile the kernel before anything is shown."""
    warm_kernel()
    return True


def warm_kernel() -> None:
    """One blow, for which the kernel is loaded, or compiled where it never was."""
    prepare_kernel()
    blows.play_touch(settle_at_rest(Work().start()), bench.find_touch(bench.MODERATE))


@st.cache_resource(max_entries=MOST_PREDICTIONS, show_spinner=False)
def build_start_unit(base: str, text: str, edits: tuple[tuple[str, str], ...]) -> ActionUnit:
    """The unit before any control is turned.  Raises InputError."""
    return Work(base, text, edits).start()


def get_start_unit(work: Work) -> ActionUnit:
    """The unit of a work before any control is turned.  Raises InputError."""
    return build_start_unit(work.base, work.text, work.edits)


def get_unit(work: Work) -> ActionUnit:
    """The unit of a work as it stands.  Raises InputError."""
    return apply_controls(get_start_unit(work), dict(work.turned))


@st.cache_resource(max_entries=MOST_PREDICTIONS, show_spinner=False)
def compute_quick(work: Work, touch: str) -> QuickReadings:
    """Motion, let-off, drop and aftertouch.  Raises InputError for a faulty scenario."""
    return _quick(get_unit(work), touch)


@st.cache_resource(max_entries=MOST_PREDICTIONS, show_spinner=False)
def compute_suspect(work: Work, fault: str, severity: float, touch: str) -> QuickReadings:
    """The same with a fault of the catalogue in it.  Raises InputError."""
    unit = get_unit(work)
    ill = apply_faults(unit, [(fault, severity)])
    return _quick(replace(ill, name=f"{unit.name}, {load_faults()[fault].title}"), touch)


@st.cache_resource(max_entries=MOST_PREDICTIONS, show_spinner=False)
def build_lesson_unit(name: str, *changes: Change) -> ActionUnit:
    """The unit that a lesson speaks of, as it should be, or after changes."""
    unit = unit_of_lesson(load_lessons()[name])
    for change in changes:
        unit = change.on(unit)
    return unit


@st.cache_resource(max_entries=MOST_PREDICTIONS, show_spinner=False)
def compute_lesson_motion(name: str, changes: tuple[Change, ...], touch: str, called: str) -> QuickReadings:
    """It in motion, under a name of its own."""
    return _quick(replace(build_lesson_unit(name, *changes), name=called), touch)


@st.cache_resource(max_entries=MOST_PREDICTIONS, show_spinner=False)
def read_lesson_unit(name: str, reads: tuple[str, ...]) -> Seen:
    """Readings of a lesson's unit, as it should be."""
    return probe_unit(build_lesson_unit(name), reads)


@st.cache_resource(max_entries=MOST_PREDICTIONS, show_spinner=False)
def judge_lesson_try(name: str, turned: tuple[tuple[str, float], ...], inches: bool) -> TaskResult:
    """What a try of a lesson's task came to."""
    return judge_task(load_lessons()[name], dict(turned), inches)


@st.cache_resource(max_entries=MOST_PREDICTIONS, show_spinner=False)
def judge_lesson_prediction(name: str, question: PredictQuestion, said: str, inches: bool) -> PredictionResult:
    """What came of a lesson's question, beside what was said."""
    return judge_prediction(load_lessons()[name], question, said, inches)


@st.cache_resource(max_entries=MOST_PREDICTIONS, show_spinner=False)
def compute_hidden_motion(e: Exercise, touch: str) -> tuple[QuickReadings, QuickReadings]:
    """An exercise's unit with what is hidden in it, and as it was before."""
    made = bench_of(e)
    units = {"as it was found": made.hidden.unit, "before it was spoiled": made.well}
    found, before = (_quick(replace(unit, name=name), touch) for name, unit in units.items())
    return found, before


def _quick(unit: ActionUnit, touch: str) -> QuickReadings:
    try:
        rest = settle_at_rest(unit)
        pressed = slow_press.press_slowly(rest)
        settings = slow_press.read_settings(pressed, wink=False)
        reading, run = blows.play_touch(rest, bench.find_touch(touch))
        moderate = reading if touch == bench.MODERATE else blows.play_touch(rest, bench.find_touch(bench.MODERATE))[0]
        stroke = build_film(rest, run, reading.events, unit.name) if run.outcome.fine else None
        press = build_press_film(pressed) if pressed.outcome != Outcome.LEAVES_DOMAIN else None
    except UnitError as error:
        return QuickReadings(unit, Outcome.DOES_NOT_REST, str(error))
    readings = _read_settled(rest, settings, moderate)
    outcome, reason = pressed.outcome, pressed.reason
    if outcome == Outcome.PLAYS and not run.outcome.fine:
        outcome, reason = Outcome.NOT_FOLLOWED, str(run.outcome)
    return QuickReadings(unit, outcome, reason, settings, reading, readings, stroke, press)


@st.cache_resource(max_entries=MOST_PREDICTIONS, show_spinner=False)
def cache_drawing(asked: Hashable, _draw: Callable[[], DrawnT]) -> DrawnT:
    """A picture for what is ``asked``, drawn once."""
    return _draw()


@st.cache_resource(max_entries=MOST_PREDICTIONS, show_spinner=False)
def compute_friction(work: Work) -> FrictionComparison:
    """The friction budget, beside a healthy one's.  Raises InputError."""
    return friction_of(build_origin(work))


def compute_prediction(work: Work, progress: Progress) -> Prediction:
    """Every reading.  ``progress`` may raise to give up: nothing is kept then.

    Streamlit's own cache would replay what ``progress`` drew; this one keeps the result alone.
    """
    with _lock:
        found = _predictions.get(work)
    if found is None:
        found = bench.predict(get_unit(work), progress=progress)
        with _lock:
            _predictions[work] = found
            while len(_predictions) > MOST_PREDICTIONS:
                del _predictions[next(iter(_predictions))]
    return found


def compute_fault_library(work: Work, progress: Progress, early: Callable[[CauseGrid], None]) -> CauseGrid:
    """What every fault does to the unit, for all sessions; ``early`` is given a rough one as soon as there is one."""
    with _lock:
        found = _libraries.get(work)
    if found is None:
        found = build_cause_grid(
            compute_library(get_unit(work), progress, early=lambda rough: early(build_cause_grid(rough)))
        )
        with _lock:
            _libraries[work] = found
            while len(_libraries) > MOST_LIBRARIES:
                del _libraries[next(iter(_libraries))]
    return found


@st.cache_resource(max_entries=MOST_PREDICTIONS, show_spinner=False)
def compute_first_readings(base: str, text: str, edits: tuple[tuple[str, str], ...]) -> dict[str, float | None]:
    """Readings before any control is turned, by name (SI): what sliders are told by."""
    unit = build_start_unit(base, text, edits)
    try:
        rest = settle_at_rest(unit)
        settings = slow_press.read_settings(slow_press.press_slowly(rest, back=False), wink=False)
        moderate, _ = blows.play_touch(rest, bench.find_touch(bench.MODERATE))
    except UnitError:
        return {}
    return _read_settled(rest, settings, moderate)


def _read_settled(rest: Rest, settings: Settings, moderate: Strike) -> dict[str, float | None]:
    names = ("blow", "dip", "let_off", "drop", "lever_height", "jack_address")
    found = {n: getattr(settings, n) for n in names}
    return found | {"checking_distance": moderate.checking_distance, "rest_cushion_gap": rest.at_rest["rest_cushion"]}
