"""A section of notes on the page: what stands out, readings over the notes, one note's work, and the sheets out."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING, Literal, cast

import pandas as pd
import streamlit as st

from dashboard.session import results
from dashboard.session.state import change, state
from dashboard.session.text import harmless, told
from dashboard.session.work import opened
from dashboard.widgets.figures import kept_figure, paper_later
from dashboard.widgets.photographs import MARKED
from sim.errors import InputError
from sim.report.formats import traces
from sim.report.section import sheet as bench_files
from sim.report.section import tables as sheet
from sim.section.section import Section, SectionNote
from sim.section.sheet import called

if TYPE_CHECKING:  # takes a while that the page need not wait for
    from matplotlib.figure import Figure

    from sim.report.paper.blocks import Size
    from sim.report.record.contents import Files

BENCH_FAULT = "fault_to_bench"
WHOLE = 24
"""Rows of a table that is shown as a whole; a longer one scrolls."""


@dataclass(frozen=True)
class Shown:
    """A section, and what it was asked as."""

    asked: Hashable
    found: Section


def result(shown: Shown) -> None:
    """All that the page shows of a section."""
    found, inches = shown.found, state().inches
    for line in sheet.whole_lines(found, inches):
        st.caption(harmless(line))
    _standing_out(found, inches)
    _over_the_notes(shown)
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
    note = _one_note(shown)
    _out(shown, note)


def _standing_out(found: Section, inches: bool) -> None:
    if rows := sheet.outlier_rows(found, inches):
        st.warning(f"{len(rows)} of {len(found.notes)} notes stand out.")
        _frame(rows, "notes that stand out, with cause, size and cure")
    elif any(n.found is not None for n in found.notes):
        st.success("No note stands out.")
    if rows := sheet.slip_rows(found):
        st.warning("Entries that do not go together:")
        _frame(rows, "entries that do not go together, with the likely slip")


def _over_the_notes(shown: Shown) -> None:
    readings = {s.name: s for s in sheet.shown()}
    name = st.selectbox("Over the notes", list(readings), key="record_shown", format_func=lambda n: readings[n].title)
    s = readings[name]
    kept_figure(
        (shown.asked, name), lambda: _over_notes(shown.found, s), "over_notes",
        f"{s.title}, note by note: found, expected of the note, after the work",
    )  # fmt: skip


def _over_notes(found: Section, s: sheet.Shown) -> Figure:
    from sim.report.section.figures import draw_over_notes

    return cast("Figure", draw_over_notes(found, s, state().inches).figure)


def _one_note(shown: Shown) -> SectionNote:
    """One note: what to do in its order, before and after, its curves."""
    from sim.regulation.orders import orders
    from sim.report.section.work import ORDER, before_and_after, step_rows

    found, inches = shown.found, state().inches
    by_key = {n.key_number: n for n in found.notes}
    read = [n.key_number for n in found.notes if n.row is not None]
    st.subheader("One note")
    key = st.selectbox("Note", read or list(by_key), key="record_note", format_func=called)
    note = by_key[key]
    if rows := step_rows(note, inches):
        st.markdown(f"In this order: {orders()[ORDER].title.lower()}. In brackets what is expected, not read.")
        _frame(rows, f"what to do on note {called(key)}, in its order")
    else:
        st.info("This note cannot be regulated as it stands: see what stands out, and what was assumed.")
    _frame(before_and_after(note, inches), f"readings of note {called(key)}, before and after")
    for words, data in results.drawn((shown.asked, key, inches), partial(_pictures, note, inches)):
        st.image(data, caption=words, alt=f"{words}; note {called(key)}", width="stretch")
    return note


def _pictures(note: SectionNote, inches: bool) -> list[tuple[str, bytes]]:
    from sim.report.drawing.figures import png
    from sim.report.section.work import figures

    return [(words, png(figure, 140)) for words, figure in figures(note, inches)]


def _frame(rows: Sequence[dict[str, str]], alt: str) -> None:
    height: Literal["content", "auto"] = "content" if len(rows) <= WHOLE else "auto"
    st.dataframe(pd.DataFrame(rows), width="stretch", height=height, hide_index=True, alt=alt)


def _out(shown: Shown, note: SectionNote) -> None:
    found, name = shown.found, called(note.key_number)
    st.subheader("Sheets out")
    st.caption("They lead to work on the action: read the cautions at the foot of this page, and on the sheets, first.")
    one = replace(found, notes=(note,))
    paper_later(partial(_paper, one), f"note-{note.key_number}", "sheet_note_record", f"Note {name}")
    paper_later(partial(_paper, found), "section", "sheet_section_record", "All notes")
    rows = partial(traces.of_rows, sheet.flat_rows(found))
    photograph = st.session_state.get(MARKED, dict)
    if MARKED in st.session_state:
        st.caption("The photograph with its marks, as it stands on its page, goes with the record.")
    files: tuple[tuple[str, Callable[[], str | bytes], str, str, str], ...] = (
        (f"Note {name} (HTML)", partial(_page, one), f"note-{note.key_number}.html", "text/html", "page_note_record"),
        ("All notes (HTML)", partial(_page, found), "section.html", "text/html", "page_section_record"),
        ("Readings (CSV)", lambda: traces.csv_of(rows()), "readings.csv", "text/csv", "readings_csv_record"),
        ("Readings (Parquet)", lambda: traces.parquet(rows()), "readings.parquet", "application/vnd.apache.parquet",
         "readings_parquet_record"),
        ("The record (ZIP)", partial(_zipped, found, photograph), "record.zip", "application/zip", "zip_record"),
    )  # fmt: skip
    place = st.columns(3) + st.columns(3)
    for column, (title, make, file, mime, key) in zip(place, files, strict=False):
        column.download_button(title, make, file, mime, key=key, width="stretch")
    place[-1].button(
        f"Note {name} on the bench", on_click=_to_bench, args=(found, note), key="bench_record", width="stretch",
        help="the other pages then speak of this note as it was found",
    )  # fmt: skip
    if BENCH_FAULT in st.session_state:
        st.error(st.session_state.pop(BENCH_FAULT))


def _paper(found: Section, size: Size) -> bytes:
    from sim.report.paper import pdf
    from sim.report.section import paper as bench_paper

    return bench_paper.made(pdf.pdf, found, size, state().inches)


def _page(found: Section) -> bytes:
    from sim.report.paper import print_page
    from sim.report.section import paper as bench_paper

    return bench_paper.made(print_page.page, found, "A4", state().inches)


def _zipped(found: Section, photograph: Callable[[], Files]) -> bytes:
    from sim.report.record.zip_file import zipped

    record = bench_files.record_of(found, state().inches)
    return zipped(replace(record, files={**record.files, **photograph()}))


def _to_bench(found: Section, note: SectionNote) -> None:
    from sim.scenario.writing import text_of
    from sim.section.note_scenario import scenario_of

    try:
        text = text_of(scenario_of(found, note))
        change(opened(f"note-{note.key_number}.toml", text.encode()))
    except InputError as error:
        st.session_state[BENCH_FAULT] = told("This note cannot be put on the bench.", error)
        return
    state().notice = f"Note {called(note.key_number)} is on the bench now. Undo brings back what was."
