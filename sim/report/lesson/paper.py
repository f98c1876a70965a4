"""Lessons and exercises on paper: a lesson's page, an exercise's mark, a rough unit's path."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import cast

from matplotlib.figure import Figure

from sim.diagnosis.bench_tests import BenchTest
from sim.display_units import format_si
from sim.regulation.duration_text import format_bench_time
from sim.report import practice
from sim.report import rough as sheet
from sim.report.drawing.draw import find_pose, new_axes
from sim.report.drawing.figures import render_png
from sim.report.drawing.mechanism import draw_close_up, draw_mechanism
from sim.report.lesson.tables import format_unit_hint, list_possible_answers
from sim.report.paper.blocks import Block, Heading, Lines, Picture, Size, Table, Text, Ticks, Together
from sim.report.paper.pdf import make_pdf
from sim.teaching import lesson_task
from sim.teaching.complaint import choose_complaint
from sim.teaching.lesson import Lesson
from sim.teaching.mark import Mark
from sim.teaching.practice import Attempt
from sim.teaching.probes import load_sights, probe_unit
from sim.teaching.rough import RegulationPath
from sim.unit.model import ActionUnit


@dataclass(frozen=True)
class LessonPage:
    """A lesson as it is printed."""

    title: str
    paragraphs: Sequence[str]
    pictures: Sequence[tuple[bytes, str]] = ()
    """PNG, and what is in it."""
    readings: Sequence[tuple[str, str]] = ()
    """Of the lesson's unit as it should be: what, and its value."""
    questions: Sequence[str] = ()
    """Asked beforehand; there is room to answer after each."""
    task: str = ""
    adjustments: Sequence[str] = ()
    """What may be turned for it."""
    wanted: Sequence[str] = ()
    """What the task is to reach, a box to tick each."""
    room: int = 2
    """Lines to write on after each question and the task."""


def draw_pictures(unit: ActionUnit) -> tuple[tuple[Figure, str], ...]:
    """The unit with its parts' names as the jack lets go, whole and from near by, and what is in each picture."""
    pose = find_pose(unit, "escape")
    whole, near = new_axes(8.0, 3.7), new_axes(5.0, 3.7)
    draw_mechanism(whole, unit, pose, names=True)
    draw_close_up(near, unit, pose)
    told = f"{unit.name}, as the jack lets go in a moderate blow"
    return (cast(Figure, whole.figure), told), (cast(Figure, near.figure), "the same from near by")


def build_lesson_page(lesson: Lesson, inches: bool = False) -> LessonPage:
    """A lesson as it is printed, with its unit drawn as the jack lets go."""
    unit = lesson_task.load_lesson_unit(lesson)
    seen, task = probe_unit(unit, lesson.look_at), lesson.task
    return LessonPage(
        lesson.title,
        (f"Afterwards you can: {lesson.afterwards}", *(part.say for part in lesson.parts)),
        [(render_png(figure), told) for figure, told in draw_pictures(unit)],
        [(load_sights()[n].title, lesson_task.format_seen(seen, n, inches)) for n in lesson.look_at],
        [
            f"{q.ask} ({', '.join(list_possible_answers(q))}) {lesson_task.format_answer_rule(q, inches)}".strip()
            for q in lesson.prediction_questions
        ],
        f"{task.say} {format_unit_hint(lesson, inches)}".strip(),
        [f"{hand.title}: {hand.told}" for hand in lesson_task.list_task_adjustments(lesson)],
        [f"{w.sight.title}: {w.format_target(inches)}" for w in task.want],
    )


def make_lesson_pdf(page: LessonPage, size: Size = "A4", date: str = "") -> bytes:
    """A lesson's page as PDF."""
    blocks: list[Block] = [Text(p) for p in page.paragraphs]
    blocks += [Picture(picture, told, 0.9 / (1 + i / 2)) for i, (picture, told) in enumerate(page.pictures)]
    if page.readings:
        blocks += [Heading("This unit as it should be"), Table(("reading", "value"), page.readings, (1,))]
    for number, question in enumerate(page.questions, 1):
        blocks.append(Together((Heading(f"Foretell, then see ({number})"), Text(question), Lines(page.room))))
    if page.task:
        hands = (Text(f"– {hand}") for hand in page.adjustments)
        blocks.append(Together((Heading("Do it"), Text(page.task), *hands, Ticks(page.wanted), Lines(page.room))))
    return make_pdf(page.title, blocks, size=size, date=date)


