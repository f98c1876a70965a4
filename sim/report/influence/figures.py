"""Curves of a study of influences."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from numpy.typing import NDArray

from sim.display_units import convert_si
from sim.report.drawing.figures import BACK, CROWN, FAINT, KEY
from sim.report.drawing.mechanism import INK
from sim.report.influence.tables import name_with_unit
from sim.studies.influence import InputInfluence, Slope
from sim.studies.sensitivity import SensitivityAnalysis
from sim.studies.spring import SpringStudy

MOST = 24
"""Curves on one sheet."""


def draw_slopes(found: Sequence[InputInfluence]) -> Figure:
    """The curves that bend most, then those that answer most, a small chart each; how many are left out is told."""
    slopes = [s for answers in found for s in answers.slopes.values() if s.matters]
    shown = sorted(slopes, key=lambda s: (not s.curved, -_rank_slope(s)))[:MOST]
    columns = min(4, max(1, len(shown)))
    rows = max(1, -(-len(shown) // columns))
    figure = _figure(3.3 * columns, 2.5 * rows + 0.3)
    for k, s in enumerate(shown):
        axes = _simplify_axes(figure.add_subplot(rows, columns, k + 1))
        x, y = _curve(s)
        axes.plot(x, y, "o-", color=CROWN if s.curved else KEY, ms=3, lw=1.2)
        axes.set_xlabel(name_with_unit(s.path), fontsize=7)
        axes.set_title(f"{s.reading.title}, {s.reading.shown_unit}".rstrip(", "), loc="left", fontsize=8, color=INK)
    if len(slopes) > len(shown):
        left = f"{len(shown)} curves of {len(slopes)}, those that bend most first; --only and --readings choose others"
        figure.suptitle(left, fontsize=8, color=INK)
    return figure


def _curve(s: Slope) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Input and reading as numbers, NaN where it was not read."""
    x, y = zip(*((x, np.nan if y is None else y) for x, y in s.values), strict=True)
    return np.array(x, dtype=float), np.array(y, dtype=float)


def _rank_slope(s: Slope) -> float:
    """How far a curve that bends leaves its straight line, or how far a straight one goes, over what a bench reads."""
    x, y = _curve(s)
    read = np.isfinite(y)
    x, y = x[read], y[read]
    if s.curved and len(y) > 2:
        y = y - np.polyval(np.polyfit(x - x.mean(), y, 1), x - x.mean())
    return float(np.ptp(y)) / (s.reading.accuracy or float(np.abs(y).max()) or 1.0)


CHARTS: Sequence[tuple[str, str, Mapping[str, str]]] = (
    ("Rise out of the check", "mm", {"spring_rise": "rise"}),
    ("Jack home again, on a slow return", "key depth, mm", {"reset_point": "reset point"}),
    ("Coming back, key let go", "ms", {"return_time": "jack home", "rest_time": "all at rest"}),
    (
        "Strokes at 6 and 8 a second",
        "share",
        {"sounded_at_6": "sound, 6", "sounded_at_8": "sound, 8", "home_at_6": "home, 6", "home_at_8": "home, 8"},
    ),
    ("Repetition", "limit, per s", {"limit_hz": "limit"}),
    (
        "Caught by the check",
        "crown to string, mm",
        {"soft_checking_distance": "soft", "checking_distance": "moderate", "hard_checking_distance": "hard"},
    ),
)  # fmt: skip
"""Title, axis, and readings with their names, of each chart over the spring."""
STYLES = ((CROWN, "-"), (KEY, "-"), (CROWN, "--"), (KEY, "--"))


