"""Bench sheets read in: whatever somebody writes is read rightly, or refused by its cell."""

from __future__ import annotations

import codecs
from dataclasses import dataclass, field

import numpy as np
import pytest
from hypothesis import HealthCheck, given
from hypothesis import strategies as st

from sim.errors import Fault, InputError
from sim.fields.field_paths import find_kind
from sim.report.section import sheet as bench_files
from sim.section.columns import LEADS, REMARK, Column, list_columns
from sim.section.sheet import BenchSheet, NoteRow, format_key, load_uploaded_sheet, parse_key_number, tabulate_cells
from sim.section.spreadsheet import Cell
from tests.tiers import limit_draws, try_each

NUMBERS = [c for c in list_columns().values() if c.number]
WORDS = [c for c in list_columns().values() if c.words]
APART = {
    "down_weight": (40, 70), "up_weight": (10, 35), "blow": (40, 50), "drop": (0.5, 4), "let_off": (0.5, 4),
    "checking_distance": (8, 25), "spring_rise": (0, 8), "dip": (9, 12), "aftertouch": (0.3, 2), "reset_point": (4, 9),
}  # fmt: skip
"""Values that no check holds against each other, in the column's unit."""


def _value(column: Column, share: float) -> float:
    low, high = APART.get(column.name, column.limits)
    return low + share * (high - low)


@st.composite
def sheets(draw: st.DrawFn) -> BenchSheet:
    """Any sheet of sound rows."""
    rows = []
    for key in sorted(draw(st.sets(st.integers(1, 88), min_size=1, max_size=4))):
        numbers = {}
        for column in draw(st.lists(st.sampled_from(NUMBERS), min_size=1, max_size=8, unique_by=lambda c: c.name)):
            factor = column.dimension.factor(column.label)
            numbers[column.name] = round(_value(column, draw(st.floats(0.01, 0.99))), 1) * factor
        leads = draw(st.none() | st.just(((0.015, 0.205), (0.012, 0.17))))
        remark = draw(st.text(st.characters(codec="utf-8", exclude_categories=("C", "Z")), max_size=20))
        rows.append(NoteRow(key, numbers, {}, leads, remark.strip().lstrip("'")))
    title = draw(st.text(st.characters(codec="utf-8", categories=("L", "N", "P")), min_size=1, max_size=20))
    return BenchSheet(title, tuple(rows), "", draw(st.booleans()))


@limit_draws(40, suppress_health_check=[HealthCheck.too_slow])
@given(sheets(), st.booleans())
def test_what_is_exported_reads_the_same_to_the_last_printed_digit(sheet: BenchSheet, inches: bool) -> None:
    for name, text in (
        ("a.csv", bench_files.format_sheet_csv(sheet, inches)),
        ("a.toml", bench_files.format_sheet_toml(sheet, inches)),
    ):
        back = load_uploaded_sheet(name, text.encode())
        told, again = list(tabulate_cells(sheet, inches)), list(tabulate_cells(back, inches))
        where = [i for i, head in enumerate(told[0]) if head != REMARK]
        assert [[row[i] for i in where] for row in told] == [[row[i] for i in where] for row in again]
        for mine, theirs in zip(sheet.rows, back.rows, strict=True):
            assert np.allclose(mine.leads or (), theirs.leads or (), rtol=1e-9)


@dataclass
class Written:
    """A sheet as somebody wrote it, with what must be read of it and the cells that must be refused."""

    data: bytes
    name: str
    values: dict[tuple[int, str], float] = field(default_factory=dict)
    refused: set[str] = field(default_factory=set)


