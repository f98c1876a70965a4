"""Sliders with typed values, reset and the settled value beside the asked one."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import streamlit as st

from dashboard.session import results
from dashboard.session.controls import CONTROLS, GROUPS, Control
from dashboard.session.state import change, draft, state
from dashboard.session.text import harmless
from dashboard.widgets.control_units import Shown, shown_as
from sim.errors import QuantityError
from sim.unit.model import ActionUnit

OPEN = ("spring", "screws")
"""Groups that stand open at first."""


@dataclass(frozen=True)
class Place:
    """Where a control stood (SI) and what was read of it there: the two that the next move goes by."""

    stands: float
    reading: float | None


def sliders(readings: Mapping[str, float | None]) -> None:
    """All controls of the work on the bench; ``readings`` are the settled ones by name (SI)."""
    s = state()
    start = results.start_of(s.work)
    first = results.first_readings(s.work.base, s.work.text, s.work.edits)
    unit = results.unit_of(s.work)
    names = [name for name, _ in s.work.turned]
    waiting = any(name in s.drafts for name in CONTROLS)
    st.button(
        "Put all back", on_click=_all_back, disabled=not names and not waiting, key="all_back", width="stretch",
        help="every slider back to where the scenario has it",
    )  # fmt: skip
    for group, heading in GROUPS.items():
        mine = {n: c for n, c in CONTROLS.items() if c.group == group}
        moved = sum(n in mine for n in names)
        with st.expander(f"{heading}{f' · {moved} turned' if moved else ''}", expanded=group in OPEN, key=f"g_{group}"):
            if group == "friction":
                s.pinning = st.toggle(
                    "as pinning force", s.pinning, help="gram-force at the usual radius, key: at the touch"
                )
            for name, control in mine.items():
                _row(name, control, start, unit, first.get(control.settles), readings.get(control.settles))


def _all_back() -> None:
    work = state().work
    for name in CONTROLS:
        work = work.with_control(name, None)
        draft(name, "", "")
        st.session_state[f"type_{name}"] = ""
    change(work)


def _row(
    name: str, c: Control, start: ActionUnit, unit: ActionUnit, first: float | None, settled: float | None
) -> None:
    look = shown_as(name, c, start, state().inches, state().pinning)
    place = Place(c.get(unit), c.reading(settled, first, c.get(unit) - c.get(start)))
    told = c.tells(place.reading)
    begin = first if told and first is not None else c.get(start)
    value = _asked(name, first, place.reading) if c.tells(place.reading) else place.stands
    low, high = look.ends(c, begin, value, told)
    slider, typed = f"slide_{name}", f"type_{name}"
    stands = min(max(look.rounded(look.out(value)), low), high)
    if st.session_state.get(slider) != stands:  # set only where it differs: else a move under way would be undone
        st.session_state[slider] = stands
    words = f" — settles at {look.text(settled)}" if c.tells(settled) else ""
    st.slider(
        f"{c.title}, {look.unit}{words}", low, high, step=look.step, key=slider, format=look.format, help=c.help,
        on_change=_slid, args=(name, look, place, slider),
    )  # fmt: skip
    left, right = st.columns([3, 1])
    st.session_state.setdefault(typed, state().drafts.get(name, ""))
    left.text_input(
        f"type {c.title}", key=typed, placeholder=f"{look.text(value)}: type a value", max_chars=40,
        label_visibility="collapsed", on_change=_typed, args=(name, look, place, typed),
    )  # fmt: skip
    touched = name in dict(state().work.turned) or name in state().drafts
    right.button(
        "back", key=f"back_{name}", on_click=_back, args=(name, typed), disabled=not touched,
        help=f"{c.title} back to {look.text(begin)}", width="stretch",
    )  # fmt: skip
    fault = st.empty()  # its place is kept, so that nothing moves when it comes and goes
    if name in state().faults:
        fault.error(harmless(state().faults[name]))


def _asked(name: str, first: float | None, settled: float) -> float:
    """What was asked for: by this control, else by the scenario; where others set it, what it settled at."""
    work = state().work
    untouched = first if first is not None and name not in dict(work.turned) else settled
    return dict(work.asked).get(name, untouched)


def _set(name: str, asked: float, place: Place) -> str:
    """Ask for a value; why it cannot be had, or nothing."""
    c, work = CONTROLS[name], state().work
    value = c.turned(place.stands, place.reading, asked)
    if not c.low <= value <= c.high:
        return "beyond what this screw or part can be set to"
    change(work.with_control(name, value, asked if c.tells(place.reading) else None))
    return ""


def _slid(name: str, look: Shown, place: Place, key: str) -> None:
    fault = _set(name, look.back(st.session_state[key]), place)
    draft(name, "", f"{CONTROLS[name].title}: {fault}" if fault else "")
    st.session_state[f"type_{name}"] = ""


def _typed(name: str, look: Shown, place: Place, key: str) -> None:
    text = st.session_state[key].strip()
    if not text:
        draft(name, "", "")
        return
    try:
        fault = _set(name, look.parse(text), place)
    except QuantityError as error:
        fault = str(error)
    allowed = f"type a value with its unit, such as {look.example}"
    draft(name, text, f"{CONTROLS[name].title}: “{text[:40]}”: {fault}; {allowed}." if fault else "")
    if not fault:
        st.session_state[key] = ""


def _back(name: str, typed: str) -> None:
    change(state().work.with_control(name, None))
    draft(name, "", "")
    st.session_state[typed] = ""
