"""Readings on the screen: what they are, what is usual, and words for what is not."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape

import streamlit as st

from dashboard.session.state import get_state
from sim.bench.readings import Repetition, Settings, Strike, TouchWeight, list_reading_fields
from sim.display_units import format_si
from sim.regulation.targets import format_target
from sim.report.formats.reading_rows import ReadingRow
from sim.report.formats.tables import CAUTIONS

RECORDS = (Settings, TouchWeight, Strike, Repetition)
"""Records of readings that tables show."""

STYLE = """<style>
.readings { display: grid; grid-template-columns: repeat(auto-fill, minmax(9.5rem, 1fr)); gap: .5rem; margin: 0; }
.readings details { border: 1px solid color-mix(in srgb, currentColor 25%, transparent); border-radius: .4rem;
  padding: .45rem .6rem; }
.readings summary { list-style: none; cursor: help; min-height: 2.5rem; }
.readings summary::-webkit-details-marker { display: none; }
.readings .name { font-size: .82rem; display: block; }
.readings .value { font-size: 1.25rem; font-variant-numeric: tabular-nums; }
.readings .off { font-size: .8rem; display: block; font-weight: 600; }
.readings .waits { font-size: 1rem; font-style: italic; }
.readings p { font-size: .82rem; margin: .4rem 0 0; }
</style>"""


def format_value(row: ReadingRow) -> str:
    """Number and unit, in inches where they are asked for."""
    if row.value is None:
        return "no reading"
    if get_state().inches and row.inches:
        return row.inches
    return f"{row.shown} {row.label}".strip()


def format_reading_quantity(si: float | None, unit: str, sign: str = "") -> str:
    """A value with the unit of its name; lengths in inches where they are asked for."""
    return format_si(si, unit, get_state().inches, sign)


def format_target_value(name: str, si: float | None) -> str:
    """What is aimed at, or came of it."""
    return format_target(name, si, get_state().inches)


def show_cards(rows: Iterable[ReadingRow], waiting: Sequence[str] = ()) -> None:
    """Readings side by side; each opens to its definition.  ``waiting`` are titles of readings still to come."""
    shown = [_card(row) for row in rows]
    shown += [
        f'<details><summary><span class="name">{escape(t)}</span><span class="waits">being computed …</span></summary>'
        "</details>"
        for t in waiting
    ]
    st.html(f'{STYLE}<div class="readings">{"".join(shown)}</div>')


def _card(row: ReadingRow) -> str:
    usual = f"Usual: {row.usual} {row.label}." if row.usual else ""
    off = f'<span class="off">{row.side} — usual {row.usual} {escape(row.label)}</span>' if row.side else ""
    means, look = row.advice or ("", "")
    more = f"<p>{escape(means.capitalize())}. Look first at: {escape(look)}.</p>" if means else ""
    title = f"{row.of} {row.title}" if row.of else row.title
    return (
        f'<details data-reading="{escape(row.key)}"><summary><span class="name">{escape(title)}</span>'
        f'<span class="value">{escape(format_value(row))}</span>{off}</summary>'
        f"<p>{escape(row.definition)}. {escape(usual)}</p>{more}</details>"
    )


def show_glossary() -> None:
    """What every reading means, one tap away, for pages that show them in tables."""
    told = {
        str(meta["title"]): str(meta["definition"])
        for record in RECORDS
        for meta in list_reading_fields(record).values()
    }
    with st.expander("What the readings mean"):
        st.markdown("\n".join(f"- **{title}**: {told[title]}" for title in sorted(told)))


def show_caution() -> None:
    """The usual cautions, where a page leads to work on the action."""
    st.warning(" ".join(CAUTIONS.split()))
