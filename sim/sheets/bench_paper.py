"""The bench sheet on paper: blank to be filled in, or of some notes with what to do in which order."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import cast

from matplotlib.figure import Figure

from sim.bench import edge
from sim.bench.predict import weigh
from sim.bench.readings import SlowPress
from sim.errors import SimulationError
from sim.sheets.blocks import Block, Cell, Heading, Lines, Mark, Picture, Sideways, Size, Table, Text, Ticks
from sim.sheets.drawing import find_pose, new_axes
from sim.sheets.figures import png
from sim.sheets.mechanism import draw_mechanism
from sim.sheets.section import (
    assumed_lines,
    even_rows,
    expected,
    outlier_rows,
    reading_rows,
    shown,
    slip_rows,
    title_of,
    turn_rows,
    turns,
    unmet_lines,
    was_read,
    whole_lines,
    will_read,
)
from sim.sheets.section_figures import draw_over_notes, draw_presses
from sim.unit.model import ActionUnit
from sim.workshop.bench_columns import LEADS, REMARK, Column, columns
from sim.workshop.bench_sheet import called
from sim.workshop.orders import orders
from sim.workshop.section import Section, SectionNote
from sim.workshop.targets import said

ORDER = "dip-fixed"
"""The order of work that a sheet is printed in."""
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
            yield Heading(f"Note {called(note.key_number)}")
            yield from _work(note, inches)


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
    yield from _curves(note)
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
    by = turns(note.work, inches)
    rows: list[list[Cell]] = []
    done: set[str] = set()
    for number, step in enumerate(orders()[ORDER].steps, start=1):
        name = step.sets[0]
        again = name in done or step.by not in ("", name)
        done.add(name)
        turn = "if it moved" if again else by.get(title_of(name), "") or "stays"
        rows.append(
            [Mark.TICK, str(number), step.say, _now(note, name, inches), _to_be(note, name, inches), turn, Mark.ROOM]
        )
    return Table(["", "", "step", "found", "to be", "turn", "as it came out"], rows, numbers=(1,))


def _now(note: SectionNote, target: str, inches: bool) -> str:
    found = was_read(note.row, target)
    if found is not None:
        return said(target, found, inches)
    here = expected(note, target)
    return f"({said(target, here, inches)})" if here is not None else "–"


def _to_be(note: SectionNote, target: str, inches: bool) -> str:
    value = note.goal.get(target)
    if value is None and note.work is not None:
        value = note.work.readings.get(target)
    return said(target, value, inches)


def _before_and_after(note: SectionNote, inches: bool) -> Table:
    rows: list[list[Cell]] = []
    for s in shown():
        row = [s.told(v, inches) for v in (was_read(note.row, s.name), expected(note, s.name))]
        rows.append([s.head(inches), *row, s.told(will_read(note.prediction, s.name), inches), Mark.ROOM])
    heads = ["reading", "found", "expected of it", "after the work", "as it came out"]
    return Table(heads, rows, numbers=(1, 2, 3))


def _curves(note: SectionNote) -> Iterator[Block]:
    if note.work is None:
        return
    found = [(told, curve) for told, unit in (("as found", note.work.before), ("after the work", note.work.unit))
             if (curve := _pressed(unit)) is not None]  # fmt: skip
    if found:
        told = "Force at the touch point against the key's travel, pressed slowly and let up"
        yield Picture(png(cast(Figure, draw_presses(found).figure), 150), told)
    try:
        axes = new_axes(8.0, 3.7)
        draw_mechanism(axes, note.work.unit, find_pose(note.work.unit, "escape"), names=True)
    except SimulationError:
        return
    yield Picture(png(cast(Figure, axes.figure), 150), "After the work, as the jack lets go in a moderate blow")


def _pressed(unit: ActionUnit) -> SlowPress | None:
    try:
        return weigh(unit)[2]
    except SimulationError:
        return None


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
    unit = edge.label(edge.chosen(column.unit, inches))
    return f"{column.title}, {unit}" if unit else column.title


def made(make: Make, section: Section, size: Size = "A4", inches: bool = False) -> bytes:
    """A document of ``paper.pdf`` or ``print_page.page`` as bytes."""
    out = make(title(section), blocks(section, inches), size=size, invented=section.sheet.invented)
    return out if isinstance(out, bytes) else out.encode()
