"""The table of a bench sheet as it stands on the page: what was typed stays, understood or not.  No streamlit here."""

from __future__ import annotations

from dataclasses import dataclass, replace

from sim.report.formats import traces
from sim.report.section.sheet import BLANK_NOTES
from sim.section.sheet import BenchSheet, NoteRow, load_uploaded_sheet, tabulate_cells

NAME = "the table"


@dataclass(frozen=True)
class BenchTable:
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
        read = load_uploaded_sheet(NAME, traces.format_csv_lines(self.head, self.rows).encode())
        return replace(self.about, rows=read.rows)

    def written(self, rows: list[list[str]]) -> BenchTable:
        """The same with other cells."""
        return replace(self, rows=tuple(tuple(row) for row in rows))

    def shown(self, inches: bool, every: bool) -> BenchTable:
        """What it says with other units or columns.  Raises InputError where it says nothing that can be meant."""
        return build_bench_table(self.read(), inches, every)


def build_bench_table(sheet: BenchSheet, inches: bool, every: bool = False) -> BenchTable:
    """A sheet's cells: columns that some note has, or every one."""
    head, *rows = tabulate_cells(sheet, inches, every=every)
    return BenchTable(sheet, tuple(head), tuple(tuple(row) for row in rows), inches, every)


def build_empty_table(inches: bool) -> BenchTable:
    """A table to be filled in."""
    return build_bench_table(BenchSheet("bench sheet", tuple(NoteRow(k, {}) for k in BLANK_NOTES)), inches, every=True)
