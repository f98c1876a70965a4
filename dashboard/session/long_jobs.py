"""Long work on a page: begun by a button, with progress, to be stopped, and kept for the very work it was done for."""

from __future__ import annotations

from collections.abc import Callable
from time import monotonic, sleep
from typing import Any, TypeVar

import streamlit as st

from dashboard.session.text import format_faults
from dashboard.session.work import Work
from sim.errors import InputError, UnitError

Progress = Callable[[float, str], None]
Found = TypeVar("Found")
MOST_RESULTS = 8
BAR_INTERVAL = 0.4
"""Least time between two changes of a progress bar, s: with more of them the browser never gets to show what is new."""


def report_on_bar(bar: st.delta_generator.DeltaGenerator) -> Progress:
    """Progress shown on a bar; a person's stop, or a new move, ends the work at any part of it."""
    shown = monotonic()

    def say(done: float, what: str) -> None:
        nonlocal shown
        yield_to_user()
        if monotonic() - shown >= BAR_INTERVAL:
            bar.progress(min(max(done, 0.0), 1.0), text=what)
            shown = monotonic()

    return say


def yield_to_user() -> bool:
    """Give way to what a person has done meanwhile: Streamlit looks for it when its state is read."""
    return "anything" in st.session_state


def pause_drawing(seconds: float) -> None:
    """Leave the browser time to show what it has; a new move ends it."""
    until = monotonic() + seconds
    while monotonic() < until:
        yield_to_user()
        sleep(0.02)


def run_long_job(name: str, asked: Any, button: str, job: Callable[[Progress], Found]) -> Found | None:
    """What the job gives for what is ``asked``, once it was begun; None before.

    The result of another question is never shown.  Leaving the page or pressing the
    stop button ends the job after the part that is under way.
    """
    kept: dict[Any, Found] = st.session_state.setdefault(f"kept_{name}", {})
    if asked in kept:
        return kept[asked]
    place = st.empty()
    with place.container():
        begun = st.button(button, key=f"begin_{name}", type="primary")
    if not begun:
        if kept:
            st.caption("What was on the bench has changed since: begin again for the unit as it is now.")
        return None
    with place.container():
        bar = st.progress(0.0, text="beginning")
        st.button("Stop", key=f"stop_{name}")

    try:
        found = job(report_on_bar(bar))
    except (InputError, UnitError) as error:
        place.empty()
        st.error(format_faults("This could not be computed.", error))
        return None
    place.empty()
    kept[asked] = found
    while len(kept) > MOST_RESULTS:
        del kept[next(iter(kept))]
    return found


def make_cache_key(work: Work, *more: Any) -> tuple[Any, ...]:
    """What a result hangs on: the work and whatever else was asked."""
    return (work, *more)
