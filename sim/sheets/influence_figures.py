"""Curves of a study of influences."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from sim.bench import edge
from sim.sheets.figures import BACK, CROWN, FAINT, KEY
from sim.sheets.mechanism import INK
from sim.workshop.doubt import Doubt
from sim.workshop.influence import Answers, Slope
from sim.workshop.spring_study import SpringStudy

MOST = 24
"""Curves on one sheet."""


def local(found: Sequence[Answers]) -> Figure:
    """The curves that bend, then those that answer most, a small chart each."""
    slopes = [s for answers in found for s in answers.slopes.values() if s.matters]
    slopes = sorted(slopes, key=lambda s: (not s.curved, -_strength(s)))[:MOST]
    columns = min(4, max(1, len(slopes)))
    rows = max(1, -(-len(slopes) // columns))
    figure = _figure(3.3 * columns, 2.5 * rows)
    for k, s in enumerate(slopes):
        axes = _plain(figure.add_subplot(rows, columns, k + 1))
        x, y = zip(*((x, np.nan if y is None else y) for x, y in s.values), strict=True)
        axes.plot(x, y, "o-", color=CROWN if s.curved else KEY, ms=3, lw=1.2)
        axes.set_xlabel(s.path, fontsize=7)
        axes.set_title(f"{s.reading.title}, {s.reading.shown_unit}".rstrip(", "), loc="left", fontsize=8, color=INK)
    return figure


def _strength(s: Slope) -> float:
    read = [y for _, y in s.values if y is not None]
    return (max(read) - min(read)) / (s.reading.accuracy or max(map(abs, read)) or 1.0)


def springs(s: SpringStudy) -> Figure:
    """Rise, coming back and repetition over the spring; the window over the lever centre."""
    figure = _figure(13, 8)
    torque = [spring.torque * 1e3 for spring in s.springs]
    charts = (
        (("spring_rise",), "rise, mm"),
        (("reset_point", "checking_distance"), "mm"),
        (("return_time", "rest_time"), "ms"),
        (("sounded_at_6", "sounded_at_8", "home_at_6", "home_at_8"), "share of strokes"),
        (("limit_hz",), "repetition limit, per s"),
    )
    for k, (names, label) in enumerate(charts):
        axes = _plain(figure.add_subplot(2, 3, k + 1))
        for name, colour, style in zip(names, (CROWN, KEY, CROWN, KEY), ("-", "-", "--", "--"), strict=False):
            taken = [spring.readings.get(name) for spring in s.springs]
            values = [edge.number(t.value, t.unit) if t is not None else None for t in taken]
            axes.plot(torque, np.array(values, dtype=float), f"o{style}", color=colour, ms=3, lw=1.2, label=name)
        axes.set(xlabel="spring, N·mm", ylabel=label)
        axes.axvline(s.own * 1e3, color=FAINT, lw=0.8, ls=":")
        if any(len(line.get_xdata()) for line in axes.lines) and len(names) > 1:  # type: ignore[arg-type]
            axes.legend(frameon=False, fontsize=7)
    _draw_windows(_plain(figure.add_subplot(2, 3, 6)), s)
    return figure


def _draw_windows(axes: Axes, s: SpringStudy) -> None:
    known = [w for w in s.windows if w.lifts_from is not None and w.kicks_from is not None]
    friction = [w.friction * 1e3 for w in known]
    low, high = (np.array([getattr(w, n) for w in known], dtype=float) * 1e3 for n in ("lifts_from", "kicks_from"))
    axes.fill_between(friction, low, high, color=BACK, alpha=0.3, lw=0)
    axes.plot(friction, low, "o-", color=KEY, ms=3, lw=1.2, label="lifts from")
    axes.plot(friction, high, "o-", color=CROWN, ms=3, lw=1.2, label="kicks from")
    axes.plot([s.own_friction * 1e3], [s.own * 1e3], "x", color=INK, label="this scenario")
    axes.set(xlabel="friction of the lever centre, N·mm", ylabel="spring, N·mm")
    axes.legend(frameon=False, fontsize=7)


def doubt(d: Doubt) -> Figure:
    """Total indices, readings down, inputs across."""
    known = [r for r in d.readings if r.total is not None]
    figure = _figure(4 + 0.5 * len(d.inputs), 2 + 0.24 * max(1, len(known)))
    axes = figure.add_subplot()
    shares = np.array([r.total for r in known], dtype=float).reshape(len(known), len(d.inputs))
    picture = axes.imshow(np.clip(shares, 0, 1), cmap="Blues", vmin=0, vmax=1, aspect="auto")
    axes.set_xticks(range(len(d.inputs)), [t.path for t in d.inputs], rotation=60, ha="right", fontsize=7)
    axes.set_yticks(range(len(known)), [r.reading.title for r in known], fontsize=7)
    axes.set_title("Share of the variance, with all an input takes part in", loc="left", fontsize=9, color=INK)
    figure.colorbar(picture, shrink=0.6)
    return figure


def _figure(width: float, height: float) -> Figure:
    figure = Figure(figsize=(width, height), layout="constrained")
    FigureCanvasAgg(figure)
    return figure


def _plain(axes: Axes) -> Axes:
    axes.spines[["top", "right"]].set_visible(False)
    axes.tick_params(labelsize=7)
    return axes
