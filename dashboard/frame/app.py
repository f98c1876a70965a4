"""The dashboard's frame: what is on the bench, the pages by question, undo, units."""

from __future__ import annotations

import sys
from pathlib import Path

import streamlit as st

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from dashboard.components.memory import remembered
from dashboard.pages import PAGES
from dashboard.session import results
from dashboard.session.state import change, keep_choices, redo, state, take_inches, undo
from dashboard.session.work import Work
from sim.scenario.shipped import shipped

OWN = "own file: "
STYLE = """<style>
.block-container { padding-top: 3rem; }
h1 { font-size: 2rem !important; }
/* Enough contrast, in light and dark. */
[data-testid=stCaptionContainer], [data-testid=stImageCaption] { color: inherit !important; opacity: 1 !important; }
[data-testid=stBaseButton-primary] {
  background: transparent !important; color: inherit !important; border: 2px solid currentColor !important;
}
</style>"""


def frame() -> None:
    """Draw the frame and the page that is open."""
    st.set_page_config(page_title="Action unit", layout="wide")
    st.html(STYLE)
    s = state()
    pages = [
        st.Page(show, title=title, url_path=name, default=name == "predict") for name, (title, show) in PAGES.items()
    ]
    page = st.navigation(pages, expanded=True)
    with st.sidebar:
        _bench()
        left, right = st.columns(2)
        left.button("Undo", on_click=undo, disabled=not s.past, width="stretch", key="undo")
        right.button("Redo", on_click=redo, disabled=not s.future, width="stretch", key="redo")
        _units()
    if s.notice:
        st.toast(s.notice, duration="long")
        s.notice = ""
    if "link" in s.faults:
        st.warning(s.faults["link"])
    results.ready()  # after the sidebar: meanwhile the browser loads what it draws with
    page.run()
    keep_choices()


def _bench() -> None:
    """What is on the bench, and the shipped scenarios to choose from."""
    s = state()
    names = list(shipped())
    here = s.work.base if not s.work.text and s.work.base in names else f"{OWN}{_plain(s.work.base)}"
    st.session_state["bench"] = here
    st.selectbox(
        "On the bench", [here, *(n for n in names if n != here)], key="bench", on_change=_open,
        help="shipped scenarios, all invented; open a file of your own, or edit, on the page “The scenario”",
    )  # fmt: skip
    if s.work.edits or s.work.turned:
        st.caption(f"{len(s.work.edits)} fields edited, {len(s.work.turned)} controls turned")


def _open() -> None:
    name = st.session_state["bench"]
    if not name.startswith(OWN):
        change(Work(name))


def _units() -> None:
    """Millimetres or inches, remembered by the browser."""
    s = state()
    word = remembered("units", s.units_word)
    if word is not None and s.units_word is None:
        s.inches = word == "inches"
    st.session_state["inches_toggle"] = s.inches
    st.toggle("inches", key="inches_toggle", on_change=_chosen, help="lengths in inches instead of millimetres")


def _chosen() -> None:
    take_inches(st.session_state["inches_toggle"])


def _plain(text: str) -> str:
    """A name without anything that could be read as markup."""
    return "".join(c if c.isalnum() or c in " .-_" else "?" for c in text)[:60]


frame()
