"""influence: how each reading answers to each input, and what tolerances do."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING, Any, NamedTuple

from rich.text import Text

from sim.cli import screen
from sim.cli.command import Command, ExitCode
from sim.cli.options import add_output_forms, load_origin, print_result, save_figure
from sim.errors import Fault, InputError

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from sim.report.formats.json_text import Document
    from sim.studies.variants import BaseScenario


def _add_arguments(parser: argparse.ArgumentParser) -> None:
    way = parser.add_mutually_exclusive_group()
    way.add_argument("--spring", action="store_true", help="the repetition spring, and its window by lever centre")
    way.add_argument(
        "--global", dest="all_at_once", action="store_true", help="all inputs within their tolerances (Sobol indices)"
    )
    parser.add_argument(
        "--only", metavar="PATH", nargs="+", action="extend", default=[], help='inputs, or patterns: "springs.*"'
    )
    parser.add_argument(
        "--readings", metavar="NAME", nargs="+", action="extend", default=[], help="readings: down_weight let_off ..."
    )
    parser.add_argument("--samples", type=int, metavar="N", help="--global: base samples, a power of two (default 64)")
    parser.add_argument(
        "--screws",
        choices=("held", "regulated"),
        help="leave the screws where they are (default for slopes), or regulate each changed unit again to the same "
        "readings (default for --global)",
    )
    add_output_forms(parser, "the curves")


def influence(args: argparse.Namespace) -> int:
    """Slopes, the spring study, or all tolerances at once."""
    from sim.report.drawing import figures

    path = screen.check_out_file(args.figure, figures.SUFFIXES, "--figure")
    _check_options(args)
    origin = load_origin(args.scenario, args.changes)
    way = _spring if args.spring else _sensitivity if args.all_at_once else _local
    with screen.show_progress_bar("setting up") as say:
        shown = way(args, origin, say)
    document = shown.document() if args.json else None
    csv = shown.csv() if args.csv else None
    print_result(args, document, csv, Text(origin.ready.name, style="bold"), Text(""), shown.tables())
    if path is not None:
        save_figure(shown.figure(), path)
    return ExitCode.FINE


class _StudyOutput(NamedTuple):
    """A study in each of its forms, made when asked for."""

    document: Callable[[], Document]
    csv: Callable[[], str]
    tables: Callable[[], Any]
    figure: Callable[[], Figure]


def _check_options(args: argparse.Namespace) -> None:
    """Options that belong to another way of asking are refused, not passed over."""
    wrong = []
    if args.spring and args.only:
        wrong.append(("--only", "nothing beside --spring", "the spring study is of the spring and its lever centre"))
    if args.spring and args.readings:
        wrong.append(("--readings", "nothing beside --spring", "the spring study reads what a spring moves"))
    if args.spring and args.screws:
        wrong.append(("--screws", "nothing beside --spring", "the spring study holds the screws"))
    if args.samples is not None and not args.all_at_once:
        wrong.append(("--samples", "only with --global", "add --global, or leave it out"))
    if wrong:
        raise InputError([Fault("command line", None, name, "given", allowed, why) for name, allowed, why in wrong])


def _local(args: argparse.Namespace, origin: BaseScenario, say: screen.ReportProgress) -> _StudyOutput:
    from sim.report.influence import figures as drawn
    from sim.report.influence import tables as sheet
    from sim.studies.adjustment_mode import HELD
    from sim.studies.influence import compute_influences

    found = compute_influences(origin, args.only, args.readings, say, args.screws or HELD)
    return _StudyOutput(
        partial(sheet.build_slope_document, found),
        partial(sheet.format_slope_csv, found),
        partial(sheet.build_slope_tables, found),
        partial(drawn.draw_slopes, found),
    )


def _spring(args: argparse.Namespace, origin: BaseScenario, say: screen.ReportProgress) -> _StudyOutput:
    from sim.report.influence import figures as drawn
    from sim.report.influence import tables as sheet
    from sim.studies.spring import study_spring

    found = study_spring(origin, progress=say)
    return _StudyOutput(
        partial(sheet.build_spring_document, found),
        partial(sheet.format_spring_csv, found),
        partial(sheet.build_spring_tables, found),
        partial(drawn.draw_spring_study, found),
    )


def _sensitivity(args: argparse.Namespace, origin: BaseScenario, say: screen.ReportProgress) -> _StudyOutput:
    from sim.report.influence import figures as drawn
    from sim.report.influence import sensitivity as sheet
    from sim.studies.adjustment_mode import REGULATED
    from sim.studies.sensitivity import SAMPLES, analyse

    samples = SAMPLES if args.samples is None else args.samples
    found = analyse(origin, args.only, args.readings, samples, say, screws=args.screws or REGULATED)
    return _StudyOutput(
        partial(sheet.build_document, found),
        partial(sheet.format_csv, found),
        partial(sheet.build_tables, found),
        partial(drawn.draw_sensitivity, found),
    )


COMMANDS = (
    Command("influence", "how each reading answers to each input, and what tolerances do", _add_arguments, influence),
)
