"""What was done so far, for the pages of lessons and exercises: note it, show it, take it away, open it again.

Pages call ``done_lesson``, ``done_exercise`` and ``done_rough`` once when something is
done, and ``show`` where what was done is to be seen.
"""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard.session.progress_store import Place, put
from dashboard.session.state import state
from dashboard.session.text import harmless, told
from sim.errors import InputError
from sim.fields.quantity_field import one_line
from sim.teaching.progress import Entry, ExerciseDone, LessonDone, Progress, RoughDone, now, opened, text_of

NAME = "progress.toml"
FAULT, OPENED = "progress", "progress_opened"


def done_lesson(name: str, tries: int) -> None:
    """A lesson's task was done at the given try."""
    _done(LessonDone(name=one_line(name, 120), date=now(), tries=tries))


def done_exercise(title: str, code: str, passed: bool, seconds: float, allowed: float) -> None:
    """A hidden-fault exercise was marked; ``seconds`` and ``allowed`` are its cost and what was allowed."""
    cost, most = (round(s / 60, 1) for s in (seconds, allowed))
    named = one_line(title, 120) or "exercise"
    _done(ExerciseDone(title=named, code=code, passed=passed, minutes=cost, allowed_minutes=most, date=now()))


def done_rough(scenario: str, seed: int, steps: int, seconds: float, rework: int) -> None:
    """A rough unit was regulated to the end."""
    minutes = round(seconds / 60, 1)
    on = one_line(scenario, 120)
    _done(RoughDone(scenario=on, seed=seed, steps=steps, minutes=minutes, rework=rework, date=now()))


def so_far() -> Progress:
    """All that is known to have been done, of other windows too where a file is kept."""
    _keep()
    return state().progress


def show() -> None:
    """What was done so far, where it is kept, and how to take it away and open it again."""
    s, found = state(), so_far()
    with st.expander(f"What was done so far ({len(found.entries)})"):
        _where()
        for title, rows in _tables(found).items():
            st.dataframe(pd.DataFrame(rows), width="stretch", hide_index=True, alt=title)
        if not found.entries:
            st.markdown("Nothing yet.")
        try:
            text = text_of(found)
        except InputError as error:
            st.error(told("This is too much for one file.", error))
        else:
            st.download_button("Progress as a file (TOML)", text, NAME, "application/toml", key="take_progress")
        st.file_uploader(
            "Open a file of progress again", key="open_progress", on_change=_open, max_upload_size=1,
            help="what it holds is added to what was done here; nothing is lost by it",
        )  # fmt: skip
        if OPENED in s.faults:
            st.error(s.faults[OPENED])


def _where() -> None:
    if Place.file is None:
        st.caption(
            "It is kept in this window alone, and nothing is written or sent: take it away as a file before you close "
            "the window, and open that file the next time."
        )
        return
    st.caption(
        f"It is kept in the file {harmless(str(Place.file))} on the machine that runs this dashboard, for every window "
        "that is open on it. Nothing is sent anywhere else."
    )
    if FAULT in state().faults:
        st.error(state().faults[FAULT])


def _tables(found: Progress) -> dict[str, list[dict[str, str]]]:
    lists = {
        "lessons done": [{"lesson": e.name, "tries": str(e.tries), "when": _when(e)} for e in found.lessons],
        "exercises marked": [
            {
                "exercise": e.title, "code": e.code, "passed": "yes" if e.passed else "no",
                "time": f"{e.minutes:g} of {e.allowed_minutes:g} min", "when": _when(e),
            }
            for e in found.exercises
        ],
        "rough units regulated": [
            {
                "scenario": e.scenario, "seed": str(e.seed), "steps": str(e.steps), "time": f"{e.minutes:g} min",
                "set again": str(e.rework), "when": _when(e),
            }
            for e in found.rough
        ],
    }  # fmt: skip
    return {title: rows[::-1] for title, rows in lists.items() if rows}


def _when(entry: Entry) -> str:
    return f"{entry.date:%Y-%m-%d %H:%M}"


def _done(entry: Entry) -> None:
    s = state()
    s.progress |= Progress.of(entry)
    _keep()


def _keep() -> None:
    """Put what this window knows into the file, if there is one, and learn what others did; else say why not."""
    s = state()
    if Place.file is None:
        return
    try:
        found = put(Place.file, s.progress)
    except InputError as error:
        head = "It could not be kept there; it stays in this window, is tried again, and can be taken away as a file."
        s.faults[FAULT] = told(head, error)
        return
    s.progress = found.progress
    s.faults.pop(FAULT, None)
    if found.aside is not None:
        s.notice = harmless(f"The file of progress could not be read and was set aside as {found.aside.name}.")


def _open() -> None:
    s, file = state(), st.session_state["open_progress"]
    if file is None:
        return
    try:
        s.progress |= opened(file.getvalue(), file.name[-80:])
        s.faults.pop(OPENED, None)
        _keep()
    except InputError as error:
        s.faults[OPENED] = told("This file was not opened; what was done here stays.", error)
