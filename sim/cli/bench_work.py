"""The commands of the bench: the piano brought to it, and parts that shall go together."""

from __future__ import annotations

import argparse
import math
from collections.abc import Callable, Mapping
from typing import Any

from rich.padding import Padding

import sim
from sim.cli import screen
from sim.errors import Fault, InputError, QuantityError
from sim.scenario.composite import PARTS
from sim.scenario.shipped import scenario_path
from sim.unit.model import GRAVITY
from sim.units import ANGLE, FORCE, LENGTH, MASS, Dimension, parse, show

FINE, CANNOT_PLAY, INTERRUPTED = 0, 3, 130
Command = Callable[..., argparse.ArgumentParser]


def add(commands: Any, command: Command) -> None:
    """Declare the commands."""
    _friction(command(commands, "friction", "where the friction felt at the key is lost, here and in a healthy unit",
                      'What repinning brings, before and after: --repin hammer="3 gf".'))  # fmt: skip
    _piano(command(commands, "piano", "what was read at the piano and again at the bench, brought together",
                   "An example of SHEET: scenarios/pianos/invented-grand.toml.", sheet=True))  # fmt: skip
    _fit(command(commands, "fit", "do these parts go together: clashes named before anything is ordered",
                 "Parts come from scenarios; rails, springs, friction and screws from the base.",
                 scenario=False))  # fmt: skip


