"""What this browser remembers of a person's choices: mm or inches.  Kept on this machine, in the browser alone."""

from __future__ import annotations

from functools import cache
from importlib.resources import files

import streamlit as st
from streamlit.components.v2.types import ComponentRenderer


@cache
def _component() -> ComponentRenderer:
    js = files(__package__).joinpath("memory.js").read_text(encoding="utf-8")
    return st.components.v2.component("memory", js=js)


def sync_choice(name: str, keep: str | None) -> str | None:
    """The word that the browser remembers under ``name``, once it has said so; ``keep`` puts another in its place."""
    found = _component()(data={"name": name, "keep": keep}, key=f"memory_{name}", on_found_change=lambda: None)
    word = found.get("found")
    return str(word)[:20] if word else None
