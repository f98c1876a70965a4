"""practice: what it takes, and what it does."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from sim.cli import screen
from sim.cli.command import Command, ExitCode
from sim.errors import Fault, InputError

if TYPE_CHECKING:
    from sim.teaching.exercise import Exercise
    from sim.teaching.known_readings import KnownReadings


class _Moves(argparse.Action):
    """Moves gather in the order in which they are typed."""

    def __call__(
        self, parser: argparse.ArgumentParser, namespace: argparse.Namespace, values: Any, option: str | None = None
    ) -> None:
        kind = (option or "").lstrip("-")
        namespace.moves = [*(namespace.moves or []), *(f"{kind} {value}" for value in values)]


def _add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--level", type=int, metavar="N", help="1, 2 or 3 (default 1)")
    parser.add_argument("--seed", type=int, metavar="N", help="the same level and seed give the same exercise")
    parser.add_argument("--scenario", metavar="NAME", help="a shipped scenario (default concert-grand-natural)")
    parser.add_argument("--fault", metavar="NAME", help="a fault that is to be among those hidden, to practise it")
    parser.add_argument(
        "--exercise", metavar="FILE", help="an exercise that a teacher wrote (*.toml), or a shipped one"
    )
    for kind, what, told in (
        ("take", "NAME", "take readings"),
        ("mend", "NAME=VALUE", "change something: a hand by its name, a value with its unit"),
        ("cause", "NAME", "name what is wrong, and hand in"),
    ):
        parser.add_argument(f"--{kind}", dest="moves", nargs="+", metavar=what, action=_Moves, default=[], help=told)
    parser.add_argument("--no-path", action="store_true", help="leave out the cheapest path (faster)")
    screen.add_paper_options(parser)
    form = parser.add_mutually_exclusive_group()
    form.add_argument("--json", action="store_true", help="print JSON instead of tables")
    form.add_argument("--blank", action="store_true", help="print a small exercise, to edit")


def practice(args: argparse.Namespace) -> int:
    """Make the moves; show the notebook, or mark."""
    from sim.report import practice as sheet
    from sim.report.formats import json_text
    from sim.teaching import exercise_files
    from sim.teaching.mark import mark_attempt
    from sim.teaching.practice import make_attempt

    if args.blank:
        print(exercise_files.format_blank_exercise(), end="")
        return ExitCode.FINE
    paper = screen.check_out_file(args.sheet, (".pdf",), "--sheet")
    screen.announce_compiling()
    made = make_attempt(_exercise(args), args.moves)
    if paper is not None and not made.named:
        remedy = "name a cause with --cause: then there is a mark"
        raise InputError([Fault("command line", None, "--sheet", args.sheet, "the mark of what was handed in", remedy)])
    mark = None
    if made.named:
        mark = mark_attempt(made, None if args.no_path else _compute_known(made.exercise.scenario))
    if args.json:
        print(json_text.format_json(sheet.build_document(made, mark)))
    else:
        screen.print_parts(sheet.build_tables(made) if mark is None else sheet.build_mark_tables(made, mark))
    if paper is not None and mark is not None:
        from sim.report.lesson.paper import build_mark_page, make_mark_pdf

        screen.write_output_bytes(
            "mark sheet", "--sheet", paper, make_mark_pdf(build_mark_page(made, mark), args.paper)
        )
    return ExitCode.FINE


def _exercise(args: argparse.Namespace) -> Exercise:
    from sim.teaching import exercise_files
    from sim.teaching.exercise import USUAL_SCENARIO, draw_exercise

    drawn = {n: v for n in ("level", "seed", "scenario", "fault") if (v := getattr(args, n)) is not None}
    if args.exercise is None:
        return draw_exercise(
            drawn.get("level", 1), drawn.get("seed", 1), drawn.get("scenario", USUAL_SCENARIO), drawn.get("fault", "")
        )
    if drawn:
        told: Sequence[str] = [f"--{n}" for n in drawn]
        remedy = "write them in the exercise, or leave --exercise out"
        raise InputError([Fault("command line", None, " ".join(told), "given", "nothing beside --exercise", remedy)])
    return exercise_files.load_exercise(args.exercise)


def _compute_known(scenario: str) -> KnownReadings:
    from sim.diagnosis.inference import build_cause_grid
    from sim.diagnosis.library import compute_library
    from sim.teaching.exercise import load_sound_unit
    from sim.teaching.known_readings import KnownReadings

    with screen.show_progress_bar("the cheapest path: faults of this unit") as say:
        return KnownReadings(build_cause_grid(compute_library(load_sound_unit(scenario)[0], say)))


COMMANDS = (
    Command(
        "practice",
        "find a hidden fault: readings one at a time, name the cause, mend it, be marked",
        _add_arguments,
        practice,
        "Moves are made in the order typed; type them all again with one more. --cause hands in.",
        scenario=False,
        settable=False,
    ),
)
