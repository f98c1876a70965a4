"""Learn the escapement: a lesson's text, what will happen foretold and then seen, a task done with one's own hands."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from functools import partial
from typing import TYPE_CHECKING

import pandas as pd
import streamlit as st

from dashboard.components.mechanism import mechanism
from dashboard.session import progress, results
from dashboard.session.long_jobs import Progress, long_job
from dashboard.session.state import state
from dashboard.session.text import harmless, told
from dashboard.widgets.figures import paper_later
from dashboard.widgets.reading_cards import caution, glossary
from sim.display_units import format_si
from sim.errors import InputError
from sim.report.lesson import tables as sheet
from sim.teaching import lesson_task
from sim.teaching.adjustments import A_LITTLE, Hand
from sim.teaching.lesson import Change, Claim, Foretell, Lesson, lessons
from sim.teaching.probes import sights
from sim.unit.model import ActionUnit

if TYPE_CHECKING:  # takes a while that the page need not wait for
    from sim.report.paper.blocks import Size

MINE = "lesson_"
"""Beginning of the keys under which answers and tries are kept; they stay when the page is left."""
PRESSED = "press"
UNIT_FOLLOWS = re.compile(r"(?<=[0-9]) (?=[A-Za-z%])")

Named = tuple[tuple[Change, ...], str]
"""Changes of a lesson's unit, and what it is called then."""


def show() -> None:
    """The page."""
    st.title("Learn the escapement")
    st.markdown(
        "Each lesson has something to read, something to foretell before it is seen, and something to do. Nothing here "
        "can break: turn every screw as often as you like. Answers are judged by the simulation of your own result."
    )
    names = list(lessons())
    chosen = st.selectbox("Lesson", names, format_func=_listed, key=f"{MINE}chosen")
    lesson = lessons()[chosen]
    st.header(_titled(chosen))
    st.markdown(f"*Afterwards you can:* {lesson.afterwards}")
    with st.expander("The parts and their names", expanded=chosen == names[0]):
        for picture, what in results.drawn(("lesson", lesson.scenario), partial(_pictures, lesson.name)):
            st.image(picture, caption=what, alt=what)
    _text(lesson)
    for i, question in enumerate(lesson.foretell):
        _foretell(lesson, question, i)
    _task(lesson)
    progress.show()
    _print(lesson)
    glossary()
    caution()


def _pictures(name: str) -> tuple[tuple[bytes, str], ...]:
    from sim.report.drawing.figures import png
    from sim.report.lesson.paper import drawn

    return tuple((png(figure, 100), what) for figure, what in drawn(results.lesson_unit(name)))


def _print(lesson: Lesson) -> None:
    inches = state().inches

    def made(size: Size) -> bytes:
        from sim.report.lesson.paper import lesson_page, page_of

        return lesson_page(page_of(lesson, inches), size)

    paper_later(made, f"lesson-{lesson.name}", "take_lesson", "This lesson as a page to print")


def _titled(name: str) -> str:
    """Number and title; in the list with a mark where it was done."""
    return f"{list(lessons()).index(name) + 1}. {lessons()[name].title}"


def _listed(name: str) -> str:
    done = any(entry.name == name for entry in state().progress.lessons)
    return f"{_titled(name)}{' – done' if done else ''}"


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
            unit, asked = results.lesson_unit(lesson.name), (lesson.name, state().inches)
            rows = long_job(f"claims_{lesson.name}", asked, "Work it out", lambda say: _said(unit, claims, say))
            if rows is not None:
                st.dataframe(
                    pd.DataFrame(rows), hide_index=True, width="stretch", alt="sentences, and what came of each"
                )


def _reads(lesson: Lesson) -> str:
    """Readings of the lesson's unit."""
    names, inches = lesson.look_at, state().inches
    seen = results.lesson_seen(lesson.name, names)
    return _table(("reading", "value"), [(sights()[n].title, lesson_task.told(seen, n, inches)) for n in names])


