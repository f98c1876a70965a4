"""piano: what was read at the piano, brought to the bench."""

from __future__ import annotations

import argparse
import math
from collections.abc import Callable

from rich.padding import Padding

import sim
from sim.bench.outcomes import Outcome
from sim.cli import screen
from sim.cli.command import Command, ExitCode
from sim.cli.options import parse_changes, save_figure
from sim.errors import QuantityError
from sim.units import ANGLE, LENGTH, Dimension, format_quantity, parse_quantity


def _add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--note", metavar="N", type=int, help="one key only (default: the scenario's key, and all read)"
    )
    parser.add_argument(
        "--angle", metavar="ANGLE", type=_quantity_between(ANGLE, *(math.radians(a) for a in (-10, 10))), default=0.0,
        help='shank against string at the strike that the bore is found for (default "0 deg": parallel)',
    )  # fmt: skip
    parser.add_argument(
        "--blow",
        metavar="LENGTH",
        type=_quantity_between(LENGTH, 0.025, 0.065),
        help="the hammer line wanted (default: as it is)",
    )
    parser.add_argument(
        "--gap", metavar="LENGTH", type=_quantity_between(LENGTH, 0.0, 0.02), default=0.5e-3,
        help='least gap of the template over the crowns (default "0.5 mm")',
    )  # fmt: skip
    form = parser.add_mutually_exclusive_group()
    form.add_argument("--json", action="store_true", help="print JSON instead of tables")
    form.add_argument("--csv", action="store_true", help="print CSV: every note of the sheet")
    parser.add_argument(
        "--figure", metavar="FILE", help="draw what a touching template does to FILE (.svg, .png or .pdf)"
    )


def _quantity_between(dimension: Dimension, low: float, high: float) -> Callable[[str], float]:
    def read(text: str) -> float:
        try:
            value = parse_quantity(text, dimension)
        except QuantityError as error:
            raise argparse.ArgumentTypeError(str(error)) from None
        if not low <= value <= high:
            unit = dimension.example.split()[-1]
            allowed = " to ".join(format_quantity(v, unit, dimension) for v in (low, high))
            raise argparse.ArgumentTypeError(f"{text} is out of range: {allowed}")
        return value

    return read


def piano(args: argparse.Namespace) -> int:
    """What was read at the piano and at the bench, and what it means for the notes."""
    from sim.piano import sheet as piano_sheet
    from sim.piano.bench_comparison import compare_bench_and_piano
    from sim.piano.piano import evaluate_notes
    from sim.report.drawing import figures
    from sim.report.formats import json_text
    from sim.report.piano import bench_comparison as sheet
    from sim.report.piano import tables as notes
    from sim.report.piano import template

    path = screen.check_out_file(args.figure, figures.SUFFIXES, "--figure")
    read = piano_sheet.load_sheet(args.sheet)
    changed = parse_changes(args.changes)
    own = sim.load(args.scenario, changed)
    key = args.note if args.note is not None else own.key_number
    read.section_of(key)
    if args.csv:
        print(notes.format_csv(evaluate_notes(read, own, () if args.note is None else (key,), args.angle)), end="")
        if path is None:
            return ExitCode.FINE
    keys = sorted({k for s in read.sections for k in s.keys} | {key}) if args.note is None else [key]
    screen.announce_compiling()
    with screen.show_progress_bar("at the bench") as say:
        found = compare_bench_and_piano(
            read,
            key,
            keys,
            own,
            lambda more: sim.load(args.scenario, {**more, **changed}),
            say,
            angle=args.angle,
            blow=args.blow,
            gap=args.gap,
            held=changed,
        )
    if args.json:
        print(json_text.format_json(json_text.clean_document(sheet.document(found))))
    elif not args.csv:
        screen.print_parts(*(Padding(part, (0, 0, 1, 0)) for part in sheet.tables(found, args.angle)))
    if path is not None:
        save_figure(template.draw_touching(found.touching), path)
    return ExitCode.FINE if found.bench.outcome == Outcome.PLAYS else ExitCode.CANNOT_PLAY


COMMANDS = (
    Command(
        "piano",
        "what was read at the piano and again at the bench, brought together",
        _add_arguments,
        piano,
        "An example of SHEET: scenarios/pianos/invented-grand.toml.",
        sheet=True,
    ),
)
