"""The moving mechanism by itself, for the tests: one blow, the slow press, a second unit, and a switch of the unit."""

from __future__ import annotations

from typing import Any

import streamlit as st

import sim
from dashboard.components.mechanism import mechanism
from sim.bench.predict import touch
from sim.bench.rest_pose import at_rest
from sim.bench.slow_press import press
from sim.bench.strike import play
from sim.report.drawing.film import film, press_film


@st.cache_resource
def films(spring: str) -> tuple[dict[str, Any], dict[str, Any]]:
    """A moderate blow and a slow press of the middle natural with its repetition spring changed."""
    unit = sim.load("concert-grand-natural", {"springs.repetition": spring})
    rest = at_rest(unit)
    strike, run = play(rest, touch("moderate"))
    return film(rest, run, strike.events, f"<b>Spring</b> at {spring}"), press_film(press(rest))


st.set_page_config(layout="wide")
weak = st.checkbox("Take a weaker spring")
second = st.checkbox("Lay another unit over it")
inches = st.checkbox("Write inches")
stroke, slow = films("70%" if weak else "100%")
mechanism(stroke, slow, films("85%")[0] if second else None, key="alone", inches=inches)
