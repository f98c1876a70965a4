"""The table of a study on disk: Parquet, written in parts while it runs and gathered into one file at its end.

Every file is written as a whole, so that whatever happens a reader finds whole
files only.  Parts that an interruption has left are taken up by the next run.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import pyarrow
import pyarrow.parquet

from sim.atomic_write import write_atomically
from sim.errors import Fault, InputError
from sim.studies.batch import Row

SUFFIXES = (".parquet",)
MARK_COLUMN = "mark"
INPUTS_COLUMN = "scenario_inputs"
"""Column: what the scenario itself says, by path, as JSON; a table may hold rows of several studies."""
WORDS = ("mark", INPUTS_COLUMN, "made_by", "kind", "scenario", "overrides", "outcome", "reason", "limiting_part")
FLAGS = ("key.sharp", "hammer.shank_bends", "damper", "kicks")
INTEGER_COLUMNS = ("row", "key_number")


class StudyTable:
    """One study's table: ``known`` marks, ``keep`` for finished rows, ``gather`` at the end."""

    def __init__(self, path: Path, inputs: Mapping[str, object]) -> None:
        """Raises InputError for a file that is there but is no such table."""
        self.path, self.folder = path, path.with_name(f"{path.name}.parts")
        self.inputs = json.dumps(inputs, ensure_ascii=False, default=str)
        self.known = {mark for file in self._files() for mark in _marks(file)}
        self._next = 0

    def _parts(self) -> list[Path]:
        return sorted(self.folder.glob("part-*.parquet"))

    def _files(self) -> list[Path]:
        return [*([self.path] if self.path.exists() else []), *self._parts()]

    def keep(self, rows: Sequence[Row]) -> None:
        """Write finished rows as one more part."""
        self.folder.mkdir(exist_ok=True)
        while (part := self.folder / f"part-{self._next:06d}.parquet").exists():
            self._next += 1
        _write(_table([{**row, INPUTS_COLUMN: self.inputs} for row in rows]), part)

    def gather(self) -> int:
        """All rows in one file, sorted as the study counts them; the number of rows."""
        parts = self._parts()
        if parts:
            tables = [pyarrow.parquet.read_table(file) for file in self._files()]
            all_rows = pyarrow.concat_tables(tables, promote_options="permissive").sort_by([("row", "ascending")])
            _write(all_rows, self.path)
        for part in parts:
            part.unlink()
        if self.folder.is_dir() and not any(self.folder.iterdir()):
            self.folder.rmdir()
        return int(pyarrow.parquet.read_metadata(self.path).num_rows) if self.path.exists() else 0


def _table(rows: Sequence[Row]) -> Any:
    names = list(dict.fromkeys(name for row in rows for name in row))
    columns = {name: pyarrow.array([row.get(name) for row in rows], _type(name)) for name in names}
    return pyarrow.table(columns)


def _type(name: str) -> Any:
    if name in WORDS:
        return pyarrow.string()
    if name in FLAGS:
        return pyarrow.bool_()
    return pyarrow.int64() if name in INTEGER_COLUMNS else pyarrow.float64()


def _write(table: Any, path: Path) -> None:
    with write_atomically(path) as new:
        pyarrow.parquet.write_table(table, new, compression="zstd")


def _marks(file: Path) -> list[str]:
    try:
        schema = pyarrow.parquet.read_schema(file)
        for name in (MARK_COLUMN, "made_by", "row"):
            if schema.field(name).type != _type(name):
                raise KeyError(name)
        return [str(m) for m in pyarrow.parquet.read_table(file, columns=[MARK_COLUMN]).column(MARK_COLUMN).to_pylist()]
    except (pyarrow.ArrowInvalid, pyarrow.ArrowKeyError, OSError, KeyError) as error:
        remedy = f"it is there already and is none ({type(error).__name__}): name another file, or move it away"
        raise InputError(
            [Fault("command line", None, "--out", f'"{file.name}"', "a table of a study", remedy)]
        ) from None
