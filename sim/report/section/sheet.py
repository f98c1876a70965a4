"""A bench sheet as files: CSV and TOML as it is read in again, and the folder in which a shop keeps it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

import tomli_w

from sim.errors import InputError
from sim.fields.untrusted_files import read_bytes
from sim.fields.untrusted_text import make_input_error
from sim.report.formats import traces
from sim.report.record import folder as record_folder
from sim.report.record.contents import LARGEST, File, Record
from sim.report.record.folder import StoredRecord
from sim.report.section.tables import build_file_rows
from sim.scenario.writing import render_scenario
from sim.section import sheet as bench_sheet
from sim.section.note_scenario import write_note_scenario
from sim.section.section import Section
from sim.section.sheet import FORM, BenchSheet, NoteRow

SHEET, READINGS, FRAME = "sheet.csv", "readings.csv", "readings.parquet"
BLANK_NOTES = (4, 16, 28, 40, 41, 52, 64, 76)
"""Notes with which a blank sheet begins."""


def format_sheet_csv(sheet: BenchSheet, inches: bool = False, *, every: bool = False) -> str:
    """A head of the whole sheet, the columns' heads, a row a note."""
    head, *rows = bench_sheet.tabulate_cells(sheet, inches, every=every)
    about = [["form", str(FORM)], ["title", sheet.title], ["invented", "yes" if sheet.invented else "no"]]
    about += [["remarks", sheet.remarks]] if sheet.remarks else []
    wide = len(head)
    lines = [*(row + [""] * (wide - len(row)) for row in about), head, *rows]
    return traces.format_csv_lines(lines[0], lines[1:])


def format_sheet_toml(sheet: BenchSheet, inches: bool = False) -> str:
    """A table a note."""
    return tomli_w.dumps(bench_sheet.build_toml_tables(sheet, inches))


def format_blank_sheet(inches: bool = False, *, toml: bool = False) -> str:
    """A sheet with every column and nothing read."""
    empty = BenchSheet("bench sheet", tuple(NoteRow(k, {}) for k in BLANK_NOTES), invented=False)
    return format_sheet_toml(empty, inches) if toml else format_sheet_csv(empty, inches, every=True)


def load_previous(folder: Path, *, edited: bool = False) -> StoredRecord | None:
    """The record in a folder, None for a new or an empty one.  Raises InputError."""
    try:
        if not folder.exists() or (folder.is_dir() and not any(folder.iterdir())):
            return None
    except OSError:
        pass
    return record_folder.read_folder(folder, edited)


def build_record(section: Section, inches: bool = False) -> Record:
    """What a shop keeps: the sheet, a scenario a note as found, every reading."""
    sheet = section.sheet
    rows = traces.tabulate_rows(build_file_rows(section))
    files = {
        SHEET: File("what was read at the bench", format_sheet_csv(sheet, inches).encode()),
        READINGS: File("each note as found, as expected, and after the work", traces.format_columns_csv(rows).encode()),
        FRAME: File("the same for programs", traces.encode_parquet(rows)),
    }
    for note in section.notes:
        try:
            text = render_scenario(write_note_scenario(section, note))
        except InputError:
            continue
        files[f"note-{note.key_number:02d}.toml"] = File(f"scenario of note {note.key_number} as found", text.encode())
    return Record(sheet.title, sheet.invented, files, sheet.remarks)


def load_added_files(paths: Sequence[Path]) -> dict[str, File]:
    """Files that are to stay with a record: photographs, their marks.  Raises InputError."""
    out = {}
    for path in paths:
        if path.name in out or _ours(path.name):
            raise make_input_error(
                str(path), "--add", path.name, "a name of its own in the record", "give the file another name"
            )
        out[path.name] = File("added by hand", read_bytes(path, LARGEST, f"a file of at most {LARGEST / 1e6:g} MB"))
    return out


def save_section(
    folder: Path,
    section: Section,
    base: StoredRecord | None,
    inches: bool = False,
    more: Mapping[str, File] | None = None,
) -> StoredRecord:
    """Put it into the folder, with what the record holds besides, and ``more``.  Raises InputError, OutputError."""
    made = build_record(section, inches)
    others = {} if base is None else {n: f for n, f in base.record.files.items() if not _ours(n)}
    files = others | dict(more or {}) | dict(made.files)
    return record_folder.save_record(folder, Record(made.title, made.invented, files, made.note), base)


def _ours(name: str) -> bool:
    return name in (SHEET, READINGS, FRAME) or (name.startswith("note-") and name.endswith(".toml"))
