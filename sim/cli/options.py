"""Options that several commands share: how they are declared, and how what was typed becomes values."""

from __future__ import annotations

import argparse
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import sim
from sim.cli import screen
from sim.errors import Fault, InputError
from sim.unit.model import ActionUnit

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from sim.report.formats.json_text import Document
    from sim.studies.variants import BaseScenario


def parse_changes(pairs: list[str]) -> dict[str, str]:
    """``PATH=VALUE`` pairs; all that are none are named at once."""
    wrong = [p for p in pairs if "=" not in p or not p.split("=", 1)[0].strip()]
    if wrong:
        remedy = "write it as in --set springs.repetition=85%"
        raise InputError([Fault("command line", None, "--set", f'"{p}"', "PATH=VALUE", remedy) for p in wrong])
    return {path.strip(): value.strip() for path, value in (p.split("=", 1) for p in pairs)}


def load_unit(args: argparse.Namespace) -> ActionUnit:
    """The unit of the scenario that was named, with its changes.  Raises InputError."""
    return sim.load(args.scenario, parse_changes(args.changes))


def parse_targets(pairs: list[str]) -> dict[str, float]:
    """``NAME=VALUE`` targets; every bad one is named."""
    from sim.regulation.screws import SCREWS
    from sim.regulation.targets import parse_target

    out: dict[str, float] = {}
    wrong: list[Fault] = []
    for pair in pairs:
        name, _, text = (x.strip() for x in pair.partition("="))
        if name not in SCREWS:
            wrong.append(Fault("--target", None, name, pair, ", ".join(SCREWS), "name one of these targets"))
            continue
        try:
            out[name] = parse_target(name, text, "--target")
        except InputError as error:
            wrong += error.faults
    if wrong:
        raise InputError(wrong)
    return out


def load_origin(scenario: str, pairs: list[str]) -> BaseScenario:
    """A scenario with its --set changes, ready for variants.  Raises InputError."""
    from sim.studies.variants import BaseScenario

    origin = BaseScenario.of(scenario, parse_changes(pairs))
    screen.announce_compiling()
    return origin


def add_output_forms(parser: argparse.ArgumentParser, figure: str) -> None:
    """``--json``, ``--csv`` and ``--figure``."""
    form = parser.add_mutually_exclusive_group()
    form.add_argument("--json", action="store_true", help="print JSON instead of tables")
    form.add_argument("--csv", action="store_true", help="print CSV instead of tables")
    parser.add_argument("--figure", metavar="FILE", help=f"draw {figure} to FILE (.svg, .png or .pdf)")


def save_figure(figure: Figure, path: Path) -> None:
    """Write a figure and say so.  Raises InputError."""
    from sim.report.drawing import figures

    screen.write_output("figure", "--figure", path, partial(figures.save_figure, figure))


def print_result(args: argparse.Namespace, document: Document | None, csv: str | None, *parts: Any) -> None:
    """A result as JSON, CSV or tables, whichever was asked for."""
    from sim.report.formats.json_text import format_json

    if document is not None:
        print(format_json(document))
    elif csv is not None:
        print(csv, end="")
    else:
        screen.print_parts(*parts)