def draw_spring_study(s: SpringStudy) -> Figure:
    """Rise, coming back, repetition and catch over the spring, its window shaded; the window over the lever centre."""
    figure = _figure(15, 7.5)
    own = next((w for w in s.windows if w.friction == s.own_friction), None)
    for k, (title, label, names) in enumerate(CHARTS):
        axes = _simplify_axes(figure.add_subplot(2, 4, k + 1))
        for (name, told), (colour, style) in zip(names.items(), STYLES, strict=False):
            torque, values, kicks = _select_over_spring(s, name)
            axes.plot(torque, values, f"o{style}", color=colour, ms=3, lw=1.2, label=told)
            axes.plot(torque[kicks], values[kicks], "x", color=INK, ms=5)
        if own is not None and own.lifts_from is not None and own.kicks_from is not None:
            axes.axvspan(own.lifts_from * 1e3, own.kicks_from * 1e3, color=BACK, alpha=0.15, lw=0)
        axes.axvline(s.own * 1e3, color=FAINT, lw=0.8, ls=":")
        axes.set(xlabel="spring, N·mm", ylabel=label)
        axes.set_title(title, loc="left", fontsize=9, color=INK)
        if len(names) > 1:
            axes.legend(frameon=False, fontsize=7)
    _draw_windows(_simplify_axes(figure.add_subplot(2, 4, 7)), s)
    _draw_width(_simplify_axes(figure.add_subplot(2, 4, 8)), s)
    figure.suptitle("x: kicks; shaded: lifts without a kick; dotted: this scenario's spring", fontsize=9, color=INK)
    return figure


def _select_over_spring(
    s: SpringStudy, name: str
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.bool_]]:
    """Springs (N·mm), one reading, and whether each kicks."""
    taken = [spring.readings.get(name) for spring in s.springs]
    values = [convert_si(t.value, t.unit) if t is not None else None for t in taken]
    torque = np.array([spring.torque * 1e3 for spring in s.springs])
    return torque, np.array(values, dtype=float), np.array([bool(spring.kicks) for spring in s.springs], dtype=bool)


def _draw_windows(axes: Axes, s: SpringStudy) -> None:
    known = [w for w in s.windows if w.lifts_from is not None and w.kicks_from is not None]
    friction = [w.friction * 1e3 for w in known]
    low, high = (np.array([getattr(w, n) for w in known], dtype=float) * 1e3 for n in ("lifts_from", "kicks_from"))
    axes.fill_between(friction, low, high, color=BACK, alpha=0.3, lw=0)
    axes.plot(friction, low, "o-", color=KEY, ms=3, lw=1.2, label="lifts from")
    axes.plot(friction, high, "o-", color=CROWN, ms=3, lw=1.2, label="kicks from")
    axes.plot([s.own_friction * 1e3], [s.own * 1e3], "x", color=INK, label="this scenario")
    axes.set(xlabel="friction of the lever centre, N·mm", ylabel="spring, N·mm")
    axes.set_title("Window by lever centre", loc="left", fontsize=9, color=INK)
    axes.legend(frameon=False, fontsize=7)


def _draw_width(axes: Axes, s: SpringStudy) -> None:
    known = [(w.friction * 1e3, w.width * 1e3) for w in s.windows if w.width is not None]
    axes.plot(*np.array(known, dtype=float).reshape(-1, 2).T, "o-", color=KEY, ms=3, lw=1.2)
    axes.set(xlabel="friction of the lever centre, N·mm", ylabel="N·mm")
    axes.set_ylim(0, 1.2 * max((width for _, width in known), default=1.0))
    moved = "" if s.shift is None else f"\n(its centre moves {s.shift:.2f} N·mm per N·mm)"
    axes.set_title(f"Width of the window{moved}", loc="left", fontsize=9, color=INK)


def draw_sensitivity(d: SensitivityAnalysis) -> Figure:
    """Total indices, readings down, inputs across; blank where there is none."""
    known = [r for r in d.readings if any(total is not None for total in r.total)]
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


def _simplify_axes(axes: Axes) -> Axes:
    axes.spines[["top", "right"]].set_visible(False)
    axes.tick_params(labelsize=7)
    return axes
