"""Regulate a rough unit: one thing at a time in any order, beside the orders of work."""

from __future__ import annotations

import shlex
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import pandas as pd
import streamlit as st

from dashboard.session import progress, results
from dashboard.session.long_jobs import long_job, same_bench
from dashboard.session.state import state
from dashboard.session.text import harmless, told
from dashboard.session.work import Work
from dashboard.widgets.figures import kept_figure, paper_later
from dashboard.widgets.reading_cards import caution, glossary, target
from sim.errors import InputError
from sim.regulation.bench_minutes import minutes
from sim.regulation.targets import asked
from sim.report import rough as sheet
from sim.report.formats import frames
from sim.teaching import rough as lesson
from sim.teaching.exercise import LARGEST_SEED
from sim.teaching.rough import SET, Line, Path

if TYPE_CHECKING:  # takes a while that the page need not wait for
    from sim.report.paper.blocks import Size

PATH, NOTED, FAULT = "path_rough", "noted_rough", "step_rough"
WAYS = [f"{t} by {by}" if i else t for t in SET for i, by in enumerate(lesson.BY.get(t, ("",)))]
"""What can be set, the usual way of it without a word."""


def show() -> None:
    """The page."""
    work = state().work
    st.title("Regulate a rough unit")
    st.markdown(
        "The unit on the bench, put together roughly: every screw, stop and paper and the spring are off. Set one "
        "thing at a time, in any order, until every reading is right. Each step takes its minutes and disturbs others."
    )
    seed = int(st.number_input("Rough unit number", 0, LARGEST_SEED, 3, key="rough_seed", help="the same number makes "
                               "the same rough unit, here and elsewhere"))  # fmt: skip
    try:
        begun = _begun(work, seed)
    except InputError as error:
        st.error(told("This unit cannot be put together roughly.", error))
        return
    _reading_table(begun)
    _step(begun)
    mine = _path()
    if mine.lines:
        _last(mine.lines[-1])
    if mine.finished:
        st.success(
            f"Every reading is right after {len(mine.lines)} steps and {minutes(mine.seconds)}; "
            f"{mine.rework} of them set something again."
        )
    if mine.lines:
        _so_far(work, mine)
    _beside(work, mine)
    progress.show()
    glossary()
    caution()


def _begun(work: Work, seed: int) -> Path:
    """The path as it stands; a new one where another unit lies on the bench.  Raises InputError."""
    key = same_bench(work, seed)
    if PATH not in st.session_state or st.session_state[PATH][0] != key:
        with st.spinner("Putting it together"):
            st.session_state[PATH] = key, Path(lesson.rough(results.unit_of(work), seed))
        st.session_state.pop(FAULT, None)
    return _path()


def _path() -> Path:
    found = st.session_state[PATH][1]
    assert isinstance(found, Path)
    return found


def _put(mine: Path) -> None:
    st.session_state[PATH] = st.session_state[PATH][0], mine


def _reading_table(mine: Path) -> None:
    rows = pd.DataFrame(sheet.asked_rows(mine, state().inches), columns=["reading", "should be", "within", "is", ""])
    rows = rows[["reading", "is", "", "should be", "within"]]  # the first ones show on a narrow screen
    st.dataframe(rows, width="stretch", hide_index=True, alt="what each reading should be, and what it is now")


def _step(mine: Path) -> None:
    left, right = st.columns(2)
    what = left.selectbox("What to set", WAYS, key="rough_what", format_func=_way)
    name = lesson.step_of(what).sets[0]
    right.text_input(
        "To", key="rough_to", placeholder=target(name, mine.rough.targets[name]), max_chars=30,
        help="with its unit; nothing: what it should be",
    )  # fmt: skip
    hand = lesson.hand_of(lesson.step_of(what))
    st.caption(f"Worked on: {hand.title}, {minutes(lesson.cost(lesson.step_of(what)))} with one reading of it.")
    if FAULT in st.session_state:
        st.error(st.session_state[FAULT])
    do, back, again = st.columns(3)
    do.button("Set it", on_click=_do, key="do_rough", type="primary", disabled=mine.finished, width="stretch")
    back.button("One step back", on_click=_back, key="back_rough", disabled=not mine.lines, width="stretch")
    again.button("Begin again", on_click=_anew, key="anew_rough", disabled=not mine.lines, width="stretch")


def _way(what: str) -> str:
    made = lesson.step_of(what)
    return f"{sheet.named(made.sets[0])}, {lesson.hand_of(made).title}"


