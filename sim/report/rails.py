"""The map of rails: tables, JSON, a picture of the plane with its reasons, and a full-size template."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np
from matplotlib import patheffects
from matplotlib.figure import Figure
from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from sim.display_units import convert_si, format_column_name, format_number, format_si, format_unit
from sim.regulation.clearances import CLEARANCES
from sim.regulation.moves import MOVES
from sim.regulation.rails import WEIGHTS, Place
from sim.report.drawing import draw
from sim.report.drawing.mechanism import escape_lettering
from sim.report.formats.tables import CAUTIONS
from sim.unit.model import ActionUnit

Cells = Sequence[Sequence[Place]]
Moves = tuple[str, str]
MM = 1e-3
TEXT_HALO = [patheffects.withStroke(linewidth=2, foreground="white")]
BAR = 100.0
"""Length of the template's scale bar, mm."""
MAP_READINGS: Mapping[str, tuple[str, str]] = {
    "aftertouch": ("aftertouch", "mm"),
    "leverage": ("leverage as travel", ""),
    "leverage_force": ("leverage as force", ""),
    "down_weight": ("down weight", "gf"),
    "up_weight": ("up weight", "gf"),
    "friction": ("friction at the key", "gf"),
    "slide": ("sliding at capstan and knuckle", "mm"),
    "slide_capstan": ("sliding at the capstan", "mm"),
    "slide_knuckle": ("sliding at the knuckle", "mm"),
    "slide_friction": ("friction of that sliding, at the key", "gf"),
    "let_off_hump": ("let-off resistance", "gf"),
    "inertia": ("inertia felt at the key", "g"),
    "jack_address": ("jack address", "mm"),
    "drop_at_bottom": ("drop at the bottom of the key", "mm"),
    "hammer_speed": ("hammer speed, moderate", "m_s"),
}
"""What is read at a place: title and unit."""


def build_place_row(p: Place) -> dict[str, Any]:
    """One place with units in its names."""
    out: dict[str, Any] = {"dx_mm": p.dx / MM, "dy_mm": p.dy / MM, "spread_mm": p.spread / MM}
    out |= {"feasible": p.feasible, "why": p.why}
    out |= {
        format_column_name(name, unit): convert_si(getattr(p, name), unit) for name, (_, unit) in MAP_READINGS.items()
    }
    return out | {f"clear_{name}_mm": value / MM for name, value in p.clear.items()}


def build_tables(
    unit: ActionUnit,
    moves: Moves,
    cells: Cells,
    found: Sequence[Place],
    sway: Mapping[str, Mapping[str, float]],
    weights: Mapping[str, float] = WEIGHTS,
) -> list[RenderableType]:
    """Best places, their clearances, how far a bench tolerance moves them, and what stands in the way elsewhere."""
    out: list[RenderableType] = [Text(f"{unit.name}: {' and '.join(MOVES[m].title for m in moves)}")]
    if not found:
        out.append(Text("NO PLACE of those tried meets the targets"))
    else:
        out += [
            _build_best_table(moves, found, weights),
            _build_clearance_table(found),
            _build_sensitivity_table(sway),
            Text(list_trial_steps(found[0], moves)),
        ]
    return [*out, _reasons(cells), Text(CAUTIONS)]


def _table(title: str, *heads: str) -> Table:
    table = Table(title=title, title_justify="left", box=None, pad_edge=False)
    for i, head in enumerate(heads):
        table.add_column(head, justify="right" if i else "left")
    return table


def _build_best_table(moves: Moves, found: Sequence[Place], weights: Mapping[str, float]) -> Table:
    """A column a place."""
    weighed = ", ".join(f"{name} {w:g}" for name, w in weights.items())
    table = _table(f"Best places (weights: {weighed})", "", *(str(i) for i in range(1, len(found) + 1)))
    for move, name in zip(moves, ("dx", "dy"), strict=True):
        table.add_row(f"{MOVES[move].title}, mm", *(f"{getattr(p, name) / MM:+.2f}" for p in found))
    table.add_row("spread, mm", *(f"{p.spread / MM:.2f}" for p in found))
    for name, (title, unit) in MAP_READINGS.items():
        label = format_unit(unit)
        values = (format_number(convert_si(getattr(p, name), unit), unit) for p in found)
        table.add_row(f"{title}, {label}" if label else title, *values)
    return table


