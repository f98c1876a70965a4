"""The map of rails as a grid of buttons: a click takes a place over; arrow keys walk, Enter takes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cache
from importlib.resources import files
from typing import Any

import streamlit as st
from streamlit.components.v2.types import ComponentRenderer


@cache
def _component() -> ComponentRenderer:
    here = files(__package__)
    css, js = (here.joinpath(f"rail_map.{kind}").read_text(encoding="utf-8") for kind in ("css", "js"))
    return st.components.v2.component("rail_map", css=css, js=js)


def show_rail_map(
    rows: Sequence[Sequence[Mapping[str, Any]]], across: str, up: str, reading: str, length: str, *, key: str
) -> tuple[int, int] | None:
    """Row and column of the place just chosen, or None.

    ``rows`` from the top of the map down; a cell holds ``x``, ``y`` (as told), ``value``
    (a number or None) and ``shown`` (the same as text), ``told`` (what it says when it
    is read out), ``mark`` (a letter, empty where everything is met) and ``best`` (a rank,
    or 0).  ``length`` is the unit of x and y.
    """
    data = {
        "rows": [list(map(dict, row)) for row in rows],
        "across": across,
        "up": up,
        "reading": reading,
        "length": length,
    }
    found = _component()(data=data, key=key, on_chosen_change=lambda: None)
    chosen = found.get("chosen")
    return (int(chosen["row"]), int(chosen["column"])) if chosen else None
