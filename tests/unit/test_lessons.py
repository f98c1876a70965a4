"""Lessons as data: complete, with every sentence either tested or plainly no claim, and words that can be filled."""

from __future__ import annotations

import re
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pypdfium2
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pypdfium2.raw import FPDF_PAGEOBJ_IMAGE

from sim.__main__ import main
from sim.diagnosis.bench_tests import list_bench_tests
from sim.report.lesson.paper import build_lesson_page, make_lesson_pdf
from sim.teaching.adjustments import load_adjustments
from sim.teaching.lesson import Lesson, Wanted, load_lessons
from sim.teaching.lesson_task import (
    build_task_unit,
    fill_words,
    format_answer_rule,
    format_seen,
    list_needed_readings,
    load_lesson_unit,
)
from sim.teaching.plain_typing import replace_symbols
from sim.teaching.probes import Seen, load_sights, probe_unit
from sim.units import DIMENSIONS, parse_quantity, split_quantity
from tests.tiers import try_each

TAUGHT = (
    "one-stroke", "let-off", "drop", "aftertouch", "lever-height", "spring", "checking", "hammer-line", "friction",
    "order", "wink", "rails",
)  # fmt: skip
every = pytest.mark.parametrize("lesson", load_lessons().values(), ids=lambda lesson: lesson.name)


def test_the_lessons_are_in_their_order() -> None:
    assert tuple(load_lessons()) == TAUGHT


@every
def test_a_lesson_is_whole(lesson: Lesson) -> None:
    assert lesson.title and lesson.goal.endswith(".")
    assert all(name in load_sights() for name in lesson.look_at)
    for part in lesson.parts:
        assert part.plain != bool(part.claims), f"neither plain nor tested, or both: {part.say[:60]}"
    assert lesson.prediction_questions and all(
        q.claims and q.ask.endswith(("?", ".", ")")) for q in lesson.prediction_questions
    )
    task = lesson.task
    assert task.adjustments and set(task.adjustments) <= load_adjustments().keys()
    assert task.want and task.feedback
    assert {at for at, _, _ in task.start.turns} & {*task.adjustments} or len(task.adjustments) == 1
    assert {task.show, *(q.show for q in lesson.prediction_questions)} <= {"press", "soft", "moderate", "hard"}


@every
def test_words_of_a_task_name_readings_that_are_taken(lesson: Lesson) -> None:
    for feedback in lesson.task.feedback:
        names = set(re.findall(r"\{(\w+)\}", feedback.say))
        assert names <= list_needed_readings(lesson)
        assert "{" not in fill_words(feedback.say, Seen(dict.fromkeys(list_needed_readings(lesson), 1e-3)))


@every
def test_every_wanted_number_has_words_on_both_sides(lesson: Lesson) -> None:
    """Whatever a learner's number is, some word is said to it: just under each end, just over, and between."""
    for want in lesson.task.want:
        if want.word or want.before:
            continue
        for end in (want.low, want.high):
            for value in (end * 0.9, end * 1.1):
                if abs(end) < 1e6 and not want.low <= value <= want.high:
                    seen = Seen({**dict.fromkeys(list_needed_readings(lesson)), want.read: value})
                    mine = [f for f in lesson.task.feedback if f.when.read == want.read and f.when.met(seen)]
                    others = [f for f in lesson.task.feedback if f.when.read != want.read]
                    assert mine or others


@every
def test_what_is_handed_over_is_another_unit(lesson: Lesson) -> None:
    assert build_task_unit(lesson) != load_lesson_unit(lesson)


def test_every_bench_test_can_be_looked_at() -> None:
    assert list_bench_tests().keys() <= load_sights().keys()


def test_looking_at_what_is_not_there_is_an_error() -> None:
    with pytest.raises(KeyError, match="no such sight: fuel"):
        probe_unit(load_lesson_unit(load_lessons()["let-off"]), ["fuel"])


def test_a_reading_that_cannot_be_taken_says_so() -> None:
    assert format_seen(Seen({"let_off": None}), "let_off") == "cannot be read"
    assert Wanted("let_off", word="cannot be read").met(Seen({"let_off": None}))
    assert not Wanted("let_off", low=0.0).met(Seen({"let_off": None}))


@pytest.mark.parametrize(
    ("wanted", "words"),
    [
        (Wanted("let_off", low=1e-3), "at least 1.00 mm"), (Wanted("let_off", high=2e-3), "at most 2.00 mm"),
        (Wanted("let_off", low=1e-3, high=2e-3), "1.00 mm to 2.00 mm"), (Wanted("kicks", word="no"), "no"),
        (Wanted("drop_at_bottom", before="drop"), "less than drop past escape"),
    ],
)  # fmt: skip
def test_what_is_wanted_in_words(wanted: Wanted, words: str) -> None:
    assert wanted.format_target() == words


