"""Regulate a rough unit: one thing at a time in any order, beside the orders of work."""

from __future__ import annotations

import shlex
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import pandas as pd
import streamlit as st

from dashboard.session import progress, results
from dashboard.session.long_jobs import make_cache_key, run_long_job
from dashboard.session.state import get_state
from dashboard.session.text import escape_text, format_faults
from dashboard.session.work import Work
from dashboard.widgets.figures import offer_paper, show_cached_figure
from dashboard.widgets.reading_cards import format_target_value, show_caution, show_glossary
from sim.errors import InputError
from sim.regulation.duration_text import format_bench_time
from sim.regulation.targets import parse_target
from sim.report import rough as sheet
from sim.report.formats import frames
from sim.teaching import rough as lesson
from sim.teaching.exercise import LARGEST_SEED
from sim.teaching.rough import PATH_TARGETS, PathLine, RegulationPath

if TYPE_CHECKING:  # takes a while that the page need not wait for
    from sim.report.paper.blocks import Size

PATH, NOTED_KEY, FAULT = "path_rough", "noted_rough", "step_rough"
WAYS = [
    f"{t} by {by}" if i else t for t in PATH_TARGETS for i, by in enumerate(lesson.ALTERNATIVE_TARGETS.get(t, ("",)))
]
"""What can be set, the usual way of it without a word."""


def show_page() -> None:
    """The page."""
    work = get_state().work
    st.title("Regulate a rough unit")
    st.markdown(
        "The unit on the bench, put together roughly: every screw, stop and paper and the spring are off. Set one "
        "thing at a time, in any order, until every reading is right. Each step takes its minutes and disturbs others."
    )
    seed = int(
        st.number_input(
            "Rough unit number",
            0,
            LARGEST_SEED,
            3,
            key="keep_rough_seed",
            help="the same number makes the same rough unit, here and elsewhere",
        )
    )
    try:
        begun = _start_path(work, seed)
    except InputError as error:
        st.error(format_faults("This unit cannot be put together roughly.", error))
        return
    _reading_table(begun)
    _step(begun)
    mine = _path()
    if mine.lines:
        _show_last_step(mine.lines[-1])
    if mine.finished:
        st.success(
            f"Every reading is right after {len(mine.lines)} steps and {format_bench_time(mine.seconds)}; "
            f"{mine.rework} of them set something again."
        )
    if mine.lines:
        _show_path(work, mine)
    _show_orders(work, mine)
    progress.show_progress()
    show_glossary()
    show_caution()


def _start_path(work: Work, seed: int) -> RegulationPath:
    """The path as it stands; a new one where another unit lies on the bench.  Raises InputError."""
    key = make_cache_key(work, seed)
    if PATH not in st.session_state or st.session_state[PATH][0] != key:
        with st.spinner("Putting it together"):
            st.session_state[PATH] = key, RegulationPath(lesson.draw_rough_unit(results.get_unit(work), seed))
        st.session_state.pop(FAULT, None)
    return _path()


def _path() -> RegulationPath:
    found = st.session_state[PATH][1]
    assert isinstance(found, RegulationPath)
    return found


def _store_path(mine: RegulationPath) -> None:
    st.session_state[PATH] = st.session_state[PATH][0], mine


def _reading_table(mine: RegulationPath) -> None:
    rows = pd.DataFrame(
        sheet.build_asked_rows(mine, get_state().inches), columns=["reading", "should be", "within", "is", ""]
    )
    rows = rows[["reading", "is", "", "should be", "within"]]  # the first ones show on a narrow screen
    st.dataframe(rows, width="stretch", hide_index=True, alt="what each reading should be, and what it is now")


def _step(mine: RegulationPath) -> None:
    left, right = st.columns(2)
    what = left.selectbox("What to set", WAYS, key="keep_rough_what", format_func=_format_way)
    name = lesson.parse_step(what).sets[0]
    right.text_input(
        "To", key="keep_rough_to", placeholder=format_target_value(name, mine.rough.targets[name]), max_chars=30,
        help="with its unit; nothing: what it should be",
    )  # fmt: skip
    hand = lesson.get_adjustment(lesson.parse_step(what))
    st.caption(
        f"Worked on: {hand.title}, {format_bench_time(lesson.compute_step_cost(lesson.parse_step(what)))} with "
        f"one reading of it."
    )
    if FAULT in st.session_state:
        st.error(st.session_state[FAULT])
    do, back, again = st.columns(3)
    do.button("Set it", on_click=_do_step, key="do_rough", type="primary", disabled=mine.finished, width="stretch")
    back.button("One step back", on_click=_undo_step, key="back_rough", disabled=not mine.lines, width="stretch")
    again.button("Begin again", on_click=_start_again, key="anew_rough", disabled=not mine.lines, width="stretch")


def _format_way(what: str) -> str:
    made = lesson.parse_step(what)
    return f"{sheet.format_target_name(made.sets[0])}, {lesson.get_adjustment(made).title}"