def _friction(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--json", action="store_true", help="print JSON instead of tables")
    parser.add_argument("--repin", metavar="CENTRE=FORCE", help='what repinning brings, as in hammer="3 gf" at 23 mm')
    parser.add_argument("--figure", metavar="FILE", help="draw it along the stroke to FILE (.svg, .png or .pdf)")


def _piano(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--note", metavar="N", type=int, help="one key only (default: the scenario's key, and all read)"
    )
    parser.add_argument(
        "--angle", metavar="ANGLE", type=_quantity(ANGLE, *(math.radians(a) for a in (-10, 10))), default=0.0,
        help='shank against string at the strike that the bore is found for (default "0 deg": parallel)',
    )  # fmt: skip
    parser.add_argument(
        "--blow",
        metavar="LENGTH",
        type=_quantity(LENGTH, 0.025, 0.065),
        help="the hammer line wanted (default: as it is)",
    )
    parser.add_argument(
        "--gap", metavar="LENGTH", type=_quantity(LENGTH, 0.0, 0.02), default=0.5e-3,
        help='least gap of the template over the crowns (default "0.5 mm")',
    )  # fmt: skip
    form = parser.add_mutually_exclusive_group()
    form.add_argument("--json", action="store_true", help="print JSON instead of tables")
    form.add_argument("--csv", action="store_true", help="print CSV: every note of the sheet")
    parser.add_argument(
        "--figure", metavar="FILE", help="draw what a touching template does to FILE (.svg, .png or .pdf)"
    )


def _fit(parser: argparse.ArgumentParser) -> None:
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
        "--most", metavar="N", type=_count, default=60, help="--search: set up at most N (default %(default)s)"
    )
    parser.add_argument("--json", action="store_true", help="print JSON instead of tables")


def _count(text: str) -> int:
    if not text.isascii() or not text.isdigit() or not 1 <= int(text[:9]) <= 100_000:
        raise argparse.ArgumentTypeError(f"{text} is no number of combinations: 1 to 100000")
    return int(text)


def _quantity(dimension: Dimension, low: float, high: float) -> Callable[[str], float]:
    def read(text: str) -> float:
        try:
            value = parse(text, dimension)
        except QuantityError as error:
            raise argparse.ArgumentTypeError(str(error)) from None
        if not low <= value <= high:
            unit = dimension.example.split()[-1]
            allowed = " to ".join(show(v, unit, dimension) for v in (low, high))
            raise argparse.ArgumentTypeError(f"{text} is out of range: {allowed}")
        return value

    return read


def friction(args: argparse.Namespace) -> int:
    """The friction budget, beside a healthy one's."""
    from sim.cli.studies import origin_of, save
    from sim.report import friction as budget
    from sim.report.drawing import figures
    from sim.report.formats import json_text
    from sim.studies import friction as workshop

    path = screen.out_file(args.figure, figures.SUFFIXES, "--figure")
    if args.repin is not None:
        return _repin(args)
    found = workshop.friction(origin_of(args.scenario, args.changes))
    if args.json:
        print(json_text.text(budget.document(found)))
    else:
        screen.show(budget.tables(found))
    if path is not None:
        save(budget.draw(found), path)
    return FINE if found.own.budget is not None else CANNOT_PLAY


def _repin(args: argparse.Namespace) -> int:
    from sim.bench.centres import RADIUS
    from sim.cli.studies import origin_of
    from sim.report import friction as budget
    from sim.report.formats import json_text
    from sim.studies.repinning import repin
    from sim.unit.centres import torque_from_force
    from sim.unit.model import CENTRES

    centre, _, text = args.repin.partition("=")
    allowed = f"one of {', '.join(CENTRES[1:])}, = and a pinning force, 0.1 to 40 gf"
    try:
        force = parse(text, FORCE)
    except QuantityError as error:
        raise InputError([Fault("command line", None, "--repin", f'"{args.repin}"', allowed, str(error))]) from None
    if centre not in CENTRES[1:] or not 0.1e-3 * GRAVITY <= force <= 40e-3 * GRAVITY:
        raise InputError([Fault("command line", None, "--repin", f'"{args.repin}"', allowed, "name centre and force")])
    unit = origin_of(args.scenario, args.changes).ready
    with screen.progress("repinning") as say:
        found = repin(unit, centre, torque_from_force(force, RADIUS), say)
    if args.json:
        print(json_text.text(budget.repinning_document(found)))
    else:
        screen.show(budget.repinning_table(found))
    return FINE if found.outcomes[1] == "plays" else CANNOT_PLAY


def piano(args: argparse.Namespace) -> int:
    """What was read at the piano and at the bench, and what it means for the notes."""
    from sim.cli.commands import changes
    from sim.cli.studies import save
    from sim.piano import piano as workshop
    from sim.piano import sheet as piano_sheet
    from sim.piano.at_bench import at_bench
    from sim.report.drawing import figures
    from sim.report.formats import json_text
    from sim.report.piano import at_bench as sheet
    from sim.report.piano import tables as notes
    from sim.report.piano import template

    path = screen.out_file(args.figure, figures.SUFFIXES, "--figure")
    read = piano_sheet.load(args.sheet)
    changed = changes(args.changes)
    own = sim.load(args.scenario, changed)
    key = args.note if args.note is not None else own.key_number
    read.section_of(key)
    if args.csv:
        print(notes.csv(workshop.notes(read, own, () if args.note is None else (key,), args.angle)), end="")
        if path is None:
            return FINE
    keys = sorted({k for s in read.sections for k in s.keys} | {key}) if args.note is None else [key]
    screen.announce_compiling()
    with screen.progress("at the bench") as say:
        found = at_bench(read, key, keys, own, lambda more: sim.load(args.scenario, {**more, **changed}), say,
                         angle=args.angle, blow=args.blow, gap=args.gap, held=changed)  # fmt: skip
    if args.json:
        print(json_text.text(json_text.clean(sheet.document(found))))
    elif not args.csv:
        screen.show(*(Padding(part, (0, 0, 1, 0)) for part in sheet.tables(found, args.angle)))
    if path is not None:
        save(template.figure(found.touching), path)
    return FINE if found.bench.outcome == "plays" else CANNOT_PLAY


SET_UP = ("blow", "dip", "let_off", "drop", "drop_at_bottom", "lever_height", "jack_address")
WISHED: Mapping[str, tuple[Dimension, float, float]] = {
    "aftertouch": (LENGTH, 0.0, 5e-3), "balance_weight": (FORCE, 0.0, 1.5), "inertia": (MASS, 0.05, 2.0),
}  # fmt: skip
"""What may be wished for, with its range (SI)."""


def wanted(pairs: list[str]) -> tuple[dict[str, float], dict[str, float]]:
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
            value = parse(text, kind)
        except QuantityError as error:
            wrong.append(Fault("--target", None, name, f'"{text}"', f"such as {kind.example}", str(error)))
            continue
        if not low <= value <= high:
            allowed = " to ".join(show(v, kind.example.split()[-1], kind) for v in (low, high))
            wrong.append(Fault("--target", None, name, f'"{text}"', allowed, "check the number and its unit"))
        (targets if name in SET_UP else wishes)[name] = value
    if wrong:
        raise InputError(wrong)
    return targets, wishes


def fit(args: argparse.Namespace) -> int:
    """Parts of several scenarios, or every combination of a folder's."""
    from sim.cli.commands import changes
    from sim.parts import fit as workshop
    from sim.parts import search
    from sim.report import fit as sheet
    from sim.report.formats import json_text
    from sim.scenario import composite

    targets, wishes = wanted(args.targets)
    base = composite.base(scenario_path(args.base), changes(args.changes))
    named = {p: path for p in PARTS if (path := getattr(args, p)) is not None}
    parts = {p: composite.part_source(scenario_path(path), p) for p, path in named.items()}
    if not parts and args.search is None:
        remedy = "name at least one part's scenario, or a folder to search"
        raise InputError([Fault("command line", None, "fit", "no parts", "--key, --wippen, ... or --search", remedy)])
    screen.announce_compiling()
    if args.search is not None:
        with screen.progress("searching") as say:
            searched = search.search(base, args.search, parts, targets, wishes, args.most, say)
        if args.json:
            print(json_text.text(json_text.clean(sheet.of_search(searched))))
        else:
            screen.show(*sheet.searched(searched))
        if searched.stopped:
            screen.note(f"interrupted with {searched.not_played} not set up: the best of the others")
            return INTERRUPTED
        return FINE if searched.found else CANNOT_PLAY
    with screen.progress("on paper") as say:
        found = workshop.fit(base, parts, targets, wishes, say)
    if args.json:
        print(json_text.text(json_text.clean(sheet.of_fit(found))))
    else:
        screen.show(*sheet.verdict(found))
    return FINE if found.together else CANNOT_PLAY


COMMANDS: Mapping[str, Callable[[argparse.Namespace], int]] = {"friction": friction, "piano": piano, "fit": fit}
