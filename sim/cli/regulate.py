"""The command that regulates: targets in, settings out, solved or in an order of work."""

from __future__ import annotations

import argparse
from functools import partial

from sim.cli import screen
from sim.errors import Fault, InputError


def targets(pairs: list[str]) -> dict[str, float]:
    """``NAME=VALUE`` targets; every bad one is named."""
    from sim.regulation.screws import SCREWS
    from sim.regulation.targets import asked

    out: dict[str, float] = {}
    wrong: list[Fault] = []
    for pair in pairs:
        name, _, text = (x.strip() for x in pair.partition("="))
        if name not in SCREWS:
            wrong.append(Fault("--target", None, name, pair, ", ".join(SCREWS), "name one of these targets"))
            continue
        try:
            out[name] = asked(name, text, "--target")
        except InputError as error:
            wrong += error.faults
    if wrong:
        raise InputError(wrong)
    return out


def regulate(args: argparse.Namespace) -> int:
    """Settings for the targets, all at once or in an order of work."""
    import sim
    from sim.cli.commands import CANNOT_PLAY, FINE, changes
    from sim.regulation import naturals, orders, target_conflicts
    from sim.regulation.regulate import regulate as solve
    from sim.report import regulate as regulation
    from sim.report.formats import json_text

    unit = sim.load(args.scenario, changes(args.changes))
    wanted = dict(unit.targets) | targets(args.targets)
    screen.announce_compiling()
    natural = None
    if args.natural:
        natural = sim.load(args.natural)
        wanted = naturals.as_deep(unit, natural, wanted)
    if not wanted:
        remedy = "give --target NAME=VALUE, or [targets] in the scenario"
        raise InputError([Fault(args.scenario, None, "targets", "none", "at least one target", remedy)])
    if args.order:
        with screen.progress("first step") as say:
            steps = orders.follow(unit, orders.orders()[args.order], wanted, say)
        if args.json:
            print(json_text.text(regulation.of_steps(unit, args.order, steps)))
        else:
            screen.show(*regulation.steps(orders.orders()[args.order].title, steps, wanted))
        return FINE if all(s.reached for s in steps) else CANNOT_PLAY
    with screen.progress("setting") as say:
        done = solve(unit, wanted, say)
    rooms: tuple[target_conflicts.Room, ...] = ()
    if target_conflicts.contradicts(done):
        with screen.progress("looking for room") as say:
            rooms = target_conflicts.make_room(unit, wanted, wanted["aftertouch"], say)
    over = naturals.stands_over(done.unit, natural) if natural is not None and done.met else None
    if args.json:
        print(json_text.text(regulation.of_regulation(done, rooms, over)))
    else:
        screen.show(*regulation.solved(done, rooms, over))
    return FINE if done.met else CANNOT_PLAY


def rails(args: argparse.Namespace) -> int:
    """Map of where a rail may stand."""
    import sim
    from sim.cli.commands import CANNOT_PLAY, FINE, changes
    from sim.cli.studies import save
    from sim.regulation import rails as workshop
    from sim.report import rails as sheet
    from sim.report.drawing import figures
    from sim.report.formats import json_text

    figure = screen.out_file(args.figure, figures.SUFFIXES, "--figure")
    template = screen.out_file(args.template, (".pdf",), "--template")
    unit = sim.load(args.scenario, changes(args.changes))
    moves, weights = _moves(args), _weights(args.weights)
    if args.show not in sheet.READ:
        remedy = "name one of these readings"
        raise InputError([Fault("--show", None, "the figure", args.show, ", ".join(sheet.READ), remedy)])
    wanted = workshop.asked(unit, _readable(targets(args.targets)))
    xs, ys = _axis(args.span, args.cells), _axis(args.span, args.cells)
    screen.announce_compiling()
    with screen.progress("rails") as say:
        cells = workshop.grid(unit, wanted, xs, ys, moves, say)
    found = workshop.best(cells, weights=weights)
    sway = workshop.sway(found[0], wanted, moves) if found else {}
    if args.json:
        body = {"unit": unit.name, "moves": list(moves), "places": [sheet.row(p) for r in cells for p in r]}
        print(json_text.text(body | {"best": [sheet.row(p) for p in found], "sway_si": sway}))
    else:
        screen.show(*sheet.tables(unit, moves, cells, found, sway, weights))
    if figure is not None:
        save(sheet.figure(unit, moves, cells, found, args.show), figure)
    if template is not None and found:
        screen.keep("template", "--template", template, partial(sheet.template, unit, found[0], moves))
    return FINE if found else CANNOT_PLAY


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
    from sim.regulation.rails import READABLE

    other = [t for t in wanted if t not in READABLE]
    if other:
        remedy = "leave it out here; set it with regulate once the place is chosen"
        raise InputError([Fault("--target", None, t, "asked", ", ".join(READABLE), remedy) for t in other])
    return wanted


def _axis(span: float, cells: int) -> list[float]:
    """Even moves from -span to +span (mm), as metres; an odd count has the present place in the middle."""
    return [(-span + 2 * span * i / (cells - 1)) * 1e-3 for i in range(cells)]
