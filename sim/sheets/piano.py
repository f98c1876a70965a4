"""The piano at the bench as tables, JSON, CSV and a figure."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Any

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from rich import box
from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from sim.bench.template import TOUCHES, Line, Touching
from sim.sheets.tables import CAUTIONS
from sim.sheets.traces import csv_text
from sim.unit.model import GRAVITY
from sim.units import mm
from sim.workshop.piano import HAMMER_RAIL, MISMATCHES, READINGS, Effect, Note, Read

COLUMNS = ("string_height", "strike_line", "hammer_centre_height", "fitting_bore", "fitting_distance", "off_line")
COLOURS = ("#b5651d", "#1f4e79", "#4a7c59", "#7d3c98")


def _mm(value: float | None, digits: int = 2) -> str:
    return "–" if value is None else f"{value * 1e3:.{digits}f}"


def _deg(value: float | None) -> str:
    return "–" if value is None else f"{math.degrees(value):.2f}"


def _table(title: str, *heads: str) -> Table:
    table = Table(title=title, title_justify="left", title_style="bold", box=box.SIMPLE_HEAD, pad_edge=False,
                  show_edge=False)  # fmt: skip
    for i, head in enumerate(heads):
        table.add_column(head, justify="right" if i else "left", no_wrap=True)
    return table


def notes(found: Sequence[Note], angle: float) -> list[RenderableType]:
    """What fits under each string, and what was remarked."""
    bore = f"bore at {math.degrees(angle):g}°" if angle else "bore, parallel"
    given = ", ".join(sorted({_mm(n.bore, 1) for n in found}))
    title = f"Under the strings, mm and degrees; shank and off line are those of a bore of {given} mm"
    table = _table(title, "key", "section", "string", "strike line", "centre", "shank", bore, "hanging", "off line",
                   "key end")  # fmt: skip
    for n in found:
        table.add_row(
            str(n.key), n.section, _mm(n.string_height), _mm(n.strike_line), _mm(n.hammer_centre_height),
            _deg(n.shank_angle), _mm(n.fitting_bore), _mm(n.fitting_distance),
            _mm(n.off_line), _mm(n.key_end, 1),
        )  # fmt: skip
    return [table, *(Text(f"key {n.key}: {remark}", style="bold yellow") for n in found for remark in n.remarks)]


def mismatch(n: Note, bench: Read, piano: Read) -> list[RenderableType]:
    """What was read differently, and what the action regulated at the bench comes to in the piano."""
    if not n.mismatch:
        return [Text(f"key {n.key}: nothing was read again at the bench, so bench and piano are not compared.")]
    away = ", ".join(f"{MISMATCHES[k].title} {v * 1e3:+.2f}" for k, v in n.mismatch.items())
    table = _table(f"Key {n.key}: regulated at the bench, then in the piano, mm", "", "bench", "piano", "difference")
    for name in READINGS:
        a, b = bench.values[name], piano.values[name]
        table.add_row(
            name.replace("_", "-"), _mm(a), _mm(b), "–" if a is None or b is None else f"{(b - a) * 1e3:+.2f}"
        )
    table.add_row("outcome", bench.outcome, piano.outcome, "")
    return [Text(f"Piano less bench, mm: {away}"), table]


def effects(found: Sequence[Effect], base: Read) -> RenderableType:
    """What each half millimetre does."""
    table = _table("What a mismatch does (change of the reading, mm)", "piano less bench", "mm",
                   *(n.replace("_", "-") for n in READINGS), "off line", "")  # fmt: skip
    before = ""
    for e in found:
        title = MISMATCHES[e.name].title
        cells = [_change(e.found.values[n], base.values[n]) for n in READINGS]
        off = f"{e.found.off_line * 1e3:+.1f}" if e.found.off_line else ""
        outcome = "" if e.found.outcome == "plays" else e.found.outcome.upper()
        table.add_row("" if title == before else title, f"{e.by * 1e3:+.1f}", *cells, off, outcome)
        before = title
    return table


def _change(value: float | None, base: float | None) -> str:
    if value is None or base is None:
        return "–"
    text = f"{(value - base) * 1e3:+.2f}"
    return "0" if float(text) == 0 else text


def template(lines: Sequence[Line], found: Sequence[Touching], lower: float) -> list[RenderableType]:
    """Where the template hangs, and what a touch of it costs."""
    table = _table("Template for the true hammer line, mm over the bench", "key", "wanted crown", "template", "gap")
    for line in lines:
        table.add_row(str(line.key), _mm(line.crown), _mm(line.template), _mm(line.gap))
    heads = [f"read under {f / GRAVITY * 1e3:g} gf" for f in TOUCHES]
    trap = _table(
        "A template that touches: the true line stands higher than it reads by, mm", "back-rail cloth", *heads
    )
    for t in found:
        trap.add_row(_cloth(t), *(_mm(t.high_at(f)) for f in TOUCHES))
    side = "higher" if lower < 0 else "lower"
    words = (
        f"At the bench the crown stands {mm(abs(lower), 2)} {side} over the bed than in the piano; the heights allow "
        "for it. Read the gap with a feeler strip: set touching, the template bears on the lever's spring and, once "
        "the jack takes the knuckle, on the back-rail cloth, and the line comes up when it is taken off."
    )
    return [table, Text(words), trap]


def _cloth(t: Touching) -> str:
    return "as it is" if t.cloth == 1 else f"{t.cloth:g} times as stiff"


def cautions() -> RenderableType:
    """Before anything is touched."""
    return Text(f"{CAUTIONS} Nothing here is advice to touch strings, plate or tension.", style="italic")


def of_note(n: Note) -> dict[str, Any]:
    """One note as JSON."""
    out: dict[str, Any] = {"key": n.key, "section": n.section}
    out |= {f"{name}_mm": _number(getattr(n, name)) for name in COLUMNS}
    out |= {"bore_mm": _number(n.bore), "key_end_clearance_mm": _number(n.key_end)}
    out["string_slope_deg"] = math.degrees(n.string_slope)
    out["shank_angle_deg"] = None if n.shank_angle is None else math.degrees(n.shank_angle)
    out["piano_less_bench_mm"] = {name: by * 1e3 for name, by in n.mismatch.items()}
    return out | {"remarks": list(n.remarks)}


def _number(value: float | None) -> float | None:
    return None if value is None else value * 1e3


def of_read(found: Read) -> dict[str, Any]:
    """One slow press as JSON."""
    return {"outcome": found.outcome} | {f"{n}_mm": _number(v) for n, v in found.values.items()}


def of_effect(e: Effect) -> dict[str, Any]:
    """One mismatch as JSON."""
    return {"mismatch": e.name, "by_mm": e.by * 1e3, "off_line_mm": e.found.off_line * 1e3} | of_read(e.found)


def of_line(line: Line) -> dict[str, Any]:
    """The template over one key as JSON."""
    return {"key": line.key, "crown_mm": line.crown * 1e3, "template_mm": line.template * 1e3, "gap_mm": line.gap * 1e3}


def of_touching(t: Touching) -> dict[str, Any]:
    """One curve as JSON: heights over the true line."""
    return {
        "cloth": t.cloth,
        "gap_mm": [float(v) for v in t.gap * 1e3],
        "read_mm": [float(v) for v in t.read * 1e3],
        "true_mm": [0.0] * len(t.gap),
        "as_left_mm": [float(v) for v in t.left * 1e3],
        "force_gf": [float(v) for v in t.force / GRAVITY * 1e3],
        "cloth_squeeze_mm": [float(v) for v in t.squeeze * 1e3],
    }


def csv(found: Sequence[Note]) -> str:
    """Every note on a line."""
    names = [k for k in of_note(found[0]) if k not in ("piano_less_bench_mm", "remarks")] if found else []
    moved = [f"{n}_piano_less_bench_mm" for n in MISMATCHES if n != HAMMER_RAIL]
    return csv_text((*names, *moved, "remarks"), _lines(found, names))


def _lines(found: Sequence[Note], names: Sequence[str]) -> Iterator[tuple[object, ...]]:
    for n in found:
        row = of_note(n)
        moved = row["piano_less_bench_mm"]
        yield (
            *(row[name] for name in names),
            *(moved.get(m) for m in MISMATCHES if m != HAMMER_RAIL),
            "; ".join(n.remarks),
        )


def figure(found: Sequence[Touching]) -> Figure:
    """The trap: heights by gap, and how far the true line stands over the reading by the touch's force."""
    whole = Figure(figsize=(10, 4.2), layout="constrained")
    heights, forces = whole.subplots(1, 2)
    _heights(heights, found)
    for t, colour in zip(found, COLOURS, strict=False):
        rising = t.gap <= 0
        name = f"cloth {_cloth(t)}"
        forces.plot(t.force[rising] / GRAVITY * 1e3, -t.read[rising] * 1e3, color=colour, label=name)
    forces.set(xlabel="template bears on the hammer, gf", ylabel="true line over the reading, mm")
    forces.set_title("What a touch costs", loc="left", fontsize=10)
    forces.legend(frameon=False, fontsize=8)
    for axes in (heights, forces):
        axes.spines[["top", "right"]].set_visible(False)
    return whole


def _heights(axes: Axes, found: Sequence[Touching]) -> None:
    axes.axhline(0.0, color="#333333", lw=1.2, label="true line")
    for t, colour in zip(found, COLOURS, strict=False):
        label = "read under the template" if t is found[0] else None
        axes.plot(t.gap * 1e3, t.read * 1e3, color="#888888", ls=":", label=label)
        axes.plot(t.gap * 1e3, t.left * 1e3, color=colour, label=f"as left, cloth {_cloth(t)}")
    axes.set(xlabel="template over the free crown, mm (negative: pressing)", ylabel="crown over the true line, mm")
    axes.set_title("Crown under a template", loc="left", fontsize=10)
    axes.legend(frameon=False, fontsize=8)
