"""Names made to do harm where they come out again: in tables, figures and cells they stay the text they are."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import partial
from pathlib import Path
from xml.etree import ElementTree

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from rich.console import RenderableType

import sim
from sim.bench.readings import Prediction
from sim.cli import screen
from sim.regulation.rails import RAILS, Place
from sim.report import compare as comparison
from sim.report import friction as budget
from sim.report import predict, rails
from sim.report.drawing import draw as drawing
from sim.report.drawing import figures
from sim.report.formats import frames
from sim.report.formats.traces import format_cell, format_csv_lines
from sim.scenario.load import loads
from sim.studies.compare import Comparison, compare_units
from sim.studies.friction import FrictionComparison, compare_friction
from sim.studies.variants import BaseScenario
from sim.unit.model import ActionUnit

Tell = Callable[..., None]
DEMO = "concert-grand-natural"
MARKUP = r"""$\nosuch{$ \input{/etc/hostname} <b>&lt;x--> ]]> [bold]y[/] :smile: {0.__class__} %s `id` $^$ \$ $"""
MOVES = RAILS["wippen"]
FORMULAS = (
    "=1+1", '=HYPERLINK("http://example.org","x")', "+1+1", "-2+3+cmd|' /C calc'!A0", "@SUM(1)", "\t=1", "\r=1", "\n=1",
    " =1", "x;=1+1", "x\t=1", "x\n@a", "x|=1", "＝1+1", "-", "+x", "- 5", "-1 cmd", "=", "x;\t\n=1",
)  # fmt: skip
STARTS = re.compile(r"\s*[=+\-@＝＋－＠]")
SIGNED = re.compile(r"\s*[+-][0-9.]+(e[+-]?[0-9]+)?( \w\S{0,8})?\s*(,|$)")


class Made:
    """One unit's results, to be shown under any name."""

    def __init__(self) -> None:
        origin = BaseScenario.of(DEMO, {"springs.repetition": "95%"})
        self.unit: ActionUnit = origin.ready
        self.prediction: Prediction = sim.predict(self.unit, repetition=False)
        self.both: Comparison = compare_units(BaseScenario.of(DEMO), origin, repetition=False)
        self.lost: FrictionComparison = compare_friction(origin)

    def named(self, name: str) -> tuple[ActionUnit, Comparison, FrictionComparison, Place]:
        unit = replace(self.unit, name=name)
        both = replace(self.both, units=(unit, unit))
        lost = FrictionComparison(*(replace(felt, unit=unit) for felt in (self.lost.own, self.lost.healthy)))
        return unit, both, lost, Place(0.0, 0.0, 0.113, True, "", aftertouch=1e-3, unit=unit)


@pytest.fixture(scope="module")
def made() -> Made:
    return Made()


def test_markup_in_a_name_is_drawn_as_it_stands(made: Made, tmp_path: Path, tell: Tell) -> None:
    """In every figure that a unit's name is written in, as SVG, and the template, as PDF."""
    tell(tried=f"mathtext, LaTeX, HTML and more as the name of a unit, in every figure: {MARKUP}",
         expected="the very text is in each figure; the SVG is well formed")  # fmt: skip
    unit, both, lost, place = made.named(MARKUP)
    cells = ((place, replace(place, dx=1e-3)),)
    drawn = {
        "sheet": partial(drawing.draw_sheet, unit, made.prediction),
        "friction": partial(budget.draw_friction, lost),
        "comparison": partial(comparison.draw_comparison, both),
        "map of rails": partial(rails.draw_rail_map, unit, MOVES, cells, cells[0][:1]),
    }
    for what, draw in drawn.items():
        figures.save_figure(draw(), tmp_path / "drawn.svg")
        assert MARKUP in "".join(ElementTree.parse(tmp_path / "drawn.svg").getroot().itertext()), what
    out = io.BytesIO()
    rails.draw_rail_template(unit, place, MOVES, out)
    assert out.getvalue().startswith(b"%PDF")
    tell(happened=f"it is in {len(drawn)} figures, and the template is drawn")


