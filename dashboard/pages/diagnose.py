"""Why is this note sluggish: readings as they are taken, the causes they leave, and the reading to take next."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd
import streamlit as st

from dashboard.components.mechanism import mechanism
from dashboard.session import results
from dashboard.session.long_jobs import Progress, long_job
from dashboard.session.state import change, state
from dashboard.session.text import harmless, told
from dashboard.session.work import Work, origin_of
from dashboard.widgets.figures import figure
from dashboard.widgets.reading_cards import caution, glossary
from sim.diagnosis.bench_tests import BenchTest, tests_of
from sim.diagnosis.calibrate import Calibration, calibrate, scenario
from sim.diagnosis.diagnose import Diagnosis, diagnose
from sim.diagnosis.inference import Cells
from sim.diagnosis.observations import Observed, load_upload, of_texts
from sim.display_units import choose_unit, convert_si, unit_label
from sim.errors import InputError
from sim.report import diagnose as sheet
from sim.scenario.writing import text_of

TYPED = "diag_"
"""Beginning of the keys under which readings are typed; what is typed stays when the page is left."""
ACROSS = 3


def show() -> None:
    """The page."""
    s = state()
    st.title("Why is this note sluggish?")
    st.markdown(
        "The unit on the bench is taken for the note **as it should be**. Enter what was read of the note as it is, "
        "as far as it was read; the causes follow. An empty field is a reading not taken."
    )
    try:
        unit = results.unit_of(s.work)
    except InputError as error:
        st.error(told("This scenario cannot be used as it stands.", error))
        return
    tests = tests_of(unit)
    observed = _readings(tests)
    st.checkbox("The action is out of the piano already", key=f"{TYPED}out")
    if observed is None:
        return
    early = st.empty()

    def job(say: Progress) -> Cells:
        def first(rough: Cells) -> None:
            with early.container():
                st.markdown("**First list, of one run a fault; the full one follows**")
                _causes(diagnose(rough, observed))

        return results.faults_of(s.work, say, first)

    grid = long_job("library", s.work, "Try every fault on this unit", job)
    early.empty()
    if grid is None:
        return
    found = diagnose(grid, observed, out=bool(st.session_state[f"{TYPED}out"]))
    _told(found)
    _next(found)
    _suspect(found)
    _calibrated(grid, observed)
    glossary()
    caution()


def _readings(tests: dict[str, BenchTest]) -> Observed | None:
    """What was typed; None where something in it cannot be."""
    groups = {
        "In the action": [t for t in tests.values() if t.first],
        "More with the action in": [t for t in tests.values() if not t.first and not t.out],
        "With the action out": [t for t in tests.values() if t.out],
    }
    for title, group in groups.items():
        given = sum(bool(st.session_state.get(TYPED + t.name)) for t in group)
        with st.expander(f"{title}: {given} of {len(group)} read", expanded=title == "In the action"):
            for start in range(0, len(group), ACROSS):
                for column, test in zip(st.columns(ACROSS), group[start : start + ACROSS], strict=False):
                    with column:
                        _field(test)
            if title == "With the action out":
                caution()
    _sheets(tests)
    texts = {n: str(v).strip() for n in tests if (v := st.session_state.get(TYPED + n))}
    try:
        observed = of_texts(texts, "readings", tests)
    except InputError as error:
        st.error(told("These readings cannot be.", error))
        return None
    st.download_button("The readings (CSV)", sheet.sheet_csv(observed), "note.csv", "text/csv", key="take_readings")
    return observed


def _field(test: BenchTest) -> None:
    if test.words:
        st.selectbox(test.title, ["", *test.words], key=TYPED + test.name, help=test.how)
        return
    name = choose_unit(test.unit, state().inches)
    accuracy = convert_si(test.si, name) or test.accuracy
    example = f"{unit_label(name) or 'a number'}, to {accuracy:.2g}"
    st.text_input(test.title, key=TYPED + test.name, help=test.how, placeholder=example, max_chars=30)


def _sheets(tests: dict[str, BenchTest]) -> None:
    with st.expander("A sheet to print and fill in, or one that was filled in"):
        name = state().work.base
        left, right = st.columns(2)
        left.download_button("Blank sheet (TOML)", sheet.blank_toml(tests, name), "blank.toml", "application/toml",
                             key="blank_toml", width="stretch")  # fmt: skip
        right.download_button("Blank sheet (CSV)", sheet.blank_csv(tests), "blank.csv", "text/csv",
                              key="blank_csv", width="stretch")  # fmt: skip
        st.file_uploader("A sheet that was filled in (TOML or CSV)", key="sheet_up", on_change=_uploaded,
                         max_upload_size=1)  # fmt: skip
        if "sheet" in state().faults:
            st.error(state().faults["sheet"])


def _uploaded() -> None:
    s, file = state(), st.session_state["sheet_up"]
    if file is None:
        return
    try:
        tests = tests_of(results.unit_of(s.work))
        observed = load_upload(file.name, file.getvalue(), tests)
    except InputError as error:
        s.faults["sheet"] = told("This sheet was not taken; what was typed stays.", error)
        return
    s.faults.pop("sheet", None)
    for name, test in tests.items():
        told_as = observed.words.get(name, "")
        if name in observed.numbers:
            told_as = f"{convert_si(observed.numbers[name], test.unit):.6g} {unit_label(test.unit)}".strip()
        st.session_state[TYPED + name] = told_as


def _told(found: Diagnosis) -> None:
    verdict = sheet.verdict(found, state().inches)
    {"healthy": st.success, "unexplained": st.error, "unsure": st.info}.get(found.verdict, st.warning)(verdict)
    for row in found.disagrees:
        st.markdown(f"- {sheet.disagrees(row, state().inches)}")
    for group in found.alike:
        st.markdown(sheet.alike(group, found.found.cells.library.tests))
    _causes(found)
    figure(sheet.draw(found), "causes", "how likely each cause is, given the readings")


def _causes(found: Diagnosis) -> None:
    rows = sheet.causes(found, state().inches)
    st.dataframe(
        pd.DataFrame(rows)[list(rows[0])[:3]], hide_index=True, width="stretch", alt="causes, the likeliest first"
    )
    st.markdown("\n".join(f"- {line}" for line in (*sheet.together(found), *sheet.described(found))))
    st.caption(sheet.INTERPOLATED)


def _next(found: Diagnosis) -> None:
    if not found.tests:
        return
    first = found.tests[0]
    st.subheader("The reading to take next")
    st.markdown(f"**{first.test.title}** ({sheet.cost(first)}): {first.test.how}. It would mean:")
    st.markdown("\n".join(f"- {harmless(sheet.outcome(o, first.test, state().inches))}" for o in first.outcomes))
    st.dataframe(
        pd.DataFrame(sheet.next_rows(found)).drop(columns="how"),
        hide_index=True,
        width="stretch",
        alt="readings that tell most",
    )


def _suspect(found: Diagnosis) -> None:
    """The suspected fault in motion, the healthy unit as its ghost."""
    if not found.listed:
        return
    s, titles = state(), {c.fault.name: c.fault.title for c in found.listed}
    st.subheader("The suspected fault in motion")
    name = st.selectbox("Suspected", list(titles), format_func=titles.__getitem__, key="suspected")
    one = next(c for c in found.listed if c.fault.name == name)
    quick = results.suspected(s.work, name, round(one.severity[0], 2), s.touch)
    if quick.stroke is None:
        st.info(f"There is no motion to show: {quick.outcome}. {quick.reason}")
        return
    size = one.sizes(s.inches)[0]
    st.caption(f"{one.fault.title}, {size}; the healthy unit is drawn as a ghost. Played: {s.touch}.")
    mechanism(quick.stroke, quick.press, results.quick(s.work, s.touch).stroke, key="suspect", inches=s.inches)


def _calibrated(grid: Cells, observed: Observed) -> None:
    with st.expander("The note is healthy: fit the scenario to its readings"):
        st.markdown(
            "Frictions, felts, springs and what the screws leave were only assumed where nobody measured them. Fitted "
            "to the readings of a healthy note, the next prediction is of this piano."
        )
        work = state().work
        asked = (work, tuple(sorted(observed.numbers.items())))
        fitted = long_job("fit", asked, "Fit it", lambda say: calibrate(grid, observed, say))
        if fitted is None:
            return
        _fit(fitted, work)


def _fit(fitted: Calibration, work: Work) -> None:
    st.dataframe(pd.DataFrame(sheet.fitted_rows(fitted, state().inches)), hide_index=True, width="stretch",
                 alt="readings of the scenario and of the fitted unit")  # fmt: skip
    st.dataframe(pd.DataFrame(sheet.input_rows(fitted)), hide_index=True, width="stretch", alt="inputs that moved")
    text = text_of(scenario(origin_of(work), fitted))
    st.download_button("The fitted scenario (TOML)", text, "fitted.toml", "application/toml", key="take_fitted")
    on_bench = replace(Work(), base="fitted.toml", text=text)
    st.button("Put it on the bench", on_click=change, args=(on_bench,), key="bench_fitted")
