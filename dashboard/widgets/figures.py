"""Figures on a page: shown as SVG, taken away as SVG or PNG, told in words to who cannot see them."""

from __future__ import annotations

import io
import re
from collections.abc import Callable, Hashable
from functools import partial
from typing import TYPE_CHECKING

import streamlit as st

from dashboard.session import results
from dashboard.session.state import get_state

if TYPE_CHECKING:  # takes half a second that the first page need not wait for
    from matplotlib.figure import Figure

    from sim.report.paper.blocks import Size


LENGTH = re.compile(r"(?<![\w·])mm$")
"""The end of an axis' title that stands for a length."""


def show_figure(drawn: Figure, name: str, told: str) -> None:
    """Show a figure; ``told`` says what is in it."""
    svg, png = _bytes(drawn, "svg"), _bytes(drawn, "png")
    st.image(png, caption=told, alt=told, width="stretch")
    left, right = st.columns(2)
    left.download_button("Figure (SVG)", svg, f"{name}.svg", "image/svg+xml", key=f"{name}_svg", width="stretch")
    right.download_button("Figure (PNG)", png, f"{name}.png", "image/png", key=f"{name}_png", width="stretch")


def show_cached_figure(asked: Hashable, draw: Callable[[], Figure], name: str, told: str) -> None:
    """As ``show_figure`` for one that is drawn only where something else is ``asked`` than before."""
    png = results.cache_drawing((name, get_state().inches, asked), partial(_render_cached, draw, "png"))
    st.image(png, caption=told, alt=told, width="stretch")
    offer_figure(draw, name, "Figure")


def offer_figure(draw: Callable[[], Figure], name: str, what: str = "Picture and curves") -> None:
    """A figure to take away, drawn only when it is asked for."""
    kinds = {"svg": "image/svg+xml", "png": "image/png"}
    for column, (kind, mime) in zip(st.columns(2), kinds.items(), strict=True):
        column.download_button(
            f"{what} ({kind.upper()})", partial(_render_cached, draw, kind), f"{name}.{kind}", mime,
            key=f"{name}_{kind}", width="stretch",
        )  # fmt: skip


def offer_paper(make: Callable[[Size], bytes], name: str, key: str, what: str = "A sheet to print") -> None:
    """A sheet of paper to take away, in either size, made only when it is asked for."""
    sizes: tuple[Size, ...] = ("A4", "letter")
    for column, size in zip(st.columns(2), sizes, strict=True):
        column.download_button(
            f"{what} ({size}, PDF)", partial(make, size), f"{name}.pdf", "application/pdf", key=f"{key}_{size}",
            width="stretch",
        )  # fmt: skip


def _render_cached(draw: Callable[[], Figure], kind: str) -> bytes:
    return _bytes(draw(), kind)


def _bytes(drawn: Figure, kind: str) -> bytes:
    if get_state().inches:
        _in_inches(drawn)
    out = io.BytesIO()
    drawn.savefig(out, format=kind, dpi=140)
    return out.getvalue()


def _in_inches(drawn: Figure) -> None:
    """Lengths along the axes written in inches; what is drawn stays where it is."""
    for axes in drawn.axes:
        for axis in (axes.xaxis, axes.yaxis):
            if LENGTH.search(axis.get_label_text()):
                axis.set_label_text(LENGTH.sub("in", axis.get_label_text()))
                axis.set_major_formatter(lambda mm, _: f"{mm / 25.4:.3g}")
