"""fit: do parts of several scenarios go together, and which of the shop's own do."""

from __future__ import annotations

import argparse
from collections.abc import Mapping

from sim.cli import screen
from sim.cli.command import Command, ExitCode
from sim.cli.options import parse_changes
from sim.errors import Fault, InputError, QuantityError
from sim.scenario.composite import PARTS
from sim.scenario.shipped import find_scenario
from sim.units import FORCE, LENGTH, MASS, Dimension, format_quantity, parse_quantity


def _add_arguments(parser: argparse.ArgumentParser) -> None:
    for name, part in PARTS.items():
        otherwise = f"with the {part.section}" if part.fields else "the base"
        parser.add_argument(f"--{name}", metavar="SCENARIO", help=f"where the {name} comes from (default: {otherwise})")
    parser.add_argument(
        "--base", metavar="SCENARIO", default="concert-grand-natural", help="all the rest (default %(default)s)"
    )
    parser.add_argument("--search", metavar="FOLDER", help="try every combination of the parts measured in FOLDER")
    parser.add_argument(
        "--target", "--targets", dest="targets", metavar="NAME=VALUE", nargs="+", action="extend", default=[],
        help="set up to: blow, dip, let_off, drop, drop_at_bottom, lever_height, jack_address; "
        "and come out with: aftertouch, balance_weight, inertia",
    )  # fmt: skip
    parser.add_argument(
        "--most", metavar="N", type=_parse_count, default=60, help="--search: set up at most N (default %(default)s)"
    )
    parser.add_argument("--json", action="store_true", help="print JSON instead of tables")


def _parse_count(text: str) -> int:
    if not text.isascii() or not text.isdigit() or not 1 <= int(text[:9]) <= 100_000:
        raise argparse.ArgumentTypeError(f"{text} is no number of combinations: 1 to 100000")
    return int(text)


SET_UP = ("blow", "dip", "let_off", "drop", "drop_at_bottom", "lever_height", "jack_address")
WISHED: Mapping[str, tuple[Dimension, float, float]] = {
    "aftertouch": (LENGTH, 0.0, 5e-3), "balance_weight": (FORCE, 0.0, 1.5), "inertia": (MASS, 0.05, 2.0),
}  # fmt: skip
"""What may be wished for, with its range (SI)."""


def parse_wishes(pairs: list[str]) -> tuple[dict[str, float], dict[str, float]]:
    """What to set up to, and what to come out with; every bad one is named."""
    targets: dict[str, float] = {}
    wishes: dict[str, float] = {}
    wrong: list[Fault] = []
    for pair in pairs:
        name, _, text = (part.strip() for part in pair.partition("="))
        if name in targets or name in wishes:
            wrong.append(Fault("--target", None, name, f'"{pair}"', "each target once", "it was asked for before"))
            continue
        if name not in SET_UP and name not in WISHED:
            known = ", ".join((*SET_UP, *WISHED))
            wrong.append(Fault("--target", None, name, f'"{pair}"', known, "name one of these, as in blow=44.5mm"))
            continue
        kind, low, high = WISHED.get(name, (LENGTH, 1e-5 if name in SET_UP[:5] else -5e-3, 0.1))
        try:
            value = parse_quantity(text, kind)
        except QuantityError as error:
            wrong.append(Fault("--target", None, name, f'"{text}"', f"such as {kind.example}", str(error)))
            continue
        if not low <= value <= high:
            allowed = " to ".join(format_quantity(v, kind.example.split()[-1], kind) for v in (low, high))
            wrong.append(Fault("--target", None, name, f'"{text}"', allowed, "check the number and its unit"))
        (targets if name in SET_UP else wishes)[name] = value
    if wrong:
        raise InputError(wrong)
    return targets, wishes


def fit(args: argparse.Namespace) -> int:
    """Parts of several scenarios, or every combination of a folder's."""
    from sim.parts import search
    from sim.parts.fit import fit_parts
    from sim.report import fit as sheet
    from sim.report.formats import json_text
    from sim.scenario import composite

    targets, wishes = parse_wishes(args.targets)
    base = composite.load_base(find_scenario(args.base), parse_changes(args.changes))
    named = {p: path for p in PARTS if (path := getattr(args, p)) is not None}
    parts = {p: composite.load_part_source(find_scenario(path), p) for p, path in named.items()}
    if not parts and args.search is None:
        remedy = "name at least one part's scenario, or a folder to search"
        raise InputError([Fault("command line", None, "fit", "no parts", "--key, --wippen, ... or --search", remedy)])
    screen.announce_compiling()
    if args.search is not None:
        with screen.show_progress_bar("searching") as say:
            searched = search.search_combinations(base, args.search, parts, targets, wishes, args.most, say)
        if args.json:
            print(json_text.format_json(json_text.clean_document(sheet.build_search_document(searched))))
        else:
            screen.print_parts(*sheet.build_search_tables(searched))
        if searched.stopped:
            screen.print_note(f"interrupted with {searched.not_played} not set up: the best of the others")
            return ExitCode.INTERRUPTED
        return ExitCode.FINE if searched.found else ExitCode.CANNOT_PLAY
    with screen.show_progress_bar("on paper") as say:
        found = fit_parts(base, parts, targets, wishes, say)
    if args.json:
        print(json_text.format_json(json_text.clean_document(sheet.build_fit_document(found))))
    else:
        screen.print_parts(*sheet.build_verdict(found))
    return ExitCode.FINE if found.together else ExitCode.CANNOT_PLAY


COMMANDS = (
    Command(
        "fit",
        "do these parts go together: clashes named before anything is ordered",
        _add_arguments,
        fit,
        "Parts come from scenarios; rails, springs, friction and screws from the base.",
        scenario=False,
    ),
)
