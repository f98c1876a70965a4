"""friction: where the friction felt at the key is lost, and what repinning brings."""

from __future__ import annotations

import argparse

from sim.bench.outcomes import Outcome
from sim.cli import screen
from sim.cli.command import Command, ExitCode
from sim.cli.options import load_origin, save_figure
from sim.errors import Fault, InputError, QuantityError
from sim.unit.model import GRAVITY
from sim.units import FORCE, parse_quantity


def _add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--json", action="store_true", help="print JSON instead of tables")
    parser.add_argument("--repin", metavar="CENTRE=FORCE", help='what repinning brings, as in hammer="3 gf" at 23 mm')
    parser.add_argument("--figure", metavar="FILE", help="draw it along the stroke to FILE (.svg, .png or .pdf)")


def friction(args: argparse.Namespace) -> int:
    """The friction budget, beside a healthy one's."""
    from sim.report import friction as report
    from sim.report.drawing import figures
    from sim.report.formats import json_text
    from sim.studies.friction import compare_friction

    path = screen.check_out_file(args.figure, figures.SUFFIXES, "--figure")
    if args.repin is not None:
        return _repin(args)
    found = compare_friction(load_origin(args.scenario, args.changes))
    if args.json:
        print(json_text.format_json(report.build_document(found)))
    else:
        screen.print_parts(report.build_tables(found))
    if path is not None:
        save_figure(report.draw_friction(found), path)
    return ExitCode.FINE if found.own.budget is not None else ExitCode.CANNOT_PLAY


def _repin(args: argparse.Namespace) -> int:
    from sim.bench.centres import PINNING_RADIUS
    from sim.report import friction as report
    from sim.report.formats import json_text
    from sim.studies.repinning import repin_centre
    from sim.unit.centres import convert_force_to_torque
    from sim.unit.model import CENTRES

    centre, _, text = args.repin.partition("=")
    allowed = f"one of {', '.join(CENTRES[1:])}, = and a pinning force, 0.1 to 40 gf"
    try:
        force = parse_quantity(text, FORCE)
    except QuantityError as error:
        raise InputError([Fault("command line", None, "--repin", f'"{args.repin}"', allowed, str(error))]) from None
    if centre not in CENTRES[1:] or not 0.1e-3 * GRAVITY <= force <= 40e-3 * GRAVITY:
        raise InputError([Fault("command line", None, "--repin", f'"{args.repin}"', allowed, "name centre and force")])
    unit = load_origin(args.scenario, args.changes).ready
    with screen.show_progress_bar("repinning") as say:
        found = repin_centre(unit, centre, convert_force_to_torque(force, PINNING_RADIUS), say)
    if args.json:
        print(json_text.format_json(report.build_repinning_document(found)))
    else:
        screen.print_parts(report.build_repinning_table(found))
    return ExitCode.FINE if found.outcomes[1] == Outcome.PLAYS else ExitCode.CANNOT_PLAY


COMMANDS = (
    Command(
        "friction",
        "where the friction felt at the key is lost, here and in a healthy unit",
        _add_arguments,
        friction,
        'What repinning brings, before and after: --repin hammer="3 gf".',
    ),
)
