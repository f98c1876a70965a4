"""The friction budget as a table, as JSON and drawn along the stroke."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from sim.bench.centres import PINNING_RADIUS
from sim.bench.friction_budget import TITLES, FrictionBudget
from sim.bench.slow_press import WEIGHT_SPAN
from sim.display_units import convert_column, convert_si, format_number, format_si
from sim.report.drawing.mechanism import INK, escape_lettering
from sim.report.formats.json_text import Document, clean_document
from sim.report.formats.tables import CAUTIONS
from sim.studies.friction import FrictionComparison, FrictionReading
from sim.studies.repinning import ReadingChange, Repinning
from sim.unit.centres import convert_torque_to_force
from sim.unit.model import CENTRES, ActionUnit

LEAST = 5e-4
"""Friction at the key that is told, N: a twentieth of a gram-force."""
COLOURS = (
    "#1d5c63", "#c2703d", "#7a8450", "#5b4b8a", "#b03a2e", "#8c8c8c", "#d9b44a", "#3d7ea6", "#a86a8f", "#4f4f4f",
    "#93b5a6", "#6b3e26",
)  # fmt: skip


COLUMNS = ("pressing, gf", "returning, gf", "felt, gf", "share", "healthy, gf", "pinning")


def build_tables(f: FrictionComparison) -> RenderableType:
    """Site by site, this unit and the healthy one."""
    if f.own.budget is None:
        return Text(f"{f.own.unit.name}: {f.own.outcome}. {f.own.reason}: no friction can be read.")
    low, high = (1e3 * end for end in WEIGHT_SPAN)
    title = f"Friction felt at the key over {low:.0f} to {high:.0f} mm of travel"
    table = Table(title=title, title_justify="left", box=None, pad_edge=False)
    table.add_column("")
    for name in COLUMNS:
        table.add_column(name, justify="right", no_wrap=True)
    for row in build_site_rows(f):
        table.add_row(*row.values())
    return Group(table, Text(""), *map(Text, format_weights(f)), Text(""), Text(" ".join(CAUTIONS.split())))


def build_site_rows(f: FrictionComparison) -> list[dict[str, str]]:
    """The same as words, a row a site; empty where nothing could be read."""
    own, healthy = f.own.budget, f.healthy.budget
    if own is None:
        return []
    total, out = own.total(), []
    for site in _list_shown_sites(own, healthy):
        share = f"{100 * own.felt(site) / total:.0f} %" if total else "–"
        well = None if healthy is None else healthy.felt(site)
        out.append(
            (TITLES[site], *_build_ways(own, (site,)), share, _format_gf(well), format_pinning(f.own.unit, site))
        )
    out.append(
        ("all of it", *_build_ways(own, own.sites), "", _format_gf(None if healthy is None else healthy.total()), "")
    )
    return [dict(zip(("site", *COLUMNS), row, strict=True)) for row in out]


def _build_ways(b: FrictionBudget, sites: Sequence[str]) -> tuple[str, str, str]:
    down, up = (sum(branch.over(site, WEIGHT_SPAN) for site in sites) for branch in (b.pressing, b.returning))
    return _format_gf(down), _format_gf(up), _format_gf(0.5 * (down + up))


def format_weights(f: FrictionComparison) -> list[str]:
    """The weights of both, and what the columns mean."""
    out = []
    for told, felt in (("This unit", f.own), ("With healthy friction", f.healthy)):
        t = felt.touch
        if t.down_weight is None or t.up_weight is None or t.friction is None:
            out.append(f"{told}: {felt.outcome}. {felt.reason}")
            continue
        down, up, rubbed = (_format_gf(v) for v in (t.down_weight, t.up_weight, t.friction))
        out.append(f"{told}: down {down}, up {up}, half of their difference {rubbed} gf.")
    out.append(
        "Healthy: the same unit with the friction that is usual in this part of the compass. Pinning: force at "
        f"{1e3 * PINNING_RADIUS:.0f} mm that keeps the freed part turning."
    )
    return out


def _list_shown_sites(own: FrictionBudget, healthy: FrictionBudget | None) -> list[str]:
    both = [b for b in (own, healthy) if b is not None]
    return [n for n in TITLES if any(n in b.sites and b.felt(n) > LEAST for b in both)]


def _format_gf(newton: float | None) -> str:
    return format_number(convert_si(newton, "gf"), "gf")


def format_pinning(unit: ActionUnit, site: str) -> str:
    """Pinning force of a centre that can be freed, with its unit; else empty."""
    if site not in CENTRES or site == "key":
        return ""
    return f"{_format_gf(convert_torque_to_force(unit.friction[site], PINNING_RADIUS))} gf"


DEVIATION_NOTE = (
    "+-: standard deviation of the change over units like this one, whose frictions, felts, masses and settings differ "
    "as those of healthy units do."
)


def build_repinning_rows(r: Repinning, inches: bool = False) -> list[dict[str, str]]:
    """What repinning brings, a row a reading."""
    return [
        {
            "reading": b.reading.title,
            "now": _format_change(b.before, b, inches),
            "repinned": _format_change(b.after, b, inches),
            "change": "–"
            if b.before is None or b.after is None
            else _format_change(b.after - b.before, b, inches, "+"),
            "+-": _format_change(b.spread, b, inches),
            "a bench would see it": _is_seen(b),
        }
        for b in r.readings
    ]


def _format_change(si: float | None, b: ReadingChange, inches: bool, sign: str = "") -> str:
    text = format_si(si, b.reading.unit, inches, sign) if si is not None else "–"
    return f"{text} per s" if b.reading.name.endswith("_hz") and si is not None else text


def _is_seen(b: ReadingChange) -> str:
    if b.before is None or b.after is None:
        return "yes" if b.before != b.after else ""
    moved = convert_si(b.after - b.before, b.reading.unit)
    return "yes" if b.reading.accuracy and moved is not None and abs(moved) > b.reading.accuracy else ""


def build_repinning_table(r: Repinning) -> RenderableType:
    """The same for a terminal."""
    torque = format_si(r.torque, "Nmm")
    table = Table(title=f"{r.centre} repinned to {torque}", title_justify="left", box=None, pad_edge=False)
    rows_ = build_repinning_rows(r)
    for name in rows_[0]:
        table.add_column(name, justify="left" if name == "reading" else "right")
    for row in rows_:
        table.add_row(*row.values())
    return Group(table, Text(""), Text(f"Now: {r.outcomes[0]}; repinned: {r.outcomes[1]}."), Text(DEVIATION_NOTE))


def build_repinning_document(r: Repinning) -> Document:
    """The same as JSON."""
    return clean_document(
        {
            "centre": r.centre,
            "torque_Nmm": convert_si(r.torque, "Nmm"),
            "outcome_now": r.outcomes[0],
            "outcome_repinned": r.outcomes[1],
            "readings": {
                b.reading.key: {
                    "now": convert_si(b.before, b.reading.unit),
                    "repinned": convert_si(b.after, b.reading.unit),
                    "change_deviation": convert_si(b.spread, b.reading.unit),
                }
                for b in r.readings
            },
        }
    )


def build_document(f: FrictionComparison) -> Document:
    """Both budgets in gram-force at the touch point."""
    return clean_document(
        {name: _build_felt_document(felt) for name, felt in (("this_unit", f.own), ("healthy", f.healthy))}
    )


def _build_felt_document(felt: FrictionReading) -> Document:
    b, t = felt.budget, felt.touch
    sites = {} if b is None else {
        site: {
            "pressing_gf": convert_si(b.pressing.over(site, WEIGHT_SPAN), "gf"),
            "returning_gf": convert_si(b.returning.over(site, WEIGHT_SPAN), "gf"),
            "felt_gf": convert_si(b.felt(site), "gf"),
        }
        for site in b.sites
    }  # fmt: skip
    return {
        "unit": felt.unit.name,
        "outcome": felt.outcome,
        "reason": felt.reason,
        "down_weight_gf": convert_si(t.down_weight, "gf"),
        "up_weight_gf": convert_si(t.up_weight, "gf"),
        "friction_gf": convert_si(t.friction, "gf"),
        "all_sites_gf": None if b is None else convert_si(b.total(), "gf"),
        "sites": sites,
    }


def draw_friction(f: FrictionComparison) -> Figure:
    """Friction at the key along the stroke, by site, one panel a unit."""
    figure = Figure(figsize=(11, 4.8), layout="constrained")
    FigureCanvasAgg(figure)
    panels = figure.subplots(1, 2, sharey=True)
    for axes, felt, told in zip(panels, (f.own, f.healthy), ("as it is", "healthy friction"), strict=True):
        axes.set_title(f"{escape_lettering(felt.unit.name)}: {told}", loc="left", fontsize=9, color=INK)
        if felt.budget is None:
            axes.text(0.5, 0.5, felt.outcome, ha="center", transform=axes.transAxes)
            continue
        _draw_stack(axes, felt.budget)
    panels[0].set_ylabel("friction at the key, gf")
    panels[0].legend(loc="upper left", fontsize=7, frameon=False)
    return figure


def _draw_stack(axes: Axes, b: FrictionBudget) -> None:
    most = float(min(branch.travel.max() for branch in (b.pressing, b.returning)))
    at = np.linspace(0.2e-3, most - 0.2e-3, 240)
    sites = [n for n in TITLES if n in b.sites]
    felt = [0.5 * (b.pressing.force(n, at) + b.returning.force(n, at)) for n in sites]
    shown = [convert_column(force, "gf") for force in felt]
    colours = [COLOURS[list(TITLES).index(n)] for n in sites]
    axes.stackplot(convert_column(at, "mm"), shown, labels=[TITLES[n] for n in sites], colors=colours)
    axes.axvspan(*(1e3 * end for end in WEIGHT_SPAN), color="none", ec="#999999", ls=":", lw=0.8)
    axes.set_xlabel("key travel at the touch point, mm")
    axes.set_xlim(0, 1e3 * most)
    axes.spines[["top", "right"]].set_visible(False)
