"""compare: two units side by side, and what carries each difference."""

from __future__ import annotations

import argparse

from sim.cli import screen
from sim.cli.command import Command, ExitCode
from sim.cli.options import add_output_forms, load_origin, print_result, save_figure
from sim.errors import Fault, InputError


def _add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "other",
        metavar="B",
        nargs="?",
        help="the second scenario (without it, SCENARIO again), in which --set changes what it changes",
    )
    add_output_forms(parser, "both units' curves over one another")
    parser.add_argument("--no-repetition", action="store_true", help="leave out the repetition ensemble (faster)")


def compare(args: argparse.Namespace) -> int:
    """A against B, or against itself changed."""
    from sim.report import compare as comparison
    from sim.report.drawing import figures
    from sim.studies.compare import compare_units as both

    path = screen.check_out_file(args.figure, figures.SUFFIXES, "--figure")
    if args.other is None and not args.changes:
        remedy = "name a second scenario, or what differs by --set"
        raise InputError([Fault("command line", None, "B", "nothing", "a second scenario or --set", remedy)])
    a, b = load_origin(args.scenario, []), load_origin(args.other or args.scenario, args.changes)
    with screen.show_progress_bar("comparing") as say:
        found = both(a, b, repetition=not args.no_repetition, progress=say)
    document = comparison.build_document(found) if args.json else None
    csv = comparison.format_csv(found) if args.csv else None
    print_result(args, document, csv, comparison.build_tables(found))
    if path is not None:
        save_figure(comparison.draw_comparison(found), path)
    return ExitCode.FINE


COMMANDS = (
    Command(
        "compare", "two units side by side, and which changed input carries the difference", _add_arguments, compare
    ),
)
