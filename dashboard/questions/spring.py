"""What does the spring do: curves over its strength, and the window between lifting and kicking."""

from __future__ import annotations

import streamlit as st

from dashboard import runs
from dashboard.figures import figure
from dashboard.long import long_job
from dashboard.show import caution, glossary
from dashboard.state import state
from dashboard.words import told
from dashboard.work import origin_of
from sim.errors import InputError
from sim.sheets import influence, influence_figures
from sim.workshop import spring_study


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
        runs.unit_of(work)
    except InputError as error:
        st.error(told("This scenario cannot be used as it stands.", error))
        return
    study = long_job("springs", work, "Try the springs", lambda say: spring_study.study(origin_of(work), progress=say))
    if study is None:
        return
    if study.shift is not None:
        st.info(f"The window's middle moves by {study.shift:.2f} N·mm for each N·mm of friction at the lever's centre.")
    figure(influence_figures.springs(study), "springs", "springs and what they do; their window")
    st.download_button("The curves (CSV)", influence.spring_csv(study), "springs.csv", "text/csv", key="springs_csv")
    glossary()
    caution()
