"""The validation report: as a page of its own (HTML), as JSON, and as a table on the terminal."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from functools import cache
from typing import Any

from matplotlib.figure import Figure
from rich.console import Group, RenderableType
from rich.text import Text

from sim.display_units import UNITS, format_unit
from sim.physics.run import DEFAULT_STEP
from sim.report.evidence import figures as evidence_figures
from sim.report.formats.json_text import Document, clean_document
from sim.report.formats.tables import new_plain_table
from sim.report.paper.web_page import load_template
from sim.studies.healthy_variation import load_variations
from sim.studies.variants import format_input
from sim.unit.model import ActionUnit
from sim.validation.evidence import Evidence
from sim.validation.published import INSIDE_SHARE, PARTS, CheckResult, JudgedRow, load_tags
from sim.validation.published_measures import PLATEAU_AT
from sim.validation.records import Record

SUFFIXES = (".html", ".htm")


def format_figure(value: float | None, unit: str) -> str:
    """A number as a reader needs it: three figures that count, and one decimal at most beyond those of a reading."""
    if value is None:
        return "–"
    decimals = max(0, min(UNITS[unit].decimals + 1, 2 - math.floor(math.log10(abs(value))) if value else 0))
    text = f"{value:.{decimals}f}"
    return text.removeprefix("-") if float(text) == 0 else text


def format_gate(found: CheckResult) -> str:
    """A check's gate in words."""
    if found.check.gate is None:
        return ""
    low, high = found.check.gate
    if math.isinf(low):
        return f"at most {high:.3g}"
    if math.isinf(high):
        return f"at least {low:.3g}"
    return f"{low:.3g}" if low == high else f"{low:.3g} to {high:.3g}"


def format_spread(found: CheckResult) -> str:
    """From 5 to 95 % of the units."""
    return "" if found.ends is None else " to ".join(format_figure(v, found.check.unit) for v in found.ends)


def format_share(found: CheckResult) -> str:
    """Units inside the gate, and how many could not be read."""
    lost = len(found.values) - len(found.read)
    words = [] if found.share is None else [f"{100 * found.share:.0f} %"]
    return ", ".join(words + ([f"{lost} not read"] if lost else []))


def append_unit(text: str, unit: str) -> str:
    """A text with its unit behind it."""
    return f"{text} {format_unit(unit)}".strip()


def find_worst_check(judged: JudgedRow) -> CheckResult:
    """The check of a row that fewest units meet."""
    return min((f for f in judged.found if f.share is not None), key=lambda f: f.share or 0.0)


def build_document(e: Evidence, records: Sequence[Record] = ()) -> Document:
    """Everything as JSON: gates and values in the unit told beside them."""
    return clean_document(
        {
            "version": e.version, "unit": e.unit.name, "changed": dict(e.changed), "units": e.units, "seed": e.seed,
            "passed_over": e.passed_over, "inside": INSIDE_SHARE, "counts": e.counts, "stale": list(e.stale),
            "unexplained": list(e.unexplained), "rows": [_row(j) for j in e.judged],
            "records": {r.name: {"made": not r.missing, "by": r.made_by, "older": r.older} for r in records},
        }
    )  # fmt: skip


def _row(j: JudgedRow) -> Document:
    r = j.row
    return {
        "number": r.number, "part": PARTS[r.part], "title": r.title, "published": r.published,
        "conditions": r.conditions, "sources": list(r.sources), "tag": r.tag, "why": r.why, "verdict": j.verdict,
        "reasons": list(j.reasons), "checks": [_check(f) for f in j.found],
    }  # fmt: skip


def _check(f: CheckResult) -> Document:
    low, high = f.check.gate or (None, None)
    least, most = f.ends or (None, None)
    return {
        "what": f.check.what, "unit": format_unit(f.check.unit), "low": low, "high": high, "median": f.middle,
        "from_5_percent": least, "to_95_percent": most, "share_inside": f.share, "read": len(f.read),
        "verdict": f.verdict, "reason": f.check.miss, "gate": format_gate(f), "told": format_median_and_spread(f),
    }  # fmt: skip