def _table(heads: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """A table that shows whole however narrow its column, no number parted from its unit."""
    cells = ([UNIT_FOLLOWS.sub("\u00a0", harmless(cell)) for cell in row] for row in rows)
    return "\n".join(f"| {' | '.join(line)} |" for line in (heads, ["---"] * len(heads), *cells))


def _said(unit: ActionUnit, claims: tuple[Claim, ...], say: Progress) -> list[dict[str, str]]:
    rows = []
    for i, claim in enumerate(claims):
        say(i / len(claims), sights()[claim.read].title)
        rows.append(lesson_task.checked(unit, claim, state().inches))
    return rows


def _foretell(lesson: Lesson, question: Foretell, i: int) -> None:
    """A question; what comes is only shown once an answer was given."""
    key = f"{MINE}{lesson.name}_foretell{i}"
    st.subheader("Foretell, then see" if len(lesson.foretell) == 1 else f"Foretell, then see ({i + 1})")
    st.markdown(question.ask)
    if judged := lesson_task.judged(question, state().inches):
        st.caption(judged)
    said: str | None
    if question.number:
        said = st.text_input("I say", key=f"{key}_say", placeholder=sheet.possible(question)[0], max_chars=30)
    else:
        label = "I say" if question.words else f"I say: {sights()[question.read].title}"
        said = st.radio(label, question.answers, index=None, key=f"{key}_say", horizontal=True)
    st.button("That is what I say", key=f"commit_{key}", on_click=_commit, args=(question, key), disabled=not said)
    if f"{key}_fault" in st.session_state:
        st.error(st.session_state[f"{key}_fault"])
    given = st.session_state.get(f"{key}_given")
    if given is not None:
        _came(lesson, question, given, key)


def _commit(question: Foretell, key: str) -> None:
    """Keep what was said, if it is an answer at all."""
    said = st.session_state[f"{key}_say"]
    st.session_state.pop(f"{key}_fault", None)
    try:
        if question.number:
            lesson_task.said_number(question, said)
    except InputError as error:
        st.session_state[f"{key}_fault"] = told("This is no answer; what was said before stays.", error)
        return
    st.session_state[f"{key}_given"] = said


def _came(lesson: Lesson, question: Foretell, said: str, key: str) -> None:
    changed = bool(question.change.turns)
    came = results.lesson_foretold(lesson.name, question, said, state().inches)
    words = harmless(sheet.came(question, came))
    (st.success if came.right else st.warning)(words)
    after = ((question.given, question.change), "after the change" if changed else "the unit")
    _motion(lesson, after, ((question.given,), "before") if changed else None, question.show, f"motion_{key}")


def _motion(lesson: Lesson, unit: Named, other: Named | None, how: str, key: str) -> None:
    """A unit in motion, another one as its ghost."""
    touch = state().touch if how == PRESSED else how
    quick = results.in_lesson(lesson.name, unit[0], touch, unit[1])
    if quick.stroke is None:
        st.info(f"There is no motion to show: {quick.outcome}. {quick.reason}")
        return
    ghost = results.in_lesson(lesson.name, other[0], touch, other[1]).stroke if other is not None else None
    mechanism(quick.stroke, quick.press, ghost, key=key, inches=state().inches, by_hand=how == PRESSED)


def _task(lesson: Lesson) -> None:
    task, key = lesson.task, f"{MINE}{lesson.name}"
    st.subheader("Do it")
    st.markdown(task.say)
    if needs := sheet.needs_unit(lesson, state().inches):
        st.caption(f"{needs} The buttons turn a little at a time.")
    begin = lesson_task.hands_of(lesson)
    values = {hand.at: _hand(lesson, hand, now, f"{key}_hand_{hand.at}") for hand, now in begin.items()}
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
        _rows(results.lesson_result(lesson.name, (), state().inches))
    else:
        _result(lesson, kept, key)


def _hand(lesson: Lesson, hand: Hand, now: float, key: str) -> float | None:
    """One hand's value as typed (SI); where nothing is typed, as it stands.  None where it cannot be read."""
    place = st.container()
    row = st.container(horizontal=True)
    stood = lesson_task.stands(lesson, hand, now, state().inches)
    by = format_si(A_LITTLE * hand.step, hand.unit, state().inches)
    for text, way in (("−", -1), ("+", 1)):
        row.button(f"{text} {by}", key=f"turn_{key}_{way}", on_click=_nudge, args=(hand, now, key, way),
                   help=f"{hand.title}: {'less' if way < 0 else 'more'} by {by}")  # fmt: skip
    typed = place.text_input(f"{hand.title}: {hand.told}", key=key, max_chars=30,
                             placeholder=f"stands {stood}; type a value with its unit")  # fmt: skip
    try:
        return hand.read(typed) if typed.strip() else now
    except InputError as error:
        st.error(told("This cannot be set.", error))
        return None


def _nudge(hand: Hand, now: float, key: str, way: int) -> None:
    """A touch less or more of a hand, within what it can be set to."""
    typed = st.session_state[key].strip()
    try:
        value = hand.read(typed) if typed else now
    except InputError:
        return
    wanted = value + way * A_LITTLE * hand.step
    if hand.low <= wanted <= hand.high:
        st.session_state[key] = format_si(wanted, hand.unit, state().inches)


def _result(lesson: Lesson, values: dict[str, float], key: str) -> None:
    inches = state().inches
    result = results.lesson_result(lesson.name, tuple(values.items()), inches)
    (st.success if result.done else st.warning)(harmless(sheet.verdict(result)))
    count = st.session_state.get(f"{key}_count", 1)
    if result.done and not st.session_state.get(f"{key}_noted"):
        st.session_state[f"{key}_noted"] = True
        progress.done_lesson(lesson.name, count)
    _rows(result)
    st.caption(f"Tries so far: {count}")
    start, yours = lesson.task.start, Change(tuple((at, v, False) for at, v in values.items()))
    _motion(lesson, ((start, yours), "yours"), ((start,), "as it was handed over"), lesson.task.show, f"motion_{key}")


def _rows(result: lesson_task.Result) -> None:
    rows = [(r.wanted.sight.title, r.asked, r.seen, "met" if r.met else "not met") for r in result.rows]
    st.markdown(_table(("reading", "wanted", "is", "so"), rows))
