"""What may be typed, and the help that explains it."""

from __future__ import annotations

import argparse
import textwrap
from collections.abc import Mapping

from sim import __version__
from sim.cli import (
    batch,
    compare,
    diagnose,
    evidence,
    fit,
    friction,
    influence,
    lesson,
    piano,
    practice,
    predict,
    rails,
    regulate,
    rough,
    section,
)  # fmt: skip
from sim.cli.command import Command
from sim.scenario.shipped import list_shipped_scenarios

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

MODULES = (
    predict, regulate, rails, compare, influence, batch, friction, piano, fit, diagnose, evidence, lesson, rough,
    practice, section,
)  # fmt: skip
COMMANDS: Mapping[str, Command] = {command.name: command for module in MODULES for command in module.COMMANDS}
"""Every command by its name, in the order in which the help lists them."""


def build_parser() -> argparse.ArgumentParser:
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
    for command in COMMANDS.values():
        _add_command(commands, command)
    return parser


def _shipped() -> str:
    names = ", ".join(list_shipped_scenarios()) or "none found"
    return textwrap.fill(f"scenarios that come with it: {names}", 90, subsequent_indent="  ", break_on_hyphens=False)


def _add_command(commands: argparse._SubParsersAction[argparse.ArgumentParser], command: Command) -> None:
    parser = commands.add_parser(
        command.name,
        help=command.summary,
        description=f"{command.summary[0].upper()}{command.summary[1:]}. {command.more}".strip(),
        epilog=f"{SET_HELP}\n{CODES}" if command.settable else CODES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    if command.sheet:
        parser.add_argument("sheet", metavar="SHEET", help="what was read at the piano (*.toml)")
    if command.scenario:
        parser.add_argument("scenario", metavar="SCENARIO", help="scenario file (*.toml), or the name of a shipped one")
    if command.settable:
        parser.add_argument(
            "--set", dest="changes", metavar="PATH=VALUE", action="append", default=[],
            help="change an input for this run",
        )  # fmt: skip
    command.add_arguments(parser)
