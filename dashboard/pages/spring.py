"""What does the spring do: curves over its strength, and the window between lifting and kicking."""

from __future__ import annotations

import streamlit as st

from dashboard.session import results
from dashboard.session.long_jobs import long_job
from dashboard.session.state import state
from dashboard.session.text import told
from dashboard.session.work import origin_of
from dashboard.widgets.figures import figure
from dashboard.widgets.reading_cards import caution, glossary
from sim.errors import InputError
from sim.report.influence import figures, tables
from sim.studies import spring


def show() -> None:
    """The page."""
    work = state().work
    st.title("What does the spring do?")
    st.markdown(
        "A weak spring leaves the hammer in its check and brings the jack home late; a strong one throws the hammer "
        "off the lever, which the finger feels as a kick. Between the two lies the window to aim at. It moves with "
        "the pinning of the lever: a tighter lever allows, and needs, a stronger spring. The screws stay as they are."
    )
    try:
        results.unit_of(work)
    except InputError as error:
        st.error(told("This scenario cannot be used as it stands.", error))
        return
    study = long_job("springs", work, "Try the springs", lambda say: spring.study(origin_of(work), progress=say))
    if study is None:
        return
    if study.shift is not None:
        st.info(f"The window's middle moves by {study.shift:.2f} N·mm for each N·mm of friction at the lever's centre.")
    figure(figures.springs(study), "springs", "springs and what they do; their window")
    st.download_button("The curves (CSV)", tables.spring_csv(study), "springs.csv", "text/csv", key="springs_csv")
    glossary()
    caution()
