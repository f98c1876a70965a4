"""Lessons and exercises on paper: a rough unit's path, a lesson's page, an exercise's mark."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import cast

from matplotlib.figure import Figure

from sim.lessons import doing
from sim.lessons.lesson import Lesson
from sim.lessons.rough import Path
from sim.sheets import lessons as words
from sim.sheets import rough as sheet
from sim.sheets.drawing import find_pose, new_axes
from sim.sheets.figures import png
from sim.sheets.mechanism import close_up, draw_mechanism
from sim.sheets.paper import Block, Heading, Lines, Picture, Size, Table, Text, Ticks, pdf
from sim.unit.model import ActionUnit


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
    room: int = 2
    """Lines to write on after each question and the task."""


def drawn(unit: ActionUnit) -> tuple[tuple[Figure, str], ...]:
    """The unit with its parts' names as the jack lets go, whole and from near by, and what is in each picture."""
    pose = find_pose(unit, "escape")
    whole, near = new_axes(8.0, 3.7), new_axes(5.0, 3.7)
    draw_mechanism(whole, unit, pose, names=True)
    close_up(near, unit, pose)
    told = f"{unit.name}, as the jack lets go in a moderate blow"
    return (cast(Figure, whole.figure), told), (cast(Figure, near.figure), "the same from near by")


def page_of(lesson: Lesson, inches: bool = False) -> LessonPage:
    """A lesson to print: its words, its unit as the jack lets go, its questions and its task."""
    unit = doing.unit_of(lesson)
    hands = "; ".join(f"{hand.title}: {hand.told}" for hand in doing.hands_of(lesson))
    return LessonPage(
        lesson.title,
        [f"Afterwards you can: {lesson.goal[:1].lower()}{lesson.goal[1:]}", *(part.say for part in lesson.parts)],
        [(png(figure), told) for figure, told in drawn(unit)],
        [f"{q.ask} ({', '.join(words.possible(q))})" for q in lesson.foretell],
        f"{lesson.task.say} (To be turned: {hands}.)",
        [f"{w.sight.title}: {w.told(inches)}" for w in lesson.task.want],
    )


def lesson_page(page: LessonPage, size: Size = "A4", date: str = "") -> bytes:
    """A lesson's page as PDF."""
    blocks: list[Block] = [Text(p) for p in page.paragraphs]
    blocks += [Picture(picture, told, 0.9 / (1 + i / 2)) for i, (picture, told) in enumerate(page.pictures)]
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
