"""Compare two units: readings side by side, what carries each difference, curves over one another."""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd
import streamlit as st

from dashboard.session import results
from dashboard.session.long_jobs import long_job
from dashboard.session.state import change, state
from dashboard.session.text import harmless, told
from dashboard.session.work import Work, origin_of
from dashboard.widgets.figures import figure
from dashboard.widgets.reading_cards import glossary
from sim.errors import InputError
from sim.report import compare as comparison
from sim.scenario.shipped import shipped
from sim.studies.compare import Comparison, compare

BEFORE = "this scenario before any slider was moved"


def show() -> None:
    """The page."""
    s = state()
    st.title("Compare two units")
    st.markdown(
        "A is the other unit, B the one on the bench. Its ghost is drawn over the mechanism on the first page as long "
        "as it is chosen there."
    )
    choices: Mapping[str, Work | None] = {
        BEFORE: Work(s.work.base, s.work.text, s.work.edits),
        **({"the unit that was kept": s.other} if s.other is not None else {}),
        **{name: Work(name) for name in shipped()},
    }
    name = st.selectbox("Compare with", list(choices), key="compare_with")
    other = choices[name] or Work()
    left, middle, right = st.columns(3)
    left.button("Keep the unit on the bench as A", on_click=_keep, args=(s.work,), key="keep", width="stretch")
    middle.button("Draw A as a ghost", on_click=_keep, args=(other,), key="ghost", width="stretch")
    right.button("No ghost", on_click=_keep, args=(None,), disabled=s.other is None, key="no_ghost", width="stretch")
    try:
        for work in (other, s.work):
            results.unit_of(work)
    except InputError as error:
        st.error(told("These two cannot be compared.", error))
        return
    asked = (other, s.work)
    found = long_job("compare", asked, "Compare", lambda say: compare(*map(origin_of, asked), progress=say))
    if found is not None:
        _shown(found)
        glossary()
        st.button("Put A on the bench", on_click=change, args=(other,), key="swap")


def _keep(work: Work | None) -> None:
    state().other = work


def _shown(c: Comparison) -> None:
    for letter, unit, found in zip("AB", c.units, (c.a, c.b), strict=True):
        st.markdown(
            f"**{letter}**: {harmless(unit.name)}: {found.outcome}{f'; {found.reason}' if found.reason else ''}"
        )
    if c.changes:
        st.subheader("Inputs that differ")
        rows = [(ch.name, *comparison.shown_input(ch), one.outcome) for ch, one in zip(c.changes, c.alone, strict=True)]
        inputs = pd.DataFrame(rows, columns=["input", "A", "B", "unit", "A with this alone"])
        st.dataframe(inputs, hide_index=True, width="stretch", alt="inputs that differ")
    st.subheader("Readings")
    table = pd.DataFrame(comparison.rows(c, state().inches))
    st.dataframe(
        table, hide_index=True, width="stretch", height="content", alt="readings of both units and their difference"
    )
    st.caption("“yes”: the difference exceeds what a bench reads; “?”: how finely it is read is not known.")
    figure(comparison.draw(c), "comparison", "both blows and both slow presses: A drawn through, B dotted")
    st.download_button("The comparison (CSV)", comparison.csv(c), "comparison.csv", "text/csv", key="compare_csv")
