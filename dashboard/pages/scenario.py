"""The scenario: open one, edit all of it, take it away, and a link to the very state."""

from __future__ import annotations

import streamlit as st

from dashboard.session.state import LINK, change, restore, saved, state
from dashboard.session.text import told
from dashboard.session.work import LONGEST_LINK, Work, as_file, from_code, opened, to_code
from dashboard.widgets.forms import forms
from sim.errors import InputError
from sim.scenario.shipped import shipped

INVENTED = "The shipped scenarios are invented: no such instruments exist."


def show() -> None:
    """The page."""
    st.title("The scenario")
    open_, edit, take = st.tabs(["Open", "Edit", "Take away"])
    with open_:
        _open()
    with edit:
        forms()
    with take:
        _take()


def _open() -> None:
    s = state()
    names = list(shipped())
    at = names.index(s.work.base) if s.work.base in names and not s.work.text else None
    st.selectbox("A shipped scenario", names, index=at, key="shipped", placeholder="choose one", help=INVENTED)
    st.button("Open it", on_click=_open_shipped, key="open_shipped", disabled=not st.session_state["shipped"])
    st.caption(INVENTED)
    st.file_uploader(
        "A scenario file of your own (TOML)", key="upload", on_change=_upload, max_upload_size=1,
        help="a text file; what is wrong with it is said field by field, and the bench stays as it is",
    )  # fmt: skip
    if "upload" in s.faults:
        st.error(s.faults["upload"])
    with st.expander("Restore a saved state"):
        st.text_area("Text of a saved state, or a whole link", key="code", height=80)
        st.button("Restore it", on_click=_restore, key="restore")
        if "code" in s.faults:
            st.error(s.faults["code"])


def _open_shipped() -> None:
    change(Work(st.session_state["shipped"]))


def _upload() -> None:
    s, file = state(), st.session_state["upload"]
    if file is None:
        return
    try:
        work = opened(file.name, file.getvalue())
        work.start()
        change(work)
        s.faults.pop("upload", None)
    except InputError as error:
        s.faults["upload"] = told("This file was not opened; what is on the bench stays.", error)


def _restore() -> None:
    s, text = state(), st.session_state["code"].strip()
    try:
        restore(from_code(text.split(f"{LINK}=")[-1]))
        s.faults.pop("code", None)
    except InputError as error:
        s.faults["code"] = told("Nothing was restored.", error)


def _take() -> None:
    s = state()
    try:
        text = as_file(s.work)
    except InputError as error:
        st.error(told("This scenario cannot be written as it stands.", error))
        return
    name = "".join(c if c.isalnum() or c in "-_" else "-" for c in s.work.base.removesuffix(".toml"))[:60] or "scenario"
    st.download_button("The scenario as it stands (TOML)", text, f"{name}.toml", "application/toml", key="take_toml")
    code = to_code(saved())
    st.download_button("The whole state as a file", code, f"{name}-state.txt", "text/plain", key="take_state")
    if len(code) <= LONGEST_LINK:
        st.markdown("A link that restores this very state on this machine:")
        st.code(f"?{LINK}={code}", language=None, wrap_lines=True)
        st.caption("Put it behind the address of this page. It holds the scenario, what was edited and turned.")
    else:
        st.info("This state is too long for a link: keep it as a file, and paste its text under “Open” to restore it.")
    with st.expander("What the file will hold"):
        st.code(text, language="toml")
