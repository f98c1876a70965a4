"""A section of notes on the page: what stands out, readings over the notes, one note's work, and the sheets out."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING, Literal, cast

import pandas as pd
import streamlit as st

from dashboard.session import results
from dashboard.session.state import change_work, get_state
from dashboard.session.text import escape_text, format_faults
from dashboard.session.work import load_work
from dashboard.widgets.figures import offer_paper, show_cached_figure
from dashboard.widgets.photographs import MARKED
from sim.errors import InputError
from sim.report.formats import traces
from sim.report.section import sheet as bench_files
from sim.report.section import tables as sheet
from sim.section.section import Section, SectionNote
from sim.section.sheet import format_key

if TYPE_CHECKING:  # takes a while that the page need not wait for
    from matplotlib.figure import Figure

    from sim.report.paper.blocks import Size
    from sim.report.record.contents import Files

BENCH_FAULT = "fault_to_bench"
MOST_NOTES_AT_ONCE = 24
"""Rows of a table that is shown as a whole; a longer one scrolls."""


@dataclass(frozen=True)
class ShownSection:
    """A section, and what it was asked as."""

    asked: Hashable
    found: Section


def show_section_result(shown: ShownSection) -> None:
    """All that the page shows of a section."""
    found, inches = shown.found, get_state().inches
    for line in sheet.list_section_lines(found, inches):
        st.caption(escape_text(line))
    _show_outliers(found, inches)
    _over_the_notes(shown)
    for title, rows in (
        ("Readings", sheet.build_note_lines(found, inches)), ("To turn", sheet.build_turn_rows(found, inches)),
        ("Evenness", sheet.build_evenness_rows(found, inches)),
    ):  # fmt: skip
        st.subheader(title)
        _frame(rows, title.lower())
    for line in sheet.list_unmet_lines(found):
        st.caption(escape_text(line))
    with st.expander("What was assumed"):
        for line in sheet.list_assumed_lines(found.notes):
            st.markdown(escape_text(line))
    note = _show_note(shown)
    _offer_files(shown, note)


def _show_outliers(found: Section, inches: bool) -> None:
    if rows := sheet.build_outlier_rows(found, inches):
        st.warning(f"{len(rows)} of {len(found.notes)} notes stand out.")
        _frame(rows, "notes that stand out, with cause, size and cure")
    elif any(n.found is not None for n in found.notes):
        st.success("No note stands out.")
    if rows := sheet.build_inconsistency_rows(found):
        st.warning("Entries that do not go together:")
        _frame(rows, "entries that do not go together, with the likely slip")


def _over_the_notes(shown: ShownSection) -> None:
    readings = {s.name: s for s in sheet.list_section_readings()}
    name = st.selectbox(
        "Over the notes", list(readings), key="keep_record_shown", format_func=lambda n: readings[n].title
    )
    s = readings[name]
    show_cached_figure(
        (shown.asked, name), lambda: _draw_over_notes(shown.found, s), "over_notes",
        f"{s.title}, note by note: found, expected of the note, after the work",
    )  # fmt: skip


def _draw_over_notes(found: Section, s: sheet.SectionReading) -> Figure:
    from sim.report.section.figures import draw_over_notes

    return cast("Figure", draw_over_notes(found, s, get_state().inches).figure)


def _show_note(shown: ShownSection) -> SectionNote:
    """One note: what to do in its order, before and after, its curves."""
    from sim.regulation.orders import load_orders
    from sim.report.section.work import ORDER, build_before_and_after, build_step_rows

    found, inches = shown.found, get_state().inches
    by_key = {n.key_number: n for n in found.notes}
    read = [n.key_number for n in found.notes if n.row is not None]
    st.subheader("One note")
    key = st.selectbox("Note", read or list(by_key), key="keep_record_note", format_func=format_key)
    note = by_key[key]
    if rows := build_step_rows(note, inches):
        st.markdown(f"In this order: {load_orders()[ORDER].title.lower()}. In brackets what is expected, not read.")
        _frame(rows, f"what to do on note {format_key(key)}, in its order")
    else:
        st.info("This note cannot be regulated as it stands: see what stands out, and what was assumed.")
    _frame(build_before_and_after(note, inches), f"readings of note {format_key(key)}, before and after")
    for words, data in results.cache_drawing((shown.asked, key, inches), partial(_pictures, note, inches)):
        st.image(data, caption=words, alt=f"{words}; note {format_key(key)}", width="stretch")
    return note


def _pictures(note: SectionNote, inches: bool) -> list[tuple[str, bytes]]:
    from sim.report.drawing.figures import render_png
    from sim.report.section.work import draw_work_figures

    return [(words, render_png(figure, 140)) for words, figure in draw_work_figures(note, inches)]


def _frame(rows: Sequence[dict[str, str]], alt: str) -> None:
    height: Literal["content", "auto"] = "content" if len(rows) <= MOST_NOTES_AT_ONCE else "auto"
    st.dataframe(pd.DataFrame(rows), width="stretch", height=height, hide_index=True, alt=alt)


def _offer_files(shown: ShownSection, note: SectionNote) -> None:
    found, name = shown.found, format_key(note.key_number)
    st.subheader("Sheets out")
    st.caption("They lead to work on the action: read the cautions at the foot of this page, and on the sheets, first.")
    one = replace(found, notes=(note,))
    offer_paper(partial(_paper, one), f"note-{note.key_number}", "sheet_note_record", f"Note {name}")
    offer_paper(partial(_paper, found), "section", "sheet_section_record", "All notes")
    rows = partial(traces.tabulate_rows, sheet.build_file_rows(found))
    photograph = st.session_state.get(MARKED, dict)
    if MARKED in st.session_state:
        st.caption("The photograph with its marks, as it stands on its page, goes with the record.")
    files: tuple[tuple[str, Callable[[], str | bytes], str, str, str], ...] = (
        (f"Note {name} (HTML)", partial(_page, one), f"note-{note.key_number}.html", "text/html", "page_note_record"),
        ("All notes (HTML)", partial(_page, found), "section.html", "text/html", "page_section_record"),
        (
            "Readings (CSV)",
            lambda: traces.format_columns_csv(rows()),
            "readings.csv",
            "text/csv",
            "readings_csv_record",
        ),
        (
            "Readings (Parquet)",
            lambda: traces.encode_parquet(rows()),
            "readings.parquet",
            "application/vnd.apache.parquet",
            "readings_parquet_record",
        ),
        ("The record (ZIP)", partial(_zipped, found, photograph), "record.zip", "application/zip", "zip_record"),
    )
    place = st.columns(3) + st.columns(3)
    for column, (title, make, file, mime, key) in zip(place, files, strict=False):
        column.download_button(title, make, file, mime, key=key, width="stretch")
    place[-1].button(
        f"Note {name} on the bench", on_click=_put_on_bench, args=(found, note), key="bench_record", width="stretch",
        help="the other pages then speak of this note as it was found",
    )  # fmt: skip
    if BENCH_FAULT in st.session_state:
        st.error(st.session_state.pop(BENCH_FAULT))


def _paper(found: Section, size: Size) -> bytes:
    from sim.report.paper import pdf
    from sim.report.section import paper as bench_paper

    return bench_paper.make_paper(pdf.make_pdf, found, size, get_state().inches)


def _page(found: Section) -> bytes:
    from sim.report.paper import print_page
    from sim.report.section import paper as bench_paper

    return bench_paper.make_paper(print_page.render_page, found, "A4", get_state().inches)


def _zipped(found: Section, photograph: Callable[[], Files]) -> bytes:
    from sim.report.record.zip_file import zip_record

    record = bench_files.build_record(found, get_state().inches)
    return zip_record(replace(record, files={**record.files, **photograph()}))


def _put_on_bench(found: Section, note: SectionNote) -> None:
    from sim.scenario.writing import render_scenario
    from sim.section.note_scenario import write_note_scenario

    try:
        text = render_scenario(write_note_scenario(found, note))
        change_work(load_work(f"note-{note.key_number}.toml", text.encode()))
    except InputError as error:
        st.session_state[BENCH_FAULT] = format_faults("This note cannot be put on the bench.", error)
        return
    get_state().notice = f"Note {format_key(note.key_number)} is on the bench now. Undo brings back what was."
