"""The curves of the validation report: published laws, points and gates, and the healthy units over them."""

from __future__ import annotations

import io

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.ticker import LogLocator, NullFormatter, ScalarFormatter

from sim.display_units import format_unit
from sim.report.drawing.figures import CROWN, FAINT, KEY
from sim.report.drawing.mechanism import INK
from sim.report.paper import web_page
from sim.validation.evidence import DrawnCurve, KeyStroke
from sim.validation.published import compute_law_band, evaluate_laws, load_laws
from sim.validation.published_measures import PLATEAU

SIZE = (6.4, 4.2)
PUBLISHED = "#7d8893"
STYLES = ("-", "--", ":")


def draw_curve(drawn: DrawnCurve) -> Figure:
    """One quantity over hammer speed."""
    figure, axes = _new_axes()
    c = drawn.curve
    v = np.geomspace(min(c.speeds), max(c.speeds), 60)
    if c.law:
        if c.widened:
            ends = np.array([compute_law_band(c.law, x, c.widened) for x in v])
            axes.fill_between(v, *ends.T, color=FAINT, alpha=0.28, lw=0, label=f"band, widened by {c.widened:.0%}")
        for i in range(len(load_laws(c.law))):
            label = "published, an instrument each" if i == 0 else None
            axes.plot(
                v, [evaluate_laws(c.law, x)[i] for x in v], color=PUBLISHED, ls=STYLES[i % 3], lw=1.0, label=label
            )
    if c.memory:
        line = [evaluate_laws(c.memory, x)[0] for x in v]
        axes.plot(v, line, color=KEY, ls="-.", lw=0.9, label="from memory, not held to")
    for i, (low, high, least, most) in enumerate(c.gates):
        label = "gate" if i == 0 else None
        axes.fill_between([low, high], least, most, color=FAINT, alpha=0.45, lw=0, label=label)
    for i, (x, y, source) in enumerate(c.points):
        axes.plot([x], [y], "D", color=PUBLISHED, ms=6, label=_shorten_source(source) if i == 0 else None)
    _units(axes, drawn)
    _set_log_axes(axes, c.speeds)
    axes.set(xlabel="hammer speed, m/s", ylabel=f"{c.title.split(',')[0].lower()}, {format_unit(c.unit)}")
    return _finish_figure(figure, axes, c.title)


def _units(axes: Axes, drawn: DrawnCurve) -> None:
    if not np.isfinite(drawn.values).any():
        axes.plot([], [], color=CROWN, label="this simulator: cannot be played so")
        return
    v, middle = np.array(drawn.curve.speeds), drawn.percentile(50)
    axes.fill_between(v, drawn.percentile(5), drawn.percentile(95), color=CROWN, alpha=0.22, lw=0)
    axes.plot(v, middle, "o-", color=CROWN, lw=1.6, ms=4, label="this simulator, median and 5 to 95 %")
    if drawn.curve.quantity == "key_bottom_after_contact":
        axes.axhline(0.0, color=INK, lw=0.6)
    elif np.nanmin(drawn.values) > 0 and np.nanmax(drawn.values) > 6 * np.nanmin(drawn.values):
        axes.set_yscale("log")
        axes.yaxis.set_major_locator(LogLocator(10, (1.0, 2.0, 5.0)))
        axes.yaxis.set_major_formatter(ScalarFormatter())
        axes.yaxis.set_minor_formatter(NullFormatter())
    else:
        axes.set_ylim(bottom=0.0)


def _set_log_axes(axes: Axes, ticks: tuple[float, ...]) -> None:
    axes.set_xscale("log")
    axes.set_xticks(ticks, [f"{v:g}" for v in ticks])
    axes.xaxis.set_minor_formatter(NullFormatter())
    axes.minorticks_off()


def draw_strokes(found: tuple[KeyStroke, ...], v: float) -> Figure:
    """Key speed over the share of its travel, pressed and struck."""
    figure, axes = _new_axes()
    axes.axvspan(
        100 * PLATEAU[0], 100 * PLATEAU[1], color=FAINT, alpha=0.28, lw=0, label="where a plateau is looked for"
    )
    for stroke, (colour, style) in zip(found, ((KEY, "-"), (CROWN, "-"), (CROWN, ":")), strict=False):
        axes.plot(100 * stroke.part, stroke.speed, color=colour, ls=style, lw=1.5, label=stroke.name)
    axes.axhline(0.0, color=INK, lw=0.6)
    axes.set(xlabel="key travel, % of the way to the punching", ylabel="key speed, m/s")
    return _finish_figure(figure, axes, f"Key's motion, hammer at {v:g} m/s, the unit the others are drawn about")


def _new_axes() -> tuple[Figure, Axes]:
    figure = Figure(figsize=SIZE, layout="constrained")
    FigureCanvasAgg(figure)
    return figure, figure.add_subplot()


def _finish_figure(figure: Figure, axes: Axes, title: str) -> Figure:
    axes.set_title(title, loc="left", fontsize=11, color=INK)
    axes.spines[["top", "right"]].set_visible(False)
    axes.tick_params(labelsize=9)
    axes.legend(frameon=False, fontsize=8)
    return figure


def _shorten_source(source: str) -> str:
    return source.split(":")[0].split(",")[0]


def embed_figure(figure: Figure) -> str:
    """The figure as an address that holds it whole (SVG); the same figure gives the same text."""
    text = io.BytesIO()
    with matplotlib.rc_context({"svg.hashsalt": "action-unit", "svg.fonttype": "none"}):
        figure.savefig(text, format="svg", metadata={"Date": None, "Creator": None})
    return web_page.embed_data(text.getvalue(), "image/svg+xml")
