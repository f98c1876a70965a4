"""diagnose: what it takes, and what it does."""

from __future__ import annotations

import argparse
from typing import Any

from sim.cli import screen
from sim.cli.command import Command, ExitCode
from sim.cli.options import load_origin, save_figure
from sim.errors import Fault, InputError, SimulationError


def _add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--readings", metavar="FILE", help="what was read of the note (*.toml or *.csv)")
    parser.add_argument("--action-out", action="store_true", help="the action is out already: tests there cost less")
    parser.add_argument(
        "--calibrate", metavar="FILE",
        help="the note is healthy: fit what was only assumed to its readings, and write the scenario to FILE (.toml)",
    )  # fmt: skip
    parser.add_argument("--figure", metavar="FILE", help="draw the causes to FILE (.svg, .png or .pdf)")
    form = parser.add_mutually_exclusive_group()
    form.add_argument("--json", action="store_true", help="print JSON instead of tables")
    form.add_argument("--blank", choices=("toml", "csv"), nargs="?", const="toml", help="print the sheet, to fill in")


def diagnose(args: argparse.Namespace) -> int:
    """Read the sheet, compute the library of this unit, and tell."""
    from sim.diagnosis.bench_tests import list_unit_tests
    from sim.diagnosis.diagnose import diagnose_evidence
    from sim.diagnosis.inference import build_cause_grid
    from sim.diagnosis.library import Library, compute_library
    from sim.diagnosis.observations import load_observations
    from sim.report import diagnose as sheet
    from sim.report.drawing import figures
    from sim.report.formats import json_text

    figure = screen.check_out_file(args.figure, figures.SUFFIXES, "--figure")
    fitted = screen.check_out_file(args.calibrate, (".toml",), "--calibrate")
    origin = load_origin(args.scenario, args.changes)
    tests = list_unit_tests(origin.loaded)
    if args.blank:
        print(
            sheet.format_blank_csv(tests)
            if args.blank == "csv"
            else sheet.format_blank_toml(tests, origin.loaded.name),
            end="",
        )
        return ExitCode.FINE
    if args.readings is None:
        remedy = "name the sheet, or print a blank one with --blank"
        raise InputError([Fault("command line", None, "--readings", "missing", "a sheet (*.toml or *.csv)", remedy)])
    observed = load_observations(args.readings, tests)

    def early(rough: Library) -> None:
        d = diagnose_evidence(build_cause_grid(rough), observed, out=args.action_out)
        screen.print_note(
            "first list: " + "; ".join(f"{row['cause']} {row['how likely']}" for row in sheet.build_cause_rows(d)[:3])
        )

    try:
        with screen.show_progress_bar("faults of this unit") as say:
            grid = build_cause_grid(compute_library(origin.ready, say, early=early))
        if fitted is not None:
            return _calibrate(args, grid, observed, origin, fitted)
    except SimulationError as error:
        screen.print_note(f"{origin.loaded.name}: {error}")
        return ExitCode.CANNOT_PLAY
    found = diagnose_evidence(grid, observed, out=args.action_out)
    if args.json:
        print(json_text.format_json(sheet.build_document(found, observed)))
    else:
        screen.print_parts(sheet.build_tables(found))
    if figure is not None:
        save_figure(sheet.draw_diagnosis(found), figure)
    return ExitCode.FINE


def _calibrate(args: argparse.Namespace, grid: Any, observed: Any, origin: Any, path: Any) -> int:
    from sim.diagnosis.calibrate import calibrate_unit, write_calibrated_scenario
    from sim.report import diagnose as sheet
    from sim.report.formats import json_text
    from sim.scenario.writing import render_scenario

    with screen.show_progress_bar("fitting") as say:
        found = calibrate_unit(grid, observed, say)
    if args.json:
        print(json_text.format_json(sheet.build_calibration_document(found)))
    else:
        screen.print_parts(sheet.build_calibration_tables(found))
    text = render_scenario(write_calibrated_scenario(origin, found))
    screen.write_output("scenario", "--calibrate", path, lambda new: new.write_text(text, encoding="utf-8"))
    return ExitCode.FINE


COMMANDS = (
    Command(
        "diagnose",
        "why a note is sluggish: causes, how sure, and the reading to take next",
        _add_arguments,
        diagnose,
        "SCENARIO is the note as it should be; --blank prints the sheet for FILE.",
    ),
)
