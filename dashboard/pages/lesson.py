"""Learn the escapement: a lesson's text, what will happen foretold and then seen, a task done with one's own hands."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from functools import partial
from typing import TYPE_CHECKING

import pandas as pd
import streamlit as st

from dashboard.components.mechanism import show_mechanism
from dashboard.session import progress, results
from dashboard.session.long_jobs import Progress, run_long_job
from dashboard.session.state import get_state
from dashboard.session.text import escape_text, format_faults
from dashboard.widgets.figures import offer_paper
from dashboard.widgets.reading_cards import show_caution, show_glossary
from sim.display_units import format_si
from sim.errors import InputError
from sim.report.lesson import tables as sheet
from sim.teaching import lesson_task
from sim.teaching.adjustments import EXAMPLE_STEPS, Adjustment
from sim.teaching.lesson import Change, Claim, Lesson, PredictQuestion, load_lessons
from sim.teaching.probes import load_sights
from sim.unit.model import ActionUnit

if TYPE_CHECKING:  # takes a while that the page need not wait for
    from sim.report.paper.blocks import Size

KEY_PREFIX = "keep_lesson_"
"""Beginning of the keys under which answers and tries are kept; they stay when the page is left."""
PRESSED = "press"
UNIT_FOLLOWS = re.compile(r"(?<=[0-9]) (?=[A-Za-z%])")

Named = tuple[tuple[Change, ...], str]
"""Changes of a lesson's unit, and what it is called then."""


def show_page() -> None:
    """The page."""
    st.title("Learn the escapement")
    st.markdown(
        "Each lesson has something to read, something to foretell before it is seen, and something to do. Nothing here "
        "can break: turn every screw as often as you like. Answers are judged by the simulation of your own result."
    )
    names = list(load_lessons())
    chosen = st.selectbox("Lesson", names, format_func=_format_list_entry, key=f"{KEY_PREFIX}chosen")
    lesson = load_lessons()[chosen]
    st.header(_format_title(chosen))
    st.markdown(f"*Afterwards you can:* {lesson.afterwards}")
    with st.expander("The parts and their names", expanded=chosen == names[0]):
        for picture, what in results.cache_drawing(("lesson", lesson.scenario), partial(_pictures, lesson.name)):
            st.image(picture, caption=what, alt=what)
    _text(lesson)
    for i, question in enumerate(lesson.prediction_questions):
        _ask_prediction(lesson, question, i)
    _task(lesson)
    progress.show_progress()
    _print(lesson)
    show_glossary()
    show_caution()


def _pictures(name: str) -> tuple[tuple[bytes, str], ...]:
    from sim.report.drawing.figures import render_png
    from sim.report.lesson.paper import draw_pictures

    return tuple((render_png(figure, 100), what) for figure, what in draw_pictures(results.build_lesson_unit(name)))


def _print(lesson: Lesson) -> None:
    inches = get_state().inches

    def made(size: Size) -> bytes:
        from sim.report.lesson.paper import build_lesson_page, make_lesson_pdf

        return make_lesson_pdf(build_lesson_page(lesson, inches), size)

    offer_paper(made, f"lesson-{lesson.name}", "take_lesson", "This lesson as a page to print")


def _format_title(name: str) -> str:
    """Number and title; in the list with a mark where it was done."""
    return f"{list(load_lessons()).index(name) + 1}. {load_lessons()[name].title}"


def _format_list_entry(name: str) -> str:
    done = any(entry.name == name for entry in get_state().progress.lessons)
    return f"{_format_title(name)}{' – done' if done else ''}"


def _text(lesson: Lesson) -> None:
    left, right = st.columns([3, 2], gap="medium")
    with left:
        for part in lesson.parts:
            st.markdown(part.say)
    with right:
        st.markdown("**This unit as it should be** (invented, like all that is shipped)")
        st.markdown(_reads(lesson))
        with st.expander("What the simulation says to each sentence"):
            claims = tuple(c for part in lesson.parts for c in part.claims)
            unit, asked = results.build_lesson_unit(lesson.name), (lesson.name, get_state().inches)
            rows = run_long_job(
                f"claims_{lesson.name}", asked, "Work it out", lambda say: _show_claims(unit, claims, say)
            )
            if rows is not None:
                st.dataframe(
                    pd.DataFrame(rows), hide_index=True, width="stretch", alt="sentences, and what came of each"
                )


