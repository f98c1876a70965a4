"""The hammer line by a template as tables, JSON and a figure."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from rich.console import RenderableType
from rich.text import Text

from sim.display_units import convert_column, convert_si, format_column_name
from sim.piano.template import TABULATED_GAPS, TOUCH_FORCES, TemplateContact, TemplateLine, TemplateSetting
from sim.report.piano.tables import format_millimetres, format_signed, new_titled_table
from sim.units import format_gf, format_mm

COLOURS = ("#b5651d", "#1f4e79", "#4a7c59", "#7d3c98")


def build_hanging_table(lines: Sequence[TemplateLine], key: int, lower: float) -> list[RenderableType]:
    """Where the template hangs."""
    table = new_titled_table(
        "Template for the true hammer line, mm over the bench", "key", "wanted crown", "template", "gap"
    )
    for line in lines:
        table.add_row(str(line.key), *(format_millimetres(v) for v in (line.crown, line.template, line.gap)))
    words = (
        f"Key {key}: at the bench the crown stands {format_mm(abs(lower), 2)} "
        f"{'higher' if lower < 0 else 'lower'} over the "
        "bed than in the piano; the heights allow for it. Read the gap with a feeler strip."
    )
    return [table, Text(words)]


def build_touch_tables(
    found: Sequence[TemplateContact], told: Sequence[TemplateSetting], key: int
) -> list[RenderableType]:
    """Read height beside true height, by touch and by gap."""
    by_touch = new_titled_table(f"Key {key}: line set to a template, mm over the bench", "template", "back-rail cloth",
                      "height read", "true height", "true over read", "hang it, wanted line")  # fmt: skip
    for row in told:
        touch = "clear, strip in the gap" if row.cloth is None else f"touching, bears {format_gf(row.force, 0)}"
        cloth = "any" if row.cloth is None else _cloth(row.cloth)
        gap = f"{'plus' if row.gap >= 0 else 'LESS'} {format_millimetres(abs(row.gap))}"
        by_touch.add_row(
            touch,
            cloth,
            format_millimetres(row.read),
            format_millimetres(row.true),
            format_signed(row.true - row.read),
            gap,
        )
    low = ", ".join(format_millimetres(t.under_rest) for t in found)
    words = (
        "Clear of the crowns, the height read is the true height. A template that touches presses the hammers down: "
        "first on the lever's spring, then, once the jack takes the knuckle, through wippen, capstan and key on the "
        "back-rail cloth. Under it the line reads LOW; template off and the note played, the true line stands HIGHER "
        "than was read, and the blow is as much shorter. Hang it clear, or as far under the wanted line as the last "
        "column says. True height: template off, a moderate blow, key let go; friction then holds this crown under the "
        f"middle of its band, where the blow is read, by {low} mm (by cloth). Read a line with every note played alike."
    )
    return [by_touch, Text(words), *_build_gap_table(found, told[0].true, key)]


def _build_gap_table(found: Sequence[TemplateContact], crown: float, key: int) -> list[RenderableType]:
    names = [_word(t.cloth) for t in found]
    heads = [f"{what}, {n}" if n == names[0] else n for what in ("true", "off", "gf") for n in names]
    table = new_titled_table(
        f"Key {key}: a template brought down on one crown, mm over the bench", "gap", "read", *heads
    )
    for gap in TABULATED_GAPS:
        under = [t.at(gap) for t in found]
        first = next((u for u in under if u is not None), None)
        if first is not None:
            heights = [
                format_millimetres(None if u is None else crown + getattr(u, what))
                for what in ("true", "left")
                for u in under
            ]
            forces = ("–" if u is None else format_gf(u.force).removesuffix(" gf") for u in under)
            table.add_row(format_signed(gap), format_millimetres(crown + first.read), *heights, *forces)
    words = (
        "By back-rail cloth, softer, its own and harder. Off: the template taken off at once and the note not played; "
        "cloth and spring throw the hammer up, and friction may keep it: it reads HIGH until it is played. gf: what "
        "the template bears on the hammer."
    )
    return [table, Text(words)]


def _word(share: float) -> str:
    return "own" if share == 1 else "soft" if share < 1 else "hard"


def _cloth(share: float) -> str:
    """A back-rail cloth by its stiffness against the unit's own."""
    if share == 1:
        return "as it is"
    return f"{'softer' if share < 1 else 'harder'} ({share:g}×)"


