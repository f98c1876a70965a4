"""predict, strike, weigh, repeat, validate: the readings of one unit."""

from __future__ import annotations

import argparse
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from rich.text import Text

import sim
from sim.bench.outcomes import Outcome
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


def _load_set_up(args: argparse.Namespace) -> ActionUnit:
    """The unit, set up for its targets."""
    unit = load_unit(args)
    screen.announce_compiling()
    with screen.show_progress_bar("setting up") as say:
        return sim.set_up(unit, say)


def predict(args: argparse.Namespace) -> int:
    """The main job."""
    from sim.report import predict as report
    from sim.report.drawing import figures
    from sim.report.formats import json_text

    figure = screen.check_out_file(args.figure, figures.SUFFIXES, "--figure")
    unit = _load_set_up(args)
    with screen.show_progress_bar("at rest") as say:
        found = sim.predict(unit, repetition=not args.no_repetition, progress=say)
    if args.json:
        print(json_text.format_json(json_text.build_prediction_document(found)))
    elif args.csv:
        print(report.format_csv(found, unit), end="")
    else:
        screen.print_parts(report.build_prediction_tables(found, unit, inches_first=args.inches))
    if figure is not None:
        _draw(figure, unit, found)
    return ExitCode.FINE if found.plays else ExitCode.CANNOT_PLAY


def _draw(path: Path, unit: ActionUnit, found: Prediction) -> None:
    from sim.report.drawing import draw

    try:
        save_figure(draw.draw_sheet(unit, found), path)
    except SimulationError as error:
        screen.print_note(f"no figure: {error}")


def strike(args: argparse.Namespace) -> int:
    """Blows."""
    from sim.bench.predict import list_touches
    from sim.bench.rest_pose import settle_at_rest
    from sim.bench.strike import play_touch
    from sim.report import predict as report
    from sim.report.formats import json_text, traces

    path = screen.check_out_file(args.traces, traces.SUFFIXES, "--traces")
    unit = _load_set_up(args)
    rest = settle_at_rest(unit)
    played = [play_touch(rest, touch) for touch in list_touches(args.touch, args.struck)]
    blows = tuple(blow for blow, _ in played)
    silent = [blow for blow in blows if blow.hammer_speed is None]
    outcome = Outcome.PLAYS if len(silent) < len(blows) else blows[-1].outcome
    if args.json:
        body = {
            "unit": unit.name,
            "outcome": outcome,
            "strikes": [json_text.build_strike_document(blow) for blow in blows],
        }
        print(json_text.format_json({**body, "assumed": list(unit.assumed)}))
    else:
        screen.print_parts(
            report.format_head(unit, outcome),
            report.build_strikes_table(blows),
            report.build_events_table(blows),
            report.format_assumed(unit.assumed),
        )
    if path is not None:
        named = [(blow.touch, traces.tabulate_run(run, rest.design_travel, args.every * 1e-3)) for blow, run in played]
        _write(path, traces.stack_columns(named, "touch"))
    return ExitCode.FINE if outcome == Outcome.PLAYS else ExitCode.CANNOT_PLAY


def weigh(args: argparse.Namespace) -> int:
    """Settings and touch weights."""
    from sim.bench import slow_press
    from sim.bench.rest_pose import settle_at_rest
    from sim.report import predict as report
    from sim.report.formats import json_text, traces
    from sim.report.formats.reading_rows import KeyPosition, list_rows

    path = screen.check_out_file(args.traces, traces.SUFFIXES, "--traces")
    unit = _load_set_up(args)
    pressed = slow_press.press_slowly(settle_at_rest(unit))
    weights, curve = slow_press.read_touch_weight(pressed)
    settings, outcome = slow_press.read_settings(pressed), pressed.outcome
    if args.json:
        body = {"unit": unit.name, "outcome": outcome, "reason": pressed.reason}
        body |= json_text.build_record_document(settings) | json_text.build_record_document(weights)
        print(json_text.format_json({**body, "assumed": list(unit.assumed)}))
    else:
        place = KeyPosition.of(unit)
        screen.print_parts(
            report.format_head(unit, outcome, pressed.reason),
            report.build_readings_table(
                "Settings",
                report.drop_missing_parts(list_rows(settings, "settings", place), unit),
                inches_first=args.inches,
            ),
            report.build_readings_table("Touch", list_rows(weights, "touch", place)),
            report.format_assumed(unit.assumed),
        )
    if path is not None and curve is not None:
        _write(path, traces.tabulate_slow_press(curve))
    elif path is not None:
        screen.print_note(f"no curve to write to {path}: {outcome}")
    return ExitCode.FINE if outcome == Outcome.PLAYS else ExitCode.CANNOT_PLAY


def repeat(args: argparse.Namespace) -> int:
    """Coming back and repetition."""
    from sim.report import predict as report
    from sim.report.formats import json_text, traces
    from sim.report.formats.reading_rows import KeyPosition

    path = screen.check_out_file(args.traces, traces.SUFFIXES, "--traces")
    unit = _load_set_up(args)
    with screen.show_progress_bar("repetition") as say:
        found = sim.repeat(unit, say)
    outcome = Outcome.PLAYS if found.return_time is not None else f"the {Outcome.JACK_DOES_NOT_RETURN}"
    if args.json:
        body = {"unit": unit.name, "outcome": outcome, "repetition": json_text.build_repetition_document(found)}
        print(json_text.format_json({**body, "assumed": list(unit.assumed)}))
    else:
        parts = report.build_repetition_tables(found, KeyPosition.of(unit))
        screen.print_parts(report.format_head(unit, outcome), *parts, report.format_assumed(unit.assumed))
    if path is not None:
        _write(path, traces.tabulate_repetition(found))
    return ExitCode.FINE if outcome == Outcome.PLAYS else ExitCode.CANNOT_PLAY


def _write(path: Path, columns: Columns) -> None:
    from sim.report.formats import traces

    screen.write_output("traces", "--traces", path, partial(traces.write_columns, columns))


def validate(args: argparse.Namespace) -> int:
    """Check the file only."""
    from sim.report import predict as report

    unit = load_unit(args)
    kind = "sharp" if unit.key.sharp else "natural"
    screen.print_parts(
        Text(f"{args.scenario}: sound. {unit.name} (key {unit.key_number}, {kind})."),
        report.format_assumed(unit.assumed),
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
