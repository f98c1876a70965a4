"""Sheets of paper, read back: every word and picture there, nothing over anything else, nothing in the margins."""

from __future__ import annotations

import io
import os
import subprocess
import sys
from pathlib import Path

import pytest
from matplotlib.figure import Figure
from reportlab.pdfgen.canvas import Canvas

from sim.__main__ import main
from sim.cli.command import ExitCode
from sim.report import rough as sheet
from sim.report.drawing.figures import render_png
from sim.report.formats.tables import CAUTIONS
from sim.report.lesson.paper import (
    LessonPage,
    MarkPage,
    build_lesson_page,
    build_mark_page,
    make_lesson_pdf,
    make_mark_pdf,
    make_path_pdf,
)
from sim.report.paper.blocks import INVENTED, Mark, Picture, Sideways, Size, Table, Text, Ticks
from sim.report.paper.columns import fit_columns
from sim.report.paper.pdf import MARGIN, SIZES, make_pdf
from sim.studies.variants import BaseScenario
from sim.teaching import rough as lesson
from sim.teaching.lesson import load_lessons
from sim.teaching.mark import mark_attempt
from sim.teaching.practice import make_attempt
from tests.exercise_codes import parse_code
from tests.printed import (
    BLOCKS,
    MARKUP,
    WORDS,
    build_section_table,
    check_document,
    count_squares,
    draw_sample,
    read_pages,
)
from tests.tiers import try_each

ROOT = Path(__file__).parents[2]


@try_each("size", SIZES)
def test_every_block_is_there_and_nothing_lies_over_anything(size: Size) -> None:
    data = make_pdf("A sheet: " + WORDS, BLOCKS, size=size)
    text = check_document(data, pictures=1)
    assert all(page.size == pytest.approx(SIZES[size], abs=0.5) for page in read_pages(data))
    for words in (WORDS, MARKUP, "A picture: falling", "it plays", "set off", CAUTIONS, "found", "59.25 mm"):
        assert words in text
    with_rows = [page for page in read_pages(data) if ".25 mm" in page.text]
    assert len(with_rows) > 1 and text.count("asked expected found") == len(with_rows), "heads on every page"
    ticks = sum(len(count_squares(page.shapes)) for page in read_pages(data))
    assert ticks == 60 + 2


@pytest.mark.parametrize(("x", "y"), [(100, 700), (MARGIN - 20, 500), (100, 500)])
def test_what_lies_over_or_outside_is_noticed(x: float, y: float) -> None:
    out = io.BytesIO()
    page = Canvas(out)
    page.drawString(MARGIN, 700, f"{INVENTED}, page 1 of 1, and words enough that there is something to look at on it")
    page.drawString(MARGIN, 600, "a line more, which lies over nothing else that is on this page of paper either")
    page.drawString(x, y, "one more")
    page.save()
    if (x, y) == (100, 500):
        assert "one more" in check_document(out.getvalue(), 0)
    else:
        with pytest.raises(AssertionError):
            check_document(out.getvalue(), 0)


def test_the_same_sheet_is_the_same_bytes_and_bears_no_date_unless_asked() -> None:
    code = (
        "import sys; from sim.report.paper.pdf import make_pdf; from tests.printed import BLOCKS\n"
        "sys.stdout.buffer.write(make_pdf('A', BLOCKS))"
    )
    made = [
        subprocess.run([sys.executable, "-c", code], cwd=ROOT, env=os.environ | other, capture_output=True).stdout
        for other in ({"PYTHONHASHSEED": "1", "TZ": "UTC"}, {"PYTHONHASHSEED": "2", "TZ": "Asia/Kathmandu"})
    ]
    assert made[0] == made[1] == make_pdf("A", BLOCKS) and made[0].startswith(b"%PDF")
    assert "2026-03-01" in check_document(make_pdf("A", BLOCKS, date="2026-03-01"), 1) and "2026" not in check_document(
        made[0], 1
    )


