"""The table on the page: what was typed stays, and says what a file with the same cells would."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard.widgets.bench_table import build_bench_table, build_empty_table
from sim.errors import InputError
from sim.section.sheet import BenchSheet, NoteRow

SHEET = BenchSheet("Notes", (NoteRow(40, {"blow": 45e-3, "down_weight": 0.5}), NoteRow(42, {"dip": 10e-3})), "r", True)


def test_cells_say_what_the_sheet_says() -> None:
    for inches in (False, True):
        for every in (False, True):
            read = build_bench_table(SHEET, inches, every).read()
            assert (read.title, read.remarks, read.invented) == ("Notes", "r", True)
            assert [r.key_number for r in read.rows] == [40, 42]
            assert read.rows[0].numbers["blow"] == pytest.approx(45e-3, abs=13e-6 if inches else 1e-9)
            assert read.rows[1].numbers["dip"] == pytest.approx(10e-3, abs=13e-6 if inches else 1e-9)


@given(st.lists(st.lists(st.text(max_size=12), min_size=4, max_size=4), min_size=1, max_size=5))
def test_whatever_is_typed_is_read_or_refused_and_stays(rows: list[list[str]]) -> None:
    table = build_bench_table(SHEET, False).written(rows)
    assert [list(row) for row in table.rows] == rows
    try:
        read = table.read()
    except InputError:
        return
    assert {r.key_number for r in read.rows} <= set(range(1, 89))


def test_other_units_are_shown_only_of_what_can_be_read() -> None:
    table = build_bench_table(SHEET, False)
    assert table.shown(True, False).head == tuple(h.replace("(mm)", "(in)") for h in table.head)
    spoiled = table.written([["40", *["far"] * (len(table.head) - 1)]])
    with pytest.raises(InputError, match="far"):
        spoiled.shown(True, False)


def test_an_empty_table_has_every_column_and_no_reading() -> None:
    assert not build_empty_table(False).filled
    rows = [list(row) for row in build_empty_table(False).rows]
    rows[0][1] = "44"
    assert build_empty_table(False).written(rows).filled
