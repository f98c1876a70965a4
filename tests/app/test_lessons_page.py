"""The lessons' page: foretold before it is seen, tasks done from the keyboard, right and wrong answers both tried."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest

from sim.teaching.lesson import load_lessons
from tests.app.on_screen import Bench
from tests.lesson_answers import find_answer

if TYPE_CHECKING:
    pass


@pytest.fixture
def bench() -> Bench:
    return Bench().open("lesson")


def chosen(bench: Bench, name: str) -> Bench:
    return bench.choose("keep_lesson_chosen", name)


def test_nothing_is_shown_before_it_is_foretold(bench: Bench) -> None:
    chosen(bench, "drop")
    question = load_lessons()["drop"].prediction_questions[0]
    assert question.because not in bench.words()
    assert bench.at.button(key="commit_keep_lesson_drop_foretell0").disabled
    bench.at.radio(key="keep_lesson_drop_foretell0_say").set_value("shrinks")
    bench.run()
    assert question.because not in bench.words()
    bench.press("commit_keep_lesson_drop_foretell0")
    words = bench.words()
    assert question.because in words
    assert "You said “shrinks”; it is “grows”." in words
    assert "120.2 gf before, 141.1 gf after" in words


def test_a_number_foretold_is_told_how_far_it_is_off(bench: Bench) -> None:
    chosen(bench, "aftertouch")
    bench.type("keep_lesson_aftertouch_foretell0_say", "soon").press("commit_keep_lesson_aftertouch_foretell0")
    assert "This is no answer" in bench.errors()
    bench.type("keep_lesson_aftertouch_foretell0_say", "1.5 mm").press("commit_keep_lesson_aftertouch_foretell0")
    assert not bench.errors()
    assert re.search(r"it is “0\.6\d mm”\. You were off by \+0\.8\d mm", bench.words())


def test_units_and_tolerance_are_told_before_a_number_is_typed(bench: Bench) -> None:
    words = chosen(bench, "aftertouch").words()
    assert "It counts as right within 10 % of what comes, and always within 0.10 mm." in words
    assert "Numbers need their unit: 0.40 mm, for example." in words
    assert "Numbers need their unit: 30.00 N*mm, for example." in chosen(bench, "friction").words()
    bench.type("keep_lesson_friction_hand_friction.lever", "3 Newton")
    assert "N*mm" in bench.errors()


def test_what_cannot_be_set_is_said_and_not_tried(bench: Bench) -> None:
    chosen(bench, "let-off")
    bench.type("keep_lesson_let-off_hand_screw.let_off", "9 mm")
    assert "-3.00 mm to 3.00 mm" in bench.errors()
    assert bench.at.button(key="try_keep_lesson_let-off").disabled


def test_buttons_turn_a_hand_a_little(bench: Bench) -> None:
    chosen(bench, "let-off")
    bench.press("turn_keep_lesson_let-off_hand_screw.let_off_-1").press(
        "turn_keep_lesson_let-off_hand_screw.let_off_-1"
    )
    assert bench.at.text_input(key="keep_lesson_let-off_hand_screw.let_off").value == "-0.40 mm"
    bench.press("turn_keep_lesson_let-off_hand_screw.let_off_1")
    assert bench.at.text_input(key="keep_lesson_let-off_hand_screw.let_off").value == "-0.20 mm"


def test_a_page_left_is_found_as_it_was(bench: Bench) -> None:
    chosen(bench, "let-off")
    bench.type("keep_lesson_let-off_hand_screw.let_off", "-1 mm").press("try_keep_lesson_let-off")
    assert "Tries so far: 1" in bench.words()
    chosen(bench, "drop")
    bench.open("scenario").open("lesson")
    assert bench.at.selectbox(key="keep_lesson_chosen").value == "drop"
    chosen(bench, "let-off")
    assert bench.at.text_input(key="keep_lesson_let-off_hand_screw.let_off").value == "-1 mm"
    assert "Tries so far: 1" in bench.words()


def test_every_sentence_is_shown_beside_what_was_computed(bench: Bench) -> None:
    chosen(bench, "one-stroke").press("begin_claims_one-stroke")
    rows = bench.at.dataframe[0].value
    assert len(rows) == sum(len(p.claims) for p in load_lessons()["one-stroke"].parts)
    assert set(rows["holds"]) == {"yes"}


def test_what_was_done_is_noted_once(bench: Bench) -> None:
    chosen(bench, "let-off")
    right = find_answer("let-off")["screw.let_off"]
    bench.press("try_keep_lesson_let-off")
    assert not bench.state.progress.lessons
    bench.type("keep_lesson_let-off_hand_screw.let_off", f"{1e3 * right:.3f} mm").press("try_keep_lesson_let-off")
    bench.run()
    assert [(e.name, e.tries) for e in bench.state.progress.lessons] == [("let-off", 2)]
