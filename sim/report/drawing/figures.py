"""Figures: the mechanism with its curves on one sheet, and each curve on axes of its own."""

from __future__ import annotations

import io
from pathlib import Path

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from sim.bench.readings import Prediction, Repetition, SlowPress, Strike
from sim.display_units import convert_column
from sim.physics.run import Run, Trace
from sim.report.drawing.mechanism import INK, draw_close_up, draw_mechanism, escape_lettering
from sim.report.drawing.shapes import POSE, Pose
from sim.unit.model import ActionUnit

SUFFIXES = (".svg", ".png", ".pdf")
CROWN, KEY, BACK, FAINT = "#a8433a", "#1f5f7a", "#7f9fb0", "#aab2b9"
MARKED_EVENTS = {"escape": "escape", "string_contact": "string", "key_bottom": "key bottom", "caught": "caught"}


def get_pose(trace: Trace, row: int) -> Pose:
    """Pose at one row of a trace."""
    return Pose(*(float(trace[name][row]) for name in POSE))


def find_row(trace: Trace, time: float | None) -> int:
    """Row of a time (the last where there is none)."""
    return len(trace) - 1 if time is None else min(int(np.searchsorted(trace["t"], time)), len(trace) - 1)


def draw_prediction_sheet(
    unit: ActionUnit, prediction: Prediction, strike: Strike, run: Run, travel_at_rest: float = 0.0
) -> Figure:
    """At rest, at escape, from near by; one blow over time; the slow press; repetition."""
    figure = Figure(figsize=(14, 8.6), layout="constrained")
    FigureCanvasAgg(figure)
    grid = figure.add_gridspec(2, 12, height_ratios=[0.82, 1.0])
    trace, gap = run.trace, run.place.crown_to_string
    escape = find_row(trace, strike.events.get("escape")) if strike.events.get("escape") else int(np.argmin(gap))
    draw_mechanism(
        figure.add_subplot(grid[0, :6]), unit, get_pose(trace, 0), names=True, title="At rest", crown_gap=float(gap[0])
    )
    title = f"As the jack lets go ({strike.touch} blow)" if strike.events.get("escape") else "Nearest to the string"
    draw_mechanism(
        figure.add_subplot(grid[0, 6:]),
        unit,
        get_pose(trace, escape),
        title=title,
        crown_gap=float(gap[escape]) if gap[escape] > 0 else None,
    )
    draw_close_up(figure.add_subplot(grid[1, :4]), unit, get_pose(trace, escape), title="The same from near by")
    draw_blow(figure.add_subplot(grid[1, 4:8]), run, strike, travel_at_rest)
    last = figure.add_subplot(grid[1, 8:])
    if prediction.slow_press is not None:
        draw_slow_press(last, prediction.slow_press)
    else:
        last.text(0.5, 0.5, "no slow-press curve:\n" + prediction.outcome, ha="center", transform=last.transAxes)
        last.set_axis_off()
    state = "plays" if prediction.plays else f"does not play: {prediction.outcome}"
    figure.suptitle(f"{escape_lettering(unit.name)} – {state}", fontsize=13, color=INK, x=0.01, ha="left")
    return figure


