"""batch: many variants of one scenario, as a table on disk."""

from __future__ import annotations

import argparse
from collections.abc import Mapping
from pathlib import Path

from sim.cli import screen
from sim.cli.command import Command, ExitCode
from sim.cli.options import load_origin


def _add_arguments(parser: argparse.ArgumentParser) -> None:
    what = parser.add_mutually_exclusive_group(required=True)
    what.add_argument(
        "--vary",
        metavar="PATH=FROM..TO/N",
        action="append",
        help='N even values of an input, or PATH=A,B,C; given again: every combination ("85%%..115%%/7" is a share)',
    )
    what.add_argument("--table", metavar="FILE", help="a CSV with a row a unit; its header names paths")
    parser.add_argument(
        "--out", metavar="FILE", required=True, help="the table (.parquet); rows in it are not made again"
    )
    parser.add_argument(
        "--kind",
        choices=("weigh", "strike", "predict", "repeat"),
        default="predict",
        help="what to read: the slow press, the blows, all but repetition (default), or all",
    )
    parser.add_argument("--scheduler", metavar="ADDR", help="address of a Dask scheduler (needs the extra cluster)")


def batch(args: argparse.Namespace) -> int:
    """A study to a table on disk; run again, it goes on where it stopped."""
    from sim.report import batch as batch_table
    from sim.studies.batch import Study, check_study, list_scenario_inputs, run_study

    path = screen.check_out_file(args.out, batch_table.SUFFIXES, "--out")
    assert path is not None  # the option is required
    study = Study(load_origin(args.scenario, args.changes), _rows(args), args.kind)
    check_study(study)
    table = batch_table.StudyTable(path, list_scenario_inputs(study.origin.leaves))
    try:
        try:
            with screen.show_progress_bar("rows") as say:
                done = run_study(study, table.keep, table.known, scheduler=args.scheduler, progress=say)
        finally:
            rows = table.gather()
    except OSError as error:
        raise screen.make_write_error("--out", path, error) from None
    others = rows - done.known - done.made
    screen.print_note(
        f"{path}: {rows} rows; {done.made} made now ({done.refused} refused), {done.known} there before"
        + (f", {others} of other studies" if others > 0 else "")
    )
    if done.stopped:
        left = done.rows - done.made - done.known
        why = "the cluster went away" if done.lost else "interrupted"
        screen.print_note(f"{why} with {left} rows to go: the same command goes on from here")
        return ExitCode.INTERRUPTED
    return ExitCode.FINE


def _rows(args: argparse.Namespace) -> tuple[Mapping[str, str], ...]:
    from sim.studies.parameter_grid import build_grid, parse_span, read_input_table

    if args.table is not None:
        return read_input_table(Path(args.table))
    return build_grid([parse_span(text) for text in args.vary])


COMMANDS = (Command("batch", "many variants of one scenario, as a table on disk", _add_arguments, batch),)
