"""regulate: targets in, settings out, solved or in an order of work."""

from __future__ import annotations

import argparse

import sim
from sim.cli import screen
from sim.cli.command import Command, ExitCode
from sim.cli.options import parse_changes, parse_targets
from sim.errors import Fault, InputError


def _add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--target", dest="targets", metavar="NAME=VALUE", action="append", default=[],
        help="blow, dip, let_off, drop, drop_at_bottom, aftertouch, checking_distance, spring_rise, lever_height, "
        "jack_address, key_height, check_angle, rest_cushion_gap, damper_start; balance_weight (by key leads) and "
        "inertia (by hammer weight)",
    )  # fmt: skip
    parser.add_argument(
        "--order",
        choices=("dip-fixed", "blow-fixed", "aftertouch-fixed"),
        help="one step at a time, with what each step upset",
    )
    parser.add_argument(
        "--natural",
        metavar="SCENARIO",
        help="for a sharp: ask for the aftertouch of this natural, and let the dip float",
    )
    parser.add_argument("--json", action="store_true", help="print JSON instead of tables")


def regulate(args: argparse.Namespace) -> int:
    """Settings for the targets, all at once or in an order of work."""
    from sim.regulation import naturals, orders, target_conflicts
    from sim.regulation.regulate import regulate as solve
    from sim.report import regulate as regulation
    from sim.report.formats import json_text

    unit = sim.load(args.scenario, parse_changes(args.changes))
    wanted = dict(unit.targets) | parse_targets(args.targets)
    screen.announce_compiling()
    natural = None
    if args.natural:
        natural = sim.load(args.natural)
        wanted = naturals.match_aftertouch(unit, natural, wanted)
    if not wanted:
        remedy = "give --target NAME=VALUE, or [targets] in the scenario"
        raise InputError([Fault(args.scenario, None, "targets", "none", "at least one target", remedy)])
    if args.order:
        with screen.show_progress_bar("first step") as say:
            steps = orders.follow_order(unit, orders.load_orders()[args.order], wanted, say)
        if args.json:
            print(json_text.format_json(regulation.build_steps_document(unit, args.order, steps)))
        else:
            screen.print_parts(*regulation.build_steps_table(orders.load_orders()[args.order].title, steps, wanted))
        return ExitCode.FINE if all(s.reached for s in steps) else ExitCode.CANNOT_PLAY
    with screen.show_progress_bar("setting") as say:
        done = solve(unit, wanted, say)
    rooms: tuple[target_conflicts.ConflictMargin, ...] = ()
    if target_conflicts.is_aftertouch_conflict(done):
        with screen.show_progress_bar("looking for room") as say:
            rooms = target_conflicts.find_conflict_margins(unit, wanted, wanted["aftertouch"], say)
    over = naturals.measure_sharp_height(done.unit, natural) if natural is not None and done.met else None
    if args.json:
        print(json_text.format_json(regulation.build_regulation_document(done, rooms, over)))
    else:
        screen.print_parts(*regulation.build_regulation_tables(done, rooms, over))
    return ExitCode.FINE if done.met else ExitCode.CANNOT_PLAY


COMMANDS = (
    Command("regulate", "targets in, settings out: all at once, or in an order of work", _add_arguments, regulate),
)