def _do() -> None:
    """One step more, as it was chosen and typed."""
    mine, what, typed = _path(), st.session_state["rough_what"], st.session_state["rough_to"].strip()
    st.session_state.pop(FAULT, None)
    made = lesson.step_of(what)
    try:
        value = asked(made.sets[0], typed, "step") if typed else None
        mine = mine.then(lesson.step(made.sets[0], made.by, value))
    except InputError as error:
        st.session_state[FAULT] = told("This step was not done.", error)
        return
    st.session_state["rough_to"] = ""
    _put(mine)
    if mine.finished and st.session_state.get(NOTED) != st.session_state[PATH][0]:
        st.session_state[NOTED] = st.session_state[PATH][0]
        progress.done_rough(state().work.base, mine.rough.seed, len(mine.lines), mine.seconds, mine.rework)


def _back() -> None:
    _put(_path().back())


def _anew() -> None:
    _put(Path(_path().rough))
    st.session_state.pop(NOTED, None)


def _last(line: Line) -> None:
    """What the last step came to."""
    done, inches = line.done, state().inches
    came = ", ".join(f"{sheet.named(t)} {target(t, done.readings.get(t))}" for t in done.step.sets)
    if done.reached:
        st.info(f"{done.step.say}: {came}. It also moved: {sheet.upset(line, inches)}.")
    else:
        turned = "" if line.why == lesson.UNSEEN else " What was turned stays turned."
        st.error(harmless(f"{done.step.say}: not reached. {line.why.capitalize()}.{turned}"))
    if line.spoilt:
        st.warning(f"This step undid what was right: {', '.join(map(sheet.named, line.spoilt))}.")


def _so_far(work: Work, mine: Path) -> None:
    heads = ["step", "what", "asked", "comes to", "time", "remarks"]
    rows = pd.DataFrame(sheet.step_rows(mine, state().inches), columns=heads)
    st.subheader(f"Your path: {len(mine.lines)} steps, {minutes(mine.seconds)}")
    st.dataframe(rows, width="stretch", hide_index=True, alt="the steps done, with time and what each undid")
    key = same_bench(work, mine.rough.seed, mine.steps)
    kept_figure(key, lambda: sheet.draw_readings(mine), "path_readings", sheet.told_readings(mine))
    if not (work.text or work.edits or work.turned):
        typed = [word for made in mine.steps for word in ("--do", lesson.as_typed(made))]
        st.caption("The same path on the command line:")
        words = ["python", "-m", "sim", "rough", work.base, "--seed", str(mine.rough.seed), *typed]
        st.code(shlex.join(words), language=None, wrap_lines=True)


def _beside(work: Work, mine: Path) -> None:
    """The orders of work on the same rough unit."""
    st.subheader("Beside the orders of work")
    st.caption(f"{sheet.COUNTED} {sheet.INVENTED}")
    orders = long_job(
        "orders_rough", same_bench(work, mine.rough.seed), "Follow the orders of work",
        lambda say: lesson.all_followed(mine.rough, say),
    )  # fmt: skip
    if mine.lines:
        _sheet(mine, orders or ())
    if orders is None:
        return
    paths = [*([mine] if mine.lines else []), *orders]
    heads = ["way", "steps", "time", "set again", "undone", "came to"]
    rows = pd.DataFrame(sheet.way_rows(paths), columns=heads)
    st.dataframe(rows, width="stretch", hide_index=True, alt="steps, time and rework of each way")
    key = same_bench(work, mine.rough.seed, mine.steps)
    kept_figure(key, lambda: sheet.draw_times(paths), "path_times", sheet.told_times(paths))
    st.download_button("The paths (CSV)", frames.csv(_all_steps(paths)), "paths.csv", "text/csv", key="paths_csv")


def _sheet(mine: Path, orders: Sequence[Path]) -> None:
    """It all as a sheet of paper, made when it is asked for."""

    def made(size: Size) -> bytes:
        from sim.report.lesson.paper import path_sheet

        return path_sheet(mine, orders, size, inches=state().inches)

    paper_later(made, f"rough-{mine.rough.seed}", "sheet_rough")


def _all_steps(paths: Sequence[Path]) -> pd.DataFrame:
    rows: list[dict[str, Any]] = [
        dict(zip(("way", "step", "what", "asked", "comes to", "time", "remarks"), (p.title, *row), strict=True))
        for p in paths
        for row in sheet.step_rows(p, state().inches)
    ]
    return pd.DataFrame(rows)
