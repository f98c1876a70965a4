"""A photograph to click on: the places asked, in order, set by mouse, finger or keys, with a magnifier."""

from __future__ import annotations

import base64
from collections.abc import Mapping, Sequence
from contextlib import suppress
from functools import cache
from importlib.resources import files
from typing import Any

import streamlit as st
from streamlit.components.v2.types import ComponentRenderer

from sim.photo.points import RequestedClick
from sim.report.photograph.picture import COLOURS
from sim.unit.model import Vec

SCRIPTS = ("view", "hand", "list", "main")
"""The scripts that make one module, in their order."""
MOST = 100
"""Clicks that are taken from a browser."""


@cache
def _component() -> ComponentRenderer:
    here = files(__package__)
    script = "\n".join(here.joinpath(f"{name}.js").read_text(encoding="utf-8") for name in SCRIPTS)
    css = here.joinpath("photograph.css").read_text(encoding="utf-8")
    return st.components.v2.component("photograph", css=css, js=script)


def show_photograph(
    picture: bytes,
    mark: str,
    size: tuple[int, int],
    asked: Sequence[RequestedClick],
    clicks: Mapping[str, Vec],
    version: int,
    *,
    key: str,
) -> dict[str, Vec]:
    """The clicks as they stand, in pixels of a picture of ``size``.

    ``picture`` is a JPEG, as large or smaller, that the browser gets until it tells of a click (``mark`` tells pictures
    apart).  ``clicks`` are taken up where ``version`` is another than before, or nothing was shown yet; then the
    browser's own count.
    """
    there = st.session_state.get(key) or {}
    data: dict[str, Any] = {
        "picture": "" if there.get("has") == mark else f"data:image/jpeg;base64,{base64.b64encode(picture).decode()}",
        "mark": mark,
        "size": list(size),
        "asked": [{"name": a.name, "told": a.told, "needed": a.needed, "colour": COLOURS[a.group]} for a in asked],
        "clicks": {name: list(at) for name, at in clicks.items()},
        "version": version,
    }
    found = _component()(
        data=data, key=key, default={"has": "", "clicks": None},
        on_has_change=lambda: None, on_clicks_change=lambda: None,
    )  # fmt: skip
    return _check_clicks(found.get("clicks"), size, version, clicks)


def _check_clicks(told: Any, size: tuple[int, int], version: int, clicks: Mapping[str, Vec]) -> dict[str, Vec]:
    """What the browser tells, where it tells of this version, and of places in the picture."""
    if not isinstance(told, Mapping) or told.get("version") != version:
        return dict(clicks)
    out: dict[str, Vec] = {}
    for name, at in list(dict(told.get("at") or {}).items())[:MOST]:
        with suppress(TypeError, ValueError):
            x, y = (float(v) for v in at)
            if 0 <= x <= size[0] and 0 <= y <= size[1]:
                out[str(name)[:60]] = (x, y)
    return out