def written(seed: int) -> Written:
    """A generated sheet: every habit of spreadsheets and of people who write them."""
    random = np.random.default_rng(seed)
    pick = lambda options: options[int(random.integers(len(options)))]  # noqa: E731
    delimiter = pick([",", ";", "\t"])
    names = [str(n) for n in random.permutation([c.name for c in NUMBERS])[: random.integers(2, 8)]]
    used = [list_columns()[n] for n in names]
    inches = [bool(random.random() < 0.3) and c.unit == "mm" for c in used]
    heads = [pick(_heads(c, "in" if i else c.label)) for c, i in zip(used, inches, strict=True)]
    lines, out = [], Written(b"", "")
    at = int(random.integers(len(used) + 1))
    lines.append([*heads[:at], pick(["note", "Note", " NOTE "]), *heads[at:]])
    for key in sorted(int(k) for k in random.choice(np.arange(1, 89), random.integers(1, 5), replace=False)):
        if random.random() < 0.3:
            lines += [[""] * len(lines[0])]
        row = len(lines) + 1
        cells, bad = [], {}
        for i, (column, inch) in enumerate(zip(used, inches, strict=True)):
            place = Cell("", row, i + (i >= at)).place
            text, si, wrong = _cell(column, inch, random, delimiter)
            cells.append(text)
            if wrong:
                bad[place] = wrong
            elif si is not None:
                out.values[key, column.name] = si
        out.refused |= set(bad)
        note = pick([str(key), format_key(key).split("(")[1].rstrip(")")])
        lines.append([*cells[:at], note, *cells[at:]])
    text = pick(["\n", "\r\n"]).join(delimiter.join(_quoted(c, delimiter) for c in line) for line in lines) + "\n"
    encoding = pick(["utf-8", "utf-8-sig", "utf-16", "utf-16-be", "cp1252"])
    out.data = (codecs.BOM_UTF16_BE if encoding == "utf-16-be" else b"") + text.encode(encoding, errors="replace")
    out.name = pick(["sheet.csv", "SHEET.CSV", "sheet.txt"])
    return out


def _heads(column: Column, unit: str) -> list[str]:
    told = [f"{column.name} ({unit})", f"{column.title} [{unit}]", f"{column.name.replace('_', ' ').title()} ({unit})"]
    return told if unit else [column.name, column.title]


def _quoted(cell: str, delimiter: str) -> str:
    return '"' + cell.replace('"', '""') + '"' if delimiter in cell or '"' in cell else cell


def _cell(column: Column, inch: bool, random: np.random.Generator, delimiter: str) -> tuple[str, float | None, str]:
    """What is written, what must be read (SI; None: nothing), or why it must be refused."""
    way = random.random()
    if way < 0.2:
        return str(random.choice(["", "-", "n/a", " "])), None, ""
    if way < 0.27:
        return str(random.choice(["=A1+2", "=SUM(B1:B4)", "+B2", "@x", "#REF!", "#DIV/0!", "44.5*2"])), None, "computed"
    if way < 0.32:
        return str(random.choice(["about 44", "44..5", "1.234,5", "abc", "12 kg/s", "nan", "1/0 in"])), None, "no value"
    value, unit = round(_value(column, float(random.uniform(0.05, 0.95))), 2), column.label
    if inch or (column.unit == "mm" and random.random() < 0.2):
        sixty = max(1, round(value / 25.4 * 64))
        whole, rest = divmod(sixty, 64)
        told = f"{whole} {rest}/64" if rest and whole else f"{rest}/64" if rest else f"{whole}"
        text = told if inch and random.random() < 0.5 else f"{told} {random.choice(['in', chr(34)])}"
        si = sixty / 64 * 0.0254
        limits = [x * 1e-3 for x in APART.get(column.name, column.limits)]
        return (text, si, "") if limits[0] <= si <= limits[1] else ("", None, "")
    text = f"{value:.2f}"
    if random.random() < 0.4:
        text = text.replace(".", ",")
    if random.random() < 0.4 and unit:
        text += f" {'g' if unit == 'gf' and random.random() < 0.5 else unit}"
    if random.random() < 0.1:
        text = f"'{text}"
    return text, value * column.dimension.factor(unit), ""


