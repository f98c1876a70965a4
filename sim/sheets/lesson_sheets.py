"""Lessons and exercises on paper: a rough unit's path, a lesson's page, an exercise's mark."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from sim.lessons.rough import Path
from sim.sheets import rough as sheet
from sim.sheets.figures import png
from sim.sheets.paper import Block, Heading, Lines, Picture, Size, Table, Text, Ticks, pdf


@dataclass(frozen=True)
class LessonPage:
    """A lesson as it is printed: words, pictures (PNG, and what is in each), what to do and room to answer."""

    title: str
    paragraphs: Sequence[str]
    pictures: Sequence[tuple[bytes, str]] = ()
    questions: Sequence[str] = ()
    """Asked beforehand: room to answer after each."""
    task: str = ""
    wanted: Sequence[str] = ()
    """What the task is to reach, a box to tick each."""
    room: int = 4
    """Lines to write on after each question and the task."""


def lesson_page(page: LessonPage, size: Size = "A4", date: str = "") -> bytes:
    """A lesson's page as PDF."""
    blocks: list[Block] = [Text(p) for p in page.paragraphs]
    blocks += [Picture(picture, told) for picture, told in page.pictures]
    for question in page.questions:
        blocks += [Heading("What will happen?"), Text(question), Lines(page.room)]
    if page.task:
        blocks += [Heading("To do"), Text(page.task), Ticks(page.wanted), Lines(page.room)]
    return pdf(page.title, blocks, size=size, date=date)


def path_sheet(
    mine: Path, others: Sequence[Path] = (), size: Size = "A4", date: str = "", inches: bool = False
) -> bytes:
    """A rough unit's path as PDF, beside the orders of work where they were followed."""
    rough = mine.rough
    blocks: list[Block] = [
        Text(f"{rough.well.name}, roughly assembled, number {rough.seed}. {sheet.INVENTED}"),
        Heading("The rough unit"),
        Table(("reading", "should be", "within", "was", ""), sheet.asked_rows(Path(rough), inches), (1, 2, 3)),
    ]
    if mine.lines:
        steps = sheet.step_rows(mine, inches)
        came = "every target met" if mine.finished else f"still off: {', '.join(map(sheet.named, mine.off))}"
        blocks += [
            Heading("The path"),
            Table(("step", "what", "asked", "came to", "time", "remarks"), steps, (0, 2, 3, 4)),
            Text(f"{len(mine.lines)} steps, {sheet.minutes(mine.seconds)}, {mine.rework} of them set again: {came}."),
            Picture(png(sheet.draw_readings(mine)), sheet.told_readings(mine), 0.8),
        ]
    ways = [*([mine] if mine.lines else []), *others]
    if others:
        heads = ("way", "steps", "time", "set again", "undone", "came to")
        blocks += [
            Heading("Beside the orders of work"),
            Table(heads, sheet.way_rows(ways), (1, 2, 3, 4)),
            Picture(png(sheet.draw_times(ways)), sheet.told_times(ways), 0.92),
        ]
    return pdf("Regulating a rough unit", [*blocks, Text(sheet.COUNTED)], size=size, date=date)