@dataclass(frozen=True)
class MarkPage:
    """The mark of a hidden-fault exercise as it is printed, all of it in words."""

    title: str
    code: str
    """With which the same exercise is made again; "" for one that a teacher wrote."""
    told: str
    """What the owner said, and what was known beforehand."""
    passed: bool
    cost: str
    """Time spent, and allowed."""
    judged: Sequence[tuple[str, bool, str]]
    """What was looked at, whether it was right, and why."""
    truth: Sequence[str]
    """What was hidden."""
    notebook: Sequence[tuple[str, str, str, str]]
    """Each move, what it read, what it should read, and its time."""
    readings: Sequence[tuple[str, str, str, bool]] = ()
    """Of the mended unit: what, its value, the span in which it is right, and whether it is."""
    cheapest: str = ""
    """The cheapest path, with hindsight."""


def build_mark_page(a: Attempt, mark: Mark, inches: bool = False) -> MarkPage:
    """An attempt and its mark, as they are printed."""
    e = mark.exercise

    def format_value(value: float | None, test: BenchTest) -> str:
        return format_si(value, test.unit, inches)

    return MarkPage(
        e.name,
        e.code,
        f"{practice.format_task(a)} The owner says: {choose_complaint(e)}",
        mark.passed,
        f"{format_bench_time(mark.cost)} of {format_bench_time(mark.allowed)} allowed",
        [(row.what, row.passed, row.words) for row in mark.rows],
        mark.truth,
        [(r["move"], r["reads"], r["should read"], r["took"]) for r in practice.build_notebook_rows(a, inches)],
        [
            (
                b.test.title,
                format_value(b.now, b.test),
                f"{format_value(b.low, b.test)} to {format_value(b.high, b.test)}",
                b.passed,
            )
            for b in mark.backs
        ],
        " ".join(practice.format_path_lines(mark.path, a)),
    )


def make_mark_pdf(mark: MarkPage, size: Size = "A4", date: str = "") -> bytes:
    """The mark sheet of a hidden-fault exercise as PDF, with lines for the learner's and the teacher's remarks."""
    again = f" The same exercise again: {mark.code}." if mark.code else ""
    moves = [(str(i), *move) for i, move in enumerate(mark.notebook, 1)]
    blocks: list[Block] = [
        Text(f"{mark.told}{again}"),
        Heading(f"{'Passed' if mark.passed else 'Not passed'}: {mark.cost}"),
        Table(("what", "judged", "why"), [(what, _format_right(right), why) for what, right, why in mark.judged]),
        Text(f"It was: {'; '.join(mark.truth)}."),
        Heading("What was done"),
        Table(("move", "what", "reads", "should read", "time"), moves, (0, 2, 3, 4)),
    ]
    if mark.readings:
        rows = [(what, now, span, _format_right(right)) for what, now, span, right in mark.readings]
        blocks += [Heading("The mended unit"), Table(("reading", "is", "right", ""), rows, (1, 2))]
    if mark.cheapest:
        blocks += [Heading("The cheapest path, with hindsight"), Text(mark.cheapest)]
    return make_pdf(mark.title, [*blocks, Together((Heading("Remarks"), Lines(3)))], size=size, date=date)


def _format_right(right: bool) -> str:
    return "right" if right else "off"


def make_path_pdf(
    mine: RegulationPath, others: Sequence[RegulationPath] = (), size: Size = "A4", date: str = "", inches: bool = False
) -> bytes:
    """A rough unit's path as PDF, beside the orders of work where they were followed."""
    rough = mine.rough
    blocks: list[Block] = [
        Text(f"{rough.well.name}, roughly assembled, number {rough.seed}. {sheet.INVENTED}"),
        Heading("The rough unit"),
        Table(
            ("reading", "should be", "within", "was", ""),
            sheet.build_asked_rows(RegulationPath(rough), inches),
            (1, 2, 3),
        ),
    ]
    if mine.lines:
        steps = sheet.build_path_rows(mine, inches)
        came = (
            "every target met" if mine.finished else f"still off: {', '.join(map(sheet.format_target_name, mine.off))}"
        )
        blocks += [
            Heading("The path"),
            Table(("step", "what", "asked", "came to", "time", "remarks"), steps, (0, 2, 3, 4)),
            Text(
                f"{len(mine.lines)} steps, {format_bench_time(mine.seconds)}, {mine.rework} of them set again: {came}."
            ),
            Picture(render_png(sheet.draw_readings(mine)), sheet.describe_readings_figure(mine), 0.8),
        ]
    ways = [*([mine] if mine.lines else []), *others]
    if others:
        heads = ("way", "steps", "time", "set again", "undone", "came to")
        blocks += [
            Heading("Beside the orders of work"),
            Table(heads, sheet.build_way_rows(ways), (1, 2, 3, 4)),
            Picture(render_png(sheet.draw_times(ways)), sheet.describe_times_figure(ways), 0.92),
        ]
    return make_pdf("Regulating a rough unit", [*blocks, Text(sheet.COUNTING_NOTE)], size=size, date=date)
