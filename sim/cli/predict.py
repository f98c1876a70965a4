"""predict, strike, weigh, repeat, validate: the readings of one unit."""

from __future__ import annotations

import argparse
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from rich.text import Text

import sim
from sim.cli import screen
from sim.cli.command import Command, ExitCode
from sim.cli.options import load_unit, save_figure
from sim.errors import SimulationError
from sim.unit.model import ActionUnit

if TYPE_CHECKING:
    from sim.bench.readings import Prediction
    from sim.report.formats.traces import Columns


def _add_predict(parser: argparse.ArgumentParser) -> None:
    form = parser.add_mutually_exclusive_group()
    form.add_argument("--json", action="store_true", help="print JSON instead of tables")
    form.add_argument("--csv", action="store_true", help="print CSV instead of tables")
    parser.add_argument("--figure", metavar="FILE", help="draw mechanism and curves to FILE (.svg, .png or .pdf)")
    parser.add_argument("--inches", action="store_true", help="inches before millimetres")
    parser.add_argument("--no-repetition", action="store_true", help="leave out the repetition ensemble (faster)")


def _add_forms(parser: argparse.ArgumentParser, traces: str) -> None:
    parser.add_argument("--json", action="store_true", help="print JSON instead of tables")
    parser.add_argument("--traces", metavar="FILE", help=f"write {traces} to FILE (.csv or .parquet)")
    parser.add_argument("--inches", action="store_true", help="inches before millimetres")


def _add_strike(parser: argparse.ArgumentParser) -> None:
    _add_forms(parser, "motion and forces of every blow")
    parser.add_argument(
        "--touch",
        choices=("finger", "mass", "force", "motion"),
        default="finger",
        help="what plays: a finger (default), a weight set free, a force over time, or a given motion",
    )
    parser.add_argument("--struck", action="store_true", help="arriving from over the key instead of resting on it")
    parser.add_argument(
        "--every", metavar="MS", type=_interval, default=0.1, help="interval of the traces' rows, ms (default 0.1)"
    )


def _interval(text: str) -> float:
    value = float(text)
    if not 0 < value <= 10:
        raise argparse.ArgumentTypeError(f"{text} is not between 0 and 10 ms")
    return value


def _ready(args: argparse.Namespace) -> ActionUnit:
    """The unit, set up for its targets."""
    unit = load_unit(args)
    screen.announce_compiling()
    with screen.progress("setting up") as say:
        return sim.set_up(unit, say)


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
    return ExitCode.FINE if found.plays else ExitCode.CANNOT_PLAY


def _draw(path: Path, unit: ActionUnit, found: Prediction) -> None:
    from sim.report.drawing import draw

    try:
        save_figure(draw.sheet(unit, found), path)
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
    return ExitCode.FINE if outcome == "plays" else ExitCode.CANNOT_PLAY


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
    return ExitCode.FINE if outcome == "plays" else ExitCode.CANNOT_PLAY


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
    return ExitCode.FINE if outcome == "plays" else ExitCode.CANNOT_PLAY


def _write(path: Path, columns: Columns) -> None:
    from sim.report.formats import traces

    screen.keep("traces", "--traces", path, partial(traces.write, columns))


def validate(args: argparse.Namespace) -> int:
    """Check the file only."""
    from sim.report.formats import tables

    unit = load_unit(args)
    kind = "sharp" if unit.key.sharp else "natural"
    screen.show(
        Text(f"{args.scenario}: sound. {unit.name} (key {unit.key_number}, {kind})."), tables.assumed(unit.assumed)
    )
    return ExitCode.FINE


COMMANDS = (
    Command("predict", "the main job: every reading of the note, and what is out of the usual", _add_predict, predict),
    Command("strike", "blows of the standard fingers, soft to hard", _add_strike, strike),
    Command(
        "weigh",
        "settings and touch weights from one slow press",
        lambda parser: _add_forms(parser, "the force curve of the slow press"),
        weigh,
    ),
    Command(
        "repeat",
        "how the note comes back and how fast it repeats",
        lambda parser: _add_forms(parser, "shares of strokes by rate"),
        repeat,
    ),
    Command("validate", "check the scenario file only", lambda parser: None, validate, "Nothing is computed."),
)
