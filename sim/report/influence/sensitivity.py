"""What the bench's tolerances do to the readings, as a table, JSON and CSV."""

from __future__ import annotations

from collections.abc import Iterator

from rich.console import Group, RenderableType
from rich.text import Text

from sim.bench.outcomes import Outcome
from sim.display_units import convert_si, format_column_name, format_number
from sim.regulation.targets import format_target, get_target_unit
from sim.report.formats.json_text import Document, clean_document
from sim.report.formats.tables import new_plain_table
from sim.report.formats.traces import format_csv_lines
from sim.studies.sensitivity import SensitivityAnalysis, SobolIndices
from sim.studies.tolerances import Tolerance, find_input_factor, find_input_unit

HEADER = (
    "reading", "unit", "mean", "deviation", "missing", "input", "tolerance", "tolerance_unit", "first",
    "first_error", "total", "total_error",
)  # fmt: skip
MOST, FEW = 5, 0.02
"""Inputs told for one reading in the table: the greatest, and none with less of the variance than this."""


def build_tables(d: SensitivityAnalysis) -> RenderableType:
    """Spread of each reading, and whose doing it is."""
    table = new_plain_table("Spread under bench tolerances")
    for name in ("", "mean", "+-", "", "by itself / with all it takes part in, % of the variance"):
        number = name in ("mean", "+-")
        table.add_column(name, justify="right" if number else "left", no_wrap=number or not name)
    for r in d.readings:
        value = [convert_si(v, r.reading.unit) for v in (r.mean, r.deviation)]
        shown = [format_number(v, r.reading.unit) for v in value]
        table.add_row(r.reading.title, *shown, r.reading.shown_unit, _format_shares(d, r))
    return Group(Text(_format_method(d)), Text(_outcomes(d)), Text(""), table, Text(_sources(d)))


def _format_method(d: SensitivityAnalysis) -> str:
    if not d.targets:
        return "The screws are held where they stand; every drawn part moves what it moves."
    asked = ", ".join(f"{t.replace('_', ' ')} {format_target(t, si)}" for t, si in d.targets.items())
    return f"Each drawn unit is regulated again, by readings within their own tolerance, to {asked}."


def _outcomes(d: SensitivityAnalysis) -> str:
    others = "".join(f"; {count} {outcome}" for outcome, count in d.outcomes.items() if outcome != Outcome.PLAYS)
    text = f"{d.runs} units drawn: {d.outcomes.get('plays', 0)} play{others}."
    if others:
        text += " An index is given only where every unit it is made from gave the reading."
    return text


def _format_shares(d: SensitivityAnalysis, r: SobolIndices) -> str:
    known = [
        (t.path, first, total, error)
        for t, first, total, error in zip(d.inputs, r.first, r.total, r.total_error, strict=True)
        if first is not None and total is not None and error is not None
    ]
    if not known:
        return f"no index: not read in {r.missing:.1%} of the units" if r.missing else "does not vary"
    ranked = sorted(known, key=lambda one: -one[2])
    told = [one for one in ranked if one[2] > FEW][:MOST]
    parts = [f"{p} {100 * a:.0f} / {100 * b:.0f} +-{100 * e:.0f}" for p, a, b, e in told]
    unknown = [t.path for t, first in zip(d.inputs, r.first, strict=True) if first is None]
    if unknown:
        parts.append(f"no index for {', '.join(unknown)} (a unit in question was not read)")
    return "; ".join(parts)


def _sources(d: SensitivityAnalysis) -> str:
    lines = [f"{t.path}: {_size(t)}; {t.source}" for t in d.inputs]
    return "\nDrawn within\n  " + "\n  ".join(lines)


def _size(t: Tolerance) -> str:
    size = f"{t.si / find_input_factor(t.path):.3g} {find_input_unit(t.path)}".rstrip()
    return f"standard deviation {size}" if t.normal else f"+- {size}"


def build_document(d: SensitivityAnalysis) -> Document:
    """The analysis as JSON; a share is null where a unit that it is made from was not read."""
    inputs = {
        t.path: {
            "tolerance": t.si / find_input_factor(t.path),
            "unit": find_input_unit(t.path),
            "shape": "normal" if t.normal else "uniform",
            "source": t.source,
        }
        for t in d.inputs
    }
    return clean_document(
        {
            "screws": d.screws,
            "targets": {
                format_column_name(t, get_target_unit(t)): convert_si(si, get_target_unit(t))
                for t, si in d.targets.items()
            },
            "samples": d.samples,
            "units": d.runs,
            "playing": d.playing,
            "outcomes": dict(d.outcomes),
            "inputs": inputs,
            "indices": [dict(zip(HEADER, line, strict=True)) for line in _lines(d)],
        }
    )


def format_csv(d: SensitivityAnalysis) -> str:
    """A line for each reading and input."""
    return format_csv_lines(HEADER, _lines(d))


def _lines(d: SensitivityAnalysis) -> Iterator[tuple[object, ...]]:
    for r in d.readings:
        mean, deviation = (convert_si(v, r.reading.unit) for v in (r.mean, r.deviation))
        for t, *shares in zip(d.inputs, r.first, r.first_error, r.total, r.total_error, strict=True):
            size = t.si / find_input_factor(t.path), find_input_unit(t.path)
            yield (r.reading.key, r.reading.shown_unit, mean, deviation, r.missing, t.path, *size, *shares)
