"""The bench sheet: read in, a section of notes made of it, what stands out, what to turn, sheets out."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING, Any

import pandas as pd
import streamlit as st

from dashboard.figures import kept_figure, paper_later
from dashboard.long import long_job
from dashboard.show import caution, glossary
from dashboard.state import change, state
from dashboard.words import harmless, told
from dashboard.work import opened
from sim.errors import InputError
from sim.sheets import bench_files, traces
from sim.sheets import section as sheet
from sim.unit.shipped import scenario_folder
from sim.workshop.bench_sheet import BenchSheet, called, cells_of, load, load_upload
from sim.workshop.compass import asked
from sim.workshop.section import Section, SectionNote, section
from sim.workshop.targets import asked as value_of
from sim.workshop.targets import said

if TYPE_CHECKING:  # takes a while that the page need not wait for
    from sim.sheets.blocks import Size

HELD, FAULT = "held_record", "fault_record"
EXAMPLE = "invented-middle.csv"
TARGETS = ("blow", "dip", "let_off", "drop", "checking_distance", "spring_rise")


def show() -> None:
    """The page."""
    st.title("Bench sheet and section")
    st.markdown(
        "What was read of some notes, as a bench writes it down. From it come a scenario a note, the notes between, "
        "those that stand out with their likely cause, and what to turn on which note."
    )
    _measuring_in()
    held = st.session_state.get(HELD)
    if isinstance(held, BenchSheet):
        held = _cells(held)
        found = _section(held)
        if found is not None:
            _result(found)
    glossary()
    caution()


def _measuring_in() -> None:
    with st.expander("Read a sheet in", expanded=HELD not in st.session_state):
        left, middle, right = st.columns(3)
        inches = state().inches
        left.download_button("Blank sheet (CSV)", bench_files.blank(inches), "blank.csv", "text/csv",
                             key="blank_csv_record", width="stretch")  # fmt: skip
        middle.download_button("Blank sheet (TOML)", bench_files.blank(inches, toml=True), "blank.toml",
                               "application/toml", key="blank_toml_record", width="stretch")  # fmt: skip
        right.button("The invented example", on_click=_example, key="example_record", width="stretch")
        paper_later(_blank, "bench-sheet", "sheet_blank_record", "Blank sheet to print")
        st.file_uploader("A sheet that was filled in (CSV or TOML)", key="up_record", on_change=_uploaded,
                         max_upload_size=1)  # fmt: skip
    if FAULT in st.session_state:
        st.error(st.session_state[FAULT])


def _blank(size: Size) -> bytes:
    from sim.sheets import bench_paper, paper

    return paper.pdf("Bench sheet", bench_paper.blank_blocks(state().inches), size=size, invented=False)


def _example() -> None:
    folder = scenario_folder()
    if folder is not None:
        _hold(load(folder / "sheets" / EXAMPLE))


def _uploaded() -> None:
    file = st.session_state["up_record"]
    if file is None:
        return
    try:
        _hold(load_upload(file.name, file.getvalue()))
    except InputError as error:
        st.session_state[FAULT] = told("This sheet was not taken; the one before stays.", error)


def _hold(read: BenchSheet) -> None:
    st.session_state[HELD] = read
    st.session_state.pop(FAULT, None)
    st.session_state.pop("cells_record", None)


def _cells(held: BenchSheet) -> BenchSheet:
    """The cells to look at and to change; the sheet as changed, or as it was where a change cannot be meant."""
    st.subheader(harmless(held.title))
    if held.invented:
        st.caption("Invented: no such piano exists.")
    head, *rows = cells_of(held, state().inches)
    frame = pd.DataFrame(rows, columns=head, dtype=str)
    changed = st.data_editor(frame, key="cells_record", hide_index=True, num_rows="fixed", width="stretch")
    text = traces.csv_text(changed.columns, changed.fillna("").to_numpy().tolist())
    try:
        read = load_upload("the table", text.encode())
    except InputError as error:
        st.error(told("This change is not taken; the rest stays.", error))
        return held
    return replace(read, title=held.title, remarks=held.remarks, invented=held.invented)


def _section(held: BenchSheet) -> Section | None:
    keys = [r.key_number for r in held.rows]
    left, right = st.columns(2)
    low = int(left.number_input("From note", 1, 88, min(keys), key="record_low", help="1 the lowest, 88 the highest"))
    high = int(right.number_input("To note", 1, 88, max(keys), key="record_high"))
    goal = _goal(keys[len(keys) // 2])
    look = st.checkbox("Fit what was not measured, and look for notes that stand out (half a minute more)", True,
                       key="record_look")  # fmt: skip
    fast = st.checkbox("Repetition too (a second a note)", False, key="record_repetition")
    if low > high:
        st.error("From note = the higher; allowed: the lower first; change the two over.")
        return None
    if goal is None:
        return None
    key = (bench_files.csv_text(held), low, high, tuple(goal.items()), look, fast)
    job = partial(section, held, range(low, high + 1), goal, look=look, repetition=fast)
    return long_job("record", key, "Work it out", lambda say: job(progress=say))


def _goal(key: int) -> dict[str, float] | None:
    """What is asked for otherwise than usual; None where something typed cannot be meant."""
    goal: dict[str, float] = {}
    sound = True
    with st.expander("Regulate to"):
        for target in TARGETS:
            usual = said(target, asked(key)[target], state().inches)
            typed = st.text_input(
                sheet.title_of(target), key=f"record_{target}", placeholder=f"{usual} (at {key})", max_chars=30,
                help="with its unit; nothing: the usual of that part of the compass",
            )  # fmt: skip
            try:
                goal |= {target: value_of(target, typed, "Regulate to")} if typed.strip() else {}
            except InputError as error:
                sound = False
                st.error(told("This cannot be regulated to.", error))
    return goal if sound else None


def _result(found: Section) -> None:
    inches = state().inches
    for line in sheet.whole_lines(found, inches):
        st.caption(harmless(line))
    if rows := sheet.outlier_rows(found, inches):
        st.warning(f"{len(rows)} of {len(found.notes)} notes stand out.")
        _frame(rows, "notes that stand out, with cause, size and cure")
    elif any(n.found is not None for n in found.notes):
        st.success("No note stands out.")
    if rows := sheet.slip_rows(found):
        st.warning("Entries that do not go together:")
        _frame(rows, "entries that do not go together, with the likely slip")
    shown = {s.name: s for s in sheet.shown()}
    name = st.selectbox("Over the notes", list(shown), key="record_shown", format_func=lambda n: shown[n].title)
    s = shown[name]
    kept_figure((id(found), name), lambda: _drawn(found, s), "over_notes", f"{s.title}, note by note: found, "
                "expected of the note, after the work")  # fmt: skip
    for title, rows in (
        ("Readings", sheet.line_rows(found, inches)), ("To turn", sheet.turn_rows(found, inches)),
        ("Evenness", sheet.even_rows(found, inches)),
    ):  # fmt: skip
        st.subheader(title)
        _frame(rows, title.lower())
    for line in sheet.unmet_lines(found):
        st.caption(harmless(line))
    with st.expander("What was assumed"):
        for line in sheet.assumed_lines(found.notes):
            st.markdown(harmless(line))
    _out(found)


def _drawn(found: Section, s: sheet.Shown) -> Any:
    from sim.sheets.section_figures import draw_over_notes

    return draw_over_notes(found, s).figure


def _frame(rows: Sequence[dict[str, str]], alt: str) -> None:
    st.dataframe(pd.DataFrame(rows), width="stretch", hide_index=True, alt=alt)


def _out(found: Section) -> None:
    st.subheader("Sheets out")
    st.caption("They lead to work on the action: read the cautions at the foot of this page, and on the sheets, first.")
    by_key = {n.key_number: n for n in found.notes}
    read = [n.key_number for n in found.notes if n.row is not None]
    key = st.selectbox("Note", read or list(by_key), key="record_note", format_func=called)
    note = by_key[key]
    one = replace(found, notes=(note,))
    paper_later(partial(_paper, one), f"note-{key}", "sheet_note_record", f"Note {called(key)}")
    paper_later(partial(_paper, found), "section", "sheet_section_record", "All notes")
    left, middle, right = st.columns(3)
    rows = traces.of_rows(sheet.flat_rows(found))
    left.download_button("Readings (CSV)", traces.csv_of(rows), "readings.csv", "text/csv", key="readings_csv_record",
                         width="stretch")  # fmt: skip
    middle.download_button("The record (ZIP)", partial(_zipped, found), "record.zip", "application/zip",
                           key="zip_record", width="stretch")  # fmt: skip
    right.button(f"Note {called(key)} on the bench", on_click=_to_bench, args=(found, note), key="bench_record",
                 width="stretch", help="the other pages then speak of this note as it was found")  # fmt: skip


def _paper(found: Section, size: Size) -> bytes:
    from sim.sheets import bench_paper, paper

    return bench_paper.made(paper.pdf, found, size, state().inches)


def _zipped(found: Section) -> bytes:
    """The files of the record, as its folder holds them."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as folder:
        for name, file in bench_files.record_of(found, state().inches).files.items():
            folder.writestr(zipfile.ZipInfo(name), file.data)
    return out.getvalue()


def _to_bench(found: Section, note: SectionNote) -> None:
    from sim.unit.writing import text_of
    from sim.workshop.note_scenario import scenario_of

    try:
        text = text_of(scenario_of(found, note))
        change(opened(f"note-{note.key_number}.toml", text.encode()))
    except InputError as error:
        st.session_state[FAULT] = told("This note cannot be put on the bench.", error)
