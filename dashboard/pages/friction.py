"""Where is the friction lost: the friction felt at the key, site by site, and what repinning one centre would bring."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard.session import results
from dashboard.session.controls import CONTROLS
from dashboard.session.long_jobs import run_long_job
from dashboard.session.state import change_work, get_state
from dashboard.session.text import escape_text, format_faults
from dashboard.session.work import Work
from dashboard.widgets.figures import show_figure
from dashboard.widgets.reading_cards import show_caution, show_glossary
from sim.bench.centres import PINNING_RADIUS
from sim.errors import InputError, QuantityError
from sim.report import friction
from sim.report.formats import frames
from sim.studies.repinning import Repinning, repin_centre
from sim.unit.centres import convert_force_to_torque
from sim.units import FORCE, parse_quantity

REPINNED = {"hammer": "hammer", "wippen": "wippen", "lever": "repetition lever", "jack": "jack"}


def show_page() -> None:
    """The page."""
    work = get_state().work
    st.title("Where is the friction lost?")
    st.markdown(
        "Half of what the down weight exceeds the up weight by is friction. Each centre and each rubbing surface has "
        "its share, which changes along the stroke: let-off is felt at jack and knuckle; the weights do not show it."
    )
    try:
        found = results.compute_friction(work)
    except InputError as error:
        st.error(format_faults("This scenario cannot be used as it stands.", error))
        return
    if found.own.budget is None:
        st.error(f"No friction can be read: {found.own.outcome}. {found.own.reason}")
    else:
        table = pd.DataFrame(friction.build_site_rows(found))
        st.dataframe(table, hide_index=True, width="stretch", height="content", alt="friction by site")
        for line in friction.format_weights(found):
            st.markdown(line)
        told_in = "friction at the key along the stroke, site by site; dotted: where the weights are read"
        show_figure(friction.draw_friction(found), "friction", told_in)
        st.download_button(
            "The friction (CSV)", frames.format_frame_csv(table), "friction.csv", "text/csv", key="friction_csv"
        )
    _repin(work)
    show_glossary()
    show_caution()


def _repin(work: Work) -> None:
    st.subheader("If one centre were repinned")
    left, right = st.columns(2)
    centre = left.selectbox("Centre", list(REPINNED), format_func=lambda n: REPINNED[n], key="keep_repin_centre")
    stands = friction.format_pinning(results.get_unit(work), centre)
    text = right.text_input(
        f"To this pinning force at {1e3 * PINNING_RADIUS:.0f} mm",
        key="keep_repin_force",
        placeholder=f"3 gf (now {stands})",
        max_chars=30,
    )
    name = f"friction.{centre}"
    try:
        torque = convert_force_to_torque(parse_quantity(text.strip() or "3 gf", FORCE), PINNING_RADIUS)
    except QuantityError as error:
        right.error(escape_text(str(error)))
        return
    if not 0.0 <= torque <= CONTROLS[name].high:
        right.error("beyond what this centre can be pinned to")
        return
    repinned = work.with_control(name, torque)
    asked = (work, repinned)
    unit = results.get_unit(work)
    found = run_long_job("repin", asked, "What would it bring?", lambda say: repin_centre(unit, centre, torque, say))
    if found is not None:
        _show_repinning(found)
        st.button("Repin it on the bench", on_click=change_work, args=(repinned,), key="take_repin")


def _show_repinning(r: Repinning) -> None:
    table = pd.DataFrame(friction.build_repinning_rows(r, get_state().inches))
    st.dataframe(table, hide_index=True, width="stretch", alt="what repinning brings")
    st.caption(friction.DEVIATION_NOTE)
    if r.outcomes[0] != r.outcomes[1]:
        st.markdown(f"Now: **{r.outcomes[0]}**; repinned: **{r.outcomes[1]}**.")
