"""A bench sheet as files: CSV and TOML as it is read in again, and the folder in which a shop keeps it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

import tomli_w

from sim.errors import InputError
from sim.fields.untrusted_files import read_bytes
from sim.fields.untrusted_text import refuse
from sim.report.formats import traces
from sim.report.record import folder as record_folder
from sim.report.record.contents import LARGEST, File, Record
from sim.report.record.folder import Found
from sim.report.section.tables import flat_rows
from sim.scenario.writing import text_of
from sim.section import sheet as bench_sheet
from sim.section.note_scenario import scenario_of
from sim.section.section import Section
from sim.section.sheet import FORM, BenchSheet, NoteRow

SHEET, READINGS, FRAME = "sheet.csv", "readings.csv", "readings.parquet"
BLANK_NOTES = (4, 16, 28, 40, 41, 52, 64, 76)
"""Notes with which a blank sheet begins."""


def csv_text(sheet: BenchSheet, inches: bool = False, *, every: bool = False) -> str:
    """A head of the whole sheet, the columns' heads, a row a note."""
    head, *rows = bench_sheet.cells_of(sheet, inches, every=every)
    about = [["form", str(FORM)], ["title", sheet.title], ["invented", "yes" if sheet.invented else "no"]]
    about += [["remarks", sheet.remarks]] if sheet.remarks else []
    wide = len(head)
    lines = [*(row + [""] * (wide - len(row)) for row in about), head, *rows]
    return traces.csv_text(lines[0], lines[1:])


def toml_text(sheet: BenchSheet, inches: bool = False) -> str:
    """A table a note."""
    return tomli_w.dumps(bench_sheet.to_toml(sheet, inches))


def blank(inches: bool = False, *, toml: bool = False) -> str:
    """A sheet with every column and nothing read."""
    empty = BenchSheet("bench sheet", tuple(NoteRow(k, {}) for k in BLANK_NOTES), invented=False)
    return toml_text(empty, inches) if toml else csv_text(empty, inches, every=True)


def before(folder: Path, *, edited: bool = False) -> Found | None:
    """The record in a folder, None for a new or an empty one.  Raises InputError."""
    try:
        if not folder.exists() or (folder.is_dir() and not any(folder.iterdir())):
            return None
    except OSError:
        pass
    return record_folder.read_folder(folder, edited)


def record_of(section: Section, inches: bool = False) -> Record:
    """What a shop keeps: the sheet, a scenario a note as found, every reading."""
    sheet = section.sheet
    rows = traces.of_rows(flat_rows(section))
    files = {
        SHEET: File("what was read at the bench", csv_text(sheet, inches).encode()),
        READINGS: File("each note as found, as expected, and after the work", traces.csv_of(rows).encode()),
        FRAME: File("the same for programs", traces.parquet(rows)),
    }
    for note in section.notes:
        try:
            text = text_of(scenario_of(section, note))
        except InputError:
            continue
        files[f"note-{note.key_number:02d}.toml"] = File(f"scenario of note {note.key_number} as found", text.encode())
    return Record(sheet.title, sheet.invented, files, sheet.remarks)


def added(paths: Sequence[Path]) -> dict[str, File]:
    """Files that are to stay with a record: photographs, their marks.  Raises InputError."""
    out = {}
    for path in paths:
        if path.name in out or _ours(path.name):
            raise refuse(str(path), "--add", path.name, "a name of its own in the record", "give the file another name")
        out[path.name] = File("added by hand", read_bytes(path, LARGEST, f"a file of at most {LARGEST / 1e6:g} MB"))
    return out


def keep(
    folder: Path, section: Section, base: Found | None, inches: bool = False, more: Mapping[str, File] | None = None
) -> Found:
    """Put it into the folder, with what the record holds besides, and ``more``.  Raises InputError, OutputError."""
    made = record_of(section, inches)
    others = {} if base is None else {n: f for n, f in base.record.files.items() if not _ours(n)}
    files = others | dict(more or {}) | dict(made.files)
    return record_folder.keep(folder, Record(made.title, made.invented, files, made.note), base)


def _ours(name: str) -> bool:
    return name in (SHEET, READINGS, FRAME) or (name.startswith("note-") and name.endswith(".toml"))
