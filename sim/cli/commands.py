"""What each command does: call the engine, print what it read."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Mapping
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from rich.text import Text

import sim
from sim.cli import bench_work, diagnose, evidence, lesson, practice, rough, screen, section, studies
from sim.errors import Fault, InputError
from sim.unit.model import ActionUnit

if TYPE_CHECKING:
    from sim.bench.readings import Prediction
    from sim.report.formats.traces import Columns

FINE, BAD_INPUT, CANNOT_PLAY, INTERRUPTED = 0, 2, 3, 130


def changes(pairs: list[str]) -> dict[str, str]:
    """``PATH=VALUE`` pairs; all that are none are named at once."""
    wrong = [p for p in pairs if "=" not in p or not p.split("=", 1)[0].strip()]
    if wrong:
        remedy = "write it as in --set springs.repetition=85%"
        raise InputError([Fault("command line", None, "--set", f'"{p}"', "PATH=VALUE", remedy) for p in wrong])
    return {path.strip(): value.strip() for path, value in (p.split("=", 1) for p in pairs)}


def _load(args: argparse.Namespace) -> ActionUnit:
    return sim.load(args.scenario, changes(args.changes))


def _ready(args: argparse.Namespace) -> ActionUnit:
    """The unit, set up for its targets."""
    unit = _load(args)
    screen.announce_compiling()
    with screen.progress("setting up") as say:
        return sim.set_up(unit, say)


def validate(args: argparse.Namespace) -> int:
    """Check the file only."""
    from sim.report.formats import tables

    unit = _load(args)
    kind = "sharp" if unit.key.sharp else "natural"
    screen.show(
        Text(f"{args.scenario}: sound. {unit.name} (key {unit.key_number}, {kind})."), tables.assumed(unit.assumed)
    )
    return FINE


def predict(args: argparse.Namespace) -> int:
    """The main job."""
    from sim.report import predict as report
    from sim.report.drawing import figures
    from sim.report.formats import json_text, tables

    figure = screen.out_file(args.figure, figures.SUFFIXES, "--figure")
    unit = _ready(args)
    with screen.progress("at rest") as say:
        found = sim.predict(unit, repetition=not args.no_repetition, progress=say)
    if args.json:
        print(json_text.text(json_text.of_prediction(found)))
    elif args.csv:
        print(report.csv(found, unit), end="")
    else:
        screen.show(tables.prediction(found, unit, inches_first=args.inches))
    if figure is not None:
        _draw(figure, unit, found)
    return FINE if found.plays else CANNOT_PLAY


def _draw(path: Path, unit: ActionUnit, found: Prediction) -> None:
    from sim.cli.studies import save
    from sim.errors import SimulationError
    from sim.report.drawing import draw

    try:
        save(draw.sheet(unit, found), path)
    except SimulationError as error:
        screen.note(f"no figure: {error}")


def strike(args: argparse.Namespace) -> int:
    """Blows."""
    from sim.bench.predict import touches
    from sim.bench.rest_pose import at_rest
    from sim.bench.strike import play
    from sim.report.formats import json_text, tables, traces

    path = screen.out_file(args.traces, traces.SUFFIXES, "--traces")
    unit = _ready(args)
    rest = at_rest(unit)
    played = [play(rest, touch) for touch in touches(args.touch, args.struck)]
    blows = tuple(blow for blow, _ in played)
    silent = [blow for blow in blows if blow.hammer_speed is None]
    outcome = "plays" if len(silent) < len(blows) else blows[-1].outcome
    if args.json:
        body = {"unit": unit.name, "outcome": outcome, "strikes": [json_text.of_strike(blow) for blow in blows]}
        print(json_text.text({**body, "assumed": list(unit.assumed)}))
    else:
        screen.show(
            tables.head(unit, outcome), tables.strikes(blows), tables.events(blows), tables.assumed(unit.assumed)
        )
    if path is not None:
        named = [(blow.touch, traces.of_run(run, rest.design_travel, args.every * 1e-3)) for blow, run in played]
        _write(path, traces.stacked(named, "touch"))
    return FINE if outcome == "plays" else CANNOT_PLAY


def weigh(args: argparse.Namespace) -> int:
    """Settings and touch weights."""
    from sim.bench import slow_press
    from sim.bench.rest_pose import at_rest
    from sim.report.formats import json_text, tables, traces
    from sim.report.formats.reading_rows import Place, rows

    path = screen.out_file(args.traces, traces.SUFFIXES, "--traces")
    unit = _ready(args)
    pressed = slow_press.press(at_rest(unit))
    weights, curve = slow_press.touch_weight(pressed)
    settings, outcome = slow_press.settings(pressed), pressed.outcome
    if args.json:
        body = {"unit": unit.name, "outcome": outcome, "reason": pressed.reason}
        body |= json_text.record(settings) | json_text.record(weights)
        print(json_text.text({**body, "assumed": list(unit.assumed)}))
    else:
        place = Place.of(unit)
        screen.show(
            tables.head(unit, outcome, pressed.reason),
            tables.readings(
                "Settings", tables.fitted(rows(settings, "settings", place), unit), inches_first=args.inches
            ),
            tables.readings("Touch", rows(weights, "touch", place)),
            tables.assumed(unit.assumed),
        )
    if path is not None and curve is not None:
        _write(path, traces.of_slow_press(curve))
    elif path is not None:
        screen.note(f"no curve to write to {path}: {outcome}")
    return FINE if outcome == "plays" else CANNOT_PLAY


def repeat(args: argparse.Namespace) -> int:
    """Coming back and repetition."""
    from sim.report.formats import json_text, tables, traces
    from sim.report.formats.reading_rows import Place

    path = screen.out_file(args.traces, traces.SUFFIXES, "--traces")
    unit = _ready(args)
    with screen.progress("repetition") as say:
        found = sim.repeat(unit, say)
    outcome = "plays" if found.return_time is not None else "the jack does not come home"
    if args.json:
        body = {"unit": unit.name, "outcome": outcome, "repetition": json_text.of_repetition(found)}
        print(json_text.text({**body, "assumed": list(unit.assumed)}))
    else:
        parts = tables.repetition(found, Place.of(unit))
        screen.show(tables.head(unit, outcome), *parts, tables.assumed(unit.assumed))
    if path is not None:
        _write(path, traces.of_repetition(found))
    return FINE if outcome == "plays" else CANNOT_PLAY


def _write(path: Path, columns: Columns) -> None:
    from sim.report.formats import traces

    screen.keep("traces", "--traces", path, partial(traces.write, columns))


def regulate(args: argparse.Namespace) -> int:
    """Targets in, settings out."""
    from sim.cli import regulate as regulation

    return regulation.regulate(args)


def rails(args: argparse.Namespace) -> int:
    """Map of where a rail may stand."""
    from sim.cli import regulate as regulation

    return regulation.rails(args)


COMMANDS: Mapping[str, Callable[[argparse.Namespace], int]] = {
    "predict": predict, "strike": strike, "weigh": weigh, "repeat": repeat, "validate": validate,
    "regulate": regulate, "rails": rails,
    **studies.COMMANDS, **bench_work.COMMANDS, **diagnose.COMMANDS,
    **evidence.COMMANDS, **lesson.COMMANDS, **rough.COMMANDS, **practice.COMMANDS, **section.COMMANDS,
}  # fmt: skip