def run(capsys: pytest.CaptureFixture[str], *typed: str) -> tuple[int, str, str]:
    code = main(["lesson", *typed])
    said = capsys.readouterr()
    return code, said.out, said.err


def test_the_command_lists_shows_and_judges(capsys: pytest.CaptureFixture[str]) -> None:
    assert all(name in run(capsys)[1] for name in TAUGHT)
    code, out, _ = run(capsys, "drop")
    assert code == 0
    assert "Foretell 1" in out and "screw.drop" in out and "lead" in out
    assert load_lessons()["drop"].prediction_questions[0].because not in " ".join(out.split())
    _, out, _ = run(capsys, "drop", "--say", "1=shrinks", "--turn", "screw.drop=-0.2 mm")
    assert "it is “grows”" in out and "Not yet." in out


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        (("fuel",), "let-off"), (("drop", "--say", "7=grows"), "1 to 1"), (("drop", "--say", "grows"), "1 to 1"),
        (("drop", "--say", "1=perhaps"), "grows, shrinks, stays"), (("drop", "--turn", "screw.dip=1 mm"), "screw.drop"),
        (("drop", "--turn", "screw.drop=9 mm"), "-4.00 mm to 4.00 mm"),
    ],
)  # fmt: skip
def test_what_the_command_cannot_take_is_refused_in_words(
    capsys: pytest.CaptureFixture[str], typed: tuple[str, ...], words: str
) -> None:
    code, _, err = run(capsys, *typed)
    assert code == 2
    assert words in err


@try_each("lesson", load_lessons().values(), ids=lambda lesson: lesson.name)
def test_a_lesson_is_printed_whole(lesson: Lesson) -> None:
    """Every sentence, question and wanted reading stands on the paper, and no answer does."""
    page = build_lesson_page(lesson)
    with closing(pypdfium2.PdfDocument(make_lesson_pdf(replace(page, pictures=())))) as paper:
        text = " ".join(" ".join(p.get_textpage().get_text_range() for p in paper).split())
    for said in (*page.paragraphs, *page.questions, page.task, *page.wanted):
        for word in said.split():
            assert word in text
    assert not any(q.because in text for q in lesson.prediction_questions)


@every
def test_the_example_of_a_number_is_one_that_is_taken(lesson: Lesson) -> None:
    for at in lesson.task.adjustments:
        hand = load_adjustments()[at]
        for inches in (False, True):
            example = replace_symbols(hand.example(inches))
            assert example.isascii() and hand.low <= hand.read(example) <= hand.high
    for question in lesson.prediction_questions:
        assert bool(format_answer_rule(question)) == (question.number or not load_sights()[question.read].words)


@try_each("name", ["aftertouch", "friction"])
def test_units_and_tolerance_are_told_before_anything_is_typed(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    """By command and on paper, with an example of this very task's unit."""
    lesson = load_lessons()[name]
    said, page = " ".join(run(capsys, name)[1].split()), build_lesson_page(lesson)
    example = f"{replace_symbols(load_adjustments()[lesson.task.adjustments[0]].example())}, for example"
    for place in (said, page.task):
        assert place.count("Numbers need their unit") == place.count(example) == 1
    for question, printed in zip(lesson.prediction_questions, page.questions, strict=True):
        assert format_answer_rule(question) in said and format_answer_rule(question) in printed


@given(st.sampled_from(sorted({t for d in DIMENSIONS.values() for t in (d.example, *(f"7 {u}" for u in d.factors))})))
def test_what_is_shown_can_be_typed_on_a_plain_keyboard(shown: str) -> None:
    """Without dots and signs that it has not, it reads to the same value."""
    for dimension in DIMENSIONS.values():
        if dimension.has_unit(split_quantity(shown)[1]):
            assert parse_quantity(replace_symbols(shown), dimension) == parse_quantity(shown, dimension)
    assert replace_symbols(shown).isascii()


def test_a_wrong_unit_is_answered_with_what_can_be_typed(capsys: pytest.CaptureFixture[str]) -> None:
    for typed in ("3", "3 mm", "3 Newton"):
        code, _, err = run(capsys, "friction", "--turn", f"friction.lever={typed}")
        assert code == 2
        (said,) = (line for line in err.splitlines() if line.startswith("hand: "))
        remedy = said.rpartition("; ")[2]
        assert "N*mm" in remedy and "·" not in remedy


def test_the_printed_lesson_has_its_picture(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, _, err = run(capsys, "drop", "--sheet", str(tmp_path / "drop.pdf"))
    assert code == 0 and "sheet written" in err
    with closing(pypdfium2.PdfDocument(tmp_path / "drop.pdf")) as paper:
        assert sum(len(list(p.get_objects([FPDF_PAGEOBJ_IMAGE]))) for p in paper) == 2
    assert run(capsys, "drop", "--sheet", str(tmp_path / "drop.docx"))[0] == 2
