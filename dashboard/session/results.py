"""Computations for the pages, kept: the only cache of the dashboard.  Keyed by the whole work: nothing goes stale."""

from __future__ import annotations

import threading
from collections.abc import Callable, Hashable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, TypeVar

import streamlit as st

from dashboard.session.work import Work, apply_controls, origin_of
from sim.bench import predict as bench
from sim.bench import slow_press
from sim.bench import strike as blows
from sim.bench.readings import Prediction, Settings, Strike
from sim.bench.rest_pose import Rest, at_rest
from sim.diagnosis.faults import faults, spoiled
from sim.diagnosis.inference import Cells, cells
from sim.diagnosis.library import library
from sim.errors import SimulationError
from sim.physics.kernel_loader import prepare
from sim.report.drawing.film import film, press_film
from sim.studies.friction import Friction
from sim.studies.friction import friction as friction_of
from sim.teaching.exercise import Exercise
from sim.teaching.exercise import bench as bench_of
from sim.teaching.lesson import Change, Foretell, lessons
from sim.teaching.lesson_task import Foretold, Result, foretold, result
from sim.teaching.lesson_task import unit_of as unit_of_lesson
from sim.teaching.probes import Seen, look
from sim.unit.model import ActionUnit

KEPT = 24
"""Results kept of each kind, over all sessions: a stroke's film has about half a megabyte."""
KEPT_LIBRARIES = 6
Drawn = TypeVar("Drawn")
Progress = Callable[[float, str], None]
_predictions: dict[Work, Prediction] = {}
_libraries: dict[Work, Cells] = {}
_lock = threading.Lock()


@dataclass(frozen=True)
class Quick:
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
def ready() -> bool:
    """Compile the kernel before anything is shown."""
    warm()
    return True


def warm() -> None:
    """One blow, for which the kernel is loaded, or compiled where it never was."""
    prepare()
    blows.play(at_rest(Work().start()), bench.touch(bench.MODERATE))


@st.cache_resource(max_entries=KEPT, show_spinner=False)
def start(base: str, text: str, edits: tuple[tuple[str, str], ...]) -> ActionUnit:
    """The unit before any control is turned.  Raises InputError."""
    return Work(base, text, edits).start()


def start_of(work: Work) -> ActionUnit:
    """The unit of a work before any control is turned.  Raises InputError."""
    return start(work.base, work.text, work.edits)


def unit_of(work: Work) -> ActionUnit:
    """The unit of a work as it stands.  Raises InputError."""
    return apply_controls(start_of(work), dict(work.turned))


@st.cache_resource(max_entries=KEPT, show_spinner=False)
def quick(work: Work, touch: str) -> Quick:
    """Motion, let-off, drop and aftertouch.  Raises InputError for a faulty scenario."""
    return _quick(unit_of(work), touch)


@st.cache_resource(max_entries=KEPT, show_spinner=False)
def suspected(work: Work, fault: str, severity: float, touch: str) -> Quick:
    """The same with a fault of the catalogue in it.  Raises InputError."""
    unit = unit_of(work)
    ill = spoiled(unit, [(fault, severity)])
    return _quick(replace(ill, name=f"{unit.name}, {faults()[fault].title}"), touch)


@st.cache_resource(max_entries=KEPT, show_spinner=False)
def lesson_unit(name: str, *changes: Change) -> ActionUnit:
    """The unit that a lesson speaks of, as it should be, or after changes."""
    unit = unit_of_lesson(lessons()[name])
    for change in changes:
        unit = change.on(unit)
    return unit


@st.cache_resource(max_entries=KEPT, show_spinner=False)
def in_lesson(name: str, changes: tuple[Change, ...], touch: str, called: str) -> Quick:
    """It in motion, under a name of its own."""
    return _quick(replace(lesson_unit(name, *changes), name=called), touch)


@st.cache_resource(max_entries=KEPT, show_spinner=False)
def lesson_seen(name: str, reads: tuple[str, ...]) -> Seen:
    """Readings of a lesson's unit, as it should be."""
    return look(lesson_unit(name), reads)