def _do_step() -> None:
    """One step more, as it was chosen and typed."""
    mine, what, typed = _path(), st.session_state["keep_rough_what"], st.session_state["keep_rough_to"].strip()
    st.session_state.pop(FAULT, None)
    made = lesson.parse_step(what)
    try:
        value = parse_target(made.sets[0], typed, "step") if typed else None
        mine = mine.then(lesson.make_step(made.sets[0], made.by, value))
    except InputError as error:
        st.session_state[FAULT] = format_faults("This step was not done.", error)
        return
    st.session_state["keep_rough_to"] = ""
    _store_path(mine)
    if mine.finished and st.session_state.get(NOTED_KEY) != st.session_state[PATH][0]:
        st.session_state[NOTED_KEY] = st.session_state[PATH][0]
        progress.record_rough_unit(get_state().work.base, mine.rough.seed, len(mine.lines), mine.seconds, mine.rework)


def _undo_step() -> None:
    _store_path(_path().back())


def _start_again() -> None:
    _store_path(RegulationPath(_path().rough))
    st.session_state.pop(NOTED_KEY, None)


def _show_last_step(line: PathLine) -> None:
    """What the last step came to."""
    done, inches = line.done, get_state().inches
    came = ", ".join(
        f"{sheet.format_target_name(t)} {format_target_value(t, done.readings.get(t))}" for t in done.step.sets
    )
    if done.reached:
        st.info(f"{done.step.say}: {came}. It also moved: {sheet.format_upset(line, inches)}.")
    else:
        turned = "" if line.why == lesson.RISE_UNSEEN else " What was turned stays turned."
        st.error(escape_text(f"{done.step.say}: not reached. {line.why.capitalize()}.{turned}"))
    if line.spoilt:
        st.warning(f"This step undid what was right: {', '.join(map(sheet.format_target_name, line.spoilt))}.")


def _show_path(work: Work, mine: RegulationPath) -> None:
    heads = ["step", "what", "asked", "comes to", "time", "remarks"]
    rows = pd.DataFrame(sheet.build_path_rows(mine, get_state().inches), columns=heads)
    st.subheader(f"Your path: {len(mine.lines)} steps, {format_bench_time(mine.seconds)}")
    st.dataframe(rows, width="stretch", hide_index=True, alt="the steps done, with time and what each undid")
    key = make_cache_key(work, mine.rough.seed, mine.steps)
    show_cached_figure(key, lambda: sheet.draw_readings(mine), "path_readings", sheet.describe_readings_figure(mine))
    if not (work.text or work.edits or work.turned):
        typed = [word for made in mine.steps for word in ("--do", lesson.format_step(made))]
        st.caption("The same path on the command line:")
        words = ["python", "-m", "sim", "rough", work.base, "--seed", str(mine.rough.seed), *typed]
        st.code(shlex.join(words), language=None, wrap_lines=True)


def _show_orders(work: Work, mine: RegulationPath) -> None:
    """The orders of work on the same rough unit."""
    st.subheader("Beside the orders of work")
    st.caption(f"{sheet.COUNTING_NOTE} {sheet.INVENTED}")
    orders = run_long_job(
        "orders_rough", make_cache_key(work, mine.rough.seed), "Follow the orders of work",
        lambda say: lesson.follow_all_orders(mine.rough, say),
    )  # fmt: skip
    if mine.lines:
        _sheet(mine, orders or ())
    if orders is None:
        return
    paths = [*([mine] if mine.lines else []), *orders]
    heads = ["way", "steps", "time", "set again", "undone", "came to"]
    rows = pd.DataFrame(sheet.build_way_rows(paths), columns=heads)
    st.dataframe(rows, width="stretch", hide_index=True, alt="steps, time and rework of each way")
    key = make_cache_key(work, mine.rough.seed, mine.steps)
    show_cached_figure(key, lambda: sheet.draw_times(paths), "path_times", sheet.describe_times_figure(paths))
    st.download_button(
        "The paths (CSV)", frames.format_frame_csv(_all_steps(paths)), "paths.csv", "text/csv", key="paths_csv"
    )


def _sheet(mine: RegulationPath, orders: Sequence[RegulationPath]) -> None:
    """It all as a sheet of paper, made when it is asked for."""

    def made(size: Size) -> bytes:
        from sim.report.lesson.paper import make_path_pdf

        return make_path_pdf(mine, orders, size, inches=get_state().inches)

    offer_paper(made, f"rough-{mine.rough.seed}", "sheet_rough")


def _all_steps(paths: Sequence[RegulationPath]) -> pd.DataFrame:
    rows: list[dict[str, Any]] = [
        dict(zip(("way", "step", "what", "asked", "comes to", "time", "remarks"), (p.title, *row), strict=True))
        for p in paths
        for row in sheet.build_path_rows(p, get_state().inches)
    ]
    return pd.DataFrame(rows)