@try_each("size", SIZES)
def test_a_section_of_88_notes_lies_sideways_and_is_read_column_by_column(size: Size) -> None:
    table = build_section_table(88)
    data = make_pdf("A section", [Text("Before it. " * 12), Sideways([table]), Text("After it. " * 12)], size=size)
    text, pages = check_document(data, pictures=0), list(read_pages(data))
    directions = ["sideways" if page.size[0] > page.size[1] else "upright" for page in pages]
    assert directions == ["upright", *["sideways"] * (len(pages) - 2), "upright"] and len(pages) > 4
    assert all("strike weight, g" in " ".join(page.text.split()) for page in pages[1:-1]), "heads on every page"
    for row in table.rows:
        told = " ".join(cell for cell in row if isinstance(cell, str) and cell)
        assert told in text, "no number is broken, none is out of place"
    assert sum(len(count_squares(page.shapes)) for page in pages) == 88
    assert min(page.smallest for page in pages) >= 6


@try_each("count", [16, 1, 7, 30])
def test_columns_fill_the_page_and_no_more(count: int) -> None:
    heads = [f"reading no. {i}, mm" for i in range(count)]
    for row in (["1.25"] * count, ["a remark of words"] * count, ["x" * 90] * count, [Mark.ROOM] * count):
        found = fit_columns(Table(heads, [row], range(0, count, 2)), 480.0)
        assert len(found.widths) == count and sum(found.widths) <= 480.01 and min(found.widths) > 0
        check_document(
            make_pdf("A table", [Table(heads, [row]), Text("Words enough to look at. " * 8)], caution=False), pictures=0
        )


def test_what_is_higher_than_a_page_is_brought_onto_pages() -> None:
    tall = Figure(figsize=(1, 8))
    tall.subplots().plot([0, 1])
    blocks = [Table(("a", "b"), [("very " * 1300 + "long", "1")]), Sideways([Picture(render_png(tall), "tall")])]
    data = make_pdf("High", blocks)
    text = check_document(data, pictures=1)
    assert len(list(read_pages(data))) == 3
    assert text.count("very") == 1300 and "tall" in text


@try_each("rows", range(31, 34))
def test_a_page_that_is_just_full_is_not_followed_by_an_empty_one(rows: int) -> None:
    table = Table(("setting", "asked"), [("blow", f"{i}.25 mm") for i in range(rows)])
    pages = list(read_pages(make_pdf("Full", [Ticks(["dip, mm"] * 7), table], caution=False)))
    assert all("mm" in page.text for page in pages)


def test_a_sheet_may_begin_sideways() -> None:
    pages = list(read_pages(make_pdf("Wide", [Sideways([Text("first")]), Sideways([Text("second")])])))
    assert [page.size[0] > page.size[1] for page in pages] == [True] and "second" in pages[0].text


def test_what_is_not_invented_does_not_say_so() -> None:
    pages = list(read_pages(make_pdf("A", BLOCKS[:1], invented=False, caution=False)))
    assert len(pages) == 1 and INVENTED not in pages[0].text and "Before touching" not in pages[0].text


@pytest.fixture(scope="module")
def paths() -> tuple[lesson.RegulationPath, lesson.RegulationPath]:
    """A path and one that is done with."""
    begun = lesson.draw_rough_unit(BaseScenario.of("concert-grand-natural").ready, 3)
    mine = lesson.make_path(begun, ["blow=42 mm", "lever_height", "let_off=1.8 mm", "blow"])
    return mine, lesson.make_path(begun, ["lever_height", "blow"], "Another way")


@try_each("size", SIZES)
def test_a_path_on_paper_holds_every_figure_of_it(
    size: Size, paths: tuple[lesson.RegulationPath, lesson.RegulationPath]
) -> None:
    text = check_document(make_path_pdf(paths[0], paths[1:], size), pictures=2)
    rows = [
        *sheet.build_asked_rows(lesson.RegulationPath(paths[0].rough)),
        *sheet.build_path_rows(paths[0]),
        *sheet.build_way_rows(paths),
    ]
    squeezed = text.replace(" ", "")
    assert not [cell for row in rows for cell in row if cell.replace(" ", "") not in squeezed]
    assert "1.751 in" in check_document(make_path_pdf(paths[0], size=size, inches=True), pictures=1)


