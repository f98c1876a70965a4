"""lesson: what it takes, and what it does."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from typing import TYPE_CHECKING

from sim.cli import screen
from sim.cli.command import Command, ExitCode

if TYPE_CHECKING:
    from sim.teaching.lesson import Foretell, Lesson


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
    screen.add_paper(parser)
    parser.add_argument("--inches", action="store_true", help="lengths in inches")


def lesson(args: argparse.Namespace) -> int:
    """List, show, or judge what was said and turned."""
    from sim.report.lesson import tables as sheet
    from sim.teaching.lesson import lessons

    paper = screen.out_file(args.sheet, (".pdf",), "--sheet")
    if args.lesson is None:
        screen.show(*sheet.listed())
        return ExitCode.FINE
    if args.lesson not in lessons():
        raise screen.refused("LESSON", args.lesson, ", ".join(lessons()), "choose one of these")
    found = lessons()[args.lesson]
    said, turned = _said(found, args.said), _turned(found, args.turned)
    if not said and not turned:
        screen.show(*sheet.shown(found, args.inches))
    for number, (question, answer) in said.items():
        screen.show(*sheet.foretold(found, number, question, answer, args.inches))
    if turned:
        screen.show(*sheet.result(found, turned, args.inches))
    if paper is not None:
        from sim.report.lesson.paper import lesson_page, page_of

        screen.keep_bytes("sheet", "--sheet", paper, lesson_page(page_of(found, args.inches), args.paper))
    return ExitCode.FINE


def _said(found: Lesson, texts: Sequence[str]) -> dict[int, tuple[Foretell, str]]:
    allowed = f"1 to {len(found.foretell)}"
    out = {}
    for text in texts:
        number, mark, answer = text.partition("=")
        if not mark or not number.isdecimal() or not 1 <= int(number) <= len(found.foretell):
            raise screen.refused("--say", text, f"N=ANSWER with N from {allowed}", 'write it as in --say 1="grows"')
        out[int(number)] = (found.foretell[int(number) - 1], answer.strip())
    return out


def _turned(found: Lesson, texts: Sequence[str]) -> dict[str, float]:
    from sim.teaching.adjustments import hands

    out = {}
    for text in texts:
        at, mark, value = text.partition("=")
        if not mark or at not in found.task.hands:
            raise screen.refused(
                "--turn", text, ", ".join(found.task.hands), f'write it as in --turn {found.task.hands[0]}="…"'
            )
        out[at] = hands()[at].read(value)
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
