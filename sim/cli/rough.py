"""rough: what it takes, and what it does."""

from __future__ import annotations

import argparse

from sim.cli import screen
from sim.cli.command import Command, ExitCode
from sim.cli.options import load_origin

UNIT = "concert-grand-natural"


def _add_arguments(parser: argparse.ArgumentParser) -> None:
    told = f"the unit that is put together roughly (default {UNIT})"
    parser.add_argument("scenario", metavar="SCENARIO", nargs="?", default=UNIT, help=told)
    parser.add_argument("--seed", metavar="S", type=int, default=1, help="the same seed makes the same rough unit")
    parser.add_argument(
        "--do", dest="steps", metavar="STEP", action="append", default=[],
        help="set one thing, in the order given: blow, let_off=1.6mm, 'aftertouch by blow'",
    )  # fmt: skip
    parser.add_argument("--no-orders", action="store_true", help="leave out the orders of work (faster)")
    screen.add_paper_options(parser)
    parser.add_argument("--json", action="store_true", help="print JSON instead of tables")


def rough(args: argparse.Namespace) -> int:
    """Do the steps on the rough unit, and every order of work beside them."""
    from sim.report import rough as sheet
    from sim.report.formats import json_text
    from sim.teaching import rough as unit

    paper = screen.check_out_file(args.sheet, (".pdf",), "--sheet")
    steps = [unit.parse_step(text) for text in args.steps]
    origin = load_origin(args.scenario, args.changes)
    screen.announce_compiling()
    with screen.show_progress_bar("putting it together") as say:
        begun = unit.draw_rough_unit(origin.ready, args.seed)
        mine = unit.make_path(begun, steps)
        others = () if args.no_orders else unit.follow_all_orders(begun, say)
    if args.json:
        print(json_text.format_json(sheet.build_document(mine, others)))
    else:
        screen.print_parts(*sheet.build_tables(mine, others))
    if paper is not None:
        from sim.report.lesson.paper import make_path_pdf

        screen.write_output_bytes("sheet", "--sheet", paper, make_path_pdf(mine, others, args.paper))
    return ExitCode.FINE


COMMANDS = (
    Command(
        "rough",
        "regulate a roughly assembled unit in any order, beside the orders of work",
        _add_arguments,
        rough,
        "A step is a setting, at its target or at a value; the list of them is all there is to a path.",
        scenario=False,
    ),
)
