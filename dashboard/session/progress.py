"""What was done so far, for the pages of lessons and exercises: note it, show it, take it away, open it again.

Pages call ``record_lesson``, ``record_exercise`` and ``record_rough_unit`` once when something is
done, and ``show_progress`` where what was done is to be seen.
"""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard.session.progress_store import ProgressFile, merge_into_file
from dashboard.session.state import get_state
from dashboard.session.text import escape_text, format_faults
from sim.errors import InputError
from sim.fields.quantity_field import fit_on_line
from sim.teaching.progress import (
    Entry,
    ExerciseDone,
    LessonDone,
    Progress,
    RoughDone,
    format_progress,
    get_current_time,
    parse_progress,
)

NAME = "progress.toml"
FAULT, OPENED = "progress", "progress_opened"


def record_lesson(name: str, tries: int) -> None:
    """A lesson's task was done at the given try."""
    _describe_entry(LessonDone(name=fit_on_line(name, 120), date=get_current_time(), tries=tries))


def record_exercise(title: str, code: str, passed: bool, seconds: float, allowed: float) -> None:
    """A hidden-fault exercise was marked; ``seconds`` and ``allowed`` are its cost and what was allowed."""
    cost, most = (round(s / 60, 1) for s in (seconds, allowed))
    named = fit_on_line(title, 120) or "exercise"
    _describe_entry(
        ExerciseDone(title=named, code=code, passed=passed, minutes=cost, allowed_minutes=most, date=get_current_time())
    )


def record_rough_unit(scenario: str, seed: int, steps: int, seconds: float, rework: int) -> None:
    """A rough unit was regulated to the end."""
    minutes = round(seconds / 60, 1)
    on = fit_on_line(scenario, 120)
    _describe_entry(
        RoughDone(scenario=on, seed=seed, steps=steps, minutes=minutes, rework=rework, date=get_current_time())
    )


def gather_progress() -> Progress:
    """All that is known to have been done, of other windows too where a file is kept."""
    _save_progress()
    return get_state().progress


def show_progress() -> None:
    """What was done so far, where it is kept, and how to take it away and open it again."""
    s, found = get_state(), gather_progress()
    with st.expander(f"What was done so far ({len(found.entries)})"):
        _where()
        for title, rows in _tables(found).items():
            st.dataframe(pd.DataFrame(rows), width="stretch", hide_index=True, alt=title)
        if not found.entries:
            st.markdown("Nothing yet.")
        try:
            text = format_progress(found)
        except InputError as error:
            st.error(format_faults("This is too much for one file.", error))
        else:
            st.download_button("Progress as a file (TOML)", text, NAME, "application/toml", key="take_progress")
        st.file_uploader(
            "Open a file of progress again", key="open_progress", on_change=_open, max_upload_size=1,
            help="what it holds is added to what was done here; nothing is lost by it",
        )  # fmt: skip
        if OPENED in s.faults:
            st.error(s.faults[OPENED])


def _where() -> None:
    if ProgressFile.file is None:
        st.caption(
            "It is kept in this window alone, and nothing is written or sent: take it away as a file before you close "
            "the window, and open that file the next time."
        )
        return
    st.caption(
        f"It is kept in the file {escape_text(str(ProgressFile.file))} on the machine that runs this dashboard, "
        f"for every window "
        "that is open on it. Nothing is sent anywhere else."
    )
    if FAULT in get_state().faults:
        st.error(get_state().faults[FAULT])


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


def _describe_entry(entry: Entry) -> None:
    s = get_state()
    s.progress |= Progress.of(entry)
    _save_progress()


def _save_progress() -> None:
    """Put what this window knows into the file, if there is one, and learn what others did; else say why not."""
    s = get_state()
    if ProgressFile.file is None:
        return
    try:
        found = merge_into_file(ProgressFile.file, s.progress)
    except InputError as error:
        head = "It could not be kept there; it stays in this window, is tried again, and can be taken away as a file."
        s.faults[FAULT] = format_faults(head, error)
        return
    s.progress = found.progress
    s.faults.pop(FAULT, None)
    if found.aside is not None:
        s.notice = escape_text(f"The file of progress could not be read and was set aside as {found.aside.name}.")


def _open() -> None:
    s, file = get_state(), st.session_state["open_progress"]
    if file is None:
        return
    try:
        s.progress |= parse_progress(file.getvalue(), file.name[-80:])
        s.faults.pop(OPENED, None)
        _save_progress()
    except InputError as error:
        s.faults[OPENED] = format_faults("This file was not opened; what was done here stays.", error)
