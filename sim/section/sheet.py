"""The bench sheet: what was read of some notes, one row a note, as CSV or TOML; half-filled is welcome.

    note, blow (mm), dip (mm), down weight (gf)        [notes.40]
    40,   44.5,      10.2,     52                      blow = "44.5 mm"

The head gives each column's unit; a cell may give its own.  Every fault is told with its cell, all at once.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from sim.diagnosis.bench_tests import list_bench_tests
from sim.diagnosis.observations import CHECKS, guess_entry_error
from sim.display_units import UNITS, choose_unit, convert_si, format_unit
from sim.errors import Fault, InputError, QuantityError
from sim.fields.field_paths import suggest_name
from sim.fields.line_numbers import find_lines
from sim.fields.quantity_field import fit_on_line, shorten_value
from sim.fields.untrusted_text import make_input_error, parse_toml
from sim.section.columns import LEADS, REMARK, Column, list_columns
from sim.section.spreadsheet import BLANKS, Cell, decode_table_bytes, read_text_file, split_rows
from sim.units import FORCE, LENGTH, MASS, STANDARD_GRAVITY, parse_quantity

FORM = 1
NOTE_NAMES = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")
FLATS: Mapping[str, str] = {"DB": "C#", "EB": "D#", "GB": "F#", "AB": "G#", "BB": "A#"}
LOWEST, HIGHEST = 1, 88
MOST_LEADS = 12
LONGEST_REMARK = 400
NOTE = "note"
SHEET_FIELDS = ("title", "remarks", "invented", "form")
"""What is said of the whole sheet, over the rows."""
_DECIMAL_COMMA = re.compile(r"([+-]?\s*[0-9]{1,6}),([0-9]{1,6})(?![0-9.,])")
_THOUSANDS = re.compile(r"[0-9][.,][0-9]+[.,][0-9]")
_HEAD = re.compile(r"(?P<name>[^\[(]*?)\s*(?:[\[(]\s*(?P<unit>[^\])]*?)\s*[\])])?\s*")


@dataclass(frozen=True)
class NoteRow:
    """One note: numbers (SI), words, leads (mass kg, place m in front of the balance pin), a remark."""

    key_number: int
    numbers: Mapping[str, float]
    words: Mapping[str, str] = field(default_factory=dict)
    leads: tuple[tuple[float, float], ...] | None = None
    remark: str = ""
    places: Mapping[str, str] = field(default_factory=dict)
    """Column to the cell or line where it stands."""


@dataclass(frozen=True)
class BenchSheet:
    """Some notes, the lowest first, each once."""

    title: str
    rows: tuple[NoteRow, ...]
    remarks: str = ""
    invented: bool = False
    file: str = ""

    def row(self, key_number: int) -> NoteRow | None:
        return next((r for r in self.rows if r.key_number == key_number), None)


def format_key(key_number: int) -> str:
    """A key as ``40 (C4)``: its number from the lowest, and its name by scientific pitch."""
    at = key_number + 8
    return f"{key_number} ({NOTE_NAMES[at % 12]}{at // 12})"


def load_sheet(path: str | Path) -> BenchSheet:
    """A sheet from a file, by its ending: .toml, else a table.  Raises InputError with everything that is wrong."""
    return _parse_file(read_text_file(Path(path)), str(path))


def load_uploaded_sheet(name: str, data: bytes) -> BenchSheet:
    """A sheet that was handed over as bytes.  Raises InputError."""
    shown = fit_on_line(name[-80:], 80)
    return _parse_file(decode_table_bytes(data, shown), shown)


def _parse_file(text: str, name: str) -> BenchSheet:
    return parse_toml_sheet(text, name) if name.lower().endswith(".toml") else parse_table(text, name)


def parse_table(text: str, name: str) -> BenchSheet:
    """Of cells between commas, semicolons or tabs.  Raises InputError."""
    rows = split_rows(text, name)
    about, rest = _split_heading_rows(rows, name)
    if not rest:
        raise make_input_error(
            name, "the first row", "nothing", "the heads of the columns", "begin from the blank sheet"
        )
    reader = _Reader(name)
    heads = reader.heads(rest[0])
    comma = "," in text and ";" not in text and "\t" not in text
    for cells in rest[1:]:
        reader.row(cells, heads, rest[0], exact=comma)
    return reader.sheet(about)


def parse_toml_sheet(text: str, name: str) -> BenchSheet:
    """Of TOML: title, note, invented, and a table a note.  Raises InputError."""
    tree, lines = parse_toml(text, name), find_lines(text)
    reader = _Reader(name)
    about: dict[str, str] = {}
    for key, value in tree.items():
        at = lines.get((key,))
        if key in SHEET_FIELDS and isinstance(value, str | bool | int):
            about[key] = {True: "yes", False: "no"}[value] if isinstance(value, bool) else str(value)
        elif key != "notes" or not isinstance(value, dict):
            wanted = f"{', '.join(SHEET_FIELDS)}, and a table [notes.40] a note"
            reader.faults.append(
                Fault(name, at, shorten_value(key), shorten_value(value), wanted, "begin from the blank sheet")
            )
    _check_form(about, name)
    notes = tree.get("notes", {})
    for key, table in notes.items() if isinstance(notes, dict) else ():
        at = lines.get(("notes", key))
        if isinstance(table, dict):
            reader.table(key, table, {n: lines.get(("notes", key, n), at) for n in table}, at)
        else:
            reader.refuse(f"notes.{key}", shorten_value(table), "a table", "write [notes.40] and its readings", at)
    return reader.sheet(about)


def _split_heading_rows(rows: Sequence[Sequence[Cell]], name: str) -> tuple[dict[str, str], Sequence[Sequence[Cell]]]:
    """Rows over the heads that say something of the whole sheet."""
    found: dict[str, str] = {}
    for i, cells in enumerate(rows):
        key = cells[0].text.lower().rstrip(":")
        if key not in SHEET_FIELDS:
            _check_form(found, name)
            return found, rows[i:]
        found[key] = next((c.text for c in cells[1:] if c.text), "")
    _check_form(found, name)
    return found, []


def _check_form(about: Mapping[str, str], name: str) -> None:
    form = about.get("form", str(FORM))
    if form != str(FORM):
        remedy = "this sheet was made by another version: take that one, or begin from this version's blank sheet"
        raise make_input_error(name, "form", form, f"{FORM}, the form that this version reads", remedy)


Heads = list[tuple[Column, str] | None]
"""Of each column what it is and the unit in its head; None for the note's and for empty ones."""


