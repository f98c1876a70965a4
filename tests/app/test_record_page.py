"""The page of the bench sheet: read in, typed in, a section worked out, sheets out; and what it does with bad files."""

from __future__ import annotations

import io
import zipfile
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from sim.photo.marks import parse_marks
from sim.report.record.contents import File
from sim.report.record.folder import read_folder
from sim.section.sheet import BenchSheet, NoteRow, load_uploaded_sheet
from tests.app.on_screen import Bench

if TYPE_CHECKING:
    from dashboard.widgets.bench_table import BenchTable
    from sim.section.section import Section

SHEET = BenchSheet("Two notes", (NoteRow(40, {"blow": 45e-3, "dip": 10.2e-3}), NoteRow(42, {"blow": 44e-3})), "", True)


@cache
def sheet_file() -> bytes:
    """The sheet as a file (CSV)."""
    from sim.report.section.sheet import format_sheet_csv

    return format_sheet_csv(SHEET).encode()


@pytest.fixture
def bench() -> Bench:
    return Bench().open("section")


@pytest.fixture(scope="module")
def held() -> Bench:
    """One bench for all the files that are no sheets."""
    return Bench().open("section")


@pytest.fixture(scope="module")
def found() -> Section:
    from sim.section.section import analyse_section

    return analyse_section(SHEET, look=False, repetition=False)


def now(bench: Bench) -> BenchTable:
    """The table that stands on the page."""
    from dashboard.pages.section import NOW
    from dashboard.widgets.bench_table import BenchTable

    found = bench.at.session_state[NOW]
    assert isinstance(found, BenchTable)
    return found


def worked_out(bench: Bench) -> Bench:
    bench.upload("two.csv", sheet_file(), "up_record")
    bench.at.checkbox(key="keep_record_look").set_value(False)
    bench.at.number_input(key="keep_record_high").set_value(41)
    return bench.press("begin_record")


def test_the_example_is_read_in_and_says_that_it_is_invented(bench: Bench) -> None:
    bench.press("example_record")
    assert now(bench).about.invented and len(now(bench).read().rows) == 10
    assert any("Invented" in c.value for c in bench.at.caption)
    assert bench.at.number_input(key="keep_record_low").value == 28


def test_a_section_is_worked_out_shown_and_kept(bench: Bench) -> None:
    from sim.report.section import tables as sheet
    from sim.section.section import analyse_section

    worked_out(bench)
    found = analyse_section(SHEET, range(40, 42), look=False, repetition=False)
    shown = [f.value.to_dict("records") for f in bench.at.dataframe]
    for rows in (sheet.build_note_lines(found), sheet.build_turn_rows(found), sheet.build_evenness_rows(found)):
        assert rows in shown
    assert len(found.notes) == 3
    assert "In this order" in bench.words()
    bench.open("predict").open("section")
    assert any("D gf" in f.value.columns for f in bench.at.dataframe)


def test_what_cannot_be_asked_is_told_and_nothing_is_begun(bench: Bench) -> None:
    bench.upload("two.csv", sheet_file(), "up_record").type("keep_record_blow", "4 mm")
    assert "25 to 65 mm" in bench.errors()
    assert not [b for b in bench.at.button if b.key == "begin_record"]


def test_a_note_goes_on_the_bench_as_it_was_found(bench: Bench) -> None:
    worked_out(bench).press("bench_record")
    assert "note 40" in bench.state.work.text and bench.state.work.start().key_number == 40


def test_the_record_is_a_folder_that_is_read_again_with_the_photograph_in_it(found: Section, tmp_path: Path) -> None:
    from dashboard.widgets.photographs import load_demo
    from dashboard.widgets.section_result import _zipped

    photo = {"photograph.jpg": File("the photograph as it was taken", load_demo()[0])}
    with zipfile.ZipFile(io.BytesIO(_zipped(found, lambda: photo))) as folder:
        folder.extractall(tmp_path)
    record = read_folder(tmp_path).record
    assert {"sheet.csv", "readings.csv", "readings.parquet", "note-40.toml"} < set(record.files)
    assert record.files["photograph.jpg"].data == load_demo()[0]
    read = load_uploaded_sheet("sheet.csv", record.files["sheet.csv"].data)
    assert read.rows[0].numbers == pytest.approx(SHEET.rows[0].numbers)


def test_the_page_to_print_has_what_the_sheet_says(found: Section) -> None:
    from dashboard.widgets.section_result import _page
    from sim.report.section import tables as sheet

    page = _page(found).decode()
    assert all(cell in page for row in sheet.build_evenness_rows(found) for cell in row.values())


@pytest.mark.full
def test_a_photograph_that_was_marked_goes_with_the_record(bench: Bench) -> None:
    from dashboard.widgets.photographs import MARKED, load_demo

    bench.open("photograph").press("demo_photo").press("click_photo").open("section")
    worked_out(bench)
    assert "goes with the record" in bench.words()
    files = bench.at.session_state[MARKED]()
    assert parse_marks(files["photograph-marks.toml"].data, "marks").clicks == load_demo()[1]
    assert files["photograph-marked.png"].data.startswith(b"\x89PNG")


def test_units_and_columns_of_the_table_change_and_what_stands_in_it_stays(bench: Bench) -> None:
    bench.upload("two.csv", sheet_file(), "up_record")
    assert set(now(bench).head) == {"note", "dip (mm)", "blow (mm)"}
    bench.switch("inches_toggle", True)
    assert "blow (in)" in now(bench).head
    assert now(bench).read().rows[0].numbers["blow"] == pytest.approx(45e-3, abs=0.0005 * 25.4e-3)
    bench.switch("keep_record_every", True)
    assert {"down_weight (gf)", "leads", "remark"} <= set(now(bench).head)
    bench.open("predict").open("section")
    assert "down_weight (gf)" in now(bench).head and len(now(bench).read().rows) == 2


def test_a_sheet_is_typed_in_from_nothing(bench: Bench) -> None:
    bench.press("empty_record")
    assert not now(bench).filled and "Fill in" in bench.words()
    assert not bench.errors() and not [b for b in bench.at.button if b.key == "begin_record"]


@pytest.mark.parametrize(
    ("name", "data", "names"),
    [
        ("x.csv", b"note,blow (mm)\n40,=1+1\n", "B2"),
        ("x.csv", b"note,blow (mm)\n99,44\n", "99"),
        ("x.csv", b"note,blow (mm)\n40,4\n", "20 to 70"),
        ("x.csv", b"note,hue\n40,4\n", "hue"),
        ("x.csv", b"", "nothing"),
        ("x.csv", b"\xff\xfe\x00\xd8", "x.csv"),
        ("x.csv", b"\x89PNG\r\n\x1a\n" + bytes(range(256)), "x.csv"),
        ("x.csv", b"note,blow (mm)\n40,nan\n", "nan"),
        ("x.csv", b"note,blow (mm)\n40,44\n40,45\n", "another row"),
        ("x.toml", b"[notes.40]\nblow = [", "x.toml"),
        ("x.toml", b"[notes.40]\nblow = '4 gf'\n", "blow"),
        ("<script>.csv", b"note,blow (mm)\n40,9999\n", "9999"),
    ],
)
def test_a_file_that_is_no_sheet_gets_one_message_and_the_sheet_before_stays(
    held: Bench, name: str, data: bytes, names: str
) -> None:
    held.upload("two.csv", sheet_file(), "up_record")
    assert not held.errors()
    held.upload(name, data, "up_record")
    assert names in held.errors() and "the one before stays" in held.errors()
    assert now(held).read().rows[0].numbers == pytest.approx(SHEET.rows[0].numbers)