def format_median_and_spread(f: CheckResult) -> str:
    """Median and spread in one text."""
    if not f.ends:
        return "not read"
    return append_unit(f"{format_figure(f.middle, f.check.unit)} ({format_spread(f)})", f.check.unit)


def build_tables(e: Evidence) -> RenderableType:
    """Each row with its verdict, a line a check, for the terminal."""
    table = new_plain_table(f"{e.units} healthy units about {e.unit.name}")
    table.add_column("")
    for name in ("gate", "median", "5 to 95 %", "inside"):
        table.add_column(name, justify="right")
    table.add_column("")
    for j in e.judged:
        table.add_row(Text(f"{j.row.title} [{j.row.tag}]", style="bold"), "", "", "", "", j.verdict.upper())
        for f in j.found:
            cells = (format_gate(f), format_figure(f.middle, f.check.unit), format_spread(f), format_share(f))
            table.add_row(f"  {append_unit(f.check.what + ',', f.check.unit).rstrip(',')}", *cells, "")
    return Group(table, Text(""), Text(format_sentence(e)))


def format_sentence(e: Evidence) -> str:
    """The count in one sentence."""
    c = e.counts
    return (
        f"{c['pass']} of {c['pass'] + c['miss']} published and trade figures are met, {c['miss']} missed; "
        f"{c['not comparable']} cannot be compared."
    )


def render_html(e: Evidence, records: Sequence[Record]) -> str:
    """The report as one page that needs nothing else."""
    parts = [(title, [j for j in e.judged if j.row.part == name]) for name, title in PARTS.items()]
    text: str = _page().render(
        e=e,
        records=records,
        sentence=format_sentence(e),
        parts=[(t, rows) for t, rows in parts if rows],
        tags=load_tags(),
        met=group_by_part(e, "pass"),
        missed=[j for j in e.judged if j.verdict == "miss"],
        open=group_by_part(e, "not comparable"),
        figures=draw_figures(e),
        inputs=list_inputs(e.unit),
        variations=load_variations(),
        step=DEFAULT_STEP * 1e6,
        inside=f"{100 * INSIDE_SHARE:.0f} %",
    )
    return text


def group_by_part(e: Evidence, verdict: str) -> list[tuple[str, list[JudgedRow]]]:
    """Rows of one verdict that concern a technician, by part."""
    mine = [j for j in e.judged if j.verdict == verdict and j.row.plain]
    found = [(title, [j for j in mine if j.row.part == name]) for name, title in PARTS.items()]
    return [(title, rows) for title, rows in found if rows]


def draw_figures(e: Evidence) -> list[tuple[str, str]]:
    """Title and address of each figure."""
    made: list[tuple[str, Figure]] = [(d.curve.title, evidence_figures.draw_curve(d)) for d in e.curves]
    if e.strokes:
        made.append(("Key's motion, pressed and struck", evidence_figures.draw_strokes(e.strokes, PLATEAU_AT)))
    return [(title, evidence_figures.embed_figure(figure)) for title, figure in made]


def list_inputs(unit: ActionUnit) -> Mapping[str, list[tuple[str, str, str]]]:
    """Every input of the unit by section: field, value as it would be typed, and what it rests on."""
    found: dict[str, list[tuple[str, str, str]]] = {}
    for path, si in sorted(unit.nominal.items()):
        section, _, name = path.partition(".")
        source = unit.sources.get(path)
        rests = "" if source is None else ": ".join(t for t in (source.kind, source.note) if t)
        found.setdefault(section, []).append((name.replace("_", " "), format_input(path, si, unit), rests))
    return found


@cache
def _page() -> Any:
    return load_template(
        "evidence.html.j2",
        gate=format_gate,
        spread=format_spread,
        share=format_share,
        told=format_median_and_spread,
        worst=find_worst_check,
        with_unit=append_unit,
        unit=format_unit,
        middle=lambda f: format_figure(f.middle, f.check.unit),
    )
