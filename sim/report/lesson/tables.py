"""Lessons and their answers as words and tables."""

from __future__ import annotations

from collections.abc import Mapping

from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from sim.display_units import UNITS, format_si
from sim.report.formats.tables import CAUTIONS, new_plain_table
from sim.teaching import lesson_task, plain_typing
from sim.teaching.adjustments import load_adjustments
from sim.teaching.lesson import Lesson, PredictQuestion, load_lessons
from sim.teaching.probes import load_sights, probe_unit


def build_list() -> list[RenderableType]:
    """All lessons: name, title, what one can do afterwards."""
    table = new_plain_table("Lessons")
    for name in ("name", "title", "afterwards you can"):
        table.add_column(name)
    for lesson in load_lessons().values():
        table.add_row(lesson.name, lesson.title, lesson.afterwards)
    return [table, Text("python -m sim lesson NAME shows one")]


def build_lesson_parts(lesson: Lesson, inches: bool = False) -> list[RenderableType]:
    """One lesson: text, readings of its unit, questions, task with its hands."""
    parts: list[RenderableType] = [Text(f"{lesson.title}\nAfterwards you can: {lesson.afterwards}\n", style="bold")]
    parts += [Text(f"{part.say}\n") for part in lesson.parts]
    parts += [_reads(lesson, inches), Text("")]
    for number, question in enumerate(lesson.prediction_questions, 1):
        parts.append(
            Text(
                f"Foretell {number}: {question.ask}\n  --say {number}=... "
                f"({', '.join(list_possible_answers(question))})\n"
                f"{_format_said_line(lesson_task.format_answer_rule(question, inches))}"
            )
        )
    handed_over = build_result_table("As it is handed over", lesson_task.judge_task(lesson, {}, inches))
    parts += [
        Text(f"Do it: {lesson.task.say}"),
        handed_over,
        Text(""),
        _build_adjustments_table(lesson, inches),
        Text(f"{format_unit_hint(lesson, inches)} On the command line: {format_typed_turn(lesson, inches)}\n"),
        Text(CAUTIONS),
    ]
    return parts


def _format_said_line(said: str) -> str:
    return f"  {said}\n" if said else ""


def format_unit_hint(lesson: Lesson, inches: bool = False) -> str:
    """That the numbers of a lesson's task need their unit, by an example of its own."""
    return plain_typing.format_unit_reminder(load_adjustments()[lesson.task.adjustments[0]].example(inches))


def format_typed_turn(lesson: Lesson, inches: bool = False) -> str:
    """A hand of a lesson's task as the command takes it."""
    first = lesson.task.adjustments[0]
    return f'--turn {first}="{plain_typing.replace_symbols(load_adjustments()[first].example(inches))}"'


def list_possible_answers(question: PredictQuestion) -> tuple[str, ...]:
    """What may be said to a question."""
    if question.answers:
        return question.answers
    dimension = UNITS[load_sights()[question.read].unit].dimension
    return (f"a {dimension.name} with its unit, such as {plain_typing.replace_symbols(dimension.example)}",)


def build_prediction_table(
    lesson: Lesson, number: int, question: PredictQuestion, said: str, inches: bool = False
) -> list[RenderableType]:
    """What was said beside what came."""
    found = lesson_task.judge_prediction(lesson, question, said, inches)
    return [Text(f"Foretell {number}: {question.ask}\n{format_prediction_outcome(question, found)}\n")]


def format_prediction_outcome(question: PredictQuestion, found: lesson_task.PredictionResult) -> str:
    """What came of a question, in words."""
    title = load_sights()[question.read].title
    title = title[:1].upper() + title[1:]
    was = (
        f"{title}: {found.before} before, {found.after} after." if question.change.turns else f"{title}: {found.after}."
    )
    if found.right:
        return f"You said “{found.said}”, and so it is. {was} {question.because}"
    far = f" You were off by {found.far}." if found.far else ""
    return f"You said “{found.said}”; it is “{found.came}”.{far} {was} {question.because}"


def build_result(lesson: Lesson, values: Mapping[str, float], inches: bool = False) -> list[RenderableType]:
    """What a try came to."""
    found = lesson_task.judge_task(lesson, values, inches)
    return [build_result_table("What was wanted", found), Text(""), Text(format_verdict(found))]


def build_result_table(title: str, found: lesson_task.TaskResult) -> Table:
    """Every reading that is wanted, and what came out."""
    table = new_plain_table(title)
    for name in ("reading", "wanted", "is", ""):
        table.add_column(name)
    for row in found.rows:
        table.add_row(row.wanted.sight.title, row.asked, row.seen, "met" if row.met else "not met")
    return table


def format_verdict(found: lesson_task.TaskResult) -> str:
    """Right or not yet, and words about this very result."""
    return " ".join(["Right." if found.done else "Not yet.", *found.words])


def _reads(lesson: Lesson, inches: bool) -> Table:
    table = new_plain_table("This unit as it should be (invented)")
    table.add_column("reading")
    table.add_column("value", justify="right")
    seen = probe_unit(lesson_task.load_lesson_unit(lesson), lesson.look_at)
    for name in lesson.look_at:
        table.add_row(load_sights()[name].title, lesson_task.format_seen(seen, name, inches))
    return table


def _build_adjustments_table(lesson: Lesson, inches: bool) -> Table:
    table = new_plain_table("")
    for name in ("--turn", "what", "from", "to", "stands"):
        table.add_column(name, justify="left" if name in ("--turn", "what") else "right")
    for hand, now in lesson_task.list_task_adjustments(lesson).items():
        ends = [format_si(v, hand.unit, inches) for v in (hand.low, hand.high)]
        stands = lesson_task.format_adjustment_place(lesson, hand, now, inches)
        table.add_row(hand.at, f"{hand.title}: {hand.told}", *ends, stands)
    return table
