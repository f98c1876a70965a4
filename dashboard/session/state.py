"""What one person's session holds, typed, under one key; pages change it here and nowhere else."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass, field

import streamlit as st
from streamlit.errors import StreamlitAPIException

from dashboard.session.text import format_faults
from dashboard.session.work import Saved, Work, decode_state
from sim.errors import InputError
from sim.teaching.progress import Progress

KEY = "state"
LINK = "s"
"""Name in the address under which a link carries a saved state."""
MOST_UNDO = 200
KEPT = "keep_"
"""Beginning of the keys of widgets whose value stays when the page is left; a button's key has another."""


@dataclass
class State:
    """The work, its past and future, and what a person has chosen to see."""

    work: Work = field(default_factory=Work)
    past: list[Work] = field(default_factory=list)
    future: list[Work] = field(default_factory=list)
    other: Work | None = None
    """A second unit to compare with; None: the same before any change."""
    inches: bool = False
    units_word: str | None = None
    """mm or inches as chosen in this session, for the browser to remember; None: nothing was chosen yet."""
    touch: str = "moderate"
    pinning: bool = False
    """Friction as pinning force instead of torque."""
    drafts: dict[str, str] = field(default_factory=dict)
    """What was typed and could not be used, by field: kept until it is mended or taken back."""
    faults: dict[str, str] = field(default_factory=dict)
    """Why, by field."""
    progress: Progress = field(default_factory=Progress)
    """What was learnt and practised, as far as this session knows (dashboard/session/progress.py)."""
    notice: str = ""
    seen: bool = False
    """The first page has been drawn once."""


def get_state() -> State:
    """The session's state; the first time from the link, where one was opened."""
    if KEY not in st.session_state:
        st.session_state[KEY] = State()
        code = st.query_params.get(LINK)
        if code:
            _restore(code)
    found = st.session_state[KEY]
    assert isinstance(found, State)
    return found


def keep_choices() -> None:
    """What was typed and chosen where nothing is drawn now: it would be forgotten.

    At the end of a run.  What is drawn keeps itself, and cannot be set: set beforehand, it would be put back
    to what it was under the hand of a person who goes on typing meanwhile.
    """
    for key in st.session_state:
        if str(key).startswith(KEPT):
            with suppress(StreamlitAPIException):
                st.session_state[key] = st.session_state[key]


def _restore(code: str) -> None:
    try:
        restore_saved(decode_state(code))
    except InputError as error:
        st.session_state[KEY].faults["link"] = format_faults("This link could not be opened.", error)


def restore_saved(saved: Saved) -> None:
    """Put a saved state in place; what was there can be had back by undo."""
    s = get_state()
    change_work(saved.work)
    s.other, s.touch = saved.other, saved.touch
    take_inches(saved.inches)


def take_inches(inches: bool) -> None:
    """Inches or millimetres from now on, for the browser to remember."""
    s = get_state()
    s.inches, s.units_word = inches, "inches" if inches else "mm"


def snapshot_session() -> Saved:
    """The session as a link or a file keeps it."""
    s = get_state()
    return Saved(s.work, s.other, s.inches, s.touch)


def change_work(work: Work) -> None:
    """A new work; the old one can be had back."""
    s = get_state()
    if work == s.work:
        return
    s.past.append(s.work)
    del s.past[:-MOST_UNDO]
    s.future.clear()
    s.faults.pop("link", None)
    s.work, s.notice = work, ""


def undo_change() -> None:
    """One change back."""
    s = get_state()
    if s.past:
        s.future.append(s.work)
        s.work = s.past.pop()


def redo_change() -> None:
    """One change on again."""
    s = get_state()
    if s.future:
        s.past.append(s.work)
        s.work = s.future.pop()


def store_draft(name: str, typed: str, fault: str) -> None:
    """Keep what was typed though it cannot be used, and why; an empty ``fault`` takes both back."""
    s = get_state()
    if fault:
        s.drafts[name], s.faults[name] = typed, fault
    else:
        s.drafts.pop(name, None)
        s.faults.pop(name, None)
