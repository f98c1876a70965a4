"""sheet, import and section: what they take, and what they do with a bench sheet."""

from __future__ import annotations

import argparse
import re
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from sim.cli import screen
from sim.cli.command import Command, ExitCode
from sim.cli.options import parse_changes

if TYPE_CHECKING:
    from sim.section.section import Section
    from sim.section.sheet import BenchSheet

PAPER = (".pdf", ".html")
PLAIN = (".csv", ".toml")
TABLES = (".csv", ".parquet")
SPAN = re.compile(r"(\d{1,2})(?:-(\d{1,2}))?")


def _add_sheet(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("bench", metavar="SHEET", nargs="?", help="what was read at the bench (*.csv, *.toml)")
    parser.add_argument("--out", metavar="FILE", help="write to FILE (.pdf, .html, .csv, .toml); else CSV is printed")
    parser.add_argument("--note", metavar="N", help="one note, by its number or name: 40, C4")
    parser.add_argument("--inches", action="store_true", help="lengths in inches")
    parser.add_argument("--paper", choices=("A4", "letter"), default="A4", help="size of the paper (default A4)")
    _add_goal(parser)


def _add_import(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("bench", metavar="SHEET", help="what was read at the bench (*.csv, *.toml)")
    parser.add_argument("--into", metavar="FOLDER", help="keep sheet, scenarios and readings there as plain files")
    told = "keep this file in the folder too, as a photograph and its marks; beside --into"
    parser.add_argument("--add", metavar="FILE", action="append", default=[], help=told)
    parser.add_argument("--edited", action="store_true", help="take a record's files as somebody edited them by hand")
    parser.add_argument("--direct", action="store_true", help="fit nothing, look for no fault (faster)")
    parser.add_argument("--inches", action="store_true", help="lengths in inches")
    parser.add_argument("--json", action="store_true", help="print JSON instead of tables")


def _add_section(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("bench", metavar="SHEET", help="what was read at the bench (*.csv, *.toml)")
    parser.add_argument(
        "--notes", metavar="A-B", action="append", default=[], help="which, as 30-49 (default: the sheet's)"
    )
    parser.add_argument("--out", metavar="FILE", help="write it to FILE (.pdf, .html, .csv, .parquet)")
    parser.add_argument("--no-repetition", action="store_true", help="leave out the repetition limit (faster)")
    parser.add_argument("--inches", action="store_true", help="lengths in inches")
    parser.add_argument("--paper", choices=("A4", "letter"), default="A4", help="size of the paper (default A4)")
    parser.add_argument("--json", action="store_true", help="print JSON instead of tables")
    _add_goal(parser)


def _add_goal(parser: argparse.ArgumentParser) -> None:
    told = "what to regulate to, for every note: blow=45mm (default: the usual of that part of the compass)"
    parser.add_argument("--ask", metavar="READING=VALUE", action="append", default=[], help=told)


def parse_goal(args: argparse.Namespace) -> dict[str, float]:
    """What was asked for (SI).  Raises InputError."""
    from sim.fields.field_paths import suggest_name
    from sim.regulation.targets import parse_target as value_of
    from sim.section.compass import find_usual_target

    out = {}
    for target, text in parse_changes(args.ask).items():
        if target not in find_usual_target(1) and target != "key_height":
            hint = suggest_name(target, [*find_usual_target(1), "key_height"])
            raise screen.refuse_option("--ask", target, hint.allowed, hint.remedy)
        out[target] = value_of(target, text, "--ask")
    return out


def sheet(args: argparse.Namespace) -> int:
    """A blank sheet, what was read, or what to do."""

    out = screen.check_out_file(args.out, (*PAPER, *PLAIN), "--out")
    goal = parse_goal(args)
    if args.bench is None:
        _blank(args, out)
        return ExitCode.FINE
    bench, note = _load(args.bench), _parse_note(args)
    if out is None or out.suffix.lower() in PLAIN:
        _write_plain(bench, args, out)
        return ExitCode.FINE
    screen.announce_compiling()
    found = _section(bench, [note] if note is not None else [r.key_number for r in bench.rows], goal, only=True)
    _print(found, args, out)
    return ExitCode.FINE


def _blank(args: argparse.Namespace, out: Path | None) -> None:
    from sim.report.paper import pdf, print_page
    from sim.report.section import paper as bench_paper
    from sim.report.section import sheet as bench_files

    if out is None or out.suffix.lower() in PLAIN:
        text = bench_files.format_blank_sheet(args.inches, toml=out is not None and out.suffix.lower() == ".toml")
        _write_or_print("blank sheet", text, out)
        return
    make = pdf.make_pdf if out.suffix.lower() == ".pdf" else print_page.render_page
    made = make("Bench sheet", bench_paper.build_blank_blocks(args.inches), size=args.paper, invented=False)
    screen.write_output_bytes("blank sheet", "--out", out, made if isinstance(made, bytes) else made.encode())


def _write_plain(bench: BenchSheet, args: argparse.Namespace, out: Path | None) -> None:
    from sim.report.section import sheet as bench_files

    toml = out is not None and out.suffix.lower() == ".toml"
    _write_or_print(
        "sheet",
        bench_files.format_sheet_toml(bench, args.inches) if toml else bench_files.format_sheet_csv(bench, args.inches),
        out,
    )


def _write_or_print(what: str, text: str, out: Path | None) -> None:
    if out is None:
        print(text, end="")
    else:
        screen.write_output_bytes(what, "--out", out, text.encode())


def _load(path: str) -> BenchSheet:
    from sim.section import sheet as bench_sheet

    return bench_sheet.load_sheet(path)


def _parse_note(args: argparse.Namespace) -> int | None:
    from sim.section.sheet import parse_key_number

    if args.note is None:
        return None
    number = parse_key_number(args.note)
    if number is None:
        raise screen.refuse_option(
            "--note", args.note, "a key's number, 1 to 88, or its name, A0 to C8", "name one note"
        )
    return number


def _keys(args: argparse.Namespace) -> list[int]:
    found: set[int] = set()
    for span in args.notes:
        match = SPAN.fullmatch(span.strip())
        low, high = (int(match[1]), int(match[2] or match[1])) if match else (0, 0)
        if not 1 <= low <= high <= 88:
            raise screen.refuse_option(
                "--notes", span, "two keys, 1 to 88, the lower first, as 30-49", "name a span or one key"
            )
        found |= set(range(low, high + 1))
    return sorted(found)


def _section(
    bench: BenchSheet, keys: list[int], goal: Mapping[str, float], *, repetition: bool = True, look: bool = True,
    only: bool = False,
) -> Section:  # fmt: skip
    from dataclasses import replace

    from sim.section.section import analyse_section

    with screen.show_progress_bar("setting up") as say:
        found = analyse_section(bench, keys, goal, say, repetition=repetition, look=look)
    return replace(found, notes=tuple(n for n in found.notes if n.key_number in keys)) if only else found


def _print(found: Section, args: argparse.Namespace, out: Path) -> None:
    from sim.report.paper import pdf, print_page
    from sim.report.section import paper as bench_paper

    make = pdf.make_pdf if out.suffix.lower() == ".pdf" else print_page.render_page
    screen.write_output_bytes("sheet", "--out", out, bench_paper.make_paper(make, found, args.paper, args.inches))


def import_sheet(args: argparse.Namespace) -> int:
    """Check a sheet, make scenarios of it, keep it."""
    from sim.report.formats import json_text
    from sim.report.section import sheet as bench_files
    from sim.report.section import tables as told

    bench = _load(args.bench)
    folder = Path(args.into) if args.into is not None else None
    base = bench_files.load_previous(folder, edited=args.edited) if folder is not None else None
    if args.add and folder is None:
        raise screen.refuse_option("--add", args.add[0], "a record to keep it in", "name its folder with --into")
    added = bench_files.load_added_files([Path(name) for name in args.add])
    screen.announce_compiling()
    keys = [r.key_number for r in bench.rows]
    found = _section(bench, keys, {}, look=not args.direct, only=True)
    if args.json:
        print(json_text.format_json(told.build_document(found)))
    else:
        screen.print_parts(told.build_tables(found, args.inches))
    if folder is not None:
        bench_files.save_section(folder, found, base, args.inches, added)
        screen.print_note(f"record kept in {folder}")
    return ExitCode.FINE


def section(args: argparse.Namespace) -> int:
    """A section of notes."""
    from sim.report.formats import json_text, traces
    from sim.report.section import tables as told

    out = screen.check_out_file(args.out, (*PAPER, *TABLES), "--out")
    keys, goal = _keys(args), parse_goal(args)
    bench = _load(args.bench)
    screen.announce_compiling()
    found = _section(bench, keys, goal, repetition=not args.no_repetition)
    if args.json:
        print(json_text.format_json(told.build_document(found)))
    else:
        screen.print_parts(told.build_tables(found, args.inches))
    if out is not None and out.suffix.lower() in PAPER:
        _print(found, args, out)
    elif out is not None:
        rows = traces.tabulate_rows(told.build_file_rows(found))
        screen.write_output("readings", "--out", out, lambda new: traces.write_columns(rows, new))
    return ExitCode.FINE


COMMANDS = (
    Command(
        "sheet",
        "the bench sheet: a blank one, or the work on notes that were read, to print or to keep",
        _add_sheet,
        sheet,
        "Without SHEET a blank one. As .csv or .toml it is what was read; as .pdf or .html what to do, in its order.",
        scenario=False,
        settable=False,
    ),
    Command(
        "import",
        "a bench sheet read in: a scenario of each note, slips named, kept in a folder",
        _add_import,
        import_sheet,
        "A folder that holds a record already is written anew, unless somebody changed a file in it meanwhile.",
        scenario=False,
        settable=False,
    ),
    Command(
        "section",
        "a section of notes from a few that were read: evenness, outliers with their cause, turns",
        _add_section,
        section,
        "Notes between those of the sheet are read off lines through them.",
        scenario=False,
        settable=False,
    ),
)
