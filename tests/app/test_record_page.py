"""The page of the bench sheet: read in, changed by cell, a section worked out, sheets out."""

from __future__ import annotations

import pytest

from dashboard.questions import record
from sim.workshop.bench_sheet import BenchSheet, NoteRow
from sim.workshop.section import section
from tests.app.on_screen import Bench

SHEET = BenchSheet("Two notes", (NoteRow(40, {"blow": 45e-3, "dip": 10.2e-3}), NoteRow(42, {"blow": 44e-3})), "", True)


@pytest.fixture
def bench() -> Bench:
    return Bench().open("record")


def held(bench: Bench) -> BenchSheet:
    found = bench.at.session_state[record.HELD]
    assert isinstance(found, BenchSheet)
    return found


def test_the_example_is_read_in_and_says_that_it_is_invented(bench: Bench) -> None:
    bench.press("example_record")
    assert held(bench).invented and len(held(bench).rows) == 10
    assert any("Invented" in c.value for c in bench.at.caption)
    assert bench.at.number_input(key="record_low").value == 28


def test_a_section_is_worked_out_shown_and_kept(bench: Bench) -> None:
    bench.at.session_state[record.HELD] = SHEET
    bench.run()
    bench.at.checkbox(key="record_look").set_value(False)
    bench.at.number_input(key="record_high").set_value(41)
    bench.press("begin_record")
    found = section(SHEET, range(40, 42), look=False, repetition=False)
    readings = next(f.value for f in bench.at.dataframe if "D gf" in f.value.columns)
    assert list(readings[""]) == ["found", "expected", "after"] * 1 + ["expected", "after"] + [
        "found",
        "expected",
        "after",
    ]
    assert len(found.notes) == 3
    bench.open("note").open("record")
    assert any("D gf" in f.value.columns for f in bench.at.dataframe)


def test_what_cannot_be_asked_is_told_and_nothing_is_begun(bench: Bench) -> None:
    bench.at.session_state[record.HELD] = SHEET
    bench.run()
    bench.at.text_input(key="record_blow").set_value("4 mm")
    bench.run()
    assert "25 to 65 mm" in bench.errors()
    assert not [b for b in bench.at.button if b.key == "begin_record"]


def test_a_note_goes_on_the_bench_as_it_was_found(bench: Bench) -> None:
    bench.at.session_state[record.HELD] = SHEET
    bench.run()
    bench.at.checkbox(key="record_look").set_value(False)
    bench.press("begin_record")
    bench.press("bench_record")
    assert "note 40" in bench.state.work.text and bench.state.work.start().key_number == 40
