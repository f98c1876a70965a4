"""The map of rails: tables, JSON, a picture of the plane with its reasons, and a full-size template."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import fields
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.figure import Figure
from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from sim.sheets import drawing
from sim.sheets.tables import CAUTIONS
from sim.unit.model import ActionUnit
from sim.workshop.rails import Place

Cells = Sequence[Sequence[Place]]
MM, GF = 1e-3, 9.80665e-3
BAR = 100.0
"""Length of the template's scale bar, mm."""
EDGE: Mapping[str, tuple[str, float]] = {
    "aftertouch": ("mm", MM),
    "leverage": ("", 1.0),
    "down_weight": ("gf", GF),
    "up_weight": ("gf", GF),
    "friction": ("gf", GF),
    "let_off_hump": ("gf", GF),
    "slide_capstan": ("mm", MM),
    "slide_knuckle": ("mm", MM),
    "slide_work": ("mJ", 1e-3),
    "jack_address": ("mm", MM),
    "window_left": ("mm", MM),
    "hammer_speed": ("m_s", 1.0),
}


def row(p: Place) -> dict[str, Any]:
    """One place with units in its names."""
    out: dict[str, Any] = {"dx_mm": p.dx / MM, "dy_mm": p.dy / MM, "spread_mm": p.spread / MM}
    out |= {"feasible": p.feasible, "why": p.why}
    for f in fields(p):
        if f.name in EDGE:
            unit, factor = EDGE[f.name]
            value = getattr(p, f.name)
            out[f"{f.name}_{unit}" if unit else f.name] = None if value is None else value / factor
    return out


def tables(
    unit: ActionUnit, rail: str, cells: Cells, found: Sequence[Place], sway: Mapping[str, float]
) -> list[RenderableType]:
    """Best places, how far a bench tolerance moves them, and what stands in the way elsewhere."""
    out: list[RenderableType] = [Text(f"{unit.name}: {rail} rail")]
    if not found:
        out.append(Text("NO PLACE of those tried meets the targets"))
    best = Table(title="Best places", title_justify="left", box=None, pad_edge=False)
    heads = "rearward mm,up mm,spread mm,aftertouch mm,leverage,down gf,up gf,friction gf,sliding mm".split(",")
    for h in heads:
        best.add_column(h, justify="right")
    for p in found:
        slide = (p.slide_capstan or 0.0) + (p.slide_knuckle or 0.0)
        moved = (f"{p.dx / MM:+.2f}", f"{p.dy / MM:+.2f}", f"{p.spread / MM:.2f}")
        weights = (_n(p.down_weight, GF, 1), _n(p.up_weight, GF, 1), _n(p.friction, GF, 1))
        best.add_row(*moved, _n(p.aftertouch, MM, 2), _n(p.leverage, 1, 2), *weights, f"{slide / MM:.2f}")
    out.append(best)
    if sway:
        words = ", ".join(f"{name} {_swayed(name, value)}" for name, value in sway.items())
        out.append(Text(f"At the first of them a quarter millimetre moves: {words}."))
    if found:
        out.append(Text(trial(found[0], rail)))
    out.append(_reasons(cells))
    return [*out, Text(CAUTIONS)]


def _n(value: float | None, factor: float, digits: int) -> str:
    return "–" if value is None else f"{value / factor:.{digits}f}"


def _swayed(name: str, value: float) -> str:
    if name.startswith("aftertouch"):
        return f"{value / MM:+.3f} mm"
    return f"{value:+.3f}" if name.startswith("leverage") else f"{value / GF:+.2f} gf"


def trial(p: Place, rail: str) -> str:
    """The five-minute trial with temporary shims that would confirm a place before drilling."""
    ways = []
    if abs(p.dx) > 0.02e-3:
        ways.append(f"{abs(p.dx) / MM:.2f} mm {'rearward' if p.dx > 0 else 'toward the player'}")
    if abs(p.dy) > 0.02e-3:
        ways.append(f"{abs(p.dy) / MM:.2f} mm {'up (shim under it)' if p.dy > 0 else 'down'}")
    where = " and ".join(ways) or "where it is"
    touch, down, up = (p.aftertouch or 0) / MM, (p.down_weight or 0) / GF, (p.up_weight or 0) / GF
    return (
        f"Before drilling: clamp the {rail} rail with card shims {where} (spread {p.spread / MM:.1f} mm), set one "
        f"sample note to the same blow, dip and let-off, press slowly and read the aftertouch: {touch:.2f} mm is "
        f"expected; down weight {down:.0f} gf, up {up:.0f} gf. More than 0.2 mm or 3 gf off: measure the parts again "
        "before a hole is made."
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


def figure(unit: ActionUnit, rail: str, cells: Cells, found: Sequence[Place]) -> Figure:
    """Aftertouch over the plane, the feasible region outlined, a letter for each reason, the best places marked."""
    xs = np.array([p.dx for p in cells[0]]) / MM
    ys = np.array([r[0].dy for r in cells]) / MM
    value = np.array([[np.nan if p.aftertouch is None else p.aftertouch / MM for p in r] for r in cells])
    fine = np.array([[1.0 if p.feasible else 0.0 for p in r] for r in cells])
    fig = Figure(figsize=(9, 6.5), layout="constrained")
    axes = fig.subplots()
    mesh = axes.pcolormesh(xs, ys, value, shading="nearest", cmap="cividis")
    fig.colorbar(mesh, ax=axes, label="aftertouch, mm")
    if 0 < fine.sum() < fine.size:
        axes.contour(xs, ys, fine, levels=[0.5], colors="#b03a2e", linewidths=2)
    reasons = sorted({p.why.split(":")[0] for r in cells for p in r if p.why})
    letters = {why: chr(ord("a") + i % 26) for i, why in enumerate(reasons)}
    stride = max(1, len(xs) // 15)
    for r in cells[::stride]:
        for p in r[::stride]:
            if p.why:
                mark = letters[p.why.split(":")[0]]
                axes.text(p.dx / MM, p.dy / MM, mark, ha="center", va="center", fontsize=7, color="#777777")
    for i, p in enumerate(found, 1):
        axes.plot(p.dx / MM, p.dy / MM, "o", color="white", markeredgecolor="#b03a2e", markersize=11)
        axes.text(p.dx / MM, p.dy / MM, str(i), ha="center", va="center", fontsize=8)
    axes.set(xlabel=f"{rail} rail rearward, mm", ylabel="up, mm", title=f"{unit.name}: where the {rail} rail may stand")
    key = "\n".join(f"{letter}  {why}" for why, letter in letters.items())
    fig.text(0.01, -0.02, f"outline: every target met; numbers: best places\n{key}", va="top", fontsize=8)
    return fig


def template(unit: ActionUnit, at: Place, rail: str, path: Path) -> None:
    """A side view at full size on A4 laid across (PDF): centres, capstan line, a bar to check the printer by."""
    if at.unit is None:
        raise ValueError("no template: this place could not be regulated")
    inch, width, height = 25.4, 297.0, 210.0
    fig = Figure(figsize=(width / inch, height / inch))
    axes = fig.add_axes((0, 0, 1, 1))
    drawing.draw(at.unit, axes, pose="rest")
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
    moved = f"{rail} rail {at.dx / MM:+.2f} mm rearward, {at.dy / MM:+.2f} mm up; spread {at.spread / MM:.2f} mm"
    axes.text(left + 15, low + height - 12, f"{unit.name}: {moved}", fontsize=9)
    fig.savefig(path)
