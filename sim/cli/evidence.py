"""evidence: what it takes, and what it does."""

from __future__ import annotations

import argparse

from sim.cli import screen
from sim.cli.command import Command, ExitCode
from sim.cli.options import load_origin, parse_changes

UNIT = "concert-grand-natural"
"""The scenario that healthy units are drawn about: published figures are of the middle of a grand."""


def _add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--out", metavar="FILE", help="write the report to FILE (.html), figures and all")
    parser.add_argument("--units", metavar="N", type=_units, help="healthy units to read (default 12)")
    parser.add_argument("--seed", metavar="S", type=_seed, default=1, help="the same seed draws the same units")
    parser.add_argument("--quick", action="store_true", help="three units: to look at, not to judge by")
    parser.add_argument("--json", action="store_true", help="print JSON instead of the table")


def _units(text: str) -> int:
    value = int(text)
    if not 1 <= value <= 10_000:
        raise argparse.ArgumentTypeError(f"{text} is not between 1 and 10000")
    return value


def _seed(text: str) -> int:
    value = int(text)
    if value < 0:
        raise argparse.ArgumentTypeError(f"{text} is below 0")
    return value


def evidence(args: argparse.Namespace) -> int:
    """Read the units, judge the rows, write the report."""
    from sim.report.evidence import tables as sheet
    from sim.report.formats import json_text
    from sim.validation.evidence import QUICK, UNITS, NoneError, gather_evidence
    from sim.validation.records import load_records

    path = screen.check_out_file(args.out, sheet.SUFFIXES, "--out")
    origin = load_origin(UNIT, args.changes)
    count = args.units or (QUICK if args.quick else UNITS)
    try:
        with screen.show_progress_bar(f"{count} healthy units") as say:
            found = gather_evidence(origin.ready, count, args.seed, say, changed=parse_changes(args.changes))
    except NoneError as error:
        screen.print_note(str(error))
        return ExitCode.CANNOT_PLAY
    there = load_records()
    if args.json:
        print(json_text.format_json(sheet.build_document(found, there)))
    elif path is None:
        screen.print_parts(sheet.build_tables(found))
    else:
        print(sheet.format_sentence(found))
    if path is not None:
        page = sheet.render_html(found, there)
        screen.write_output("report", "--out", path, lambda new: new.write_text(page, encoding="utf-8"))
    return ExitCode.FINE


COMMANDS = (
    Command(
        "evidence",
        "the validation report: published and trade figures against many healthy units",
        _add_arguments,
        evidence,
        "Verdicts are pass, miss or not comparable; a miss is no error of this command.",
        scenario=False,
    ),
)