@st.cache_resource(max_entries=KEPT, show_spinner=False)
def lesson_result(name: str, turned: tuple[tuple[str, float], ...], inches: bool) -> Result:
    """What a try of a lesson's task came to."""
    return result(lessons()[name], dict(turned), inches)


@st.cache_resource(max_entries=KEPT, show_spinner=False)
def lesson_foretold(name: str, question: Foretell, said: str, inches: bool) -> Foretold:
    """What came of a lesson's question, beside what was said."""
    return foretold(lessons()[name], question, said, inches)


@st.cache_resource(max_entries=KEPT, show_spinner=False)
def hidden(e: Exercise, touch: str) -> tuple[Quick, Quick]:
    """An exercise's unit with what is hidden in it, and as it was before."""
    made = bench_of(e)
    units = {"as it was found": made.hidden.unit, "before it was spoiled": made.well}
    found, before = (_quick(replace(unit, name=name), touch) for name, unit in units.items())
    return found, before


def _quick(unit: ActionUnit, touch: str) -> Quick:
    try:
        rest = at_rest(unit)
        pressed = slow_press.press(rest)
        settings = slow_press.settings(pressed, wink=False)
        reading, run = blows.play(rest, bench.touch(touch))
        moderate = reading if touch == bench.MODERATE else blows.play(rest, bench.touch(bench.MODERATE))[0]
        stroke = film(rest, run, reading.events, unit.name) if run.outcome.fine else None
        press = press_film(pressed) if pressed.outcome != "leaves its domain" else None
    except SimulationError as error:
        return Quick(unit, "does not come to rest", str(error))
    readings = _settled(rest, settings, moderate)
    outcome, reason = pressed.outcome, pressed.reason
    if outcome == "plays" and not run.outcome.fine:
        outcome, reason = "leaves what the model can follow", str(run.outcome)
    return Quick(unit, outcome, reason, settings, reading, readings, stroke, press)


@st.cache_resource(max_entries=KEPT, show_spinner=False)
def drawn(asked: Hashable, _draw: Callable[[], Drawn]) -> Drawn:
    """A picture for what is ``asked``, drawn once."""
    return _draw()


@st.cache_resource(max_entries=KEPT, show_spinner=False)
def friction(work: Work) -> Friction:
    """The friction budget, beside a healthy one's.  Raises InputError."""
    return friction_of(origin_of(work))


def predicted(work: Work, progress: Progress) -> Prediction:
    """Every reading.  ``progress`` may raise to give up: nothing is kept then.

    Streamlit's own cache would replay what ``progress`` drew; this one keeps the result alone.
    """
    with _lock:
        found = _predictions.get(work)
    if found is None:
        found = bench.predict(unit_of(work), progress=progress)
        with _lock:
            _predictions[work] = found
            while len(_predictions) > KEPT:
                del _predictions[next(iter(_predictions))]
    return found


def faults_of(work: Work, progress: Progress, early: Callable[[Cells], None]) -> Cells:
    """What every fault does to the unit, for all sessions; ``early`` is given a rough one as soon as there is one."""
    with _lock:
        found = _libraries.get(work)
    if found is None:
        found = cells(library(unit_of(work), progress, early=lambda rough: early(cells(rough))))
        with _lock:
            _libraries[work] = found
            while len(_libraries) > KEPT_LIBRARIES:
                del _libraries[next(iter(_libraries))]
    return found


@st.cache_resource(max_entries=KEPT, show_spinner=False)
def first_readings(base: str, text: str, edits: tuple[tuple[str, str], ...]) -> dict[str, float | None]:
    """Readings before any control is turned, by name (SI): what sliders are told by."""
    try:
        rest = at_rest(start(base, text, edits))
        settings = slow_press.settings(slow_press.press(rest, back=False), wink=False)
        moderate, _ = blows.play(rest, bench.touch(bench.MODERATE))
    except SimulationError:
        return {}
    return _settled(rest, settings, moderate)


def _settled(rest: Rest, settings: Settings, moderate: Strike) -> dict[str, float | None]:
    names = ("blow", "dip", "let_off", "drop", "lever_height", "jack_address")
    found = {n: getattr(settings, n) for n in names}
    return found | {"checking_distance": moderate.checking_distance, "rest_cushion_gap": rest.at_rest["rest_cushion"]}
