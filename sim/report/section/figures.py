"""Readings over the notes of a section, and slow presses over one another, as figures."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

from sim.bench.readings import SlowPress
from sim.display_units import UNITS, choose_unit, convert_column, convert_si, format_unit
from sim.report.drawing.draw import new_axes
from sim.report.section.tables import SectionReading, get_entered, get_expected, get_predicted
from sim.section.section import Section, SectionNote

FOUND, EXPECTED, AFTER, OUT = "#22282d", "#8a949c", "#1f6f8b", "#b5482a"
"""Ink, faint, the curve of what comes, and what stands out."""
LEAST = 8.0
"""Accuracies of a reading that the axis spans at least (our convention)."""


def draw_over_notes(section: Section, s: SectionReading, inches: bool = False) -> Axes:
    """One reading, note by note: found, expected, after the work; notes that stand out ringed."""
    axes, unit = new_axes(7.5, 2.4), choose_unit(s.unit, inches)

    def points(
        notes: Sequence[SectionNote], take: Callable[[SectionNote], float | None]
    ) -> tuple[list[int], list[float]]:
        read = [(n.key_number, v) for n in notes if (v := convert_si(take(n), unit)) is not None]
        return [k for k, _ in read], [v for _, v in read]

    notes = section.notes
    axes.plot(*points(notes, lambda n: get_expected(n, s.name)), color=EXPECTED, linewidth=1.2, label="expected")
    axes.plot(*points(notes, lambda n: get_predicted(n.prediction, s.name)), color=AFTER, label="after the work")
    axes.plot(*points(notes, lambda n: get_entered(n.row, s.name)), "o", color=FOUND, markersize=3.5, label="found")
    out = points(section.outliers, lambda n: get_entered(n.row, s.name))
    axes.plot(*out, "o", markersize=10, markerfacecolor="none", color=OUT, label="stands out")
    axes.set_xlabel("note (1 the lowest)")
    axes.xaxis.set_major_locator(MaxNLocator(integer=True))
    axes.set_ylabel(s.head(inches))
    _widen_axis(axes, s, unit)
    axes.grid(alpha=0.25)
    axes.legend(loc="lower left", bbox_to_anchor=(0, 1), fontsize=7, frameon=False, ncols=4)
    return axes


def _widen_axis(axes: Axes, s: SectionReading, unit: str) -> None:
    """What no bench can tell apart shall not look uneven: the axis spans some accuracies at least."""
    if s.accuracy is None:
        return
    least = LEAST * (convert_si(UNITS[s.unit].dimension.factor(format_unit(s.unit)) * s.accuracy, unit) or 0.0)
    low, high = axes.get_ylim()
    if high - low < least:
        axes.set_ylim(0.5 * (low + high - least), 0.5 * (low + high + least))


def draw_presses(curves: Sequence[tuple[str, SlowPress]], inches: bool = False) -> Axes:
    """Slow presses over one another: pressing in full, letting up dashed."""
    axes, unit = new_axes(7.5, 3.2), choose_unit("mm", inches)
    for colour, (told, press) in zip((EXPECTED, AFTER), curves, strict=False):
        travel = convert_column(press.travel, unit)
        axes.plot(travel, convert_column(press.pressing, "gf"), color=colour, label=f"{told}, pressing")
        axes.plot(
            travel, convert_column(press.returning, "gf"), color=colour, linestyle="--", label=f"{told}, letting up"
        )
    axes.set_xlabel(f"travel of the key at the touch point, {format_unit(unit)}")
    axes.set_ylabel("force, gf")
    axes.grid(alpha=0.25)
    axes.legend(loc="best", fontsize=7, frameon=False)
    return axes
