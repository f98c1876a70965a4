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
