"""What does the spring do: curves over its strength, and the window between lifting and kicking."""

from __future__ import annotations

import streamlit as st

from dashboard.session import results
from dashboard.session.long_jobs import run_long_job
from dashboard.session.state import get_state
from dashboard.session.text import format_faults
from dashboard.session.work import build_origin
from dashboard.widgets.figures import show_figure
from dashboard.widgets.reading_cards import show_caution, show_glossary
from sim.errors import InputError
from sim.report.influence import figures, tables
from sim.studies import spring


def show_page() -> None:
    """The page."""
    work = get_state().work
    st.title("What does the spring do?")
    st.markdown(
        "A weak spring leaves the hammer in its check and brings the jack home late; a strong one throws the hammer "
        "off the lever, which the finger feels as a kick. Between the two lies the window to aim at. It moves with "
        "the pinning of the lever: a tighter lever allows, and needs, a stronger spring. The screws stay as they are."
    )
    try:
        results.get_unit(work)
    except InputError as error:
        st.error(format_faults("This scenario cannot be used as it stands.", error))
        return
    study = run_long_job(
        "springs", work, "Try the springs", lambda say: spring.study_spring(build_origin(work), progress=say)
    )
    if study is None:
        return
    if study.shift is not None:
        st.info(f"The window's middle moves by {study.shift:.2f} N·mm for each N·mm of friction at the lever's centre.")
    show_figure(figures.draw_spring_study(study), "springs", "springs and what they do; their window")
    st.download_button(
        "The curves (CSV)", tables.format_spring_csv(study), "springs.csv", "text/csv", key="springs_csv"
    )
    show_glossary()
    show_caution()
