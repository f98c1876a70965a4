"""What will this note do: the mechanism in motion, its sliders, and every reading."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

import streamlit as st

from dashboard.components.mechanism import mechanism
from dashboard.session import results
from dashboard.session.long_jobs import on_bar, pause
from dashboard.session.state import state
from dashboard.session.text import told
from dashboard.session.work import Work
from dashboard.widgets.figures import figure_later
from dashboard.widgets.reading_cards import cards, caution
from dashboard.widgets.sliders import sliders
from sim.bench.predict import touches
from sim.bench.readings import Prediction, Repetition, Settings, TouchWeight, readings_of
from sim.errors import InputError
from sim.report.formats import json_text
from sim.report.formats.reading_rows import Place, Row, marks, rows
from sim.unit.model import ActionUnit

if TYPE_CHECKING:
    from matplotlib.figure import Figure

AT_ONCE = ("blow", "dip", "let_off", "drop", "drop_at_bottom", "aftertouch", "lever_height", "jack_address")
SETTLES = 0.25
"""What a browser new to the dashboard takes to show what it has just loaded, s: no more is sent meanwhile."""
Space = st.delta_generator.DeltaGenerator
LATER = {"touch": TouchWeight, "repetition": Repetition}
"""Readings that take longer, by their group."""


def show() -> None:
    """The page."""
    s = state()
    st.title("What will this note do?")
    st.session_state["touch"] = s.touch
    st.segmented_control(
        "Played by the standard finger", [t.name for t in touches()], key="touch", required=True, on_change=_touched,
        help="the same finger for every unit, from soft to hard",
    )  # fmt: skip
    try:
        quick = results.quick(s.work, s.touch)
    except InputError as error:
        st.error(told("This scenario cannot be used as it stands.", error))
        return
    place = Place.of(quick.unit)
    verdict, top = st.empty(), st.container()
    picture, controls = st.columns([3, 2], gap="medium")
    film, slow, told_last = picture.container(), picture.empty(), picture.empty()
    with slow.container():  # before anything new is shown: the old ones never stand beside it
        waiting = [str(meta["title"]) for record in LATER.values() for meta in readings_of(record).values()]
        cards([], waiting)
    if quick.outcome != "plays":
        verdict.error(f"This note does not play: {quick.outcome}. {quick.reason}")
    with top:
        cards(_at_once(quick, place))
    with film:
        if quick.stroke is not None:
            mechanism(quick.stroke, quick.press, _ghost(s.other, s.touch), key="mechanism", inches=s.inches)
        else:
            st.info("There is no motion to show.")
    first = not s.seen
    if first:
        pause(SETTLES)
    with controls:
        sliders(quick.readings)
    if first:
        pause(SETTLES)
    s.seen = True
    _rest(s.work, place, slow, told_last)


def _touched() -> None:
    state().touch = st.session_state["touch"]


def _ghost(other: Work | None, touch: str) -> dict[str, object] | None:
    return results.quick(other, touch).stroke if other is not None else None


def _at_once(quick: results.Quick, place: Place) -> list[Row]:
    """Readings of the slow press, and of the blow that is shown."""
    found = [r for r in rows(quick.settings or Settings(), "settings", place) if r.name in AT_ONCE]
    if quick.strike is not None:
        names = ("hammer_speed", "checking_distance", "travel_time", "peak_force")
        found += [r for r in rows(quick.strike, "strike", place) if r.name in names]
    return found


def _rest(work: Work, place: Place, slow: Space, told_last: Space) -> None:
    """The readings that take longer, in place of their placeholders once all of them are new."""
    bar = st.progress(0.0, text="weights, release and repetition")
    prediction = results.predicted(work, on_bar(bar))
    bar.empty()
    with slow.container():
        cards([*rows(prediction.touch, "touch", place), *rows(prediction.repetition, "repetition", place)])
    with told_last.container():
        _words(prediction, place)
        _take_away(work, prediction)


def _words(prediction: Prediction, place: Place) -> None:
    if prediction.plays:
        st.success("This note plays.")
    else:
        st.error(f"This note does not play: {prediction.outcome}. {prediction.reason}")
    found = marks(prediction, place)
    if found:
        st.markdown("**Out of the usual range**\n\n" + "\n".join(f"- {mark}" for mark in found))
        caution()


def _take_away(work: Work, prediction: Prediction) -> None:
    left, right = st.columns(2)
    left.download_button("All readings (CSV)", _table(prediction), "readings.csv", "text/csv", width="stretch")
    whole = json_text.text(json_text.of_prediction(prediction))
    right.download_button("All readings (JSON)", whole, "readings.json", "application/json", width="stretch")
    figure_later(partial(_sheet, results.unit_of(work), prediction), "note")


def _table(prediction: Prediction) -> str:
    from sim.report.formats import frames  # pandas takes half a second that the first page need not wait for

    return frames.csv(frames.to_frame(prediction))


def _sheet(unit: ActionUnit, prediction: Prediction) -> Figure:
    from sim.report.drawing import draw  # takes half a second that the first page need not wait for

    return draw.sheet(unit, prediction)
