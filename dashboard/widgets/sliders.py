"""Sliders with typed values, reset and the settled value beside the asked one."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import streamlit as st

from dashboard.session import results
from dashboard.session.controls import CONTROLS, GROUPS, Control
from dashboard.session.state import change_work, get_state, store_draft
from dashboard.session.text import escape_text
from dashboard.widgets.control_units import ControlUnit, choose_control_unit
from sim.errors import QuantityError
from sim.unit.model import ActionUnit

OPEN = ("spring", "screws")
"""Groups that stand open at first."""


@dataclass(frozen=True)
class ControlPosition:
    """Where a control stood (SI) and what was read of it there: the two that the next move goes by."""

    stands: float
    reading: float | None


def show_sliders(readings: Mapping[str, float | None]) -> None:
    """All controls of the work on the bench; ``readings`` are the settled ones by name (SI)."""
    s = get_state()
    start = results.get_start_unit(s.work)
    first = results.compute_first_readings(s.work.base, s.work.text, s.work.edits)
    unit = results.get_unit(s.work)
    names = [name for name, _ in s.work.turned]
    waiting = any(name in s.drafts for name in CONTROLS)
    st.button(
        "Put all back", on_click=_reset_all, disabled=not names and not waiting, key="all_back", width="stretch",
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


def _reset_all() -> None:
    work = get_state().work
    for name in CONTROLS:
        work = work.with_control(name, None)
        store_draft(name, "", "")
        st.session_state[f"type_{name}"] = ""
    change_work(work)


def _row(
    name: str, c: Control, start: ActionUnit, unit: ActionUnit, first: float | None, settled: float | None
) -> None:
    look = choose_control_unit(name, c, start, get_state().inches, get_state().pinning)
    place = ControlPosition(c.get(unit), c.reading(settled, first, c.get(unit) - c.get(start)))
    told = c.tells(place.reading)
    begin = first if told and first is not None else c.get(start)
    value = _find_asked(name, first, place.reading) if c.tells(place.reading) else place.stands
    low, high = look.ends(c, begin, value, told)
    slider, typed = f"slide_{name}", f"type_{name}"
    stands = min(max(look.rounded(look.out(value)), low), high)
    if st.session_state.get(slider) != stands:  # set only where it differs: else a move under way would be undone
        st.session_state[slider] = stands
    words = f" — settles at {look.text(settled)}" if c.tells(settled) else ""
    st.slider(
        f"{c.title}, {look.unit}{words}", low, high, step=look.step, key=slider, format=look.format, help=c.help,
        on_change=_take_slider, args=(name, look, place, slider),
    )  # fmt: skip
    left, right = st.columns([3, 1])
    st.session_state.setdefault(typed, get_state().drafts.get(name, ""))
    left.text_input(
        f"type {c.title}", key=typed, placeholder=f"{look.text(value)}: type a value", max_chars=40,
        label_visibility="collapsed", on_change=_take_typed, args=(name, look, place, typed),
    )  # fmt: skip
    touched = name in dict(get_state().work.turned) or name in get_state().drafts
    right.button(
        "back", key=f"back_{name}", on_click=_reset_control, args=(name, typed), disabled=not touched,
        help=f"{c.title} back to {look.text(begin)}", width="stretch",
    )  # fmt: skip
    fault = st.empty()  # its place is kept, so that nothing moves when it comes and goes
    if name in get_state().faults:
        fault.error(escape_text(get_state().faults[name]))


def _find_asked(name: str, first: float | None, settled: float) -> float:
    """What was asked for: by this control, else by the scenario; where others set it, what it settled at."""
    work = get_state().work
    untouched = first if first is not None and name not in dict(work.turned) else settled
    return dict(work.asked).get(name, untouched)


def _ask_value(name: str, asked: float, place: ControlPosition) -> str:
    """Ask for a value; why it cannot be had, or nothing."""
    c, work = CONTROLS[name], get_state().work
    value = c.turned(place.stands, place.reading, asked)
    if not c.low <= value <= c.high:
        return "beyond what this screw or part can be set to"
    change_work(work.with_control(name, value, asked if c.tells(place.reading) else None))
    return ""


def _take_slider(name: str, look: ControlUnit, place: ControlPosition, key: str) -> None:
    fault = _ask_value(name, look.back(st.session_state[key]), place)
    store_draft(name, "", f"{CONTROLS[name].title}: {fault}" if fault else "")
    st.session_state[f"type_{name}"] = ""


def _take_typed(name: str, look: ControlUnit, place: ControlPosition, key: str) -> None:
    text = st.session_state[key].strip()
    if not text:
        store_draft(name, "", "")
        return
    try:
        fault = _ask_value(name, look.parse(text), place)
    except QuantityError as error:
        fault = str(error)
    allowed = f"type a value with its unit, such as {look.example}"
    store_draft(name, text, f"{CONTROLS[name].title}: “{text[:40]}”: {fault}; {allowed}." if fault else "")
    if not fault:
        st.session_state[key] = ""


def _reset_control(name: str, typed: str) -> None:
    change_work(get_state().work.with_control(name, None))
    store_draft(name, "", "")
    st.session_state[typed] = ""
