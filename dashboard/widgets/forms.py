"""The scenario in forms: every field of a section, the command line's messages, nothing typed ever lost."""

from __future__ import annotations

import streamlit as st

from dashboard.session.state import change_work, get_state, store_draft
from dashboard.session.text import escape_text
from dashboard.session.work import Work
from sim.errors import InputError
from sim.fields.field_paths import Field, list_fields
from sim.fields.quantity_field import shorten_value
from sim.fields.scenario_files import Leaves
from sim.scenario.load import build_from_leaves, collect_measures
from sim.units import format_quantity

HEAD = "scenario"
"""Section of the fields that stand in no table."""
MOST_SHOWN = 60


def list_sections() -> dict[str, list[Field]]:
    """Fields by section, in the order of the file."""
    out: dict[str, list[Field]] = {}
    for field in list_fields():
        if field.path not in ("based_on", "default_source"):
            name = field.path.rsplit(".", 1)[0] if "." in field.path else HEAD
            out.setdefault(name, []).append(field)
    return out


def show_forms() -> None:
    """One section at a time."""
    s = get_state()
    st.caption(
        "Type a quantity with its unit (18 g, 4 27/64 in), a share of the scenario's own value (85%), or what a file "
        'would say: { value = "18 g", source = "measured", uncertainty = "0.2 g" }. An empty field goes back to the '
        "scenario. Values marked “assumed” are defaults that nobody measured."
    )
    all_of_them = list_sections()
    name = st.selectbox("Section", list(all_of_them), key="keep_section", format_func=lambda n: n.replace(".", ": "))
    leaves = s.work.leaves
    values = _compute_values(leaves)
    left, right = st.columns(2)
    for i, field in enumerate(all_of_them[name]):
        with (left, right)[i % 2]:
            _field(field, leaves, values)
    waiting = [n for n in s.drafts if n.startswith("field:")]
    if waiting:
        st.info(
            f"{len(waiting)} typed value{'s wait' if len(waiting) > 1 else ' waits'} to be mended: "
            + ", ".join(n.removeprefix("field:") for n in waiting)
        )


def _compute_values(leaves: Leaves) -> dict[str, float]:
    try:
        return collect_measures(leaves, "scenario")
    except InputError:
        return {}


def _field(field: Field, leaves: Leaves, values: dict[str, float]) -> None:
    s, key, name = get_state(), f"field_{field.path}", f"field:{field.path}"
    leaf = leaves.get(tuple(field.path.split(".")))
    typed = dict(s.work.edits).get(field.path)
    st.session_state[key] = s.drafts.get(name, typed or (_as_typed(leaf.raw) if leaf else ""))
    assumed = f"assumed: {_default(field, values)}" if leaf is None and field.path in values else "not given"
    allowed = f" ({field.kind.allowed})" if field.kind else ""
    # The value is given too: a browser that draws a second run before the first would take the field to be emptied.
    st.text_input(
        f"{field.title}{' — edited' if typed is not None else ''}", st.session_state[key], key=key,
        placeholder=assumed, max_chars=2000, help=f"{field.doc or field.title}{allowed}", on_change=_take_typed,
        args=(field.path, key),
    )  # fmt: skip
    if name in s.faults:
        st.error(escape_text(s.faults[name]))


def _default(field: Field, values: dict[str, float]) -> str:
    kind = field.kind
    if kind is None or kind.form == "contact stiffness":
        return f"{values[field.path]:.4g}"
    return format_quantity(values[field.path], kind.unit, kind.dimension)[:MOST_SHOWN]


def _as_typed(raw: object) -> str:
    if isinstance(raw, str):
        return raw
    return shorten_value(raw, 2000)


def _take_typed(path: str, key: str) -> None:
    """Take what was typed (nothing: as the scenario has it), together with what waits; else keep it and say why."""
    s, name, text = get_state(), f"field:{path}", st.session_state[key].strip()
    waiting = {n.removeprefix("field:"): t for n, t in s.drafts.items() if n.startswith("field:")}
    together = s.work
    for p, t in {**waiting, path: text}.items():
        together = together.with_edit(p, t or None)
    for work, taken in ((together, [*waiting, path]), (s.work.with_edit(path, text or None), [path])):
        fault = _fault(work, path)
        if not fault:
            for p in taken:
                store_draft(f"field:{p}", "", "")
            change_work(work)
            return
    store_draft(name, text, fault)


def _fault(work: Work, path: str) -> str:
    try:
        build_from_leaves(work.leaves, work.base)
    except InputError as error:
        mine = [f for f in error.faults if path in (f.field, f.file)] or list(error.faults)
        f = mine[0]
        return f"{f.field} = {f.value}; allowed: {f.allowed}; {f.remedy}"
    return ""