def _reads(lesson: Lesson) -> str:
    """Readings of the lesson's unit."""
    names, inches = lesson.look_at, get_state().inches
    seen = results.read_lesson_unit(lesson.name, names)
    return _table(
        ("reading", "value"), [(load_sights()[n].title, lesson_task.format_seen(seen, n, inches)) for n in names]
    )


def _table(heads: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """A table that shows whole however narrow its column, no number parted from its unit."""
    cells = ([UNIT_FOLLOWS.sub("\u00a0", escape_text(cell)) for cell in row] for row in rows)
    return "\n".join(f"| {' | '.join(line)} |" for line in (heads, ["---"] * len(heads), *cells))


def _show_claims(unit: ActionUnit, claims: tuple[Claim, ...], say: Progress) -> list[dict[str, str]]:
    rows = []
    for i, claim in enumerate(claims):
        say(i / len(claims), load_sights()[claim.read].title)
        rows.append(lesson_task.build_claim_row(unit, claim, get_state().inches))
    return rows


def _ask_prediction(lesson: Lesson, question: PredictQuestion, i: int) -> None:
    """A question; what comes is only shown once an answer was given."""
    key = f"{KEY_PREFIX}{lesson.name}_foretell{i}"
    st.subheader("Foretell, then see" if len(lesson.prediction_questions) == 1 else f"Foretell, then see ({i + 1})")
    st.markdown(question.ask)
    if judged := lesson_task.format_answer_rule(question, get_state().inches):
        st.caption(judged)
    said: str | None
    if question.number:
        said = st.text_input(
            "I say", key=f"{key}_say", placeholder=sheet.list_possible_answers(question)[0], max_chars=30
        )
    else:
        label = "I say" if question.words else f"I say: {load_sights()[question.read].title}"
        said = st.radio(label, question.answers, index=None, key=f"{key}_say", horizontal=True)
    st.button("That is what I say", key=f"commit_{key}", on_click=_keep_answer, args=(question, key), disabled=not said)
    if f"{key}_fault" in st.session_state:
        st.error(st.session_state[f"{key}_fault"])
    given = st.session_state.get(f"{key}_given")
    if given is not None:
        _show_prediction_outcome(lesson, question, given, key)


def _keep_answer(question: PredictQuestion, key: str) -> None:
    """Keep what was said, if it is an answer at all."""
    said = st.session_state[f"{key}_say"]
    st.session_state.pop(f"{key}_fault", None)
    try:
        if question.number:
            lesson_task.parse_said_number(question, said)
    except InputError as error:
        st.session_state[f"{key}_fault"] = format_faults("This is no answer; what was said before stays.", error)
        return
    st.session_state[f"{key}_given"] = said


def _show_prediction_outcome(lesson: Lesson, question: PredictQuestion, said: str, key: str) -> None:
    changed = bool(question.change.turns)
    came = results.judge_lesson_prediction(lesson.name, question, said, get_state().inches)
    words = escape_text(sheet.format_prediction_outcome(question, came))
    (st.success if came.right else st.warning)(words)
    after = ((question.given, question.change), "after the change" if changed else "the unit")
    _motion(lesson, after, ((question.given,), "before") if changed else None, question.show, f"motion_{key}")


def _motion(lesson: Lesson, unit: Named, other: Named | None, how: str, key: str) -> None:
    """A unit in motion, another one as its ghost."""
    touch = get_state().touch if how == PRESSED else how
    quick = results.compute_lesson_motion(lesson.name, unit[0], touch, unit[1])
    if quick.stroke is None:
        st.info(f"There is no motion to show: {quick.outcome}. {quick.reason}")
        return
    ghost = results.compute_lesson_motion(lesson.name, other[0], touch, other[1]).stroke if other is not None else None
    show_mechanism(quick.stroke, quick.press, ghost, key=key, inches=get_state().inches, by_hand=how == PRESSED)


def _task(lesson: Lesson) -> None:
    task, key = lesson.task, f"{KEY_PREFIX}{lesson.name}"
    st.subheader("Do it")
    st.markdown(task.say)
    if needs := sheet.format_unit_hint(lesson, get_state().inches):
        st.caption(f"{needs} The buttons turn a little at a time.")
    begin = lesson_task.list_task_adjustments(lesson)
    values = {hand.at: _show_adjustment(lesson, hand, now, f"{key}_hand_{hand.at}") for hand, now in begin.items()}
    left, right = st.columns([1, 3], vertical_alignment="center")
    tried = left.button("Try it", key=f"try_{key}", type="primary", width="stretch", disabled=None in values.values())
    right.caption("Every try begins with the unit as it was handed over, and turns the screws to where you set them.")
    if tried:
        st.session_state[f"{key}_tried"] = {at: v for at, v in values.items() if v is not None}
        st.session_state[f"{key}_count"] = st.session_state.get(f"{key}_count", 0) + 1
        st.session_state.pop(f"{key}_noted", None)
    kept = st.session_state.get(f"{key}_tried")
    if kept is None:
        st.markdown("As it is handed over:")
        _rows(results.judge_lesson_try(lesson.name, (), get_state().inches))
    else:
        _result(lesson, kept, key)


def _show_adjustment(lesson: Lesson, hand: Adjustment, now: float, key: str) -> float | None:
    """One hand's value as typed (SI); where nothing is typed, as it stands.  None where it cannot be read."""
    place = st.container()
    row = st.container(horizontal=True)
    stood = lesson_task.format_adjustment_place(lesson, hand, now, get_state().inches)
    by = format_si(EXAMPLE_STEPS * hand.step, hand.unit, get_state().inches)
    for text, way in (("−", -1), ("+", 1)):
        row.button(f"{text} {by}", key=f"turn_{key}_{way}", on_click=_nudge, args=(hand, now, key, way),
                   help=f"{hand.title}: {'less' if way < 0 else 'more'} by {by}")  # fmt: skip
    typed = place.text_input(f"{hand.title}: {hand.told}", key=key, max_chars=30,
                             placeholder=f"stands {stood}; type a value with its unit")  # fmt: skip
    try:
        return hand.read(typed) if typed.strip() else now
    except InputError as error:
        st.error(format_faults("This cannot be set.", error))
        return None


def _nudge(hand: Adjustment, now: float, key: str, way: int) -> None:
    """A touch less or more of a hand, within what it can be set to."""
    typed = st.session_state[key].strip()
    try:
        value = hand.read(typed) if typed else now
    except InputError:
        return
    wanted = value + way * EXAMPLE_STEPS * hand.step
    if hand.low <= wanted <= hand.high:
        st.session_state[key] = format_si(wanted, hand.unit, get_state().inches)


def _result(lesson: Lesson, values: dict[str, float], key: str) -> None:
    inches = get_state().inches
    result = results.judge_lesson_try(lesson.name, tuple(values.items()), inches)
    (st.success if result.done else st.warning)(escape_text(sheet.format_verdict(result)))
    count = st.session_state.get(f"{key}_count", 1)
    if result.done and not st.session_state.get(f"{key}_noted"):
        st.session_state[f"{key}_noted"] = True
        progress.record_lesson(lesson.name, count)
    _rows(result)
    st.caption(f"Tries so far: {count}")
    start, yours = lesson.task.start, Change(tuple((at, v, False) for at, v in values.items()))
    _motion(lesson, ((start, yours), "yours"), ((start,), "as it was handed over"), lesson.task.show, f"motion_{key}")


def _rows(result: lesson_task.TaskResult) -> None:
    rows = [(r.wanted.sight.title, r.asked, r.seen, "met" if r.met else "not met") for r in result.rows]
    st.markdown(_table(("reading", "wanted", "is", "so"), rows))
