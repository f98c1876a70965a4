"""Compare two units: readings side by side, what carries each difference, curves over one another."""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd
import streamlit as st

from dashboard.session import results
from dashboard.session.long_jobs import run_long_job
from dashboard.session.state import change_work, get_state
from dashboard.session.text import escape_text, format_faults
from dashboard.session.work import Work, build_origin
from dashboard.widgets.figures import show_figure
from dashboard.widgets.reading_cards import show_glossary
from sim.errors import InputError
from sim.report import compare as comparison
from sim.scenario.shipped import list_shipped_scenarios
from sim.studies.compare import Comparison, compare_units

BEFORE = "this scenario before any slider was moved"


def show_page() -> None:
    """The page."""
    s = get_state()
    st.title("Compare two units")
    st.markdown(
        "A is the other unit, B the one on the bench. Its ghost is drawn over the mechanism on the first page as long "
        "as it is chosen there."
    )
    choices: Mapping[str, Work | None] = {
        BEFORE: Work(s.work.base, s.work.text, s.work.edits),
        **({"the unit that was kept": s.other} if s.other is not None else {}),
        **{name: Work(name) for name in list_shipped_scenarios()},
    }
    name = st.selectbox("Compare with", list(choices), key="keep_compare_with")
    other = choices[name] or Work()
    left, middle, right = st.columns(3)
    left.button("Keep the unit on the bench as A", on_click=_keep_other, args=(s.work,), key="keep", width="stretch")
    middle.button("Draw A as a ghost", on_click=_keep_other, args=(other,), key="ghost", width="stretch")
    right.button(
        "No ghost", on_click=_keep_other, args=(None,), disabled=s.other is None, key="no_ghost", width="stretch"
    )
    try:
        for work in (other, s.work):
            results.get_unit(work)
    except InputError as error:
        st.error(format_faults("These two cannot be compared.", error))
        return
    asked = (other, s.work)
    found = run_long_job(
        "compare", asked, "Compare", lambda say: compare_units(*map(build_origin, asked), progress=say)
    )
    if found is not None:
        _show_comparison(found)
        show_glossary()
        st.button("Put A on the bench", on_click=change_work, args=(other,), key="swap")


def _keep_other(work: Work | None) -> None:
    get_state().other = work


def _show_comparison(c: Comparison) -> None:
    for letter, unit, found in zip("AB", c.units, (c.a, c.b), strict=True):
        st.markdown(
            f"**{letter}**: {escape_text(unit.name)}: {found.outcome}{f'; {found.reason}' if found.reason else ''}"
        )
    if c.changes:
        st.subheader("Inputs that differ")
        rows = [
            (ch.name, *comparison.format_input(ch), one.outcome) for ch, one in zip(c.changes, c.alone, strict=True)
        ]
        inputs = pd.DataFrame(rows, columns=["input", "A", "B", "unit", "A with this alone"])
        st.dataframe(inputs, hide_index=True, width="stretch", alt="inputs that differ")
    st.subheader("Readings")
    table = pd.DataFrame(comparison.build_rows(c, get_state().inches))
    st.dataframe(
        table, hide_index=True, width="stretch", height="content", alt="readings of both units and their difference"
    )
    st.caption("“yes”: the difference exceeds what a bench reads; “?”: how finely it is read is not known.")
    show_figure(
        comparison.draw_comparison(c), "comparison", "both blows and both slow presses: A drawn through, B dotted"
    )
    st.download_button(
        "The comparison (CSV)", comparison.format_csv(c), "comparison.csv", "text/csv", key="compare_csv"
    )
