"""The lessons are true of the model: every sentence of cause and effect, and every task can be done and failed.

What the sentences say is common practice (with the sources of the trade's figures in shared/usual_ranges.toml); what is
tested here is that the model shows it, in size as the text has it, and that a test of a sentence can fail.
"""

from __future__ import annotations

import re
from dataclasses import replace
from functools import cache

import pytest

from sim.bench.outcomes import Outcome
from sim.errors import InputError
from sim.teaching.lesson import CANNOT_BE_READ, CHANGE_WORDS, Change, Claim, Wanted, load_lessons
from sim.teaching.lesson_task import format_answer_rule, judge_prediction, judge_task, load_lesson_unit
from sim.teaching.probes import probe_unit
from sim.unit.model import ActionUnit
from sim.units import LENGTH, parse_quantity
from tests.lesson_answers import find_answer, find_wrong_answer, list_start_values, sum_misses
from tests.tiers import try_each

CLAIMS = [
    pytest.param(name, claim, id=f"{name}-{i}-{claim.read}")
    for name, lesson in load_lessons().items()
    for i, claim in enumerate(c for part in (*lesson.parts, *lesson.prediction_questions) for c in part.claims)
]


@cache
def unit(name: str) -> ActionUnit:
    return load_lesson_unit(load_lessons()[name])


@pytest.mark.parametrize(("name", "claim"), CLAIMS)
def test_what_a_lesson_says_is_so(name: str, claim: Claim) -> None:
    assert claim.holds(unit(name)), f"{name}: {claim}"


def test_a_sentence_that_is_not_so_is_found() -> None:
    """Each kind of claim, turned into its opposite."""
    u = unit("let-off")
    closer = Change((("screw.let_off", -0.5e-3, False),))
    good = Claim(closer, "drop", "grows", 3e-4, 6e-4)
    assert good.holds(u)
    for way in set(CHANGE_WORDS) - {"grows"}:
        assert not replace(good, way=way).holds(u)
    assert not replace(good, least=6e-4).holds(u)
    assert not replace(good, most=3e-4).holds(u)
    assert not replace(good, change=Change()).holds(u)
    assert not Claim(closer, "let_off", wanted=Wanted("let_off", low=1.4e-3)).holds(u)
    assert not Claim(closer, "slow_press", wanted=Wanted("slow_press", word=Outcome.BLOCKS)).holds(u)
    assert not Claim(Change(), "key_at_bottom", wanted=Wanted("key_at_bottom", before="lets_off")).holds(u)
    assert not Claim(Change(), "let_off", wanted=Wanted("let_off", word=CANNOT_BE_READ)).holds(u)


@try_each("name", load_lessons(), fast=4)
def test_a_task_is_done_by_doing(name: str) -> None:
    """As handed over it is not done; the simulation finds what does it, and says so of that result alone."""
    lesson = load_lessons()[name]
    for values in (list_start_values(name), find_wrong_answer(name)):
        tried = judge_task(lesson, values)
        assert not tried.done
        assert tried.words, "no word to what came out"
    done = judge_task(lesson, find_answer(name))
    assert done.words, "no word to what is right"
    assert done.done, [(r.wanted.read, r.seen) for r in done.rows if not r.met]
    assert sum_misses(lesson, find_answer(name))[1]


@try_each("name", load_lessons(), fast=4)
def test_the_other_side_has_its_own_words(name: str) -> None:
    """Turned past the answer, the words are others."""
    lesson = load_lessons()[name]
    before = judge_task(lesson, list_start_values(name)).words
    right = judge_task(lesson, find_answer(name)).words
    assert before and before != right


@pytest.mark.parametrize(
    ("name", "i"), [(n, i) for n, lesson in load_lessons().items() for i in range(len(lesson.prediction_questions))]
)
def test_what_is_foretold_is_compared_with_what_comes(name: str, i: int) -> None:
    """One answer is right, the others are told what came instead."""
    question = load_lessons()[name].prediction_questions[i]
    if question.number:
        came = judge_prediction(load_lessons()[name], question, "0 mm").came
        assert judge_prediction(load_lessons()[name], question, came).right
        off = judge_prediction(load_lessons()[name], question, "40 mm")
        assert not off.right
        assert off.far.startswith("+")
        return
    said = [judge_prediction(load_lessons()[name], question, a) for a in question.answers[:3]]
    assert len({f.came for f in said}) == 1
    assert sum(judge_prediction(load_lessons()[name], question, a).right for a in question.answers) == 1


@pytest.mark.parametrize(
    ("name", "i"),
    [(n, i) for n, lesson in load_lessons().items() for i, q in enumerate(lesson.prediction_questions) if q.number],
)
def test_a_number_is_right_as_near_as_was_said_and_no_nearer(name: str, i: int) -> None:
    """The words say what is judged by: just inside it is right, just outside not, on either side."""
    lesson, question = load_lessons()[name], load_lessons()[name].prediction_questions[i]
    value = probe_unit(question.change.on(question.given.on(unit(name))), [question.read]).number(question.read)
    assert value is not None
    share, least = re.search(
        r"within (\d+) % of what comes, and always within ([\d.]+ mm)", format_answer_rule(question)
    ).groups()  # type: ignore[union-attr]
    close = max(float(share) / 100 * abs(value), parse_quantity(least, LENGTH))
    for side in (-1, 1):
        for far, right in ((0.98, True), (1.02, False)):
            assert judge_prediction(lesson, question, f"{1e3 * (value + side * far * close):.6f} mm").right is right


def test_what_is_no_answer_is_refused() -> None:
    lesson = load_lessons()["let-off"]
    with pytest.raises(InputError, match="grows, shrinks, stays"):
        judge_prediction(lesson, lesson.prediction_questions[0], "perhaps")
    with pytest.raises(InputError, match="mm"):
        judge_prediction(load_lessons()["aftertouch"], load_lessons()["aftertouch"].prediction_questions[0], "soon")
    with pytest.raises(InputError, match=r"screw\.drop"):
        judge_task(lesson, {"screw.drop": 0.0})
