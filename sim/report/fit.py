"""Parts that shall go together, as tables and JSON: clashes, readings, and what a search found."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from sim.parts.fit import Fit
from sim.parts.geometry import Clash
from sim.parts.readings import Readings
from sim.parts.search import Refused, Search
from sim.report.formats.json_text import record
from sim.report.formats.tables import CAUTIONS
from sim.units import gf, mm

SHOWN = 12
"""Reasons that are told one by one."""


def verdict(found: Fit) -> list[RenderableType]:
    """One combination: whether it goes together, what clashes, what it comes to."""
    made = ", ".join(f"{part}: {name}" for part, name in found.parts.items()) or "all parts of the base"
    if found.together:
        text, style = "These parts go together", "bold green"
    elif found.unit is None:
        text, style = "THESE PARTS DO NOT MAKE AN ACTION", "bold red"
    else:
        text, style = "THESE PARTS DO NOT GO TOGETHER as they are", "bold red"
    out: list[RenderableType] = [Text(f"{text} ({made})", style=style)]
    out += [_clash(c) for c in found.clashes]
    out += [Text(f"note: {remark}") for remark in found.remarks]
    if found.readings is not None:
        out.append(readings(found.readings))
    if found.rooms:
        out.append(Text("What would make room for the aftertouch, smallest move first"))
        out += [Text(f"  {r.title} {mm(r.by, 2)}{'' if r.confirmed else ' (not confirmed)'}") for r in found.rooms]
    return [*out, Text(CAUTIONS, style="italic")]


def _clash(c: Clash) -> RenderableType:
    line = Text(f"{c.title}: ", style="bold red" if c.grave else "bold yellow")
    return line.append(f"{c.found} (wanted: {c.wanted})\n    {c.change}", style="default")


def readings(r: Readings) -> RenderableType:
    """What the parts come to, set up."""
    table = Table(title="Set up, the parts come to", title_justify="left", title_style="bold", box=None, pad_edge=False)
    table.add_column("", min_width=26)
    table.add_column("", justify="right")
    s, t = r.settings, r.touch
    rows = (
        ("blow", s.blow, mm), ("dip", s.dip, mm), ("let-off", s.let_off, mm), ("drop past escape", s.drop, mm),
        ("aftertouch", s.aftertouch, mm), ("spread", s.spread, mm), ("down weight", t.down_weight, gf),
        ("up weight", t.up_weight, gf), ("balance weight", t.balance_weight, gf), ("capstan over its line",
        r.capstan_off_line, mm), ("knuckle over its line", r.jack_off_line, mm),
        ("jack to its window", r.window_left, mm), ("tail clear of the check", r.tail_clear, mm),
        ("check's top below the tail", r.tail_over_check, mm), ("checking distance", r.checking_distance, mm),
    )  # fmt: skip
    for title, value, show in rows:
        text = "–" if value is None else show(value, 2) if show is mm else show(value)
        table.add_row(title, text)
    table.add_row("leverage", "–" if t.leverage_mean is None else f"{t.leverage_mean:.2f}")
    table.add_row("inertia felt at the key", "–" if r.inertia is None else f"{r.inertia * 1e3:.0f} g")
    return table


def searched(found: Search) -> list[RenderableType]:
    """What a search found: the best first, then what was refused and for what."""
    out: list[RenderableType] = [
        Text(f"{found.combinations} combinations, {len(found.found)} go together", style="bold")
    ]
    if found.found:
        out.append(_ranked(found))
    if found.reasons:
        out.append(Text("Refused", style="bold"))
        out += [Text(f"  {count} for {title}") for title, count in found.reasons.items()]
        alike = _alike(found.refused)
        out += [_refused(group, found.base) for group in alike[:SHOWN]]
        if len(alike) > SHOWN:
            out.append(Text(f"  ... and {sum(map(len, alike[SHOWN:]))} more (--json lists all)"))
    if found.not_played:
        why = "stopped before" if found.stopped else "raise --most"
        out.append(Text(f"{found.not_played} more are sound on paper but were not set up: {why}"))
    out += [Text(f"left out: {fault}", style="yellow") for fault in found.bad_files]
    return [*out, Text(CAUTIONS, style="italic")]


def _ranked(search: Search) -> Table:
    table = Table(title="Best first", title_justify="left", title_style="bold", box=None, pad_edge=False)
    for head in ("", "aftertouch", "balance", "inertia", "parts not the base's", "warnings"):
        table.add_column(head, justify="right" if head in ("aftertouch", "balance", "inertia") else "left")
    for i, f in enumerate(search.found, 1):
        r = f.readings
        cells = ("–", "–", "–") if r is None else (
            "–" if r.settings.aftertouch is None else mm(r.settings.aftertouch, 2),
            "–" if r.touch.balance_weight is None else gf(r.touch.balance_weight),
            "–" if r.inertia is None else f"{r.inertia * 1e3:.0f} g",
        )  # fmt: skip
        table.add_row(
            f"{i}", *cells, _other(f.parts, search.base), ", ".join(dict.fromkeys(c.title for c in f.clashes))
        )
    return table


def _other(parts: Mapping[str, str], base: str) -> str:
    return ", ".join(f"{part}: {name}" for part, name in parts.items() if name != base) or "none"


def _alike(refused: Sequence[Refused]) -> list[list[Refused]]:
    """Combinations that were refused for one and the same thing, together."""
    groups: dict[str, list[Refused]] = {}
    for r in refused:
        groups.setdefault(r.why, []).append(r)
    return list(groups.values())


def _refused(group: Sequence[Refused], base: str) -> Text:
    more = f" and {len(group) - 1} more with it" if len(group) > 1 else ""
    return Text(f"  [{_other(group[0].parts, base)}{more}] {group[0].why}")


def of_fit(found: Fit) -> dict[str, Any]:
    """One combination as JSON."""
    return {
        "parts": dict(found.parts),
        "together": found.together,
        "clashes": [of_clash(c) for c in found.clashes],
        "remarks": list(found.remarks),
        "readings": None if found.readings is None else of_readings(found.readings),
        "screws": {path: {"base": a, "here": b} for path, (a, b) in found.screws.items()},
        "room": [{"move": r.move, "by_mm": r.by * 1e3, "confirmed": r.confirmed} for r in found.rooms],
    }


def of_clash(c: Clash) -> dict[str, Any]:
    """One clash as JSON."""
    return {
        "name": c.name, "title": c.title, "found": c.found, "wanted": c.wanted, "change": c.change, "grave": c.grave,
        "off": c.off if math.isfinite(c.off) else None,
    }  # fmt: skip


def of_readings(r: Readings) -> dict[str, Any]:
    """What the parts come to, as JSON."""
    lengths = ("capstan_off_line", "jack_off_line", "window_left", "tail_clear", "tail_over_check", "checking_distance")
    more = {f"{n}_mm": getattr(r, n) for n in lengths}
    out = record(r.settings) | record(r.touch)
    out |= {name: None if value is None else value * 1e3 for name, value in more.items()}
    return out | {"inertia_g": None if r.inertia is None else r.inertia * 1e3}


def of_search(found: Search) -> dict[str, Any]:
    """A search as JSON."""
    return {
        "combinations": found.combinations,
        "found": [of_fit(f) for f in found.found],
        "refused": [{"parts": dict(r.parts), "stage": r.stage, "title": r.title, "why": r.why} for r in found.refused],
        "reasons": found.reasons,
        "not_played": found.not_played,
        "stopped": found.stopped,
        "bad_files": [str(f) for f in found.bad_files],
    }
