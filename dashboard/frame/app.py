"""The dashboard's frame: what is on the bench, the pages by question, undo, units."""

from __future__ import annotations

import sys
from pathlib import Path

import streamlit as st

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from dashboard.components.memory import sync_choice
from dashboard.pages import PAGES
from dashboard.session import results
from dashboard.session.state import change_work, get_state, keep_choices, redo_change, take_inches, undo_change
from dashboard.session.work import Work
from sim.scenario.shipped import list_shipped_scenarios

OWN_FILE = "own file: "
STYLE = """<style>
.block-container { padding-top: 3rem; }
h1 { font-size: 2rem !important; }
/* Enough contrast, in light and dark. */
[data-testid=stCaptionContainer], [data-testid=stImageCaption] { color: inherit !important; opacity: 1 !important; }
[data-testid=stBaseButton-primary] {
  background: transparent !important; color: inherit !important; border: 2px solid currentColor !important;
}
</style>"""


def draw_frame() -> None:
    """Draw the frame and the page that is open."""
    st.set_page_config(page_title="Action unit", layout="wide")
    st.html(STYLE)
    s = get_state()
    pages = [
        st.Page(show, title=title, url_path=name, default=name == "predict") for name, (title, show) in PAGES.items()
    ]
    page = st.navigation(pages, expanded=True)
    with st.sidebar:
        _bench()
        left, right = st.columns(2)
        left.button("Undo", on_click=undo_change, disabled=not s.past, width="stretch", key="undo")
        right.button("Redo", on_click=redo_change, disabled=not s.future, width="stretch", key="redo")
        _units()
    if s.notice:
        st.toast(s.notice, duration="long")
        s.notice = ""
    if "link" in s.faults:
        st.warning(s.faults["link"])
    results.compile_kernel()  # after the sidebar: meanwhile the browser loads what it draws with
    page.run()
    keep_choices()


def _bench() -> None:
    """What is on the bench, and the shipped scenarios to choose from."""
    s = get_state()
    names = list(list_shipped_scenarios())
    here = s.work.base if not s.work.text and s.work.base in names else f"{OWN_FILE}{_strip_markup(s.work.base)}"
    st.session_state["bench"] = here
    st.selectbox(
        "On the bench", [here, *(n for n in names if n != here)], key="bench", on_change=_open,
        help="shipped scenarios, all invented; open a file of your own, or edit, on the page “The scenario”",
    )  # fmt: skip
    if s.work.edits or s.work.turned:
        st.caption(f"{len(s.work.edits)} fields edited, {len(s.work.turned)} controls turned")


def _open() -> None:
    name = st.session_state["bench"]
    if not name.startswith(OWN_FILE):
        change_work(Work(name))


def _units() -> None:
    """Millimetres or inches, remembered by the browser."""
    s = get_state()
    word = sync_choice("units", s.units_word)
    if word is not None and s.units_word is None:
        s.inches = word == "inches"
    st.session_state["inches_toggle"] = s.inches
    st.toggle(
        "inches", key="inches_toggle", on_change=_take_chosen_scenario, help="lengths in inches instead of millimetres"
    )


def _take_chosen_scenario() -> None:
    take_inches(st.session_state["inches_toggle"])


def _strip_markup(text: str) -> str:
    """A name without anything that could be read as markup."""
    return "".join(c if c.isalnum() or c in " .-_" else "?" for c in text)[:60]


draw_frame()