def _build_clearance_table(found: Sequence[Place]) -> Table:
    table = _table("Clearances, mm", "", *(str(i) for i in range(1, len(found) + 1)), "at least")
    for name, c in CLEARANCES.items():
        values = [f"{p.clear[name] / MM:.1f}" if name in p.clear else "not given" for p in found]
        table.add_row(c.title, *values, f"{c.least / MM:.1f}")
    return table


def _build_sensitivity_table(sway: Mapping[str, Mapping[str, float]]) -> Table:
    """What a quarter millimetre of each move does at the best place."""
    names = [n for n in MAP_READINGS if any(n in found for found in sway.values())]
    heads = (
        f"{MAP_READINGS[n][0]}{', ' if MAP_READINGS[n][1] else ''}{format_unit(MAP_READINGS[n][1])}" for n in names
    )
    table = _table("A quarter millimetre at the first of them", "", *heads)
    for move, found in sway.items():
        cells = [_format_signed(found.get(n), MAP_READINGS[n][1]) for n in names]
        table.add_row(MOVES[move].title, *(cells if found else ["does not play there"]))
    return table


def _format_signed(value: float | None, unit: str) -> str:
    number = convert_si(value, unit)
    return "–" if number is None else f"{number:+.3f}"


def list_trial_steps(p: Place, moves: Moves, inches: bool = False) -> str:
    """The five-minute trial with temporary shims that would confirm a place before drilling."""
    by = {move: d for move, d in zip(moves, (p.dx, p.dy), strict=True) if abs(d) > 0.02e-3}
    where = " and ".join(f"{MOVES[m].title} by {format_si(d, 'mm', inches, '+')}" for m, d in by.items())
    where = where or "everything where it is"
    down, up = (format_number(convert_si(w, "gf"), "gf", 1.0) for w in (p.down_weight, p.up_weight))
    spread, aftertouch = (format_si(length, "mm", inches) for length in (p.spread, p.aftertouch))
    return (
        f"Five-minute trial before drilling: clamp {where} with card shims (spread {spread}), set "
        f"one sample note to the same blow, dip and let-off, press slowly and read the aftertouch: "
        f"{aftertouch} is expected; down weight {down} gf, up {up} gf. More "
        f"than {format_si(0.2e-3, 'mm', inches)} or 3 gf off: measure the parts again before a hole is made."
    )


def _reasons(cells: Cells) -> Table:
    counts: dict[str, int] = {}
    for r in cells:
        for p in r:
            key = p.why.split(":")[0] or "meets the targets"
            counts[key] = counts.get(key, 0) + 1
    table = Table(title="Places tried", title_justify="left", box=None, pad_edge=False)
    table.add_column("count", justify="right")
    table.add_column("")
    for why, n in sorted(counts.items(), key=lambda x: -x[1]):
        table.add_row(str(n), why)
    return table


