"""Lessons and their answers as words and tables."""

from __future__ import annotations

from collections.abc import Mapping

from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from sim.display_units import UNITS, format_si
from sim.report.formats.tables import CAUTIONS, plain_table
from sim.teaching import lesson_task, plain_typing
from sim.teaching.adjustments import hands
from sim.teaching.lesson import Foretell, Lesson, lessons
from sim.teaching.probes import look, sights


def listed() -> list[RenderableType]:
    """All lessons: name, title, what one can do afterwards."""
    table = plain_table("Lessons")
    for name in ("name", "title", "afterwards you can"):
        table.add_column(name)
    for lesson in lessons().values():
        table.add_row(lesson.name, lesson.title, lesson.afterwards)
    return [table, Text("python -m sim lesson NAME shows one")]


def shown(lesson: Lesson, inches: bool = False) -> list[RenderableType]:
    """One lesson: text, readings of its unit, questions, task with its hands."""
    parts: list[RenderableType] = [Text(f"{lesson.title}\nAfterwards you can: {lesson.afterwards}\n", style="bold")]
    parts += [Text(f"{part.say}\n") for part in lesson.parts]
    parts += [_reads(lesson, inches), Text("")]
    for number, question in enumerate(lesson.foretell, 1):
        parts.append(
            Text(f"Foretell {number}: {question.ask}\n  --say {number}=... ({', '.join(possible(question))})\n"
                 f"{_line(lesson_task.judged(question, inches))}")
        )  # fmt: skip
    handed_over = rows("As it is handed over", lesson_task.result(lesson, {}, inches))
    parts += [
        Text(f"Do it: {lesson.task.say}"),
        handed_over,
        Text(""),
        _hands(lesson, inches),
        Text(f"{needs_unit(lesson, inches)} On the command line: {typed_turn(lesson, inches)}\n"),
        Text(CAUTIONS),
    ]
    return parts


def _line(said: str) -> str:
    return f"  {said}\n" if said else ""


def needs_unit(lesson: Lesson, inches: bool = False) -> str:
    """That the numbers of a lesson's task need their unit, by an example of its own."""
    return plain_typing.needs_unit(hands()[lesson.task.hands[0]].example(inches))


def typed_turn(lesson: Lesson, inches: bool = False) -> str:
    """A hand of a lesson's task as the command takes it."""
    first = lesson.task.hands[0]
    return f'--turn {first}="{plain_typing.plain(hands()[first].example(inches))}"'


def possible(question: Foretell) -> tuple[str, ...]:
    """What may be said to a question."""
    if question.answers:
        return question.answers
    dimension = UNITS[sights()[question.read].unit][1]
    return (f"a {dimension.name} with its unit, such as {plain_typing.plain(dimension.example)}",)


def foretold(lesson: Lesson, number: int, question: Foretell, said: str, inches: bool = False) -> list[RenderableType]:
    """What was said beside what came."""
    found = lesson_task.foretold(lesson, question, said, inches)
    return [Text(f"Foretell {number}: {question.ask}\n{came(question, found)}\n")]


def came(question: Foretell, found: lesson_task.Foretold) -> str:
    """What came of a question, in words."""
    title = sights()[question.read].title
    title = title[:1].upper() + title[1:]
    was = (
        f"{title}: {found.before} before, {found.after} after." if question.change.turns else f"{title}: {found.after}."
    )
    if found.right:
        return f"You said “{found.said}”, and so it is. {was} {question.because}"
    far = f" You were off by {found.far}." if found.far else ""
    return f"You said “{found.said}”; it is “{found.came}”.{far} {was} {question.because}"


def result(lesson: Lesson, values: Mapping[str, float], inches: bool = False) -> list[RenderableType]:
    """What a try came to."""
    found = lesson_task.result(lesson, values, inches)
    return [rows("What was wanted", found), Text(""), Text(verdict(found))]


def rows(title: str, found: lesson_task.Result) -> Table:
    """Every reading that is wanted, and what came out."""
    table = plain_table(title)
    for name in ("reading", "wanted", "is", ""):
        table.add_column(name)
    for row in found.rows:
        table.add_row(row.wanted.sight.title, row.asked, row.seen, "met" if row.met else "not met")
    return table


def verdict(found: lesson_task.Result) -> str:
    """Right or not yet, and words about this very result."""
    return " ".join(["Right." if found.done else "Not yet.", *found.words])


def _reads(lesson: Lesson, inches: bool) -> Table:
    table = plain_table("This unit as it should be (invented)")
    table.add_column("reading")
    table.add_column("value", justify="right")
    seen = look(lesson_task.unit_of(lesson), lesson.look_at)
    for name in lesson.look_at:
        table.add_row(sights()[name].title, lesson_task.told(seen, name, inches))
    return table


def _hands(lesson: Lesson, inches: bool) -> Table:
    table = plain_table("")
    for name in ("--turn", "what", "from", "to", "stands"):
        table.add_column(name, justify="left" if name in ("--turn", "what") else "right")
    for hand, now in lesson_task.hands_of(lesson).items():
        ends = [format_si(v, hand.unit, inches) for v in (hand.low, hand.high)]
        stands = lesson_task.stands(lesson, hand, now, inches)
        table.add_row(hand.at, f"{hand.title}: {hand.told}", *ends, stands)
    return table
