"""What will this note do: the mechanism in motion, its sliders, and every reading."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

import streamlit as st

from dashboard.components.mechanism import show_mechanism
from dashboard.session import results
from dashboard.session.long_jobs import pause_drawing, report_on_bar
from dashboard.session.state import get_state
from dashboard.session.text import format_faults
from dashboard.session.work import Work
from dashboard.widgets.figures import offer_figure
from dashboard.widgets.reading_cards import show_cards, show_caution
from dashboard.widgets.sliders import show_sliders
from sim.bench.outcomes import Outcome
from sim.bench.predict import list_touches
from sim.bench.readings import Prediction, Repetition, Settings, TouchWeight, list_reading_fields
from sim.errors import InputError
from sim.report.formats import json_text
from sim.report.formats.reading_rows import KeyPosition, ReadingRow, list_remarks, list_rows
from sim.unit.model import ActionUnit

if TYPE_CHECKING:
    from matplotlib.figure import Figure

QUICK_READINGS = ("blow", "dip", "let_off", "drop", "drop_at_bottom", "aftertouch", "lever_height", "jack_address")
SETTLE_SECONDS = 0.25
"""What a browser new to the dashboard takes to show what it has just loaded, s: no more is sent meanwhile."""
Container = st.delta_generator.DeltaGenerator
SLOW_RECORDS = {"touch": TouchWeight, "repetition": Repetition}
"""Readings that take longer, by their group."""


def show_page() -> None:
    """The page."""
    s = get_state()
    st.title("What will this note do?")
    st.session_state["touch"] = s.touch
    st.segmented_control(
        "Played by the standard finger",
        [t.name for t in list_touches()],
        key="touch",
        required=True,
        on_change=_choose_touch,
        help="the same finger for every unit, from soft to hard",
    )
    try:
        quick = results.compute_quick(s.work, s.touch)
    except InputError as error:
        st.error(format_faults("This scenario cannot be used as it stands.", error))
        return
    place = KeyPosition.of(quick.unit)
    verdict, top = st.empty(), st.container()
    picture, controls = st.columns([3, 2], gap="medium")
    film, slow, told_last = picture.container(), picture.empty(), picture.empty()
    with slow.container():  # before anything new is shown: the old ones never stand beside it
        waiting = [
            str(meta["title"]) for record in SLOW_RECORDS.values() for meta in list_reading_fields(record).values()
        ]
        show_cards([], waiting)
    if quick.outcome != Outcome.PLAYS:
        verdict.error(f"This note does not play: {quick.outcome}. {quick.reason}")
    with top:
        show_cards(_show_quick_readings(quick, place))
    with film:
        if quick.stroke is not None:
            show_mechanism(quick.stroke, quick.press, _ghost(s.other, s.touch), key="mechanism", inches=s.inches)
        else:
            st.info("There is no motion to show.")
    first = not s.seen
    if first:
        pause_drawing(SETTLE_SECONDS)
    with controls:
        show_sliders(quick.readings)
    if first:
        pause_drawing(SETTLE_SECONDS)
    s.seen = True
    _show_slow_readings(s.work, place, slow, told_last)


def _choose_touch() -> None:
    get_state().touch = st.session_state["touch"]


def _ghost(other: Work | None, touch: str) -> dict[str, object] | None:
    return results.compute_quick(other, touch).stroke if other is not None else None


def _show_quick_readings(quick: results.QuickReadings, place: KeyPosition) -> list[ReadingRow]:
    """Readings of the slow press, and of the blow that is shown."""
    found = [r for r in list_rows(quick.settings or Settings(), "settings", place) if r.name in QUICK_READINGS]
    if quick.strike is not None:
        names = ("hammer_speed", "checking_distance", "travel_time", "peak_force")
        found += [r for r in list_rows(quick.strike, "strike", place) if r.name in names]
    return found


def _show_slow_readings(work: Work, place: KeyPosition, slow: Container, told_last: Container) -> None:
    """The readings that take longer, in place of their placeholders once all of them are new."""
    bar = st.progress(0.0, text="weights, release and repetition")
    prediction = results.compute_prediction(work, report_on_bar(bar))
    bar.empty()
    with slow.container():
        show_cards(
            [*list_rows(prediction.touch, "touch", place), *list_rows(prediction.repetition, "repetition", place)]
        )
    with told_last.container():
        _show_words(prediction, place)
        _take_away(work, prediction)


def _show_words(prediction: Prediction, place: KeyPosition) -> None:
    if prediction.plays:
        st.success("This note plays.")
    else:
        st.error(f"This note does not play: {prediction.outcome}. {prediction.reason}")
    found = list_remarks(prediction, place)
    if found:
        st.markdown("**Out of the usual range**\n\n" + "\n".join(f"- {mark}" for mark in found))
        show_caution()


def _take_away(work: Work, prediction: Prediction) -> None:
    left, right = st.columns(2)
    left.download_button("All readings (CSV)", _table(prediction), "readings.csv", "text/csv", width="stretch")
    whole = json_text.format_json(json_text.build_prediction_document(prediction))
    right.download_button("All readings (JSON)", whole, "readings.json", "application/json", width="stretch")
    offer_figure(partial(_sheet, results.get_unit(work), prediction), "note")


def _table(prediction: Prediction) -> str:
    from sim.report.formats import frames  # pandas takes half a second that the first page need not wait for

    return frames.format_frame_csv(frames.to_frame(prediction))


def _sheet(unit: ActionUnit, prediction: Prediction) -> Figure:
    from sim.report.drawing import draw  # takes half a second that the first page need not wait for

    return draw.draw_sheet(unit, prediction)