def test_markup_in_a_name_is_printed_as_it_stands(made: Made, tell: Tell) -> None:
    tell(tried="the same name in the tables on a terminal", expected="the very text, one line")
    unit, both, lost, place = made.named(MARKUP)
    printed: Mapping[str, tuple[RenderableType, ...]] = {
        "prediction": (predict.build_prediction_tables(made.prediction, unit),),
        "comparison": (comparison.build_tables(both),),
        "friction": (budget.build_tables(replace(lost, own=replace(lost.own, budget=None))),),
        "rails": tuple(rails.build_tables(unit, MOVES, ((place,),), (place,), {}, {})),
    }
    for what, parts in printed.items():
        assert MARKUP in screen.render_plain(*parts, width=300), what
    assert loads(f"name = '''{MARKUP}'''\nkey_number = 40\n").name == MARKUP
    tell(happened=f"it is in {len(printed)} of them, unchanged")


def taken_for_formulas(text: str) -> list[str]:
    """Cells that begin as a formula does, whatever a spreadsheet takes for the mark between cells."""
    found = [c for mark in ",;\t|" for row in csv.reader(io.StringIO(text), delimiter=mark) for c in row]
    return [c for c in found if STARTS.match(c) and not SIGNED.match(c)]


@given(st.lists(st.text(max_size=12) | st.sampled_from(FORMULAS), min_size=1, max_size=5))
@example(list(FORMULAS))
def test_no_text_becomes_a_formula(cells: list[str]) -> None:
    assert not taken_for_formulas(format_csv_lines(cells, [cells, [f"x;{c}" for c in cells]]))


def test_formulas_in_cells_are_made_plain_and_numbers_left_alone(tell: Tell) -> None:
    tell(tried=f"{len(FORMULAS)} formulas as texts of a table, read back with , ; tab and | between cells",
         expected="no cell begins as a formula does; signed numbers stay as they are")  # fmt: skip
    assert all(taken_for_formulas(f"{f}\n") for f in ("=1+1", "x;=1", "@SUM(1)", "-2+3"))
    assert not taken_for_formulas(format_csv_lines(["name"], [[f] for f in FORMULAS]))
    assert [format_cell(v) for v in (-1.5, "-1.5", "+0.2 mm", "-3 N·mm", "+1e-3", None, True, float("nan"))] == [
        "-1.5", "-1.5", "+0.2 mm", "-3 N·mm", "+1e-3", "", "yes", ""
    ]  # fmt: skip
    tell(happened="none does; they stay")


def test_tables_of_a_unit_named_as_a_formula_hold_none(made: Made, tell: Tell) -> None:
    tell(tried="=1+1;=2 as the name of a unit, in the CSV of readings, comparison and frames", expected="no formula")
    unit, both, *_ = made.named("=1+1;=2")
    frame = sim.to_frame(made.prediction, unit).assign(name=unit.name)
    told = (predict.format_csv(made.prediction, unit), comparison.format_csv(both), frames.format_frame_csv(frame))
    for text in told:
        assert text.count("\n") > 20 and not taken_for_formulas(text)
    assert "'=1+1;'=2" in told[2]
    tell(happened=f"none in {sum(text.count(chr(10)) for text in told)} lines")


SOURCES = [p for house in ("sim", "dashboard") for p in (Path(sim.__file__).parents[1] / house).rglob("*.py")]
ONE_WAY = {
    "cells are written in one place": (r"\.to_csv\(|csv\.writer\(|DictWriter|import writer", {"formats/traces.py"}),
    "files are written in known places": (
        r"\.write_text\(|\.write_bytes\(|\.savefig\(|write_table\(|open\([^)]*[\"'](w|a|x|r\+|rb\+)",
        {"physics/generate_step.py", "fields/schema.py", "formats/traces.py", "drawing/figures.py", "report/rails.py",
         "report/batch.py", "record/folder.py", "sim/atomic_write.py", "evidence/figures.py", "widgets/figures.py",
         "cli/diagnose.py", "cli/evidence.py", "teaching/progress_file.py", "cli/screen.py"},
    ),
    "nothing of a file is run": (r"unsafe_allow_html|\beval\(|\bexec\(|pickle|yaml|os\.system|shell=True", set()),
}  # fmt: skip


@pytest.mark.parametrize("rule", ONE_WAY)
def test_one_way_to_do_it(rule: str) -> None:
    pattern, places = ONE_WAY[rule]
    found = {"/".join(p.parts[-2:]) for p in SOURCES if re.search(pattern, p.read_text(encoding="utf-8"))}
    assert len(SOURCES) > 100 and found == places