def draw_blow(axes: Axes, run: Run, strike: Strike | None = None, travel_at_rest: float = 0.0) -> Axes:
    """Crown and key over time in one blow, with its events."""
    every = max(1, len(run.trace) // 4000)
    t = convert_column(run.trace["t"], "ms")[::every]
    crown = convert_column(run.place.crown_to_string, "mm")[::every]
    key = convert_column(run.place.key_travel - travel_at_rest, "mm")[::every]
    axes.plot(t, crown, color=CROWN, lw=1.6)
    axes.plot(t, key, color=KEY, lw=1.6)
    axes.axhline(0, color=FAINT, lw=0.8)
    end = float(t[-1])
    if strike is not None and strike.events:
        end = _events(axes, strike, float(crown.max()), end)
    axes.set_xlim(0, end)
    last = int(np.searchsorted(t, end)) - 1
    axes.text(end * 0.985, float(crown[last]) + 1.2, "crown to string", color=CROWN, fontsize=9, ha="right")
    axes.text(end * 0.985, float(key[last]) - 1.2, "key travel", color=KEY, fontsize=9, ha="right", va="top")
    axes.set(xlabel="time, ms", ylabel="mm")
    axes.set_title(f"{strike.touch.capitalize()} blow" if strike else "Blow", loc="left", fontsize=10, color=INK)
    return _simplify_axes(axes)


def _events(axes: Axes, strike: Strike, top: float, end: float) -> float:
    """Marks of the events; returns a sensible end of the time axis, ms."""
    times = {name: strike.events.get(name) for name in MARKED_EVENTS}
    known = sorted((float(time) * 1e3, MARKED_EVENTS[name]) for name, time in times.items() if time is not None)
    end = min(end, known[-1][0] * 1.25) if known else end
    for step, (time, text) in enumerate(known):
        level = top * (1.36 - 0.08 * step)
        axes.plot([time, time], [-2, level], color=FAINT, lw=0.8, ls=":")
        axes.text(
            time,
            level,
            f" {text} {time:.1f} ms",
            fontsize=8,
            color=INK,
            va="center",
            ha="left" if time < 0.7 * end else "right",
        )
    axes.set_ylim(-2, top * 1.42)
    return end


def draw_slow_press(axes: Axes, press: SlowPress) -> Axes:
    """Force against key travel, pressing and returning; the area between is work lost."""
    travel = convert_column(press.travel, "mm")
    down, up = convert_column(press.pressing, "gf"), convert_column(press.returning, "gf")
    axes.fill_between(travel, down, up, color=BACK, alpha=0.22, lw=0)
    axes.plot(travel, down, color=KEY, lw=1.6)
    axes.plot(travel, up, color=BACK, lw=1.6)
    top = float(np.nanmax(down[travel < 0.9 * travel.max()])) if len(travel) else 100.0
    axes.set_ylim(min(0.0, float(np.nanmin(up))), 1.35 * top)
    middle = int(np.searchsorted(travel, 0.12 * travel.max()))
    axes.annotate("pressing", (travel[middle], down[middle]), (0, 8), textcoords="offset points", color=KEY, fontsize=9)
    axes.annotate(
        "returning", (travel[middle], up[middle]), (0, -14), textcoords="offset points", color=BACK, fontsize=9
    )
    lost = f"lost in one slow stroke: {press.area * 1e3:.1f} mJ"
    axes.text(0.03, 0.96, lost, transform=axes.transAxes, fontsize=8, color=INK)
    axes.set(xlabel="key travel, mm", ylabel="force, gf")
    axes.set_title("Slow press", loc="left", fontsize=10, color=INK)
    return _simplify_axes(axes)


def draw_repetition(axes: Axes, repetition: Repetition) -> Axes:
    """Share of strokes that sound, and that begin with the jack home, by rate."""
    rates = sorted(repetition.sounded_fraction)
    axes.plot(rates, [repetition.sounded_fraction[r] for r in rates], "o-", color=CROWN, label="sound")
    home = [r for r in rates if r in repetition.reset_fraction]
    axes.plot(home, [repetition.reset_fraction[r] for r in home], "s--", color=KEY, label="begin with the jack home")
    if repetition.limit_hz is not None:
        axes.axvline(repetition.limit_hz, color=FAINT, lw=0.8, ls=":")
    axes.set(xlabel="strokes a second", ylabel="share of strokes", ylim=(-0.03, 1.05))
    axes.legend(frameon=False, fontsize=9)
    axes.set_title("Repetition", loc="left", fontsize=10, color=INK)
    return _simplify_axes(axes)


def _simplify_axes(axes: Axes) -> Axes:
    axes.spines[["top", "right"]].set_visible(False)
    axes.tick_params(labelsize=8)
    return axes


def save_figure(figure: Figure, path: Path) -> None:
    """To SVG, PNG or PDF, by the file's ending; without date or host, so that the same run gives the same file."""
    kind = path.suffix.lower().lstrip(".")
    plain = {"svg": {"Date": None, "Creator": None}, "pdf": {"CreationDate": None, "Producer": None, "Creator": None}}
    with matplotlib.rc_context({"svg.hashsalt": "action-unit", "svg.fonttype": "none"}):
        figure.savefig(path, format=kind, dpi=130, metadata=plain.get(kind, {"Software": None}))


def render_png(figure: Figure, dpi: int = 200) -> bytes:
    """The same bytes for the same figure, for a page or a sheet of paper."""
    out = io.BytesIO()
    figure.savefig(out, format="png", dpi=dpi, metadata={"Software": None})
    return out.getvalue()
