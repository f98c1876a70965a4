"""The command that regulates: targets in, settings out, solved or in an order of work."""

from __future__ import annotations

import argparse

from sim.cli import screen
from sim.errors import Fault, InputError, QuantityError
from sim.units import FORCE, LENGTH, parse


def targets(pairs: list[str]) -> dict[str, float]:
    """``NAME=VALUE`` targets; every bad one is named."""
    from sim.workshop.screws import SCREWS

    out: dict[str, float] = {}
    wrong: list[Fault] = []
    for pair in pairs:
        name, _, text = (x.strip() for x in pair.partition("="))
        if name not in SCREWS:
            wrong.append(Fault("--target", None, name, pair, ", ".join(SCREWS), "name one of these targets"))
            continue
        try:
            out[name] = parse(text, FORCE if name == "balance_weight" else LENGTH)
        except QuantityError as e:
            wrong.append(Fault("--target", None, name, text, "a quantity with its unit", str(e)))
            continue
        if not 0 <= out[name] < 0.1 and name != "jack_address" and name != "balance_weight":
            wrong.append(Fault("--target", None, name, text, "0 to 100 mm", "check the reading and its unit"))
    if wrong:
        raise InputError(wrong)
    return out


def regulate(args: argparse.Namespace) -> int:
    """Settings for the targets, all at once or in an order of work."""
    import sim
    from sim.cli.commands import CANNOT_PLAY, FINE, changes
    from sim.sheets import document, regulation
    from sim.workshop import orders, room
    from sim.workshop.regulate import regulate as solve

    unit = sim.load(args.scenario, changes(args.changes))
    wanted = dict(unit.targets) | targets(args.targets)
    if not wanted:
        remedy = "give --target NAME=VALUE, or [targets] in the scenario"
        raise InputError([Fault(args.scenario, None, "targets", "none", "at least one target", remedy)])
    screen.announce_compiling()
    if args.order:
        with screen.progress("first step") as say:
            steps = orders.follow(unit, orders.orders()[args.order], wanted, say)
        if args.json:
            print(document.text(regulation.of_steps(unit, args.order, steps)))
        else:
            screen.show(*regulation.steps(orders.orders()[args.order].title, steps, wanted))
        return FINE if all(s.reached for s in steps) else CANNOT_PLAY
    with screen.progress("setting") as say:
        done = solve(unit, wanted, say)
    rooms: tuple[room.Room, ...] = ()
    if room.contradicts(done):
        with screen.progress("looking for room") as say:
            rooms = room.make_room(unit, wanted, wanted["aftertouch"], say)
    if args.json:
        print(document.text(regulation.of_regulation(done, rooms)))
    else:
        screen.show(*regulation.solved(done, rooms))
    return FINE if done.met else CANNOT_PLAY


def rails(args: argparse.Namespace) -> int:
    """Map of where a rail may stand."""
    import sim
    from sim.cli.commands import CANNOT_PLAY, FINE, changes
    from sim.sheets import document, figures
    from sim.sheets import rails as sheet
    from sim.workshop import rails as workshop

    figure = screen.out_file(args.figure, figures.SUFFIXES, "--figure")
    template = screen.out_file(args.template, (".pdf",), "--template")
    unit = sim.load(args.scenario, changes(args.changes))
    usual = {"blow": 44.5e-3, "dip": 10.2e-3, "let_off": 1.6e-3, "drop": 2.2e-3, "lever_height": 0.2e-3}
    wanted = usual | {"jack_address": 0.0} | dict(unit.targets) | targets(args.targets)
    xs, ys = _axis(args.span, args.cells), _axis(args.span, args.cells)
    screen.announce_compiling()
    with screen.progress("rails") as say:
        cells = workshop.grid(unit, wanted, xs, ys, args.rail, say)
    found = workshop.best(cells)
    sway = workshop.sway(unit, found[0], wanted, args.rail) if found else {}
    if figure is not None:
        figures.save(sheet.figure(unit, args.rail, cells, found), figure)
        screen.note(f"figure written to {figure}")
    if template is not None and found:
        sheet.template(unit, found[0], args.rail, template)
        screen.note(f"template written to {template}")
    if args.json:
        body = {"unit": unit.name, "rail": args.rail, "places": [sheet.row(p) for r in cells for p in r]}
        print(document.text(body | {"best": [sheet.row(p) for p in found]}))
    else:
        screen.show(*sheet.tables(unit, args.rail, cells, found, sway))
    return FINE if found else CANNOT_PLAY


def _axis(span: float, cells: int) -> list[float]:
    """Even moves from -span to +span (mm), as metres; an odd count has the present place in the middle."""
    return [(-span + 2 * span * i / (cells - 1)) * 1e-3 for i in range(cells)]