def _tried(sheet: Written) -> tuple[BenchSheet | None, tuple[Fault, ...]]:
    try:
        return load_uploaded_sheet(sheet.name, sheet.data), ()
    except InputError as error:
        return None, error.faults


@try_each("block", range(8))
def test_two_hundred_sheets_are_read_rightly_or_refused_by_cell(block: int) -> None:
    read = 0
    for seed in range(25 * block, 25 * block + 25):
        sheet = written(seed)
        found, faults = _tried(sheet)
        if found is None:
            cells = {f.field.split(",")[0] for f in faults}
            assert cells == (sheet.refused or {"the sheet"}), (seed, faults)
            assert sheet.refused or not sheet.values, (seed, faults)
            continue
        assert not sheet.refused, seed
        values = {(r.key_number, n): v for r in found.rows for n, v in r.numbers.items()}
        assert values.keys() == sheet.values.keys(), seed
        assert all(values[k] == pytest.approx(v, rel=1e-9) for k, v in sheet.values.items()), seed
        read += 1
    assert read >= 3


@given(st.binary(max_size=300))
@limit_draws(60)
def test_bytes_of_any_kind_are_read_or_refused(data: bytes) -> None:
    for name in ("a.csv", "a.toml"):
        _, faults = _tried(Written(data, name))
        assert all(f.field and f.allowed and f.remedy for f in faults)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("note,blow (mm)\n40,44,5\n", "row 2 = 3 cells"),
        ("note,blow (kg)\n40,44\n", "B1, a head"),
        ("note,blow,blow\n40,44,44\n", "each column once"),
        ("blow\n44\n", "a column note"),
        ("note,blow\n40,44\n40,45\n", "each note once"),
        ("note,blow\n89,44\n", "a key's number, 1 to 88"),
        ("note,blow\nA49,44\n", "a key's number, 1 to 88"),
        ("note,blow\n40,4.45\n", "centimetres perhaps: 44.5 mm"),
        ("note,down_weight,up_weight\n40,20,50\n", "probably changed over"),
        ("note,leads\n40,15 g\n", "15 g @ 205 mm"),
        ("note,slow_press\n40,yes\n", "choose one of these words"),
        ("form,2\nnote,blow\n40,44\n", "another version"),
        ("note,blow\n", "no reading"),
        ("note;blwo (mm)\n40;44\n", "did you mean blow?"),
    ],
)
def test_refusals_name_the_cell_and_what_to_do(text: str, says: str) -> None:
    with pytest.raises(InputError, match=r".") as error:
        load_uploaded_sheet("sheet.csv", text.encode())
    assert says in str(error.value)


def test_a_note_is_named_by_number_or_by_pitch() -> None:
    assert [parse_key_number(t) for t in ("1", "88", "C4", "c4", "A4", "Bb3", "F#5", "C♯4", "A0", "C8")] == [
        1, 88, 40, 40, 49, 38, 58, 41, 1, 88,
    ]  # fmt: skip
    assert all(parse_key_number(t) is None for t in ("0", "89", "H4", "C9", "A49", "G0", "-3", "4.5", ""))
    assert all(parse_key_number(format_key(k).split("(")[1][:-1]) == k for k in range(1, 89))


def test_a_blank_sheet_holds_every_column_and_no_reading() -> None:
    for text, name in ((bench_files.format_blank_sheet(), "a.csv"), (bench_files.format_blank_sheet(True), "a.csv")):
        assert all(n in text for n in list_columns())
        with pytest.raises(InputError, match="no reading"):
            load_uploaded_sheet(name, text.encode())


def test_columns_that_give_a_part_stay_in_its_range() -> None:
    for column in list_columns().values():
        if column.path:
            kind = find_kind(column.path)
            assert kind is not None and (kind.minimum, kind.maximum) == column.limits
    assert list_columns()[LEADS].text and list_columns()[REMARK].text and all(c.words for c in WORDS)
