"""lesson: what it takes, and what it does."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from typing import TYPE_CHECKING

from sim.cli import screen
from sim.cli.command import Command, ExitCode

if TYPE_CHECKING:
    from sim.teaching.lesson import Lesson, PredictQuestion


def _add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("lesson", metavar="LESSON", nargs="?", help="a lesson's name, such as let-off")
    parser.add_argument(
        "--say", dest="said", metavar="N=ANSWER", action="append", default=[],
        help="foretell question N: grows, shrinks, stays, or what it asks for; then what comes is shown",
    )  # fmt: skip
    parser.add_argument(
        "--turn", dest="turned", metavar="HAND=VALUE", action="append", default=[],
        help="do the task: a hand that the lesson names, and how far it is turned",
    )  # fmt: skip
    screen.add_paper_options(parser)
    parser.add_argument("--inches", action="store_true", help="lengths in inches")


def lesson(args: argparse.Namespace) -> int:
    """List, show, or judge what was said and turned."""
    from sim.report.lesson import tables as sheet
    from sim.teaching.lesson import load_lessons

    paper = screen.check_out_file(args.sheet, (".pdf",), "--sheet")
    if args.lesson is None:
        screen.print_parts(*sheet.build_list())
        return ExitCode.FINE
    if args.lesson not in load_lessons():
        raise screen.refuse_option("LESSON", args.lesson, ", ".join(load_lessons()), "choose one of these")
    found = load_lessons()[args.lesson]
    said, turned = _parse_answers(found, args.said), _parse_turns(found, args.turned)
    if not said and not turned:
        screen.print_parts(*sheet.build_lesson_parts(found, args.inches))
    for number, (question, answer) in said.items():
        screen.print_parts(*sheet.build_prediction_table(found, number, question, answer, args.inches))
    if turned:
        screen.print_parts(*sheet.build_result(found, turned, args.inches))
    if paper is not None:
        from sim.report.lesson.paper import build_lesson_page, make_lesson_pdf

        screen.write_output_bytes(
            "sheet", "--sheet", paper, make_lesson_pdf(build_lesson_page(found, args.inches), args.paper)
        )
    return ExitCode.FINE


def _parse_answers(found: Lesson, texts: Sequence[str]) -> dict[int, tuple[PredictQuestion, str]]:
    allowed = f"1 to {len(found.prediction_questions)}"
    out = {}
    for text in texts:
        number, mark, answer = text.partition("=")
        if not mark or not number.isdecimal() or not 1 <= int(number) <= len(found.prediction_questions):
            raise screen.refuse_option(
                "--say", text, f"N=ANSWER with N from {allowed}", 'write it as in --say 1="grows"'
            )
        out[int(number)] = (found.prediction_questions[int(number) - 1], answer.strip())
    return out


def _parse_turns(found: Lesson, texts: Sequence[str]) -> dict[str, float]:
    from sim.teaching.adjustments import load_adjustments

    out = {}
    for text in texts:
        at, mark, value = text.partition("=")
        if not mark or at not in found.task.adjustments:
            raise screen.refuse_option(
                "--turn",
                text,
                ", ".join(found.task.adjustments),
                f'write it as in --turn {found.task.adjustments[0]}="…"',
            )
        out[at] = load_adjustments()[at].read(value)
    return out


COMMANDS = (
    Command(
        "lesson",
        "learn the escapement: read a lesson, foretell, and do its task",
        _add_arguments,
        lesson,
        "Without a name it lists the lessons.",
        scenario=False,
    ),
)