class _Reader:
    """Reads one sheet; faults gather, so that all are told at once."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.faults: list[Fault] = []
        self.rows: dict[int, NoteRow] = {}

    def refuse(self, where: str, value: str, allowed: str, remedy: str, line: int | None = None) -> None:
        self.faults.append(Fault(self.file, line, fit_on_line(where, 100), value, allowed, remedy))

    def sheet(self, about: Mapping[str, str]) -> BenchSheet:
        """All of it, or everything that is wrong."""
        if not self.rows and not self.faults:
            self.refuse("the sheet", "no reading", "a row for each note that was read", "fill in at least one row")
        if self.faults:
            raise InputError(self.faults)
        rows = tuple(self.rows[k] for k in sorted(self.rows))
        title = fit_on_line(about.get("title", "") or Path(self.file).stem or "bench sheet", 120)
        invented = about.get("invented", "no").lower() in ("yes", "true", "1")
        return BenchSheet(title, rows, fit_on_line(about.get("remarks", ""), 2000), invented, self.file)

    def heads(self, cells: Sequence[Cell]) -> Heads:
        """What each column is, by its head."""
        known = {_normalise_head(n): c for n, c in list_columns().items()} | {
            _normalise_head(c.title): c for c in list_columns().values()
        }
        found: Heads = []
        for cell in cells:
            found.append(None)
            match = _HEAD.fullmatch(cell.text)
            name, unit = (match["name"], match["unit"] or "") if match else (cell.text, "")
            column, tail = known.get(_normalise_head(name)), ""
            if column is None and "_" in name + cell.text.replace(" ", "_"):
                head, _, tail = _normalise_head(name).rpartition("_")
                column = known.get(head)
            if _normalise_head(name) == NOTE or not cell.text:
                continue
            if column is None:
                hint = suggest_name(_normalise_head(name), [NOTE, *list_columns()])
                self.refuse(f"{cell.place}, a head", shorten_value(cell.text), hint.allowed, hint.remedy)
            elif any(f is not None and f[0] is column for f in found):
                self.refuse(
                    f"{cell.place}, a head", shorten_value(cell.text), "each column once", "put the two together"
                )
            elif not _is_unit_of(unit or tail, column):
                allowed = f"a unit of {column.dimension.name}, such as {column.label or 'none'}"
                self.refuse(f"{cell.place}, a head", shorten_value(cell.text), allowed, "correct the unit in the head")
            else:
                found[-1] = (column, (unit or tail or column.label) if column.number else "")
        if not any(_normalise_head(c.text) == NOTE for c in cells):
            remedy = "add a column that gives the number of each key, 1 to 88, or its name, such as C4"
            self.refuse("the heads", shorten_value(cells[0].text), f"a column {NOTE}", remedy)
        return found

    def row(self, cells: Sequence[Cell], heads: Heads, names: Sequence[Cell], *, exact: bool) -> None:
        """One row of a table."""
        if all(c.blank for c in cells):
            return
        over = [c for c in cells[len(heads) :] if not c.blank]
        if over or (exact and len(cells) != len(heads)):
            told = f"{len(cells)} cells" + ("" if not over else f", {shorten_value(over[0].text)} in {over[0].place}")
            remedy = "a decimal comma between commas, perhaps: put it in quotation marks, or part cells by semicolons"
            self.refuse(f"row {cells[0].row}", told, f"{len(heads)} cells, as many as heads", remedy)
            return
        at = next((i for i, c in enumerate(names) if _normalise_head(c.text) == NOTE), None)
        if at is None:
            return
        note = cells[at] if at < len(cells) else Cell("", cells[0].row, at)
        given = [(h, c) for h, c in zip(heads, cells, strict=False) if h is not None and not c.blank]
        for i, c in enumerate(cells[: len(heads)]):
            if heads[i] is None and i != at and not c.blank:
                self.refuse(
                    c.place, shorten_value(c.text), "nothing under an empty head", "write a head over the column"
                )
        self._note(note.text, note.place, [(h[0], h[1], c.text, c.place, c.computed) for h, c in given])

    def table(self, key: str, table: Mapping[str, object], lines: Mapping[str, int | None], at: int | None) -> None:
        """One note of TOML."""
        given: list[tuple[Column, str, str, str, str]] = []
        for name, raw in table.items():
            column, place = list_columns().get(name), f"line {lines[name]}" if lines[name] else f"notes.{key}.{name}"
            if column is None:
                hint = suggest_name(name, list_columns())
                self.refuse(f"notes.{key}.{name}", shorten_value(raw), hint.allowed, hint.remedy, lines[name])
            elif isinstance(raw, bool) and column.words:
                given.append((column, "", "yes" if raw else "no", place, ""))
            elif isinstance(raw, bool) or not isinstance(raw, str | int | float):
                self.refuse(
                    f"notes.{key}.{name}", shorten_value(raw), _describe_allowed(column), "write a text", lines[name]
                )
            elif str(raw).strip() not in BLANKS:
                given.append((column, "", str(raw).strip(), place, ""))
        self._note(key, f"line {at}" if at else f"notes.{key}", given)

    def _note(self, note: str, place: str, given: Sequence[tuple[Column, str, str, str, str]]) -> None:
        number = parse_key_number(note)
        if number is None:
            allowed = f"a key's number, {LOWEST} to {HIGHEST}, or its name, A0 to C8"
            self.refuse(f"{place}, note", shorten_value(note), allowed, "say which note this row is of")
            return
        if not given:
            return
        if number in self.rows:
            twice = f"it stands in another row too ({self.rows[number].places[NOTE]}): keep one of them"
            self.refuse(f"{place}, note", shorten_value(note), "each note once", twice)
            return
        numbers: dict[str, float] = {}
        words: dict[str, str] = {}
        places, before = {NOTE: place}, len(self.faults)
        leads: tuple[tuple[float, float], ...] | None = None
        remark = ""
        for column, unit, text, where, computed in given:
            places[column.name] = where
            told = f"{where}, {column.name}"
            if column.name == REMARK:
                remark = fit_on_line(text, LONGEST_REMARK)
            elif computed:
                self.refuse(told, shorten_value(text), _describe_allowed(column), computed)
            elif column.name == LEADS:
                leads = self._leads(text, told)
            elif column.words:
                if text.lower() in column.words:
                    words[column.name] = text.lower()
                else:
                    self.refuse(told, shorten_value(text), ", ".join(column.words), "choose one of these words")
            elif (si := self._number(column, unit, text, told)) is not None:
                numbers[column.name] = si
        if len(self.faults) == before:
            self._check(numbers, words, places)
        self.rows[number] = NoteRow(number, numbers, words, leads, remark, places)

    def _number(self, column: Column, unit: str, text: str, told: str) -> float | None:
        try:
            si = parse_cell_number(text, column, unit)
        except QuantityError as error:
            self.refuse(told, shorten_value(text), _describe_allowed(column), error.remedy)
            return None
        value = convert_si(si, column.unit)
        low, high = column.limits
        if value is None or not low <= value <= high:
            self.refuse(
                told,
                shorten_value(text),
                column.range,
                guess_entry_error(column.name, value, column.limits, column.unit),
            )
            return None
        return si

    def _leads(self, text: str, told: str) -> tuple[tuple[float, float], ...] | None:
        parts = [p for p in re.split(r"[;+|]", text) if p.strip()]
        found = []
        for part in parts:
            mass, _, place = part.replace(" at ", "@").partition("@")
            try:
                kg, m = (
                    parse_quantity(_replace_decimal_comma(mass.strip()), MASS),
                    parse_quantity(_replace_decimal_comma(place.strip()), LENGTH),
                )
            except QuantityError as error:
                remedy = f"{error.problem}: write mass and place from the balance pin of each, joined by +"
                self.refuse(told, shorten_value(text), '"15 g @ 205 mm + 15 g @ 170 mm"', remedy)
                return None
            if not (1e-4 <= kg <= 0.06 and -0.3 <= m <= 0.33):
                self.refuse(told, shorten_value(part), "0.1 to 60 g at -300 to 330 mm", "read it again")
                return None
            found.append((kg, m))
        if len(found) > MOST_LEADS:
            self.refuse(told, f"{len(found)} leads", f"at most {MOST_LEADS}", "read it again")
        return tuple(found)

    def _check(self, numbers: Mapping[str, float], words: Mapping[str, str], places: Mapping[str, str]) -> None:
        """What no note can read together, whatever its parts."""

        def found(name: str, value: str, allowed: str, remedy: str) -> None:
            self.refuse(f"{places[name]}, {name}", value, allowed, remedy)

        tests = list_bench_tests()
        known = {n: v for n, v in numbers.items() if n in tests}
        for check in CHECKS:
            check(known, words, found)


def _normalise_head(head: str) -> str:
    """A head as a column is named."""
    return re.sub(r"[^a-z0-9#]+", "_", head.strip().lower()).strip("_")


def _is_unit_of(unit: str, column: Column) -> bool:
    if not unit:
        return True
    plain = {"g": "gf"}.get(unit, unit) if column.dimension is FORCE else unit
    return column.number and column.dimension.has_unit(plain)


def _describe_allowed(column: Column) -> str:
    if column.words:
        return ", ".join(column.words)
    return "a text" if column.text else column.range


def parse_cell_number(text: str, column: Column, unit: str = "") -> float:
    """A cell's number (SI): with its own unit, else with that of its head.  Raises QuantityError.

    A weight on the key may be given in grams, as the trade does; a comma is a decimal comma.
    """
    if _THOUSANDS.search(text):
        raise QuantityError(f"{text!r} has two signs in its number", "write one decimal sign and no thousands sign")
    plain = _replace_decimal_comma(text)
    bare = re.fullmatch(r"[+-]?\s*(?:[0-9]+\s+)?[0-9]+\s*/\s*[0-9]+|[+-]?\s*[0-9.]+(?:[eE][+-]?[0-9]+)?", plain)
    if bare and unit:
        plain = f"{plain} {unit}"
    if column.dimension is FORCE and (match := re.fullmatch(r"(.*[0-9.])\s*g", plain)):
        plain = f"{match[1]} gf"
    if column.dimension is MASS and (match := re.fullmatch(r"(.*[0-9.])\s*gf", plain)):
        return parse_quantity(f"{match[1]} gf", FORCE) / STANDARD_GRAVITY
    return parse_quantity(plain, column.dimension)


def _replace_decimal_comma(text: str) -> str:
    return _DECIMAL_COMMA.sub(r"\1.\2", text, count=1)


def parse_key_number(note: str) -> int | None:
    """A key's number of what somebody wrote: 40, or C4; None for what is neither."""
    text = note.strip().replace("♯", "#").replace("♭", "b")
    if re.fullmatch(r"[0-9]{1,2}(?:\.0)?", text):
        number = int(float(text))
        return number if LOWEST <= number <= HIGHEST else None
    match = re.fullmatch(r"([A-Ga-g])([#b]?)([0-8])", text)
    if match is None:
        return None
    name = (match[1] + match[2]).upper()
    name = FLATS.get(name, name)
    if name not in NOTE_NAMES:
        return None
    number = 12 * int(match[3]) + NOTE_NAMES.index(name) - 8
    return number if LOWEST <= number <= HIGHEST else None


