"""The table of a bench sheet as it stands on the page: what was typed stays, understood or not.  No streamlit here."""

from __future__ import annotations

from dataclasses import dataclass, replace

from sim.report.formats import traces
from sim.report.section.sheet import BLANK_NOTES
from sim.section.sheet import BenchSheet, NoteRow, cells_of, load_upload

NAME = "the table"


@dataclass(frozen=True)
class Table:
    """Cells as they stand, with the heads over them, and what is said of the whole sheet."""

    about: BenchSheet
    """Its rows count for nothing."""
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    inches: bool
    every: bool

    @property
    def filled(self) -> bool:
        """Whether any reading stands in it."""
        return any(cell.strip() for row in self.rows for cell in row[1:])

    def read(self) -> BenchSheet:
        """What the cells say.  Raises InputError."""
        read = load_upload(NAME, traces.csv_text(self.head, self.rows).encode())
        return replace(self.about, rows=read.rows)

    def written(self, rows: list[list[str]]) -> Table:
        """The same with other cells."""
        return replace(self, rows=tuple(tuple(row) for row in rows))

    def shown(self, inches: bool, every: bool) -> Table:
        """What it says with other units or columns.  Raises InputError where it says nothing that can be meant."""
        return table_of(self.read(), inches, every)


def table_of(sheet: BenchSheet, inches: bool, every: bool = False) -> Table:
    """A sheet's cells: columns that some note has, or every one."""
    head, *rows = cells_of(sheet, inches, every=every)
    return Table(sheet, tuple(head), tuple(tuple(row) for row in rows), inches, every)


def empty(inches: bool) -> Table:
    """A table to be filled in."""
    return table_of(BenchSheet("bench sheet", tuple(NoteRow(k, {}) for k in BLANK_NOTES)), inches, every=True)
