"""The bench sheet on paper: blank to be filled in, or of some notes with what to do in which order."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import cast

from matplotlib.figure import Figure

from sim.display_units import choose_unit, unit_label
from sim.regulation.orders import orders
from sim.report.drawing.figures import png
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
    assumed_lines,
    even_rows,
    outlier_rows,
    reading_rows,
    shown,
    slip_rows,
    turn_rows,
    unmet_lines,
    whole_lines,
)
from sim.report.section.work import ORDER, before_and_after, figures, step_rows
from sim.section.columns import LEADS, REMARK, Column, columns
from sim.section.section import Section, SectionNote
from sim.section.sheet import called

FIGURED = ("down_weight", "up_weight", "let_off", "aftertouch", "checking_distance", "limit_hz")
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
Make = Callable[..., bytes | str]
FIRST = (
    "Set what was found aside before anything is turned: this sheet is reckoned from the readings, and from what was "
    "assumed where none was taken. Read again after every step: each upsets others, which is why some come twice."
)


def title(section: Section) -> str:
    """What the sheet is called."""
    notes = section.notes
    span = called(notes[0].key_number)
    return f"{section.sheet.title}: note{'s' if len(notes) > 1 else ''} {span}" + (
        f" to {called(notes[-1].key_number)}" if len(notes) > 1 else ""
    )


def blocks(section: Section, inches: bool = False) -> list[Block]:
    """One note, or a section with a page for each note that was read."""
    if len(section.notes) == 1:
        return list(_note(section, section.notes[0], inches))
    return [*_overview(section, inches), *_pages(section, inches)]


def _overview(section: Section, inches: bool) -> Iterator[Block]:
    if section.sheet.remarks:
        yield Text(section.sheet.remarks)
    for line in whole_lines(section, inches):
        yield Text(line)
    yield Heading("Notes that stand out")
    if rows := outlier_rows(section, inches):
        yield _table(rows)
    else:
        yield Text("None, as far as these readings tell.")
    if rows := slip_rows(section):
        yield Heading("Entries that do not go together")
        yield _table(rows)
    for shown_one in shown():
        if shown_one.name in FIGURED:
            figure = cast(Figure, draw_over_notes(section, shown_one, inches).figure)
            yield Picture(png(figure, 150), f"{shown_one.title}, note by note")
    yield Heading("Evenness")
    yield _table(even_rows(section, inches))
    yield Sideways([Heading("Readings: found (expected) → after the work"), _table(reading_rows(section, inches))])
    if rows := turn_rows(section, inches):
        yield Sideways([Heading("To turn, from as found; in the order of work"), *_to_turn(rows)])
    yield from (Text(line) for line in unmet_lines(section))
    yield from (Text(line, shaded=True) for line in assumed_lines(section.notes))


def _to_turn(rows: Sequence[dict[str, str]]) -> list[Block]:
    heads = [*rows[0], "done"]
    return [Table(heads, [[*row.values(), Mark.TICK] for row in rows], numbers=range(1, len(heads) - 1))]


def _pages(section: Section, inches: bool) -> Iterator[Block]:
    for note in section.notes:
        if note.row is not None:
            yield Together([Heading(f"Note {called(note.key_number)}"), *_work(note, inches)])


def _note(section: Section, note: SectionNote, inches: bool) -> Iterator[Block]:
    if note.row is not None and note.row.remark:
        yield Text(note.row.remark)
    for line in whole_lines(section, inches):
        yield Text(line)
    if rows := outlier_rows(section, inches):
        yield Heading("Look at this first")
        yield _table(rows)
    if rows := slip_rows(section):
        yield Heading("Entries that do not go together")
        yield _table(rows)
    yield from _work(note, inches)
    yield from (Picture(png(figure, 150), told) for told, figure in figures(note, inches))
    yield from (Text(line) for line in unmet_lines(section))
    yield Text("The owner's wish, and what was found besides:")
    yield Lines(3)
    yield from (Text(line, shaded=True) for line in assumed_lines(section.notes))


def _work(note: SectionNote, inches: bool) -> Iterator[Block]:
    """What to do in its order, and before and after."""
    yield Text(FIRST, shaded=True)
    if note.work is not None:
        yield Heading(f"In this order: {orders()[ORDER].title.lower()}")
        yield _steps(note, inches)
    yield Heading("Before and after")
    yield _before_and_after(note, inches)


def _steps(note: SectionNote, inches: bool) -> Table:
    told = step_rows(note, inches)
    rows: list[list[Cell]] = [[Mark.TICK, *row.values(), Mark.ROOM] for row in told]
    return Table(["", *told[0], "as it came out"], rows, numbers=(1,))


def _before_and_after(note: SectionNote, inches: bool) -> Table:
    told = before_and_after(note, inches)
    rows: list[list[Cell]] = [[*row.values(), Mark.ROOM] for row in told]
    return Table([*told[0], "as it came out"], rows, numbers=(1, 2, 3))


def _table(rows: Sequence[dict[str, str]]) -> Table:
    return Table(list(rows[0]), [list(row.values()) for row in rows])


def blank_blocks(inches: bool = False) -> list[Block]:
    """The sheet to be filled in by hand: some notes, the columns in groups with their units."""
    known = columns()
    out: list[Block] = []
    for told, names in GROUPS.items():
        heads = ["note", *(_head(known[n], inches) for n in names)]
        first: list[Block] = [] if out else [Text(BLANK), Ticks(BEFORE)]
        out.append(Sideways([*first, Heading(told), Table(heads, [[Mark.ROOM] * len(heads)] * ROWS)]))
    return [*out, Heading(f"Leads (mass at its place from the balance pin), and remarks: {LEADS}, {REMARK}"), Lines(12)]


def _head(column: Column, inches: bool) -> str:
    unit = unit_label(choose_unit(column.unit, inches))
    return f"{column.title}, {unit}" if unit else column.title


def made(make: Make, section: Section, size: Size = "A4", inches: bool = False) -> bytes:
    """A document of ``paper.pdf`` or ``print_page.page`` as bytes."""
    out = make(title(section), blocks(section, inches), size=size, invented=section.sheet.invented)
    return out if isinstance(out, bytes) else out.encode()