def tabulate_cells(sheet: BenchSheet, inches: bool = False, *, every: bool = False) -> Iterator[list[str]]:
    """Heads, then a row a note, as they are printed: columns that some note has, or ``every`` one."""
    used = [c for n, c in list_columns().items() if every or any(_format_cell(r, c, inches) for r in sheet.rows)]
    units = [choose_unit(c.unit, inches) if c.number else "" for c in used]
    yield [NOTE, *(f"{c.name} ({format_unit(u)})" if u else c.name for c, u in zip(used, units, strict=True))]
    for row in sheet.rows:
        yield [str(row.key_number), *(_format_cell(row, c, inches) for c in used)]


def _format_cell(row: NoteRow, column: Column, inches: bool) -> str:
    """A cell as it is printed; "" where nothing was read."""
    if column.name == LEADS:
        return " + ".join(f"{kg * 1e3:g} g @ {m * 1e3:g} mm" for kg, m in row.leads or ())
    if column.name == REMARK:
        return row.remark
    if column.words:
        return row.words.get(column.name, "")
    return format_cell_number(column, row.numbers.get(column.name), inches)


def format_cell_number(column: Column, si: float | None, inches: bool = False) -> str:
    """A number as it is printed, without its unit; "" where there is none."""
    if si is None:
        return ""
    unit = choose_unit(column.unit, inches)
    value = convert_si(si, unit)
    text = "" if value is None else f"{value:.{UNITS[unit].decimals}f}"
    return text.removeprefix("-") if text and float(text) == 0 else text


def build_toml_tables(sheet: BenchSheet, inches: bool = False) -> dict[str, object]:
    """The sheet as tables, to be written as TOML."""
    notes: dict[str, dict[str, str]] = {}
    for row in sheet.rows:
        told: dict[str, str] = {}
        for name, column in list_columns().items():
            if text := _format_cell(row, column, inches):
                told[name] = (
                    f"{text} {format_unit(choose_unit(column.unit, inches))}".strip() if column.number else text
                )
        notes[str(row.key_number)] = told
    about: dict[str, object] = {"form": FORM, "title": sheet.title, "invented": sheet.invented}
    if sheet.remarks:
        about["remarks"] = sheet.remarks
    return {**about, "notes": notes}
