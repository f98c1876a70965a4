"""Where should the rails go: the map, the best places, and a click that takes one over."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd
import streamlit as st

from dashboard.components.rail_map import show_rail_map
from dashboard.session import results
from dashboard.session.controls import RAIL_CONTROLS
from dashboard.session.long_jobs import run_long_job
from dashboard.session.state import change_work, get_state
from dashboard.session.text import escape_text, format_faults
from dashboard.session.work import Work, find_controls
from dashboard.widgets.figures import show_figure
from dashboard.widgets.reading_cards import format_reading_quantity, show_caution, show_glossary
from sim.display_units import choose_unit, convert_si, format_number, format_unit
from sim.errors import InputError, QuantityError
from sim.regulation import rails
from sim.regulation.clearances import CLEARANCES
from sim.regulation.moves import MOVES
from sim.report import rails as sheet
from sim.report.formats import frames
from sim.unit.model import ActionUnit
from sim.units import LENGTH, parse_quantity

ASKED = ("blow", "dip", "let_off", "drop")
MM = 1e-3


@dataclass(frozen=True)
class MapRequest:
    """What a map answers."""

    moves: tuple[str, str]
    span: float
    cells: int
    targets: tuple[tuple[str, float], ...]


def show_page() -> None:
    """The page."""
    work = get_state().work
    st.title("Where should the rails go?")
    st.markdown(
        "At each place of the map the note is regulated to the same targets and read: does it leave the right "
        "aftertouch, does everything clear, how heavy is it. Nothing is drilled before a trial with shims."
    )
    try:
        unit = results.get_unit(work)
    except InputError as error:
        st.error(format_faults("This scenario cannot be used as it stands.", error))
        return
    question = _ask_map_request(unit)
    if question is None:
        return
    places = run_long_job("map", (work, question), "Make the map", lambda say: _map(unit, question, say))
    if places is not None:
        _show_map(work, unit, question, places)
    show_glossary()
    show_caution()


def _ask_map_request(unit: ActionUnit) -> MapRequest | None:
    left, middle, right = st.columns(3)
    names = list(RAIL_CONTROLS)
    across = left.selectbox("Across the map", names, format_func=_title, key="keep_map_across")
    st.session_state.setdefault("keep_map_up", names[1])
    up = middle.selectbox("Up the map", names, format_func=_title, key="keep_map_up")
    st.session_state.setdefault("keep_map_span", 3.0)
    st.session_state.setdefault("keep_map_cells", 7)
    span = right.select_slider(
        "How far each way",
        [0.5 * i for i in range(1, 13)],
        format_func=lambda mm: format_reading_quantity(mm * MM, "mm"),
        key="keep_map_span",
    )
    cells = right.slider("Places along each side", 3, 21, step=2, key="keep_map_cells")
    usual = rails.choose_targets(unit)
    wanted, fine = dict(usual), across != up
    if not fine:
        st.error("Name two different moves.")
    for column, name in zip(st.columns(len(ASKED)), ASKED, strict=True):
        if name not in usual:
            continue
        shown = format_reading_quantity(usual[name], "mm")
        text = column.text_input(name.replace("_", "-"), key=f"keep_map_{name}", placeholder=shown, max_chars=30)
        try:
            wanted[name] = parse_quantity(text, LENGTH) if text.strip() else usual[name]
        except QuantityError as error:
            column.error(escape_text(str(error)))
            fine = False
    return MapRequest((across, up), span * MM, cells, tuple(wanted.items())) if fine else None


def _title(move: str) -> str:
    return MOVES[move].title


def _map(unit: ActionUnit, q: MapRequest, say: results.Progress) -> tuple[tuple[rails.Place, ...], ...]:
    axis = [q.span * (2 * i / (q.cells - 1) - 1) for i in range(q.cells)]
    return rails.evaluate_grid(unit, dict(q.targets), axis, axis, q.moves, say)


def _show_map(work: Work, unit: ActionUnit, q: MapRequest, places: Sequence[Sequence[rails.Place]]) -> None:
    best = rails.find_best_places(places)
    reading = st.selectbox(
        "Show", list(sheet.MAP_READINGS), 0, format_func=lambda n: sheet.MAP_READINGS[n][0], key="keep_map_reading"
    )
    reasons = sheet.assign_letters(places)
    top_down = list(reversed(places))
    title, unit_name = sheet.MAP_READINGS[reading]
    unit_name = choose_unit(unit_name, get_state().inches)
    chosen = show_rail_map(
        [[_cell(p, reading, reasons, best) for p in row] for row in top_down],
        _title(q.moves[0]), _title(q.moves[1]), f"{title}{', ' if unit_name else ''}{format_unit(unit_name)}",
        choose_unit("mm", get_state().inches), key="rail_map",
    )  # fmt: skip
    st.markdown("\n".join(f"- **{letter}**: {why}" for why, letter in reasons.items()))
    if chosen is not None:
        _take(work, top_down[chosen[0]][chosen[1]], q)
    if best:
        _show_best(best, q)
    show_figure(sheet.draw_rail_map(unit, q.moves, places, best, reading), "rails", f"{title} over the plane")
    table = pd.DataFrame([sheet.build_place_row(p) for row in places for p in row])
    st.download_button("The map (CSV)", frames.format_frame_csv(table), "rails.csv", "text/csv", key="rails_csv")
    if best:
        st.download_button(
            "Full-size template of the first place (PDF)", _template(unit, best[0], q), "rail-template.pdf",
            "application/pdf", key="rails_pdf",
        )  # fmt: skip


def _cell(p: rails.Place, reading: str, reasons: dict[str, str], best: Sequence[rails.Place]) -> dict[str, object]:
    title, unit = sheet.MAP_READINGS[reading]
    unit, length = (choose_unit(u, get_state().inches) for u in (unit, "mm"))
    value = convert_si(getattr(p, reading), unit)
    shown = format_number(value, unit)
    why = p.why or "every target met"
    where = f"{format_reading_quantity(p.dx, 'mm', '+')} across, {format_reading_quantity(p.dy, 'mm', '+')} up"
    x, y = (format(convert_si(d, length) or 0.0, "+.1f" if length == "mm" else "+.2f") for d in (p.dx, p.dy))
    rank = best.index(p) + 1 if p in best else 0
    return {
        "x": x,
        "y": y,
        "value": value,
        "shown": shown,
        "best": rank,
        "mark": reasons[sheet.shorten_reason(p)] if p.why else "",
        "told": f"{where}: {title} {shown} {format_unit(unit)}; {why}",
    }


def _take(work: Work, p: rails.Place, q: MapRequest) -> None:
    if p.unit is None:
        st.warning(f"This place cannot be taken over: {p.why}.")
        return
    change_work(Work(work.base, work.text, work.edits, find_controls(p.unit, results.get_start_unit(work))))
    get_state().notice = (
        f"Taken over: {_title(q.moves[0])} {format_reading_quantity(p.dx, 'mm', '+')}, "
        f"{_title(q.moves[1])} {format_reading_quantity(p.dy, 'mm', '+')}, "
        "with its screws. Undo brings back what was."
    )
    st.rerun()


def _show_best(best: Sequence[rails.Place], q: MapRequest) -> None:
    st.subheader("Best places")
    columns = {f"no. {i}": _column(p, q) for i, p in enumerate(best, 1)}
    st.dataframe(pd.DataFrame(columns), width="stretch", height="content", alt="readings of the best places")
    st.markdown(sheet.list_trial_steps(best[0], q.moves, get_state().inches))
    clear = best[0].clear
    room = {
        c.title: [
            format_reading_quantity(clear[n], "mm") if n in clear else "not given",
            format_reading_quantity(c.least, "mm"),
        ]
        for n, c in CLEARANCES.items()
    }
    with st.expander("What clears at the first place"):
        st.dataframe(pd.DataFrame.from_dict(room, "index", columns=["there is", "at least"]), width="stretch")


def _column(p: rails.Place, q: MapRequest) -> dict[str, str]:
    moved = zip(q.moves, (p.dx, p.dy), strict=True)
    out = {_title(m): format_reading_quantity(d, "mm", "+") for m, d in moved} | {
        "spread": format_reading_quantity(p.spread, "mm")
    }
    return out | {
        title: format_reading_quantity(getattr(p, name), unit) for name, (title, unit) in sheet.MAP_READINGS.items()
    }


def _template(unit: ActionUnit, p: rails.Place, q: MapRequest) -> bytes:
    out = io.BytesIO()
    sheet.draw_rail_template(unit, p, q.moves, out)
    return out.getvalue()
