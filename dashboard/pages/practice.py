"""Find the hidden fault: readings one at a time, each with its cost; name the cause, mend it, be marked."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING

import pandas as pd
import streamlit as st

from dashboard.components.mechanism import show_mechanism
from dashboard.session import progress, results
from dashboard.session.long_jobs import Progress, run_long_job
from dashboard.session.state import get_state
from dashboard.session.text import escape_text, format_faults
from dashboard.session.work import Work
from dashboard.widgets.figures import offer_paper
from dashboard.widgets.reading_cards import show_caution, show_glossary
from sim.errors import InputError
from sim.regulation.duration_text import format_bench_time
from sim.report import practice as sheet
from sim.scenario.shipped import list_shipped_scenarios
from sim.teaching import exercise_files
from sim.teaching.cheapest_path import CheapestPath, find_cheapest_path
from sim.teaching.complaint import choose_complaint
from sim.teaching.exercise import LARGEST_SEED, LEVELS, USUAL_SCENARIO, Exercise, draw_exercise, prepare_bench
from sim.teaching.known_readings import KnownReadings
from sim.teaching.mark import Mark, mark_attempt
from sim.teaching.practice import Attempt, Move, make_repair, name_cause, take_reading

if TYPE_CHECKING:  # takes a while that the page need not wait for
    from sim.report.paper.blocks import Size

ATTEMPTS, FAULT, OWN_KEY = "attempts_practice", "fault_practice", "own_practice"
DRAWN, FILE = "drawn by level and number", "from a file"
READ_IN = {False: "in", True: "out"}


def show_page() -> None:
    """The page."""
    st.title("Find the hidden fault")
    st.markdown(
        "A note with something hidden in it that is wrong. Take readings one at a time: each costs its minutes, the "
        "first ones too. Name the cause, mend it with the right hand, read again if you like, and hand in. The "
        "scenario tells what the note should read; from level 2 on the unit differs from it as healthy ones do."
    )
    e = _choose_exercise()
    if e is None:
        return
    try:
        with st.spinner("Hiding it"):
            prepare_bench(e)
    except InputError as error:
        st.error(format_faults("This exercise cannot be set.", error))
        return
    a = _attempt(e)
    st.info(escape_text(f"The owner says: “{choose_complaint(e)}”"))
    st.markdown(escape_text(sheet.format_task(a)))
    if a.named:
        _notebook(a)
        _show_mark(a, mark_attempt(a, inches=get_state().inches))
    else:
        _moves(a)
        _notebook(a)
        _submit(a)
    progress.show_progress()
    show_glossary()
    show_caution()


def _choose_exercise() -> Exercise | None:
    """The exercise, by level and number or from a file."""
    kind = st.selectbox(
        "Exercise", [DRAWN, *exercise_files.list_exercises(), FILE], key="keep_prac_kind", format_func=_format_title
    )
    if kind == DRAWN:
        return _draw_exercise()
    if kind != FILE:
        return exercise_files.load_exercise(kind)
    st.file_uploader("An exercise (TOML)", key="exercise_up", on_change=_load_exercise, max_upload_size=1)
    st.download_button(
        "One to begin from (TOML)",
        exercise_files.format_blank_exercise(),
        "exercise.toml",
        "application/toml",
        key="blank_ex",
    )
    if FILE in get_state().faults:
        st.error(get_state().faults[FILE])
    own = st.session_state.get(OWN_KEY)
    return own if isinstance(own, Exercise) else None


@st.cache_data
def _format_title(kind: str) -> str:
    return kind if kind in (DRAWN, FILE) else f"{exercise_files.load_exercise(kind).title} (invented)"


def _draw_exercise() -> Exercise | None:
    left, middle, right = st.columns(3)
    level = left.selectbox("Level", list(LEVELS), key="keep_prac_level", format_func=lambda n: f"{n}: {LEVELS[n].told}")
    seed = middle.number_input(
        "Number",
        0,
        LARGEST_SEED,
        1,
        key="keep_prac_seed",
        help="the same level and number make the same exercise, anywhere",
    )
    names = [USUAL_SCENARIO, *(n for n in list_shipped_scenarios() if n != USUAL_SCENARIO)]
    scenario = right.selectbox("Scenario", names, key="keep_prac_scenario", help="shipped ones, all invented")
    e = draw_exercise(level, int(seed), scenario)
    st.caption(f"To share it: exercise {e.code}.")
    return e


def _load_exercise() -> None:
    s, file = get_state(), st.session_state["exercise_up"]
    if file is None:
        return
    try:
        st.session_state[OWN_KEY] = exercise_files.load_exercise_upload(file.name, file.getvalue())
        s.faults.pop(FILE, None)
    except InputError as error:
        st.session_state.pop(OWN_KEY, None)
        s.faults[FILE] = format_faults("This exercise was not taken.", error)


def _attempt(e: Exercise) -> Attempt:
    found = st.session_state.setdefault(ATTEMPTS, {}).setdefault(e, Attempt(e))
    assert isinstance(found, Attempt)
    return found


def _make(e: Exercise, *moves: Move) -> None:
    """One move more, or why not."""
    st.session_state.pop(FAULT, None)
    try:
        st.session_state[ATTEMPTS][e] = _attempt(e).then(*moves)
    except InputError as error:
        st.session_state[FAULT] = format_faults("This was not done.", error)


def _moves(a: Attempt) -> None:
    reading, mending = st.columns(2, gap="medium")
    with reading:
        st.subheader("Read")
        name = st.selectbox("Reading", list(a.tests), key="keep_prac_take", format_func=partial(_describe_reading, a))
        st.caption(f"{_sentence(a.tests[name].how)} {_sentence(sheet.format_where(a.tests[name]))}")
        st.button("Take it", key="do_take", type="primary", on_click=_make, args=(a.exercise, take_reading(name)))
    with mending:
        st.subheader("Mend")
        at = st.selectbox(
            "Hand", list(a.adjustments), key="keep_prac_hand", format_func=partial(_describe_adjustment, a)
        )
        hand = a.adjustments[at]
        right = sheet.format_right_adjustment(a, hand, get_state().inches)
        st.caption(f"{_sentence(hand.told)}{f' As it should be: {right}.' if right else ''}")
        st.text_input(
            "To" if right else "By",
            key="keep_prac_value",
            placeholder=sheet.format_reach(hand, get_state().inches),
            max_chars=30,
        )
        st.button("Do it", key="do_mend", on_click=_make_repair, args=(a.exercise, at))
        if hand.caution:
            st.caption("Mind the cautions at the foot of this page.")
    if FAULT in st.session_state:
        st.error(st.session_state[FAULT])


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}."


def _describe_reading(a: Attempt, name: str) -> str:
    test = a.tests[name]
    return f"{test.title}: {format_bench_time(a.cost(take_reading(name)))}, {sheet.WHERE[test.out]}"


def _describe_adjustment(a: Attempt, at: str) -> str:
    return f"{a.adjustments[at].title}: {format_bench_time(a.adjustments[at].seconds)}"


def _make_repair(e: Exercise, at: str) -> None:
    typed = st.session_state["keep_prac_value"].strip()
    try:
        move = make_repair(at, typed)
    except InputError as error:
        st.session_state[FAULT] = format_faults("This was not done.", error)
        return
    _make(e, move)
    if FAULT not in st.session_state:
        st.session_state["keep_prac_value"] = ""


def _notebook(a: Attempt) -> None:
    st.subheader(f"Notebook: {format_bench_time(a.seconds)}")
    if not a.lines:
        st.caption("Nothing has been read yet.")
        return
    rows = pd.DataFrame(sheet.build_notebook_rows(a, get_state().inches))
    st.dataframe(rows, hide_index=True, width="stretch", alt="what was read and done, and what each took")
    st.caption(f"The action is {READ_IN[a.out]}. A reading in the action puts it back; taking it out costs again.")


def _submit(a: Attempt) -> None:
    st.subheader("Name it")
    left, right = st.columns([3, 1], vertical_alignment="bottom")
    count = a.exercise.count
    names = left.multiselect(
        "Cause" if count == 1 else "Causes, both", list(a.causes), key="keep_prac_cause", max_selections=count,
        format_func=a.causes.__getitem__,
    )  # fmt: skip
    right.button(
        "Hand in", key="hand_in", disabled=len(names) != count, on_click=_finish, args=(a.exercise, tuple(names)),
        width="stretch",
    )  # fmt: skip
    st.button("Begin again", key="prac_again", disabled=not a.moves, on_click=_again, args=(a.exercise,))


def _finish(e: Exercise, names: tuple[str, ...]) -> None:
    _make(e, *map(name_cause, names))
    mark = mark_attempt(_attempt(e))
    progress.record_exercise(e.name, e.code, mark.passed, mark.cost, mark.allowed)


def _again(e: Exercise) -> None:
    st.session_state[ATTEMPTS].pop(e, None)
    st.session_state.pop(FAULT, None)
    st.session_state["keep_prac_cause"] = []


def _show_mark(a: Attempt, mark: Mark) -> None:
    st.subheader("The mark")
    (st.success if mark.passed else st.warning)("Passed." if mark.passed else "Not passed yet.")
    for row in mark.rows:
        st.markdown(f"- **{row.what}**: {'right' if row.passed else 'not right'}. {escape_text(row.words)}")
    st.markdown(escape_text(f"Hidden was: {'; '.join(mark.truth)}."))
    st.button("Begin again", key="prac_again", on_click=_again, args=(a.exercise,))
    path = run_long_job("path", a.exercise, "What would have been cheapest?", partial(_cheapest, a.exercise))
    for line in sheet.format_path_lines(path, a):
        st.markdown(escape_text(line))
    _print(a, replace(mark, path=path))
    _motion(a.exercise)


def _print(a: Attempt, mark: Mark) -> None:
    """The mark sheet; the cheapest path stands on it once it was asked for."""
    inches = get_state().inches

    def made(size: Size) -> bytes:
        from sim.report.lesson.paper import build_mark_page, make_mark_pdf

        return make_mark_pdf(build_mark_page(a, mark, inches), size)

    offer_paper(made, f"mark-{a.exercise.code or 'exercise'}".replace("@", "-"), "take_mark", "The mark sheet to print")


def _cheapest(e: Exercise, say: Progress) -> CheapestPath:
    cells = results.compute_fault_library(Work(e.scenario), say, lambda rough: None)
    say(1.0, "sets of readings")
    return find_cheapest_path(e, KnownReadings(cells))


def _motion(e: Exercise) -> None:
    """What was hidden in motion, the unit as it was before as its ghost."""
    s = get_state()
    st.subheader("The fault in motion")
    spoilt, well = results.compute_hidden_motion(e, s.touch)
    if spoilt.stroke is None:
        st.info(f"There is no motion to show: {spoilt.outcome}. {spoilt.reason}")
        return
    st.caption(f"The same unit before it was spoiled is drawn as a ghost. Played: {s.touch}.")
    show_mechanism(spoilt.stroke, spoilt.press, well.stroke, key="hidden", inches=s.inches)
