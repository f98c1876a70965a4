"""The scenario: open one, edit all of it, take it away, and a link to the very state."""

from __future__ import annotations

import streamlit as st

from dashboard.session.state import LINK, change_work, get_state, restore_saved, snapshot_session
from dashboard.session.text import format_faults
from dashboard.session.work import LONGEST_LINK, Work, decode_state, encode_state, format_scenario, load_work
from dashboard.widgets.forms import show_forms
from sim.errors import InputError
from sim.scenario.shipped import list_shipped_scenarios

INVENTED = "The shipped scenarios are invented: no such instruments exist."


def show_page() -> None:
    """The page."""
    st.title("The scenario")
    open_, edit, take = st.tabs(["Open", "Edit", "Take away"])
    with open_:
        _open()
    with edit:
        show_forms()
    with take:
        _take()


def _open() -> None:
    s = get_state()
    names = list(list_shipped_scenarios())
    at = names.index(s.work.base) if s.work.base in names and not s.work.text else None
    st.selectbox("A shipped scenario", names, index=at, key="keep_shipped", placeholder="choose one", help=INVENTED)
    st.button("Open it", on_click=_open_shipped, key="open_shipped", disabled=not st.session_state["keep_shipped"])
    st.caption(INVENTED)
    st.file_uploader(
        "A scenario file of your own (TOML)", key="upload", on_change=_upload, max_upload_size=1,
        help="a text file; what is wrong with it is said field by field, and the bench stays as it is",
    )  # fmt: skip
    if "upload" in s.faults:
        st.error(s.faults["upload"])
    with st.expander("Restore a saved state"):
        st.text_area("Text of a saved state, or a whole link", key="keep_code", height=80)
        st.button("Restore it", on_click=_restore, key="restore")
        if "code" in s.faults:
            st.error(s.faults["code"])


def _open_shipped() -> None:
    change_work(Work(st.session_state["keep_shipped"]))


def _upload() -> None:
    s, file = get_state(), st.session_state["upload"]
    if file is None:
        return
    try:
        work = load_work(file.name, file.getvalue())
        work.start()
        change_work(work)
        s.faults.pop("upload", None)
    except InputError as error:
        s.faults["upload"] = format_faults("This file was not opened; what is on the bench stays.", error)


def _restore() -> None:
    s, text = get_state(), st.session_state["keep_code"].strip()
    try:
        restore_saved(decode_state(text.split(f"{LINK}=")[-1]))
        s.faults.pop("code", None)
    except InputError as error:
        s.faults["code"] = format_faults("Nothing was restored.", error)


def _take() -> None:
    s = get_state()
    try:
        text = format_scenario(s.work)
    except InputError as error:
        st.error(format_faults("This scenario cannot be written as it stands.", error))
        return
    name = "".join(c if c.isalnum() or c in "-_" else "-" for c in s.work.base.removesuffix(".toml"))[:60] or "scenario"
    st.download_button("The scenario as it stands (TOML)", text, f"{name}.toml", "application/toml", key="take_toml")
    code = encode_state(snapshot_session())
    st.download_button("The whole state as a file", code, f"{name}-state.txt", "text/plain", key="take_state")
    if len(code) <= LONGEST_LINK:
        st.markdown("A link that restores this very state on this machine:")
        st.code(f"?{LINK}={code}", language=None, wrap_lines=True)
        st.caption("Put it behind the address of this page. It holds the scenario, what was edited and turned.")
    else:
        st.info("This state is too long for a link: keep it as a file, and paste its text under “Open” to restore it.")
    with st.expander("What the file will hold"):
        st.code(text, language="toml")
