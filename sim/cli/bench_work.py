"""The commands of the bench: the piano brought to it, and parts that shall go together."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Mapping
from typing import Any

from rich.padding import Padding

import sim
from sim.cli import screen
from sim.errors import Fault, InputError, QuantityError
from sim.unit.composite import PARTS
from sim.unit.shipped import scenario_path
from sim.units import ANGLE, FORCE, LENGTH, MASS, Dimension, parse

FINE, CANNOT_PLAY = 0, 3
Command = Callable[..., argparse.ArgumentParser]


def add(commands: Any, command: Command) -> None:
    """Declare the commands."""
    _piano(command(commands, "piano", "what was read at the piano and again at the bench, brought together",
                   "An example of SHEET: scenarios/pianos/invented-grand.toml.", sheet=True))  # fmt: skip
    _fit(command(commands, "fit", "do these parts go together: clashes named before anything is ordered",
                 "Parts come from scenarios; rails, springs, friction and screws from the base.",
                 scenario=False))  # fmt: skip


def _piano(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--note", metavar="N", type=int, help="one key only (default: the scenario's key, and all read)"
    )
    parser.add_argument(
        "--angle", metavar="ANGLE", type=_quantity(ANGLE, -0.2, 0.2), default=0.0,
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
    for part in PARTS:
        parser.add_argument(f"--{part}", metavar="SCENARIO", help=f"where the {part} comes from (default: the base)")
    parser.add_argument(
        "--base", metavar="SCENARIO", default="concert-grand-natural", help="all the rest (default %(default)s)"
    )
    parser.add_argument("--search", metavar="FOLDER", help="try every combination of the parts measured in FOLDER")
    parser.add_argument(
        "--target", "--targets", dest="targets", metavar="NAME=VALUE", nargs="+", action="extend", default=[],
        help="set up to: blow, dip, let_off, drop, drop_at_bottom, lever_height, jack_address; "
        "and come out with: aftertouch, balance_weight, inertia",
    )  # fmt: skip
    parser.add_argument("--most", metavar="N", type=int, default=60, help="--search: set up at most N (default 60)")
    parser.add_argument("--json", action="store_true", help="print JSON instead of tables")


def _quantity(dimension: Dimension, low: float, high: float) -> Callable[[str], float]:
    def read(text: str) -> float:
        try:
            value = parse(text, dimension)
        except QuantityError as error:
            raise argparse.ArgumentTypeError(str(error)) from None
        if not low <= value <= high:
            raise argparse.ArgumentTypeError(f"{text} is out of range")
        return value

    return read


def piano(args: argparse.Namespace) -> int:
    """What was read at the piano and at the bench, and what it means for the notes."""
    from sim.bench import template
    from sim.cli.commands import changes
    from sim.sheets import document, figures
    from sim.sheets import piano as sheet
    from sim.unit import piano_sheet
    from sim.workshop import piano as workshop

    path = screen.out_file(args.figure, figures.SUFFIXES, "--figure")
    read = piano_sheet.load(args.sheet)
    unit = sim.load(args.scenario, changes(args.changes))
    key = args.note if args.note is not None else unit.key_number
    section = read.section_of(key)
    if args.csv:
        print(sheet.csv(workshop.notes(read, unit, () if args.note is None else (key,), args.angle)), end="")
        if path is None:
            return FINE
    keys = sorted({k for s in read.sections for k in s.keys} | {key}) if args.note is None else [key]
    found = workshop.notes(read, unit, keys, args.angle)
    here = next(n for n in found if n.key == key)
    screen.announce_compiling()
    with screen.progress("at the bench") as say:
        unit = sim.set_up(unit)
        say(0.2, "every half millimetre")
        bench, moved = workshop.read(unit), workshop.effects(unit, here.string_slope)
        in_piano = workshop.read(workshop.in_the_piano(unit, here))
        say(0.7, "template")
        lower = workshop.lower_at_bench(unit, here)
        lines = template.hang(section, args.blow or bench.values["blow"] or 0.0, lower, args.gap, sorted(
            {*section.keys, key}))  # fmt: skip
        curves = template.touching(unit)
    if path is not None:
        try:
            figures.save(sheet.figure(curves), path)
        except OSError as error:
            raise screen.unwritable("--figure", path, error) from None
        screen.note(f"figure written to {path}")
    if args.json:
        body = {
            "piano": read.name, "unit": unit.name, "notes": [sheet.of_note(n) for n in found],
            "bench": sheet.of_read(bench), "in_the_piano": sheet.of_read(in_piano), "lower_at_bench_mm": lower * 1e3,
            "effects": [sheet.of_effect(e) for e in moved], "template": [sheet.of_line(line) for line in lines],
            "touching": [sheet.of_touching(t) for t in curves], "assumed": list(unit.assumed),
        }  # fmt: skip
        print(document.text(document.clean(body)))
    elif not args.csv:
        parts = [*sheet.notes(found, args.angle), *sheet.mismatch(here, bench, in_piano), sheet.effects(moved, bench)]
        parts += [*sheet.template(lines, curves, lower), sheet.cautions()]
        screen.show(*(Padding(part, (0, 0, 1, 0)) for part in parts))
    return FINE if bench.outcome == "plays" else CANNOT_PLAY


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
        if name not in SET_UP and name not in WISHED:
            known = ", ".join((*SET_UP, *WISHED))
            wrong.append(Fault("--target", None, name, f'"{pair}"', known, "name one of these, as in blow=44.5mm"))
            continue
        kind, low, high = WISHED.get(name, (LENGTH, -5e-3, 0.1))
        try:
            value = parse(text, kind)
        except QuantityError as error:
            wrong.append(Fault("--target", None, name, f'"{text}"', f"such as {kind.example}", str(error)))
            continue
        if not low <= value <= high or (name in SET_UP[:5] and value <= 0):
            wrong.append(Fault("--target", None, name, f'"{text}"', "a sensible size", "check the number and its unit"))
        (targets if name in SET_UP else wishes)[name] = value
    if wrong:
        raise InputError(wrong)
    return targets, wishes


def fit(args: argparse.Namespace) -> int:
    """Parts of several scenarios, or every combination of a folder's."""
    from sim.cli.commands import changes
    from sim.sheets import document
    from sim.sheets import fit as sheet
    from sim.unit import composite
    from sim.workshop import fit as workshop
    from sim.workshop import parts_search

    targets, wishes = wanted(args.targets)
    base = composite.base(scenario_path(args.base), changes(args.changes))
    parts = {p: composite.source(scenario_path(getattr(args, p))) for p in PARTS if getattr(args, p) is not None}
    if not parts and args.search is None:
        remedy = "name at least one part's scenario, or a folder to search"
        raise InputError([Fault("command line", None, "fit", "no parts", "--key, --wippen, ... or --search", remedy)])
    screen.announce_compiling()
    if args.search is not None:
        with screen.progress("searching") as say:
            searched = parts_search.search(base, args.search, parts, targets, wishes, max(1, args.most), say)
        if args.json:
            print(document.text(document.clean(sheet.of_search(searched))))
        else:
            screen.show(*sheet.searched(searched))
        return FINE if searched.found else CANNOT_PLAY
    with screen.progress("on paper") as say:
        found = workshop.fit(base, parts, targets, wishes, say)
    if args.json:
        print(document.text(document.clean(sheet.of_fit(found))))
    else:
        screen.show(*sheet.verdict(found))
    return FINE if found.together else CANNOT_PLAY


COMMANDS: Mapping[str, Callable[[argparse.Namespace], int]] = {"piano": piano, "fit": fit}
