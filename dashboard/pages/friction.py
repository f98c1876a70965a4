"""Where is the friction lost: the friction felt at the key, site by site, and what repinning one centre would bring."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard.session import results
from dashboard.session.controls import CONTROLS
from dashboard.session.long_jobs import long_job
from dashboard.session.state import change, state
from dashboard.session.text import harmless, told
from dashboard.session.work import Work
from dashboard.widgets.figures import figure
from dashboard.widgets.reading_cards import caution, glossary
from sim.bench.centres import RADIUS
from sim.errors import InputError, QuantityError
from sim.report import friction
from sim.report.formats import frames
from sim.studies.repinning import Repinning, repin
from sim.unit.centres import torque_from_force
from sim.units import FORCE, parse

REPINNED = {"hammer": "hammer", "wippen": "wippen", "lever": "repetition lever", "jack": "jack"}


def show() -> None:
    """The page."""
    work = state().work
    st.title("Where is the friction lost?")
    st.markdown(
        "Half of what the down weight exceeds the up weight by is friction. Each centre and each rubbing surface has "
        "its share, which changes along the stroke: let-off is felt at jack and knuckle; the weights do not show it."
    )
    try:
        found = results.friction(work)
    except InputError as error:
        st.error(told("This scenario cannot be used as it stands.", error))
        return
    if found.own.budget is None:
        st.error(f"No friction can be read: {found.own.outcome}. {found.own.reason}")
    else:
        table = pd.DataFrame(friction.rows(found))
        st.dataframe(table, hide_index=True, width="stretch", height="content", alt="friction by site")
        for line in friction.words(found):
            st.markdown(line)
        told_in = "friction at the key along the stroke, site by site; dotted: where the weights are read"
        figure(friction.draw(found), "friction", told_in)
        st.download_button("The friction (CSV)", frames.csv(table), "friction.csv", "text/csv", key="friction_csv")
    _repin(work)
    glossary()
    caution()


def _repin(work: Work) -> None:
    st.subheader("If one centre were repinned")
    left, right = st.columns(2)
    centre = left.selectbox("Centre", list(REPINNED), format_func=lambda n: REPINNED[n], key="repin_centre")
    stands = friction.pinning(results.unit_of(work), centre)
    text = right.text_input(
        f"To this pinning force at {1e3 * RADIUS:.0f} mm", key="repin_force", placeholder=f"3 gf (now {stands})",
        max_chars=30,
    )  # fmt: skip
    name = f"friction_{centre}"
    try:
        torque = torque_from_force(parse(text.strip() or "3 gf", FORCE), RADIUS)
    except QuantityError as error:
        right.error(harmless(str(error)))
        return
    if not 0.0 <= torque <= CONTROLS[name].high:
        right.error("beyond what this centre can be pinned to")
        return
    repinned = work.with_control(name, torque)
    asked = (work, repinned)
    unit = results.unit_of(work)
    found = long_job("repin", asked, "What would it bring?", lambda say: repin(unit, centre, torque, say))
    if found is not None:
        _brought(found)
        st.button("Repin it on the bench", on_click=change, args=(repinned,), key="take_repin")


def _brought(r: Repinning) -> None:
    table = pd.DataFrame(friction.brought(r, state().inches))
    st.dataframe(table, hide_index=True, width="stretch", alt="what repinning brings")
    st.caption(friction.DOUBT)
    if r.outcomes[0] != r.outcomes[1]:
        st.markdown(f"Now: **{r.outcomes[0]}**; repinned: **{r.outcomes[1]}**.")