def build_line_document(line: TemplateLine) -> dict[str, Any]:
    """The template over one key as JSON."""
    lengths = {"crown": line.crown, "template": line.template, "gap": line.gap}
    return {"key": line.key} | {format_column_name(n, "mm"): convert_si(v, "mm") for n, v in lengths.items()}


def build_reading_document(row: TemplateSetting) -> dict[str, Any]:
    """A line set by a template as JSON: height read, true height, and where to hang the template."""
    lengths = {"read": row.read, "true": row.true, "true_over_read": row.true - row.read, "gap_for_true_line": row.gap}
    out: dict[str, Any] = {"template": "clear" if row.cloth is None else "touching", "cloth": row.cloth}
    out["force_gf"] = convert_si(row.force, "gf")
    return out | {format_column_name(n, "mm"): convert_si(v, "mm") for n, v in lengths.items()}


def build_touching_document(t: TemplateContact) -> dict[str, Any]:
    """One curve as JSON: heights over the true line."""
    lengths = {"gap": t.gap, "read": t.read, "true": t.true, "as_left": t.left, "cloth_squeeze": t.squeeze}
    out: dict[str, Any] = {
        "cloth": t.cloth,
        "true_under_rest_mm": convert_si(t.under_rest, "mm"),
        "force_gf": convert_column(t.force, "gf").tolist(),
    }
    return out | {format_column_name(n, "mm"): convert_column(v, "mm").tolist() for n, v in lengths.items()}


def draw_touching(found: Sequence[TemplateContact]) -> Figure:
    """The trap: heights by gap, and how far the true line stands over the reading by the touch's force."""
    whole = Figure(figsize=(10, 4.2), layout="constrained")
    heights, forces = whole.subplots(1, 2)
    _heights(heights, found)
    _forces(forces, found)
    for axes in (heights, forces):
        axes.spines[["top", "right"]].set_visible(False)
    return whole


def _heights(axes: Axes, found: Sequence[TemplateContact]) -> None:
    for t, colour in zip(found, COLOURS, strict=False):
        gap, label = (convert_column(t.gap, "mm"), "height read under the template" if t is found[0] else None)
        axes.plot(gap, convert_column(t.read, "mm"), color="#888888", ls=":", label=label)
        axes.plot(
            gap, convert_column(t.true, "mm"), color=colour, label=f"true height, played; cloth {_cloth(t.cloth)}"
        )
        label = "template off at once, not played" if t is found[-1] else None
        axes.plot(gap, convert_column(t.left, "mm"), color=colour, lw=0.9, ls="--", alpha=0.6, label=label)
    axes.set(xlabel="template over the free crown, mm (negative: pressing)", ylabel="crown over the true line, mm")
    axes.set_title("Height read beside true height", loc="left", fontsize=10)
    axes.legend(frameon=False, fontsize=8)


def _forces(axes: Axes, found: Sequence[TemplateContact]) -> None:
    for t, colour in zip(found, COLOURS, strict=False):
        pressed = t.gap <= 0
        load, high = (convert_column(t.force[pressed], "gf"), convert_column((t.true - t.read)[pressed], "mm"))
        axes.plot(load, high, color=colour, label=f"cloth {_cloth(t.cloth)}")
        for touch in TOUCH_FORCES:
            at = t.find_height_excess(touch)
            if at is not None:
                force, over = convert_si(touch, "gf") or 0.0, convert_si(at, "mm") or 0.0
                axes.plot(force, over, "o", ms=4, color=colour)
                axes.annotate(f"{over:.2f}", (force, over), textcoords="offset points", xytext=(5, -9), fontsize=7,
                              color=colour)  # fmt: skip
    axes.set(xlabel="template bears on the hammer, gf", ylabel="true height over height read, mm")
    axes.set_title("How far under the wanted line a touching template hangs", loc="left", fontsize=10)
    axes.legend(frameon=False, fontsize=8)
