"""What may be typed, and the help that explains it."""

from __future__ import annotations

import argparse
import textwrap
from typing import TypeAlias

from sim import __version__
from sim.cli import bench_work, diagnose, evidence, lesson, practice, rough, section, studies
from sim.regulation.moves import MOVES
from sim.scenario.shipped import shipped

CODES = """\
exit codes:
  0  fine
  2  bad input: what was typed, or the scenario file (every fault is listed)
  3  the unit cannot play (blocks, never escapes, ...); what could be read is printed
  130  interrupted
"""

EXAMPLES = """\
examples:
  python -m sim predict concert-grand-natural
  python -m sim predict my-note.toml --figure my-note.svg
  python -m sim predict my-note.toml --set springs.repetition=85% --json
  python -m sim strike my-note.toml --traces blows.parquet
  python -m sim COMMAND --help          what a command takes
"""

SET_HELP = """\
changing an input for one run:
  --set springs.repetition=85%            a share of the scenario's own value
  --set friction.hammer="1.8 N·mm"        a quantity with its unit
  --set hammer.weight="10.5 g" --set rails.spread="4 27/64 in"
  sections: key, wippen, jack, lever, hammer, rails, springs, friction, contacts, string,
            settings, targets, touch, damper
"""


def build() -> argparse.ArgumentParser:
    """The whole parser."""
    parser = argparse.ArgumentParser(
        prog="python -m sim",
        description="Action-unit simulator: from bench measurements of one grand-piano note\n"
        "to let-off, drop, touch weight, blows and repetition, computed.",
        epilog=f"{EXAMPLES}\n{CODES}\n{_shipped()}",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--version", action="version", version=f"action-unit-sim {__version__}")
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", required=True)
    _predict(commands)
    _strike(commands)
    _weigh(commands)
    _repeat(commands)
    _validate(commands)
    _regulate(commands)
    _rails(commands)
    studies.add(commands, _command)
    bench_work.add(commands, _command)
    diagnose.add(commands, _command)
    evidence.add(commands, _command)
    lesson.add(commands, _command)
    rough.add(commands, _command)
    practice.add(commands, _command)
    section.add(commands, _command)
    return parser


def _shipped() -> str:
    names = ", ".join(shipped()) or "none found"
    return textwrap.fill(f"scenarios that come with it: {names}", 90, subsequent_indent="  ", break_on_hyphens=False)


Commands: TypeAlias = "argparse._SubParsersAction[argparse.ArgumentParser]"


def _command(
    commands: Commands,
    name: str,
    summary: str,
    more: str = "",
    *,
    sheet: bool = False,
    scenario: bool = True,
    settable: bool = True,
) -> argparse.ArgumentParser:
    parser = commands.add_parser(
        name,
        help=summary,
        description=f"{summary[0].upper()}{summary[1:]}. {more}".strip(),
        epilog=f"{SET_HELP}\n{CODES}" if settable else CODES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    if sheet:
        parser.add_argument("sheet", metavar="SHEET", help="what was read at the piano (*.toml)")
    if scenario:
        parser.add_argument("scenario", metavar="SCENARIO", help="scenario file (*.toml), or the name of a shipped one")
    if settable:
        parser.add_argument(
            "--set", dest="changes", metavar="PATH=VALUE", action="append", default=[],
            help="change an input for this run",
        )  # fmt: skip
    return parser


def _predict(commands: Commands) -> None:
    parser = _command(commands, "predict", "the main job: every reading of the note, and what is out of the usual")
    form = parser.add_mutually_exclusive_group()
    form.add_argument("--json", action="store_true", help="print JSON instead of tables")
    form.add_argument("--csv", action="store_true", help="print CSV instead of tables")
    parser.add_argument("--figure", metavar="FILE", help="draw mechanism and curves to FILE (.svg, .png or .pdf)")
    parser.add_argument("--inches", action="store_true", help="inches before millimetres")
    parser.add_argument("--no-repetition", action="store_true", help="leave out the repetition ensemble (faster)")


def _group(commands: Commands, name: str, summary: str, traces: str) -> argparse.ArgumentParser:
    parser = _command(commands, name, summary)
    parser.add_argument("--json", action="store_true", help="print JSON instead of tables")
    parser.add_argument("--traces", metavar="FILE", help=f"write {traces} to FILE (.csv or .parquet)")
    parser.add_argument("--inches", action="store_true", help="inches before millimetres")
    return parser


def _strike(commands: Commands) -> None:
    parser = _group(
        commands, "strike", "blows of the standard fingers, soft to hard", "motion and forces of every blow"
    )
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


def _regulate(commands: Commands) -> None:
    parser = _command(commands, "regulate", "targets in, settings out: all at once, or in an order of work")
    parser.add_argument(
        "--target", dest="targets", metavar="NAME=VALUE", action="append", default=[],
        help="blow, dip, let_off, drop, drop_at_bottom, aftertouch, checking_distance, spring_rise, lever_height, "
        "jack_address, key_height, check_angle, rest_cushion_gap, damper_start; balance_weight (by key leads) and "
        "inertia (by hammer weight)",
    )  # fmt: skip
    parser.add_argument(
        "--order",
        choices=("dip-fixed", "blow-fixed", "aftertouch-fixed"),
        help="one step at a time, with what each step upset",
    )
    parser.add_argument(
        "--natural",
        metavar="SCENARIO",
        help="for a sharp: ask for the aftertouch of this natural, and let the dip float",
    )
    parser.add_argument("--json", action="store_true", help="print JSON instead of tables")


def _rails(commands: Commands) -> None:
    parser = _command(commands, "rails", "where the rails may stand: a map, the best places, a template")
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


def _interval(text: str) -> float:
    value = float(text)
    if not 0 < value <= 10:
        raise argparse.ArgumentTypeError(f"{text} is not between 0 and 10 ms")
    return value


def _weigh(commands: Commands) -> None:
    _group(commands, "weigh", "settings and touch weights from one slow press", "the force curve of the slow press")


def _repeat(commands: Commands) -> None:
    _group(commands, "repeat", "how the note comes back and how fast it repeats", "shares of strokes by rate")


def _validate(commands: Commands) -> None:
    _command(commands, "validate", "check the scenario file only", "Nothing is computed.")
