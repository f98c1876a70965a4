"""A table that somebody saved from a spreadsheet or typed: bytes to rows of cells, each with the name of its place.

Read as they come: UTF-8, UTF-16 with its mark, or the Western code page 1252; commas, semicolons or tabs
between the cells; blank lines anywhere.  What a cell computes is not known here: formulas are refused by cell.
"""

from __future__ import annotations

import codecs
import csv
import io
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from sim.errors import InputError
from sim.fields.untrusted_files import read_bytes
from sim.fields.untrusted_text import LARGEST_FILE, check_value_count, decode_text, make_input_error

DELIMITERS = (",", ";", "\t")
MOST_COLUMNS = 200
"""Columns."""
_UTF16 = (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)
_FORMULA = re.compile(r"[=@]|[+\-](?=[^0-9.,\s])|[+\-][^=]*[A-Za-z]+\$?[0-9]|[+\-]?[0-9.,]+\s*[*^]")
"""What a spreadsheet would compute: = or @ first, or a sign before a name or a place."""
_ERROR = re.compile(r"#(REF|DIV/0|N/A|NAME|NULL|NUM|VALUE|SPILL|CALC)[!?]?", re.IGNORECASE)
BLANKS = frozenset({"", "-", "–", "—", "n/a", "N/A", "."})
"""Cells that say that nothing was read."""


@dataclass(frozen=True)
class Cell:
    """One cell: its text, and where it stands (row from 1 as lines of a spreadsheet, column from 0)."""

    text: str
    row: int
    column: int

    @property
    def place(self) -> str:
        """As a spreadsheet names it: C5."""
        letters, left = "", self.column
        while left >= 0:
            letters = chr(ord("A") + left % 26) + letters
            left = left // 26 - 1
        return f"{letters}{self.row}"

    @property
    def blank(self) -> bool:
        return self.text in BLANKS

    @property
    def computed(self) -> str:
        """Why this is no value that was written down, or nothing."""
        if _ERROR.match(self.text):
            return "an error of the spreadsheet: enter what was read"
        if _FORMULA.match(self.text):
            return "a formula: paste it as a value before saving"
        return ""


def read_text_file(path: Path) -> str:
    """The text of a file.  Raises InputError."""
    return decode_table_bytes(
        read_bytes(path, 2 * LARGEST_FILE, f"a plain text file of at most {LARGEST_FILE / 1e6:g} MB"), str(path)
    )


def decode_table_bytes(data: bytes, name: str) -> str:
    """Bytes to text.  Raises InputError for too many, for binary data, for an unknown encoding."""
    if data[:2] in _UTF16 and len(data) <= 2 * LARGEST_FILE:
        try:
            return data.decode("utf-16")
        except UnicodeDecodeError:
            raise make_input_error(
                name, "the file", "broken UTF-16", "a plain text file", "save it as CSV in UTF-8"
            ) from None
    try:
        return decode_text(data, name)
    except InputError:
        if b"\0" in data or len(data) > LARGEST_FILE:
            raise
    try:
        text = data.decode("cp1252")
    except UnicodeDecodeError:
        text = "\x80"
    if re.search(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f]", text):
        raise make_input_error(
            name, "the file", "an unknown encoding", "UTF-8, UTF-16 or code page 1252", "save it as CSV UTF-8"
        )
    return text


def split_rows(text: str, name: str) -> list[list[Cell]]:
    """Rows that hold anything, stripped; one that begins with # is a remark and is left out.  Raises InputError."""
    plain = text.replace("\r\n", "\n").replace("\r", "\n")
    table = csv.reader(io.StringIO(plain, newline=""), delimiter=_guess_delimiter(plain), strict=True)
    rows: list[list[Cell]] = []
    count = 0
    try:
        for number, row in enumerate(table, start=1):
            cells = [Cell(_strip_cell(c), number, i) for i, c in enumerate(row)]
            if len(cells) > MOST_COLUMNS:
                raise make_input_error(
                    name, f"row {number}", f"{len(cells)} cells", f"at most {MOST_COLUMNS}", "take out the rest"
                )
            count += sum(c.text != "" for c in cells)
            check_value_count(count, name, "cells", "take out what is no reading")
            remark = cells[:1] and cells[0].text.startswith("#") and not cells[0].computed
            if any(c.text for c in cells) and not remark:
                rows.append(cells)
    except csv.Error as error:
        remedy = "a quotation mark is open, or a cell is too long: mend that line"
        raise make_input_error(
            name, "the file", f"broken CSV: {error}", "cells between commas", remedy, table.line_num
        ) from None
    return rows


def _strip_cell(cell: str) -> str:
    """A cell without the blanks around it and the apostrophe that makes a spreadsheet take it for text."""
    text = cell.replace("\u00a0", " ").replace("\ufeff", "").strip()
    return text[1:].strip() if text.startswith("'") else text


def _guess_delimiter(text: str) -> str:
    """The sign that parts the most cells of the first line that has any, outside quotation marks."""
    for line in text.splitlines():
        bare = re.sub(r'"(?:[^"]|"")*"', "", line)
        if bare.strip(" \t,;") and not bare.lstrip(" \t,;").startswith("#"):
            counts: Sequence[int] = [bare.count(d) for d in DELIMITERS]
            if max(counts):
                return DELIMITERS[counts.index(max(counts))]
    return ","
