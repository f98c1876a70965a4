"""The bench sheet on paper: blank to be filled in, or of some notes with what to do in which order."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import cast

from matplotlib.figure import Figure

from sim.display_units import choose_unit, format_unit
from sim.regulation.orders import load_orders
from sim.report.drawing.figures import render_png
from sim.report.paper.blocks import (
    Block,
    Cell,
    Heading,
    Lines,
    Mark,
    Picture,
    Sideways,
    Size,
    Table,
    Text,
    Ticks,
    Together,
)
from sim.report.section.figures import draw_over_notes
from sim.report.section.tables import (
    build_evenness_rows,
    build_inconsistency_rows,
    build_outlier_rows,
    build_reading_rows,
    build_turn_rows,
    list_assumed_lines,
    list_section_lines,
    list_section_readings,
    list_unmet_lines,
)
from sim.report.section.work import ORDER, build_before_and_after, build_step_rows, draw_work_figures
from sim.section.columns import LEADS, REMARK, Column, list_columns
from sim.section.section import Section, SectionNote
from sim.section.sheet import format_key

FIGURE_READINGS = ("down_weight", "up_weight", "let_off", "aftertouch", "checking_distance", "limit_hz")
ROWS = 12
"""Lines of a blank sheet."""
GROUPS: Mapping[str, tuple[str, ...]] = {
    "Regulated": (
        "key_height", "blow", "dip", "let_off", "drop", "aftertouch", "checking_distance", "spring_rise",
    ),
    "Weighed": ("down_weight", "up_weight", "hammer_weight", "shank_weight", "wippen_weight", "front_weight"),
    "Measured": (
        "string_height", "hammer_centre_height", "wippen_centre_height", "spread", "knuckle_set", "bore",
    ),
    "Centres: pinning force 23 mm from the pin, or swings from 40 degrees": (
        "pinning_hammer", "pinning_wippen", "pinning_lever", "pinning_jack", "pinning_key", "swings_hammer",
        "swings_wippen",
    ),
}  # fmt: skip
"""Columns of the blank sheet, a page a group."""
BLANK = (
    "A few notes of each section, naturals and sharps, tell most. An empty cell is welcome: what is missing "
    "is taken from the defaults of that part of the compass, and said so. Write a unit where yours is another than the "
    "head's."
)
BEFORE = ("the action stands at its stop, nothing screwed to it is loose", "readings taken twice where they matter")
MakeDocument = Callable[..., bytes | str]
FIRST_INSTRUCTION = (
    "Set what was found aside before anything is turned: this sheet is reckoned from the readings, and from what was "
    "assumed where none was taken. Read again after every step: each upsets others, which is why some come twice."
)


def format_title(section: Section) -> str:
    """What the sheet is called."""
    notes = section.notes
    span = format_key(notes[0].key_number)
    return f"{section.sheet.title}: note{'s' if len(notes) > 1 else ''} {span}" + (
        f" to {format_key(notes[-1].key_number)}" if len(notes) > 1 else ""
    )


def build_blocks(section: Section, inches: bool = False) -> list[Block]:
    """One note, or a section with a page for each note that was read."""
    if len(section.notes) == 1:
        return list(_note(section, section.notes[0], inches))
    return [*_overview(section, inches), *_pages(section, inches)]


def _overview(section: Section, inches: bool) -> Iterator[Block]:
    if section.sheet.remarks:
        yield Text(section.sheet.remarks)
    for line in list_section_lines(section, inches):
        yield Text(line)
    yield Heading("Notes that stand out")
    if rows := build_outlier_rows(section, inches):
        yield _table(rows)
    else:
        yield Text("None, as far as these readings tell.")
    if rows := build_inconsistency_rows(section):
        yield Heading("Entries that do not go together")
        yield _table(rows)
    for shown_one in list_section_readings():
        if shown_one.name in FIGURE_READINGS:
            figure = cast(Figure, draw_over_notes(section, shown_one, inches).figure)
            yield Picture(render_png(figure, 150), f"{shown_one.title}, note by note")
    yield Heading("Evenness")
    yield _table(build_evenness_rows(section, inches))
    yield Sideways(
        [Heading("Readings: found (expected) → after the work"), _table(build_reading_rows(section, inches))]
    )
    if rows := build_turn_rows(section, inches):
        yield Sideways([Heading("To turn, from as found; in the order of work"), *_build_turn_table(rows)])
    yield from (Text(line) for line in list_unmet_lines(section))
    yield from (Text(line, shaded=True) for line in list_assumed_lines(section.notes))


def _build_turn_table(rows: Sequence[dict[str, str]]) -> list[Block]:
    heads = [*rows[0], "done"]
    return [Table(heads, [[*row.values(), Mark.TICK] for row in rows], numbers=range(1, len(heads) - 1))]


def _pages(section: Section, inches: bool) -> Iterator[Block]:
    for note in section.notes:
        if note.row is not None:
            yield Together([Heading(f"Note {format_key(note.key_number)}"), *_work(note, inches)])


def _note(section: Section, note: SectionNote, inches: bool) -> Iterator[Block]:
    if note.row is not None and note.row.remark:
        yield Text(note.row.remark)
    for line in list_section_lines(section, inches):
        yield Text(line)
    if rows := build_outlier_rows(section, inches):
        yield Heading("Look at this first")
        yield _table(rows)
    if rows := build_inconsistency_rows(section):
        yield Heading("Entries that do not go together")
        yield _table(rows)
    yield from _work(note, inches)
    yield from (Picture(render_png(figure, 150), told) for told, figure in draw_work_figures(note, inches))
    yield from (Text(line) for line in list_unmet_lines(section))
    yield Text("The owner's wish, and what was found besides:")
    yield Lines(3)
    yield from (Text(line, shaded=True) for line in list_assumed_lines(section.notes))


def _work(note: SectionNote, inches: bool) -> Iterator[Block]:
    """What to do in its order, and before and after."""
    yield Text(FIRST_INSTRUCTION, shaded=True)
    if note.work is not None:
        yield Heading(f"In this order: {load_orders()[ORDER].title.lower()}")
        yield _steps(note, inches)
    yield Heading("Before and after")
    yield _before_and_after(note, inches)


def _steps(note: SectionNote, inches: bool) -> Table:
    told = build_step_rows(note, inches)
    rows: list[list[Cell]] = [[Mark.TICK, *row.values(), Mark.ROOM] for row in told]
    return Table(["", *told[0], "as it came out"], rows, numbers=(1,))


def _before_and_after(note: SectionNote, inches: bool) -> Table:
    told = build_before_and_after(note, inches)
    rows: list[list[Cell]] = [[*row.values(), Mark.ROOM] for row in told]
    return Table([*told[0], "as it came out"], rows, numbers=(1, 2, 3))


def _table(rows: Sequence[dict[str, str]]) -> Table:
    return Table(list(rows[0]), [list(row.values()) for row in rows])


def build_blank_blocks(inches: bool = False) -> list[Block]:
    """The sheet to be filled in by hand: some notes, the columns in groups with their units."""
    known = list_columns()
    out: list[Block] = []
    for told, names in GROUPS.items():
        heads = ["note", *(_head(known[n], inches) for n in names)]
        first: list[Block] = [] if out else [Text(BLANK), Ticks(BEFORE)]
        out.append(Sideways([*first, Heading(told), Table(heads, [[Mark.ROOM] * len(heads)] * ROWS)]))
    return [*out, Heading(f"Leads (mass at its place from the balance pin), and remarks: {LEADS}, {REMARK}"), Lines(12)]


def _head(column: Column, inches: bool) -> str:
    unit = format_unit(choose_unit(column.unit, inches))
    return f"{column.title}, {unit}" if unit else column.title


def make_paper(make: MakeDocument, section: Section, size: Size = "A4", inches: bool = False) -> bytes:
    """A document of ``paper.pdf`` or ``print_page.page`` as bytes."""
    out = make(format_title(section), build_blocks(section, inches), size=size, invented=section.sheet.invented)
    return out if isinstance(out, bytes) else out.encode()
