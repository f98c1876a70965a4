"""rails: where the rails may stand, as a map."""

from __future__ import annotations

import argparse
from functools import partial

import sim
from sim.cli import screen
from sim.cli.command import Command, ExitCode
from sim.cli.options import parse_changes, parse_targets, save_figure
from sim.errors import Fault, InputError
from sim.regulation.moves import MOVES


def _add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--rail", choices=("wippen", "hammer"), default="wippen", help="the rail that is moved (default wippen)"
    )
    for name in ("--across", "--up"):
        parser.add_argument(name, choices=tuple(MOVES), help="another move for this side of the map")
    parser.add_argument(
        "--target", dest="targets", metavar="NAME=VALUE", action="append", default=[],
        help="blow, dip, let_off, drop ... to be met at each place (default: blow 44.5, dip 10.2, let-off 1.6 mm)",
    )  # fmt: skip
    parser.add_argument(
        "--weight", dest="weights", metavar="NAME=NUMBER", action="append", default=[],
        help="what makes a place good: aftertouch, friction, slide, leverage (default 1 each)",
    )  # fmt: skip
    parser.add_argument("--span", metavar="MM", type=_span, default=4.0, help="how far each way, mm (default 4)")
    parser.add_argument("--cells", metavar="N", type=_cells, default=9, help="places along each side (default 9)")
    parser.add_argument("--figure", metavar="FILE", help="draw the map to FILE (.svg, .png or .pdf)")
    parser.add_argument(
        "--show", metavar="READING", default="aftertouch",
        help="the reading that the figure shows: aftertouch, leverage, friction, inertia ... (names as in --json)",
    )  # fmt: skip
    parser.add_argument("--template", metavar="FILE", help="write a full-size template of the best place (.pdf)")
    parser.add_argument("--json", action="store_true", help="print JSON instead of tables")


def _span(text: str) -> float:
    value = float(text)
    if not 0 < value <= 10:
        raise argparse.ArgumentTypeError(f"{text} is not between 0 and 10 mm")
    return value


def _cells(text: str) -> int:
    value = int(text)
    if not 2 <= value <= 60:
        raise argparse.ArgumentTypeError(f"{text} is not between 2 and 60")
    return value


def rails(args: argparse.Namespace) -> int:
    """Map of where a rail may stand."""
    from sim.regulation.rails import choose_targets, compute_tolerance_effects, evaluate_grid, find_best_places
    from sim.report import rails as sheet
    from sim.report.drawing import figures
    from sim.report.formats import json_text

    figure = screen.check_out_file(args.figure, figures.SUFFIXES, "--figure")
    template = screen.check_out_file(args.template, (".pdf",), "--template")
    unit = sim.load(args.scenario, parse_changes(args.changes))
    moves, weights = _moves(args), _weights(args.weights)
    if args.show not in sheet.MAP_READINGS:
        remedy = "name one of these readings"
        raise InputError([Fault("--show", None, "the figure", args.show, ", ".join(sheet.MAP_READINGS), remedy)])
    wanted = choose_targets(unit, _readable(parse_targets(args.targets)))
    xs, ys = _axis(args.span, args.cells), _axis(args.span, args.cells)
    screen.announce_compiling()
    with screen.show_progress_bar("rails") as say:
        cells = evaluate_grid(unit, wanted, xs, ys, moves, say)
    found = find_best_places(cells, weights=weights)
    sway = compute_tolerance_effects(found[0], wanted, moves) if found else {}
    if args.json:
        body = {"unit": unit.name, "moves": list(moves), "places": [sheet.build_place_row(p) for r in cells for p in r]}
        print(json_text.format_json(body | {"best": [sheet.build_place_row(p) for p in found], "sway_si": sway}))
    else:
        screen.print_parts(*sheet.build_tables(unit, moves, cells, found, sway, weights))
    if figure is not None:
        save_figure(sheet.draw_rail_map(unit, moves, cells, found, args.show), figure)
    if template is not None and found:
        screen.write_output(
            "template", "--template", template, partial(sheet.draw_rail_template, unit, found[0], moves)
        )
    return ExitCode.FINE if found else ExitCode.CANNOT_PLAY


def _moves(args: argparse.Namespace) -> tuple[str, str]:
    """The two moves that span the map."""
    from sim.regulation.rails import RAILS

    across, up = RAILS[args.rail]
    across, up = args.across or across, args.up or up
    if across == up:
        raise InputError([Fault("--up", None, "the map", up, "another move than --across", "name two moves")])
    return across, up


def _weights(pairs: list[str]) -> dict[str, float]:
    """``NAME=NUMBER`` weights over the usual ones."""
    from sim.regulation.rails import WEIGHTS

    out = dict(WEIGHTS)
    for pair in pairs:
        name, _, text = (x.strip() for x in pair.partition("="))
        try:
            value = float(text)
        except ValueError:
            value = -1.0
        if name not in WEIGHTS or not 0 <= value <= 100:
            allowed = f"{', '.join(WEIGHTS)} with a number from 0 to 100"
            raise InputError([Fault("--weight", None, name, pair, allowed, "write it as friction=2")])
        out[name] = value
    return out


def _readable(wanted: dict[str, float]) -> dict[str, float]:
    """The targets, unless one of them takes more than a slow press to read."""
    from sim.regulation.rails import MAP_TARGETS

    other = [t for t in wanted if t not in MAP_TARGETS]
    if other:
        remedy = "leave it out here; set it with regulate once the place is chosen"
        raise InputError([Fault("--target", None, t, "asked", ", ".join(MAP_TARGETS), remedy) for t in other])
    return wanted


def _axis(span: float, cells: int) -> list[float]:
    """Even moves from -span to +span (mm), as metres; an odd count has the present place in the middle."""
    return [(-span + 2 * span * i / (cells - 1)) * 1e-3 for i in range(cells)]


COMMANDS = (Command("rails", "where the rails may stand: a map, the best places, a template", _add_arguments, rails),)