def draw_rail_map(
    unit: ActionUnit, moves: Moves, cells: Cells, found: Sequence[Place], show: str = "aftertouch"
) -> Figure:
    """A reading over the plane, the feasible region outlined, a letter for each reason, the best places marked."""
    title, name = MAP_READINGS[show]
    xs = np.array([p.dx for p in cells[0]]) / MM
    ys = np.array([r[0].dy for r in cells]) / MM
    read = [[convert_si(getattr(p, show), name) for p in r] for r in cells]
    value = np.array([[np.nan if v is None else v for v in r] for r in read], dtype=float)
    fine = np.array([[1.0 if p.feasible else 0.0 for p in r] for r in cells])
    marks = assign_letters(cells)
    fig = Figure(figsize=(9, 6.8 + 0.2 * len(marks)), layout="constrained")
    axes, words = fig.subplots(2, 1, height_ratios=(6.4, 0.4 + 0.2 * len(marks)))
    mesh = axes.pcolormesh(xs, ys, value, shading="nearest", cmap="cividis")
    fig.colorbar(mesh, ax=axes, label=f"{title}{', ' if name else ''}{format_unit(name)}")
    if 0 < fine.sum() < fine.size:
        axes.pcolormesh(xs, ys, np.where(fine > 0, np.nan, 1.0), shading="nearest", cmap="gray", alpha=0.35, vmin=0)
        axes.contour(xs, ys, fine, levels=[0.5], colors="#b03a2e", linewidths=2)
    stride = max(1, len(xs) // 15)
    for r in cells[::stride]:
        for p in r[::stride]:
            if p.why:
                mark = marks[shorten_reason(p)]
                axes.text(p.dx / MM, p.dy / MM, mark, ha="center", va="center", fontsize=8, path_effects=TEXT_HALO)
    for i, p in enumerate(found, 1):
        axes.plot(p.dx / MM, p.dy / MM, "o", color="white", markeredgecolor="#b03a2e", markersize=11)
        axes.text(p.dx / MM, p.dy / MM, str(i), ha="center", va="center", fontsize=8)
    axes.set(
        xlabel=f"{MOVES[moves[0]].title}, mm",
        ylabel=f"{MOVES[moves[1]].title}, mm",
        title=f"{escape_lettering(unit.name)}: where the parts may stand",
    )
    key = "\n".join(f"{letter}  {why}" for why, letter in marks.items())
    words.axis("off")
    words.text(0, 1, f"outline: every target met; numbers: best places\n{key}", va="top", fontsize=8)
    return fig


def shorten_reason(p: Place) -> str:
    """The reason in a few words."""
    return p.why.split(":")[0]


def assign_letters(cells: Cells) -> dict[str, str]:
    """A letter for each reason, so that they are told apart without colour."""
    reasons = sorted({shorten_reason(p) for r in cells for p in r if p.why})
    return {why: chr(ord("a") + i % 26) for i, why in enumerate(reasons)}


def draw_rail_template(unit: ActionUnit, at: Place, moves: Moves, out: Path | BinaryIO) -> None:
    """A side view at full size on A4 laid across (PDF): centres, capstan line, a bar to check the printer by."""
    if at.unit is None:
        raise ValueError("no template: this place could not be regulated")
    inch, width, height = 25.4, 297.0, 210.0
    fig = Figure(figsize=(width / inch, height / inch))
    axes = fig.add_axes((0, 0, 1, 1))
    draw.draw(at.unit, axes, pose="rest")
    left, low = -20.0, 5.0
    axes.set_xlim(left, left + width)
    axes.set_ylim(low, low + height)
    axes.set_aspect("equal", adjustable="box")
    axes.axis("off")
    for name, (x, y) in {"wippen centre": at.unit.wippen.centre, "hammer centre": at.unit.hammer.centre}.items():
        axes.plot([x / MM - 8, x / MM + 8], [y / MM, y / MM], color="black", lw=0.4)
        axes.plot([x / MM, x / MM], [y / MM - 8, y / MM + 8], color="black", lw=0.4)
        axes.text(x / MM + 3, y / MM + 3, f"{name}\n{x / MM:.2f} from the balance pin, {y / MM:.2f} up", fontsize=6)
    capstan = at.unit.key.capstan_centre[0] / MM
    axes.axvline(0.0, color="black", lw=0.3, ls="--")
    axes.axvline(capstan, color="black", lw=0.3, ls="--")
    axes.text(1, low + 4, "balance pin", fontsize=6)
    axes.text(capstan + 1, low + 4, f"capstan line {capstan:.2f}", fontsize=6)
    bar, level = left + 25, low + height - 30
    axes.plot([bar, bar + BAR], [level, level], color="black", lw=1.2)
    for tick in range(0, int(BAR) + 1, 10):
        axes.plot([bar + tick, bar + tick], [level - 1.5, level + 1.5], color="black", lw=0.5)
    axes.text(bar, level + 3, "100 mm: measure this bar; print at 100 %, not fitted to the page", fontsize=7)
    moved = ", ".join(f"{MOVES[m].title} {d / MM:+.2f} mm" for m, d in zip(moves, (at.dx, at.dy), strict=True))
    told = f"{escape_lettering(unit.name)}: {moved}; spread {at.spread / MM:.2f} mm"
    axes.text(left + 15, low + height - 12, told, fontsize=9)
    fig.savefig(out, format="pdf")