def test_a_lesson_s_page_has_its_pictures_its_task_and_room_to_answer() -> None:
    page = LessonPage(
        WORDS, ["One. " * 60, MARKUP], [(draw_sample(), "First"), (draw_sample(), "Second")], [("let-off", "1.57 mm")],
        ["What will it do?"], "Set the button.", ["let-off button"], ["let-off 1.4 to 1.8 mm"], room=5,
    )  # fmt: skip
    data = make_lesson_pdf(page, "letter")
    text = check_document(data, pictures=2)
    told = ("First", "Second", "1.57 mm", "What will it do?", "Set the button.", "– let-off button")
    for words in (WORDS, MARKUP, *told, "let-off 1.4 to 1.8 mm"):
        assert words in text
    lines = [s for p in read_pages(data) for s in p.shapes if s[3] - s[1] < 1 and s[2] - s[0] > 300]
    assert len(lines) >= 10 and sum(len(count_squares(p.shapes)) for p in read_pages(data)) == 1


def test_the_longest_lesson_is_printed_whole() -> None:
    found = max(load_lessons().values(), key=lambda one: sum(len(part.say) for part in one.parts))
    text = check_document(make_lesson_pdf(build_lesson_page(found)), pictures=2)
    asked = [found.task.say, *(part.say for part in found.parts), *(q.ask for q in found.prediction_questions)]
    squeezed = text.replace(" ", "")
    assert not [words for words in asked if words.replace(" ", "") not in squeezed]
    assert all(w.format_target() in text for w in found.task.want)


def test_a_mark_sheet_holds_all_that_was_judged_and_done() -> None:
    mark = MarkPage(
        "Exercise 2-7", "2-7", f"“It does not repeat.” {MARKUP}", False, "41 min of 38 min allowed",
        [("cause", True, "Right: tight hammer centre."), ("cost", False, "41 min of 38 min allowed.")],
        ["tight hammer centre, 4.2 N·mm"], [(f"reading {i}", f"{i}.5 gf", "1.5 gf", "40 s") for i in range(50)],
        [("down weight", "52.0 gf", "46.0 to 54.0 gf", True), ("let-off", "–", "1.4 to 1.8 mm", False)], "Down weight.",
    )  # fmt: skip
    text = check_document(make_mark_pdf(mark), pictures=0)
    told = ("Not passed: 41 min of 38 min allowed", "It was: tight hammer centre, 4.2 N·mm.", "49.5 gf", "Remarks")
    rows = ("cause right Right: tight hammer centre.", "let-off – 1.4 to 1.8 mm off", "The same exercise again: 2-7.")
    for words in (MARKUP, *told, *rows, "Down weight."):
        assert words in text


def test_an_attempt_s_mark_is_printed_whole() -> None:
    made = make_attempt(
        parse_code("1-3"), ["take down_weight", "take let_off", "mend screw.let_off=0.2 mm", "cause weak-spring"]
    )
    mark = mark_attempt(made)
    page = build_mark_page(made, mark)
    text = check_document(make_mark_pdf(page), pictures=0).replace(" ", "")
    said = [page.told, page.cost, *(w for row in page.judged for w in (row[0], row[2])), *page.truth]
    said += [cell for row in (*page.notebook, *page.readings) for cell in row if isinstance(cell, str)]
    assert len(page.notebook) == 3 and len(page.readings) == len(mark.backs) > 5
    assert not [words for words in said if words.replace(" ", "") not in text]


def test_commands_write_the_sheets(tmp_path: Path) -> None:
    path = tmp_path / "rough.pdf"
    words = ("rough", "--seed", "3", "--do", "blow", "--no-orders", "--json", "--sheet", str(path), "--paper", "letter")
    assert main(words) == ExitCode.FINE
    assert "44.48 mm" in check_document(path.read_bytes(), pictures=1)
    assert main(("rough", "--sheet", str(tmp_path / "x.txt"))) == ExitCode.BAD_INPUT
    given = ("practice", "--seed", "3", "--take", "down_weight", "--no-path", "--json", "--sheet", str(path))
    assert main(given) == ExitCode.BAD_INPUT
    assert main((*given, "--cause", "weak-spring")) == ExitCode.FINE
    assert "Not passed" in check_document(path.read_bytes(), pictures=0)
