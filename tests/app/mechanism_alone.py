"""The moving mechanism by itself, for the tests: one blow, the slow press, a second unit, and a switch of the unit."""

from __future__ import annotations

from typing import Any

import streamlit as st

import sim
from dashboard.components.mechanism import show_mechanism
from sim.bench.predict import find_touch
from sim.bench.rest_pose import settle_at_rest
from sim.bench.slow_press import press_slowly
from sim.bench.strike import play_touch
from sim.report.drawing.film import build_film, build_press_film


@st.cache_resource
def build_films(spring: str) -> tuple[dict[str, Any], dict[str, Any]]:
    """A moderate blow and a slow press of the middle natural with its repetition spring changed."""
    unit = sim.load("concert-grand-natural", {"springs.repetition": spring})
    rest = settle_at_rest(unit)
    strike, run = play_touch(rest, find_touch("moderate"))
    return build_film(rest, run, strike.events, f"<b>Spring</b> at {spring}"), build_press_film(press_slowly(rest))


st.set_page_config(layout="wide")
weak = st.checkbox("Take a weaker spring")
second = st.checkbox("Lay another unit over it")
inches = st.checkbox("Write inches")
stroke, slow = build_films("70%" if weak else "100%")
show_mechanism(stroke, slow, build_films("85%")[0] if second else None, key="alone", inches=inches)
