"""The bench sheet: read in or typed, a section of notes made of it, and what comes of that."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

import pandas as pd
import streamlit as st

from dashboard.session.long_jobs import run_long_job
from dashboard.session.state import get_state
from dashboard.session.text import escape_text, format_faults
from dashboard.widgets.bench_table import BenchTable, build_bench_table, build_empty_table
from dashboard.widgets.figures import offer_paper
from dashboard.widgets.reading_cards import show_caution, show_glossary
from dashboard.widgets.section_result import ShownSection, show_section_result
from sim.errors import InputError
from sim.regulation.targets import format_target
from sim.regulation.targets import parse_target as value_of
from sim.report.section import sheet as bench_files
from sim.report.section import tables as sheet
from sim.section.compass import find_usual_target
from sim.section.section import analyse_section
from sim.section.sheet import BenchSheet, load_sheet, load_uploaded_sheet
from sim.shared_files import find_scenario_folder

if TYPE_CHECKING:  # takes a while that the page need not wait for
    from sim.report.paper.blocks import Size

TABLE, NOW, EDITOR, FAULT = "table_of_record", "now_in_record", "editor_of_record", "fault_record"
EXAMPLE = "invented-middle.csv"
TARGETS = ("blow", "dip", "let_off", "drop", "checking_distance", "spring_rise")


def show_page() -> None:
    """The page."""
    st.title("Bench sheet and section")
    st.markdown(
        "What was read of some notes, as a bench writes it down. From it come a scenario a note, the notes between, "
        "those that stand out with their likely cause, and what to turn on which note."
    )
    _measuring_in()
    read = _cells()
    if read is not None:
        found = _section(read)
        if found is not None:
            show_section_result(found)
    show_glossary()
    show_caution()


def _measuring_in() -> None:
    with st.expander("Read a sheet in", expanded=TABLE not in st.session_state):
        columns = st.columns(4)
        inches = get_state().inches
        columns[0].download_button("Blank sheet (CSV)", bench_files.format_blank_sheet(inches), "blank.csv", "text/csv",
                                   key="blank_csv_record", width="stretch")  # fmt: skip
        columns[1].download_button(
            "Blank sheet (TOML)",
            bench_files.format_blank_sheet(inches, toml=True),
            "blank.toml",
            "application/toml",
            key="blank_toml_record",
            width="stretch",
        )
        columns[2].button("Type it in here", on_click=_start_empty, key="empty_record", width="stretch")
        columns[3].button("The invented example", on_click=_example, key="example_record", width="stretch")
        offer_paper(_blank, "bench-sheet", "sheet_blank_record", "Blank sheet to print")
        st.file_uploader("A sheet that was filled in (CSV or TOML)", key="up_record", on_change=_open_upload,
                         max_upload_size=1)  # fmt: skip
    if FAULT in st.session_state:
        st.error(st.session_state[FAULT])


def _blank(size: Size) -> bytes:
    from sim.report.paper import pdf
    from sim.report.section import paper as bench_paper

    return pdf.make_pdf("Bench sheet", bench_paper.build_blank_blocks(get_state().inches), size=size, invented=False)


def _start_empty() -> None:
    _store_table(build_empty_table(get_state().inches))


def _example() -> None:
    folder = find_scenario_folder()
    if folder is not None:
        _store_table(build_bench_table(load_sheet(folder / "sheets" / EXAMPLE), get_state().inches))


def _open_upload() -> None:
    file = st.session_state["up_record"]
    if file is None:
        return
    try:
        _store_table(build_bench_table(load_uploaded_sheet(file.name, file.getvalue()), get_state().inches))
    except InputError as error:
        st.session_state[FAULT] = format_faults("This sheet was not taken; the one before stays.", error)


def _store_table(table: BenchTable) -> None:
    """Another sheet."""
    _start_editor(table)
    st.session_state["keep_record_every"] = table.every
    for key in (FAULT, "keep_record_low", "keep_record_high"):
        st.session_state.pop(key, None)


def _start_editor(table: BenchTable) -> None:
    """What the editor begins from: an editor of its own, so that nothing typed into another is laid over it."""
    st.session_state[TABLE] = st.session_state[NOW] = table
    st.session_state[EDITOR] = st.session_state.get(EDITOR, 0) + 1


def _cells() -> BenchSheet | None:
    """The cells to look at and to change, and what they say; None where that cannot be meant."""
    now = st.session_state.get(NOW)
    if not isinstance(now, BenchTable):
        return None
    st.subheader(escape_text(now.about.title))
    if now.about.invented:
        st.caption("Invented: no such piano exists.")
    every = st.toggle("Every column", key="keep_record_every", help="those that no note has too, to be filled in")
    if f"cells_{st.session_state[EDITOR]}" not in st.session_state:  # the page was left meanwhile
        _start_editor(now)
    if (now.inches, now.every) != (get_state().inches, every):
        try:
            _start_editor(now.shown(get_state().inches, every))
        except InputError:
            st.info("Units and columns of the table change once every cell can be read.")
    base: BenchTable = st.session_state[TABLE]
    changed = st.data_editor(
        pd.DataFrame(list(base.rows), columns=list(base.head), dtype=str), key=f"cells_{st.session_state[EDITOR]}",
        hide_index=True, num_rows="dynamic", width="stretch", alt="what was read, a row a note",
        column_config={"note": st.column_config.Column(pinned=True)},
    )  # fmt: skip
    now = base.written(changed.fillna("").astype(str).to_numpy().tolist())
    st.session_state[NOW] = now
    if not now.filled:
        st.info("Fill in what was read, note by note; an empty cell is welcome. A click on a cell, or Enter, opens it.")
        return None
    try:
        return now.read()
    except InputError as error:
        st.error(format_faults("The table cannot be used as it stands; nothing of it is lost.", error))
        return None


def _section(held: BenchSheet) -> ShownSection | None:
    keys = [r.key_number for r in held.rows]
    left, right = st.columns(2)
    low = int(
        left.number_input("From note", 1, 88, min(keys), key="keep_record_low", help="1 the lowest, 88 the highest")
    )
    high = int(right.number_input("To note", 1, 88, max(keys), key="keep_record_high"))
    goal = _ask_goal(keys[len(keys) // 2])
    look = st.checkbox("Fit what was not measured, and look for notes that stand out (half a minute more)", True,
                       key="keep_record_look")  # fmt: skip
    fast = st.checkbox("Repetition too (a second a note)", False, key="keep_record_repetition")
    if low > high:
        st.error(f"From note = {low}, above {high}; allowed: the lower note first; change the two over.")
        return None
    if goal is None:
        return None
    key = (bench_files.format_sheet_csv(held), low, high, tuple(goal.items()), look, fast)
    job = partial(analyse_section, held, range(low, high + 1), goal, look=look, repetition=fast)
    found = run_long_job("record", key, "Work it out", lambda say: job(progress=say))
    return None if found is None else ShownSection(key, found)


def _ask_goal(key: int) -> dict[str, float] | None:
    """What is asked for otherwise than usual; None where something typed cannot be meant."""
    goal: dict[str, float] = {}
    sound = True
    with st.expander("Regulate to"):
        for target in TARGETS:
            usual = format_target(target, find_usual_target(key)[target], get_state().inches)
            typed = st.text_input(
                sheet.find_title(target), key=f"keep_record_{target}", placeholder=f"{usual} (at {key})", max_chars=30,
                help="with its unit; nothing: the usual of that part of the compass",
            )  # fmt: skip
            try:
                goal |= {target: value_of(target, typed, "Regulate to")} if typed.strip() else {}
            except InputError as error:
                sound = False
                st.error(format_faults("This cannot be regulated to.", error))
    return goal if sound else None
