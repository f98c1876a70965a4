"""Set it up in order: one step a screen, what it brought and what it disturbed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import pandas as pd
import streamlit as st

from dashboard.session import results
from dashboard.session.state import change_work, get_state
from dashboard.session.text import escape_text, format_faults
from dashboard.session.work import Work, find_controls
from dashboard.widgets.reading_cards import format_target_value, show_caution, show_glossary
from sim.errors import InputError, QuantityError
from sim.regulation import orders
from sim.regulation.rails import AIMED_AFTERTOUCH, USUAL_TARGETS
from sim.regulation.targets import get_target_dimension
from sim.report.formats import frames
from sim.unit.model import ActionUnit
from sim.units import parse_quantity

TARGETS: Mapping[str, float] = {
    **USUAL_TARGETS, "aftertouch": AIMED_AFTERTOUCH, "checking_distance": 15.5e-3, "spring_rise": 3.5e-3,
}  # fmt: skip
"""What is aimed at where nothing else is typed (common practice: the trade's usual dimensions), m."""

Path = list[orders.CompletedStep]


def show_page() -> None:
    """The page."""
    work = get_state().work
    st.title("Set it up in order")
    st.markdown(
        "Each step sets one thing with its own screw or paper and upsets others. Schools differ in what they fix "
        "first: dip, blow or aftertouch; whatever floats comes out as the rest demands."
    )
    try:
        unit = results.get_unit(work)
    except InputError as error:
        st.error(format_faults("This scenario cannot be used as it stands.", error))
        return
    schools = orders.load_orders()
    name = st.selectbox("School", list(schools), format_func=lambda n: schools[n].title, key="keep_school")
    targets = _targets()
    if targets is None:
        return
    steps = orders.list_steps(schools[name], targets)
    asked = (work, name, tuple(targets.items()))
    if st.session_state.get("order_of") != asked:
        st.session_state["order_of"], st.session_state["order_path"] = asked, []
    path: Path = st.session_state["order_path"]
    _step(unit, steps, targets, path)
    if path:
        _show_steps_done(work, path, targets)
    show_glossary()
    show_caution()


def _targets() -> dict[str, float] | None:
    out: dict[str, float] = {}
    fine = True
    with st.expander("What is aimed at"):
        columns = st.columns(3)
        for i, (name, value) in enumerate(TARGETS.items()):
            text = columns[i % 3].text_input(
                name.replace("_", " "),
                key=f"keep_aim_{name}",
                placeholder=format_target_value(name, value),
                max_chars=30,
            )
            try:
                out[name] = parse_quantity(text, get_target_dimension(name)) if text.strip() else value
            except QuantityError as error:
                columns[i % 3].error(escape_text(str(error)))
                fine = False
    if not fine:
        st.error("A value under “What is aimed at” cannot be read.")
    return out if fine else None


def _step(unit: ActionUnit, steps: Sequence[orders.Step], targets: Mapping[str, float], path: Path) -> None:
    done = len(path)
    st.progress(done / len(steps), text=f"{done} of {len(steps)} steps done")
    left, middle, right = st.columns(3)
    if done < len(steps):
        step = steps[done]
        aim = ", ".join(
            format_target_value(t, targets[t] if step.value is None else step.value) for t in step.sets if t in targets
        )
        st.subheader(f"Step {done + 1}: {step.say}")
        st.markdown(f"Aim: **{aim}**")
    else:
        st.subheader("All steps are done")
    if left.button("Do this step", disabled=done == len(steps), key="do_step", type="primary", width="stretch"):
        path.append(
            orders.carry_out_step(
                path[-1].unit if path else unit, steps[done], targets, path[-1].readings if path else None
            )
        )
        st.rerun()
    if middle.button("One step back", disabled=not path, key="step_back", width="stretch"):
        path.pop()
        st.rerun()
    if right.button("Begin again", disabled=not path, key="begin_again", width="stretch"):
        path.clear()
        st.rerun()


def _show_steps_done(work: Work, path: Path, targets: Mapping[str, float]) -> None:
    last = path[-1]
    came = ", ".join(f"{t.replace('_', ' ')} {format_target_value(t, last.readings.get(t))}" for t in last.step.sets)
    if last.reached:
        st.success(f"{last.step.say}: {came}")
    else:
        st.error(f"{last.step.say}: not reached; {came}")
    st.markdown(_format_upset(last) or "Nothing else was disturbed.")
    table = pd.DataFrame([_row(d, targets) for d in path])
    st.dataframe(table, width="stretch", alt="the steps done, what each brought and what it disturbed")
    readings = pd.DataFrame(
        [
            {"step": d.step.say} | {t.replace("_", " "): format_target_value(t, v) for t, v in d.readings.items()}
            for d in path
        ]
    )
    with st.expander("Every reading after each step"):
        st.dataframe(readings, width="stretch", alt="every reading after each step")
    st.download_button("The steps (CSV)", frames.format_frame_csv(readings), "steps.csv", "text/csv", key="steps_csv")
    st.button("Take this over to the bench", on_click=_take, args=(work, last), key="take_order")


def _format_upset(done: orders.CompletedStep) -> str:
    found = sorted(done.upset.items(), key=lambda x: -abs(x[1]))
    lines = (f"- {n.replace('_', ' ')} moved by {'+' if v > 0 else ''}{format_target_value(n, v)}" for n, v in found)
    return "What it disturbed:\n\n" + "\n".join(lines) if found else ""


def _row(done: orders.CompletedStep, targets: Mapping[str, float]) -> dict[str, str]:
    names = [t for t in done.step.sets if t in targets]
    asked = (targets[t] if done.step.value is None else done.step.value for t in names)
    return {
        "step": done.step.say,
        "asked": ", ".join(format_target_value(t, v) for t, v in zip(names, asked, strict=True)),
        "came to": ", ".join(format_target_value(t, done.readings.get(t)) for t in names)
        + ("" if done.reached else " (not reached)"),
        "disturbed": ", ".join(f"{n.replace('_', ' ')} {format_target_value(n, v)}" for n, v in done.upset.items())
        or "nothing",
    }


def _take(work: Work, done: orders.CompletedStep) -> None:
    change_work(Work(work.base, work.text, work.edits, find_controls(done.unit, results.get_start_unit(work))))
    get_state().notice = "The settings of the last step are on the bench. Undo brings back what was."
