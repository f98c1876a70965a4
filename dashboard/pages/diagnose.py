"""Why is this note sluggish: readings as they are taken, the causes they leave, and the reading to take next."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd
import streamlit as st

from dashboard.components.mechanism import show_mechanism
from dashboard.session import results
from dashboard.session.long_jobs import Progress, run_long_job
from dashboard.session.state import change_work, get_state
from dashboard.session.text import escape_text, format_faults
from dashboard.session.work import Work, build_origin
from dashboard.widgets.figures import show_figure
from dashboard.widgets.reading_cards import show_caution, show_glossary
from sim.diagnosis.bench_tests import BenchTest, list_unit_tests
from sim.diagnosis.calibrate import Calibration, calibrate_unit, write_calibrated_scenario
from sim.diagnosis.diagnose import Diagnosis, diagnose_evidence
from sim.diagnosis.inference import CauseGrid
from sim.diagnosis.observations import Observations, load_uploaded_observations, parse_typed_readings
from sim.display_units import choose_unit, convert_si, format_unit
from sim.errors import InputError
from sim.report import diagnose as sheet
from sim.scenario.writing import render_scenario

TYPED_PREFIX = "keep_diag_"
"""Beginning of the keys under which readings are typed; what is typed stays when the page is left."""
FIELDS_ACROSS = 3


def show_page() -> None:
    """The page."""
    s = get_state()
    st.title("Why is this note sluggish?")
    st.markdown(
        "The unit on the bench is taken for the note **as it should be**. Enter what was read of the note as it is, "
        "as far as it was read; the causes follow. An empty field is a reading not taken."
    )
    try:
        unit = results.get_unit(s.work)
    except InputError as error:
        st.error(format_faults("This scenario cannot be used as it stands.", error))
        return
    tests = list_unit_tests(unit)
    observed = _readings(tests)
    st.checkbox("The action is out of the piano already", key=f"{TYPED_PREFIX}out")
    if observed is None:
        return
    early = st.empty()

    def job(say: Progress) -> CauseGrid:
        def first(rough: CauseGrid) -> None:
            with early.container():
                st.markdown("**First list, of one run a fault; the full one follows**")
                _show_causes(diagnose_evidence(rough, observed))

        return results.compute_fault_library(s.work, say, first)

    grid = run_long_job("library", s.work, "Try every fault on this unit", job)
    early.empty()
    if grid is None:
        return
    found = diagnose_evidence(grid, observed, out=bool(st.session_state[f"{TYPED_PREFIX}out"]))
    _show_diagnosis(found)
    _next(found)
    _show_suspect(found)
    _show_calibration(grid, observed)
    show_glossary()
    show_caution()


def _readings(tests: dict[str, BenchTest]) -> Observations | None:
    """What was typed; None where something in it cannot be."""
    groups = {
        "In the action": [t for t in tests.values() if t.first],
        "More with the action in": [t for t in tests.values() if not t.first and not t.out],
        "With the action out": [t for t in tests.values() if t.out],
    }
    for title, group in groups.items():
        given = sum(bool(st.session_state.get(TYPED_PREFIX + t.name)) for t in group)
        with st.expander(f"{title}: {given} of {len(group)} read", expanded=title == "In the action"):
            for start in range(0, len(group), FIELDS_ACROSS):
                for column, test in zip(st.columns(FIELDS_ACROSS), group[start : start + FIELDS_ACROSS], strict=False):
                    with column:
                        _field(test)
            if title == "With the action out":
                show_caution()
    _show_blank_forms(tests)
    texts = {n: str(v).strip() for n in tests if (v := st.session_state.get(TYPED_PREFIX + n))}
    try:
        observed = parse_typed_readings(texts, "readings", tests)
    except InputError as error:
        st.error(format_faults("These readings cannot be.", error))
        return None
    st.download_button(
        "The readings (CSV)", sheet.format_observations_csv(observed), "note.csv", "text/csv", key="take_readings"
    )
    return observed


def _field(test: BenchTest) -> None:
    if test.words:
        st.selectbox(test.title, ["", *test.words], key=TYPED_PREFIX + test.name, help=test.how)
        return
    name = choose_unit(test.unit, get_state().inches)
    accuracy = convert_si(test.si, name) or test.accuracy
    example = f"{format_unit(name) or 'a number'}, to {accuracy:.2g}"
    st.text_input(test.title, key=TYPED_PREFIX + test.name, help=test.how, placeholder=example, max_chars=30)


def _show_blank_forms(tests: dict[str, BenchTest]) -> None:
    with st.expander("A sheet to print and fill in, or one that was filled in"):
        name = get_state().work.base
        left, right = st.columns(2)
        left.download_button(
            "Blank sheet (TOML)",
            sheet.format_blank_toml(tests, name),
            "blank.toml",
            "application/toml",
            key="blank_toml",
            width="stretch",
        )
        right.download_button("Blank sheet (CSV)", sheet.format_blank_csv(tests), "blank.csv", "text/csv",
                              key="blank_csv", width="stretch")  # fmt: skip
        st.file_uploader("A sheet that was filled in (TOML or CSV)", key="sheet_up", on_change=_take_upload,
                         max_upload_size=1)  # fmt: skip
        if "sheet" in get_state().faults:
            st.error(get_state().faults["sheet"])


def _take_upload() -> None:
    s, file = get_state(), st.session_state["sheet_up"]
    if file is None:
        return
    try:
        tests = list_unit_tests(results.get_unit(s.work))
        observed = load_uploaded_observations(file.name, file.getvalue(), tests)
    except InputError as error:
        s.faults["sheet"] = format_faults("This sheet was not taken; what was typed stays.", error)
        return
    s.faults.pop("sheet", None)
    for name, test in tests.items():
        told_as = observed.words.get(name, "")
        if name in observed.numbers:
            told_as = f"{convert_si(observed.numbers[name], test.unit):.6g} {format_unit(test.unit)}".strip()
        st.session_state[TYPED_PREFIX + name] = told_as


def _show_diagnosis(found: Diagnosis) -> None:
    verdict = sheet.format_verdict(found, get_state().inches)
    {"healthy": st.success, "unexplained": st.error, "unsure": st.info}.get(found.verdict, st.warning)(verdict)
    for row in found.disagrees:
        st.markdown(f"- {sheet.format_disagreement(row, get_state().inches)}")
    for group in found.alike:
        st.markdown(sheet.format_alike(group, found.found.cells.library.tests))
    _show_causes(found)
    show_figure(sheet.draw_diagnosis(found), "causes", "how likely each cause is, given the readings")


def _show_causes(found: Diagnosis) -> None:
    rows = sheet.build_cause_rows(found, get_state().inches)
    st.dataframe(
        pd.DataFrame(rows)[list(rows[0])[:3]], hide_index=True, width="stretch", alt="causes, the likeliest first"
    )
    st.markdown("\n".join(f"- {line}" for line in (*sheet.list_pairs(found), *sheet.describe_faults(found))))
    st.caption(sheet.INTERPOLATED)


def _next(found: Diagnosis) -> None:
    if not found.tests:
        return
    first = found.tests[0]
    st.subheader("The reading to take next")
    st.markdown(f"**{first.test.title}** ({sheet.format_cost(first)}): {first.test.how}. It would mean:")
    st.markdown(
        "\n".join(f"- {escape_text(sheet.format_outcome(o, first.test, get_state().inches))}" for o in first.outcomes)
    )
    st.dataframe(
        pd.DataFrame(sheet.build_next_test_rows(found)).drop(columns="how"),
        hide_index=True,
        width="stretch",
        alt="readings that tell most",
    )


def _show_suspect(found: Diagnosis) -> None:
    """The suspected fault in motion, the healthy unit as its ghost."""
    if not found.listed:
        return
    s, titles = get_state(), {c.fault.name: c.fault.title for c in found.listed}
    st.subheader("The suspected fault in motion")
    name = st.selectbox("Suspected", list(titles), format_func=titles.__getitem__, key="suspected")
    one = next(c for c in found.listed if c.fault.name == name)
    quick = results.compute_suspect(s.work, name, round(one.severity[0], 2), s.touch)
    if quick.stroke is None:
        st.info(f"There is no motion to show: {quick.outcome}. {quick.reason}")
        return
    size = one.sizes(s.inches)[0]
    st.caption(f"{one.fault.title}, {size}; the healthy unit is drawn as a ghost. Played: {s.touch}.")
    show_mechanism(
        quick.stroke, quick.press, results.compute_quick(s.work, s.touch).stroke, key="suspect", inches=s.inches
    )


def _show_calibration(grid: CauseGrid, observed: Observations) -> None:
    with st.expander("The note is healthy: fit the scenario to its readings"):
        st.markdown(
            "Frictions, felts, springs and what the screws leave were only assumed where nobody measured them. Fitted "
            "to the readings of a healthy note, the next prediction is of this piano."
        )
        work = get_state().work
        asked = (work, tuple(sorted(observed.numbers.items())))
        fitted = run_long_job("fit", asked, "Fit it", lambda say: calibrate_unit(grid, observed, say))
        if fitted is None:
            return
        _fit(fitted, work)


def _fit(fitted: Calibration, work: Work) -> None:
    st.dataframe(pd.DataFrame(sheet.build_fitted_rows(fitted, get_state().inches)), hide_index=True, width="stretch",
                 alt="readings of the scenario and of the fitted unit")  # fmt: skip
    st.dataframe(
        pd.DataFrame(sheet.build_input_rows(fitted)), hide_index=True, width="stretch", alt="inputs that moved"
    )
    text = render_scenario(write_calibrated_scenario(build_origin(work), fitted))
    st.download_button("The fitted scenario (TOML)", text, "fitted.toml", "application/toml", key="take_fitted")
    on_bench = replace(Work(), base="fitted.toml", text=text)
    st.button("Put it on the bench", on_click=change_work, args=(on_bench,), key="bench_fitted")
