"""compare, influence, batch: what they take, and what they do."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Mapping
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from rich.text import Text

from sim.cli import screen
from sim.errors import Fault, InputError

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from sim.report.formats.json_text import Document
    from sim.studies.variants import Origin

FINE, INTERRUPTED = 0, 130
Command = Callable[..., argparse.ArgumentParser]


def add(commands: Any, command: Command) -> None:
    """Declare the three commands."""
    _compare(command(commands, "compare", "two units side by side, and which changed input carries the difference"))
    _influence(command(commands, "influence", "how each reading answers to each input, and what tolerances do"))
    _batch(command(commands, "batch", "many variants of one scenario, as a table on disk"))


def _forms(parser: argparse.ArgumentParser, figure: str) -> None:
    form = parser.add_mutually_exclusive_group()
    form.add_argument("--json", action="store_true", help="print JSON instead of tables")
    form.add_argument("--csv", action="store_true", help="print CSV instead of tables")
    parser.add_argument("--figure", metavar="FILE", help=f"draw {figure} to FILE (.svg, .png or .pdf)")


def _compare(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "other",
        metavar="B",
        nargs="?",
        help="the second scenario (without it, SCENARIO again), in which --set changes what it changes",
    )
    _forms(parser, "both units' curves over one another")
    parser.add_argument("--no-repetition", action="store_true", help="leave out the repetition ensemble (faster)")


def _influence(parser: argparse.ArgumentParser) -> None:
    way = parser.add_mutually_exclusive_group()
    way.add_argument("--spring", action="store_true", help="the repetition spring, and its window by lever centre")
    way.add_argument(
        "--global", dest="all_at_once", action="store_true", help="all inputs within their tolerances (Sobol indices)"
    )
    parser.add_argument(
        "--only", metavar="PATH", nargs="+", action="extend", default=[], help='inputs, or patterns: "springs.*"'
    )
    parser.add_argument(
        "--readings", metavar="NAME", nargs="+", action="extend", default=[], help="readings: down_weight let_off ..."
    )
    parser.add_argument("--samples", type=int, metavar="N", help="--global: base samples, a power of two (default 64)")
    parser.add_argument(
        "--screws",
        choices=("held", "regulated"),
        help="leave the screws where they are (default for slopes), or regulate each changed unit again to the same "
        "readings (default for --global)",
    )
    _forms(parser, "the curves")


def _batch(parser: argparse.ArgumentParser) -> None:
    what = parser.add_mutually_exclusive_group(required=True)
    what.add_argument(
        "--vary",
        metavar="PATH=FROM..TO/N",
        action="append",
        help='N even values of an input, or PATH=A,B,C; given again: every combination ("85%%..115%%/7" is a share)',
    )
    what.add_argument("--table", metavar="FILE", help="a CSV with a row a unit; its header names paths")
    parser.add_argument(
        "--out", metavar="FILE", required=True, help="the table (.parquet); rows in it are not made again"
    )
    parser.add_argument(
        "--kind",
        choices=("weigh", "strike", "predict", "repeat"),
        default="predict",
        help="what to read: the slow press, the blows, all but repetition (default), or all",
    )
    parser.add_argument("--scheduler", metavar="ADDR", help="address of a Dask scheduler (needs the extra cluster)")


def origin_of(scenario: str, pairs: list[str]) -> Origin:
    """A scenario with its --set changes, ready for variants.  Raises InputError."""
    from sim.cli.commands import changes
    from sim.studies.variants import Origin

    origin = Origin.of(scenario, changes(pairs))
    screen.announce_compiling()
    return origin


def save(figure: Figure, path: Path) -> None:
    """Write a figure and say so.  Raises InputError."""
    from sim.report.drawing import figures

    screen.keep("figure", "--figure", path, partial(figures.save, figure))


def _print(args: argparse.Namespace, document: Document | None, csv: str | None, *parts: Any) -> None:
    from sim.report.formats.json_text import text

    if document is not None:
        print(text(document))
    elif csv is not None:
        print(csv, end="")
    else:
        screen.show(*parts)


def compare(args: argparse.Namespace) -> int:
    """A against B, or against itself changed."""
    from sim.report import compare as comparison
    from sim.report.drawing import figures
    from sim.studies.compare import compare as both

    path = screen.out_file(args.figure, figures.SUFFIXES, "--figure")
    if args.other is None and not args.changes:
        remedy = "name a second scenario, or what differs by --set"
        raise InputError([Fault("command line", None, "B", "nothing", "a second scenario or --set", remedy)])
    a, b = origin_of(args.scenario, []), origin_of(args.other or args.scenario, args.changes)
    with screen.progress("comparing") as say:
        found = both(a, b, repetition=not args.no_repetition, progress=say)
    document = comparison.document(found) if args.json else None
    csv = comparison.csv(found) if args.csv else None
    _print(args, document, csv, comparison.tables(found))
    if path is not None:
        save(comparison.draw(found), path)
    return FINE


def influence(args: argparse.Namespace) -> int:
    """Slopes, the spring study, or all tolerances at once."""
    from sim.report.drawing import figures

    path = screen.out_file(args.figure, figures.SUFFIXES, "--figure")
    _fits(args)
    origin = origin_of(args.scenario, args.changes)
    way = _spring if args.spring else _doubt if args.all_at_once else _local
    with screen.progress("setting up") as say:
        shown = way(args, origin, say)
    document = shown.document() if args.json else None
    csv = shown.csv() if args.csv else None
    _print(args, document, csv, Text(origin.ready.name, style="bold"), Text(""), shown.tables())
    if path is not None:
        save(shown.figure(), path)
    return FINE


class _Shown(NamedTuple):
    """A study in each of its forms, made when asked for."""

    document: Callable[[], Document]
    csv: Callable[[], str]
    tables: Callable[[], Any]
    figure: Callable[[], Figure]


def _fits(args: argparse.Namespace) -> None:
    """Options that belong to another way of asking are refused, not passed over."""
    wrong = []
    if args.spring and args.only:
        wrong.append(("--only", "nothing beside --spring", "the spring study is of the spring and its lever centre"))
    if args.spring and args.readings:
        wrong.append(("--readings", "nothing beside --spring", "the spring study reads what a spring moves"))
    if args.spring and args.screws:
        wrong.append(("--screws", "nothing beside --spring", "the spring study holds the screws"))
    if args.samples is not None and not args.all_at_once:
        wrong.append(("--samples", "only with --global", "add --global, or leave it out"))
    if wrong:
        raise InputError([Fault("command line", None, name, "given", allowed, why) for name, allowed, why in wrong])


def _local(args: argparse.Namespace, origin: Origin, say: screen.Say) -> _Shown:
    from sim.report.influence import figures as drawn
    from sim.report.influence import tables as sheet
    from sim.studies.adjustment_mode import HELD
    from sim.studies.influence import local

    found = local(origin, args.only, args.readings, say, args.screws or HELD)
    return _Shown(
        partial(sheet.local_document, found),
        partial(sheet.local_csv, found),
        partial(sheet.local_tables, found),
        partial(drawn.local, found),
    )


def _spring(args: argparse.Namespace, origin: Origin, say: screen.Say) -> _Shown:
    from sim.report.influence import figures as drawn
    from sim.report.influence import tables as sheet
    from sim.studies.spring import study

    found = study(origin, progress=say)
    return _Shown(
        partial(sheet.spring_document, found),
        partial(sheet.spring_csv, found),
        partial(sheet.spring_tables, found),
        partial(drawn.springs, found),
    )


def _doubt(args: argparse.Namespace, origin: Origin, say: screen.Say) -> _Shown:
    from sim.report.influence import figures as drawn
    from sim.report.influence import sensitivity as sheet
    from sim.studies.adjustment_mode import REGULATED
    from sim.studies.sensitivity import SAMPLES, analyse

    samples = SAMPLES if args.samples is None else args.samples
    found = analyse(origin, args.only, args.readings, samples, say, screws=args.screws or REGULATED)
    return _Shown(
        partial(sheet.document, found),
        partial(sheet.csv, found),
        partial(sheet.tables, found),
        partial(drawn.doubt, found),
    )


def batch(args: argparse.Namespace) -> int:
    """A study to a table on disk; run again, it goes on where it stopped."""
    from sim.report import batch as batch_table
    from sim.studies.batch import Study, check, run, scenario_inputs

    path = screen.out_file(args.out, batch_table.SUFFIXES, "--out")
    assert path is not None  # the option is required
    study = Study(origin_of(args.scenario, args.changes), _rows(args), args.kind)
    check(study)
    table = batch_table.Table(path, scenario_inputs(study.origin.leaves))
    try:
        try:
            with screen.progress("rows") as say:
                done = run(study, table.keep, table.known, scheduler=args.scheduler, progress=say)
        finally:
            rows = table.gather()
    except OSError as error:
        raise screen.unwritable("--out", path, error) from None
    others = rows - done.known - done.made
    screen.note(
        f"{path}: {rows} rows; {done.made} made now ({done.refused} refused), {done.known} there before"
        + (f", {others} of other studies" if others > 0 else "")
    )
    if done.stopped:
        left = done.rows - done.made - done.known
        why = "the cluster went away" if done.lost else "interrupted"
        screen.note(f"{why} with {left} rows to go: the same command goes on from here")
        return INTERRUPTED
    return FINE


def _rows(args: argparse.Namespace) -> tuple[Mapping[str, str], ...]:
    from sim.studies.spans import grid, of_table, values_of

    if args.table is not None:
        return of_table(Path(args.table))
    return grid([values_of(text) for text in args.vary])


COMMANDS: Mapping[str, Callable[[argparse.Namespace], int]] = {
    "compare": compare, "influence": influence, "batch": batch,
}  # fmt: skip
