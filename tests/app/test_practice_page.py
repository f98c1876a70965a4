"""The page of hidden faults: readings with their cost, a mend, the mark, and nothing told beforehand."""

from __future__ import annotations

from sim.diagnosis.faults import load_faults
from sim.teaching import exercise_files
from sim.teaching.exercise import prepare_bench
from sim.teaching.mark import mark_attempt
from sim.teaching.practice import Attempt, make_attempt
from tests.app.on_screen import Bench
from tests.exercise_codes import parse_code
from tests.tiers import try_each

TOLD = "Hidden was"


def opened(level: int = 1, seed: int = 1) -> Bench:
    page = Bench().open("practice")
    page.at.selectbox(key="keep_prac_level").set_value(level)
    page.at.number_input(key="keep_prac_seed").set_value(seed)
    page.run()
    return page


def taken(page: Bench, *names: str) -> Bench:
    for name in names:
        page.choose("keep_prac_take", name).press("do_take")
    return page


def mended(page: Bench, at: str, value: str) -> Bench:
    return page.choose("keep_prac_hand", at).type("keep_prac_value", value).press("do_mend")


def handed_in(page: Bench, *names: str) -> Bench:
    page.at.multiselect(key="keep_prac_cause").set_value(list(names))
    return page.run().press("hand_in")


def test_notebook_and_mark_are_those_of_the_python_interface() -> None:
    from sim.report import practice as sheet

    page = taken(opened(), "down_weight", "spring_rise")
    same = make_attempt(parse_code("1-1"), ["take down_weight", "take spring_rise"])
    assert page.at.dataframe[0].value.to_dict("records") == sheet.build_notebook_rows(same)
    assert TOLD not in page.words()
    unit = prepare_bench(parse_code("1-1"))
    (name,) = unit.hidden.names
    hand = load_faults()[name].at
    assert hand == "springs.repetition"
    mended(page, hand, f"{unit.sound.springs.repetition * 1e3:.4g} N·mm")
    handed_in(taken(page, "spring_rise"), name)
    assert "Passed." in page.words() and TOLD in page.words()
    (done,) = page.state.progress.exercises
    assert done.passed and done.code == "1-1"
    page.press("prac_again")
    assert TOLD not in page.words() and "Nothing has been read yet" in page.words()


def test_what_is_hidden_is_not_in_the_page_before_it_is_handed_in() -> None:
    page = taken(opened(2, 7), "let_off")
    made = prepare_bench(parse_code("2-7"))
    truth = mark_attempt(Attempt(parse_code("2-7"))).truth
    told = page.words() + "".join(str(e.value) for e in page.at.dataframe)
    assert not any(line in told for line in truth)
    shown = [c.options for c in page.at.get("multiselect")]
    assert made.hidden.names[0] not in str(page.at.session_state["keep_prac_take"])
    assert len(shown[0]) == len(Attempt(parse_code("2-7")).causes)  # the list of all, in the catalogue's order


def test_a_wrong_cause_is_told_with_what_it_was() -> None:
    page = handed_in(opened(), "tight-key")
    assert "You named tight key bushing" in page.words() and "Not passed yet" in page.words()
    assert not [b for b in page.at.button if b.key == "do_take"]


@try_each("at, typed, says", [
    ("screw.let_off", "9 mm", "-3.00 mm to 3.00 mm"),
    ("screw.let_off", "much", "write a number and a unit"),
    ("friction.key", "", "write a number and a unit"),
], fast=2)  # fmt: skip
def test_a_mend_that_cannot_be_is_said_and_costs_nothing(at: str, typed: str, says: str) -> None:
    page = mended(opened(), at, typed)
    assert says in page.errors() and "Nothing has been read yet" in page.words()


def test_an_exercise_from_a_file() -> None:
    page = Bench().open("practice").choose("keep_prac_kind", "from a file")
    text = 'owner = "*Ouch*"\nlevel = 1\n[[fault]]\nname = "tight-key"\nseverity = 0.8\n'
    page.upload("mine.toml", text.encode(), "exercise_up")
    assert "*Ouch*" in page.words() and not page.errors()
    assert (
        make_attempt(exercise_files.parse_exercise(text, "mine.toml"), []).exercise
        in page.at.session_state["attempts_practice"]
    )
    page.upload("mine.toml", b'level = 9\n[[fault]]\nname = "tight-kee"\n', "exercise_up")
    assert "did you mean tight-key?" in page.errors() and "1 to 3" in page.errors()


@try_each("name", exercise_files.list_exercises())
def test_shipped_exercises_are_there(name: str) -> None:
    page = Bench().open("practice").choose("keep_prac_kind", name)
    assert exercise_files.load_exercise(name).owner in page.words() and not page.errors()


def test_hidden_fault_moves_beside_the_unit_before() -> None:
    from dashboard.session import results

    handed_in(opened(), "weak-spring")
    spoilt, well = results.compute_hidden_motion(parse_code("1-1"), "moderate")
    assert spoilt.stroke is not None and well.stroke is not None
    assert spoilt.unit.springs.repetition < well.unit.springs.repetition
