"""Parts that shall go together, as tables and JSON: clashes, readings, and what a search found."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from sim.parts.fit import PartsFit
from sim.parts.geometry import Clash
from sim.parts.readings import PartsReadings
from sim.parts.search import RejectedCombination, SearchResult
from sim.report.formats.json_text import build_record_document
from sim.report.formats.tables import CAUTIONS
from sim.units import format_gf, format_mm

MOST_SHOWN = 12
"""Reasons that are told one by one."""


def build_verdict(found: PartsFit) -> list[RenderableType]:
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
        out.append(build_readings_table(found.readings))
    if found.rooms:
        out.append(Text("What would make room for the aftertouch, smallest move first"))
        out += [
            Text(f"  {r.title} {format_mm(r.by, 2)}{'' if r.confirmed else ' (not confirmed)'}") for r in found.rooms
        ]
    return [*out, Text(CAUTIONS, style="italic")]


def _clash(c: Clash) -> RenderableType:
    line = Text(f"{c.title}: ", style="bold red" if c.grave else "bold yellow")
    return line.append(f"{c.found} (wanted: {c.wanted})\n    {c.change}", style="default")


def build_readings_table(r: PartsReadings) -> RenderableType:
    """What the parts come to, set up."""
    table = Table(title="Set up, the parts come to", title_justify="left", title_style="bold", box=None, pad_edge=False)
    table.add_column("", min_width=26)
    table.add_column("", justify="right")
    s, t = r.settings, r.touch
    rows = (
        ("blow", s.blow, format_mm),
        ("dip", s.dip, format_mm),
        ("let-off", s.let_off, format_mm),
        ("drop past escape", s.drop, format_mm),
        ("aftertouch", s.aftertouch, format_mm),
        ("spread", s.spread, format_mm),
        ("down weight", t.down_weight, format_gf),
        ("up weight", t.up_weight, format_gf),
        ("balance weight", t.balance_weight, format_gf),
        ("capstan over its line", r.capstan_off_line, format_mm),
        ("knuckle over its line", r.jack_off_line, format_mm),
        ("jack to its window", r.window_left, format_mm),
        ("tail clear of the check", r.tail_clear, format_mm),
        ("check's top below the tail", r.tail_over_check, format_mm),
        ("checking distance", r.checking_distance, format_mm),
    )
    for title, value, show in rows:
        text = "–" if value is None else show(value, 2) if show is format_mm else show(value)
        table.add_row(title, text)
    table.add_row("leverage", "–" if t.leverage_mean is None else f"{t.leverage_mean:.2f}")
    table.add_row("inertia felt at the key", "–" if r.inertia is None else f"{r.inertia * 1e3:.0f} g")
    return table


def build_search_tables(found: SearchResult) -> list[RenderableType]:
    """What a search found: the best first, then what was refused and for what."""
    out: list[RenderableType] = [
        Text(f"{found.combinations} combinations, {len(found.found)} go together", style="bold")
    ]
    if found.found:
        out.append(_build_ranking(found))
    if found.reasons:
        out.append(Text("Refused", style="bold"))
        out += [Text(f"  {count} for {title}") for title, count in found.reasons.items()]
        alike = _group_alike(found.refused)
        out += [_format_refused(group, found.base) for group in alike[:MOST_SHOWN]]
        if len(alike) > MOST_SHOWN:
            out.append(Text(f"  ... and {sum(map(len, alike[MOST_SHOWN:]))} more (--json lists all)"))
    if found.not_played:
        why = "stopped before" if found.stopped else "raise --most"
        out.append(Text(f"{found.not_played} more are sound on paper but were not set up: {why}"))
    out += [Text(f"left out: {fault}", style="yellow") for fault in found.bad_files]
    return [*out, Text(CAUTIONS, style="italic")]


def _build_ranking(search: SearchResult) -> Table:
    table = Table(title="Best first", title_justify="left", title_style="bold", box=None, pad_edge=False)
    for head in ("", "aftertouch", "balance", "inertia", "parts not the base's", "warnings"):
        table.add_column(head, justify="right" if head in ("aftertouch", "balance", "inertia") else "left")
    for i, f in enumerate(search.found, 1):
        r = f.readings
        cells = ("–", "–", "–") if r is None else (
            "–" if r.settings.aftertouch is None else format_mm(r.settings.aftertouch, 2),
            "–" if r.touch.balance_weight is None else format_gf(r.touch.balance_weight),
            "–" if r.inertia is None else f"{r.inertia * 1e3:.0f} g",
        )  # fmt: skip
        table.add_row(
            f"{i}",
            *cells,
            _format_other_parts(f.parts, search.base),
            ", ".join(dict.fromkeys(c.title for c in f.clashes)),
        )
    return table


def _format_other_parts(parts: Mapping[str, str], base: str) -> str:
    return ", ".join(f"{part}: {name}" for part, name in parts.items() if name != base) or "none"


def _group_alike(refused: Sequence[RejectedCombination]) -> list[list[RejectedCombination]]:
    """Combinations that were refused for one and the same thing, together."""
    groups: dict[str, list[RejectedCombination]] = {}
    for r in refused:
        groups.setdefault(r.why, []).append(r)
    return list(groups.values())


def _format_refused(group: Sequence[RejectedCombination], base: str) -> Text:
    more = f" and {len(group) - 1} more with it" if len(group) > 1 else ""
    return Text(f"  [{_format_other_parts(group[0].parts, base)}{more}] {group[0].why}")


def build_fit_document(found: PartsFit) -> dict[str, Any]:
    """One combination as JSON."""
    return {
        "parts": dict(found.parts),
        "together": found.together,
        "clashes": [build_clash_document(c) for c in found.clashes],
        "remarks": list(found.remarks),
        "readings": None if found.readings is None else build_readings_document(found.readings),
        "screws": {path: {"base": a, "here": b} for path, (a, b) in found.screws.items()},
        "room": [{"move": r.move, "by_mm": r.by * 1e3, "confirmed": r.confirmed} for r in found.rooms],
    }


def build_clash_document(c: Clash) -> dict[str, Any]:
    """One clash as JSON."""
    return {
        "name": c.name, "title": c.title, "found": c.found, "wanted": c.wanted, "change": c.change, "grave": c.grave,
        "off": c.off if math.isfinite(c.off) else None,
    }  # fmt: skip


def build_readings_document(r: PartsReadings) -> dict[str, Any]:
    """What the parts come to, as JSON."""
    lengths = ("capstan_off_line", "jack_off_line", "window_left", "tail_clear", "tail_over_check", "checking_distance")
    more = {f"{n}_mm": getattr(r, n) for n in lengths}
    out = build_record_document(r.settings) | build_record_document(r.touch)
    out |= {name: None if value is None else value * 1e3 for name, value in more.items()}
    return out | {"inertia_g": None if r.inertia is None else r.inertia * 1e3}


def build_search_document(found: SearchResult) -> dict[str, Any]:
    """A search as JSON."""
    return {
        "combinations": found.combinations,
        "found": [build_fit_document(f) for f in found.found],
        "refused": [{"parts": dict(r.parts), "stage": r.stage, "title": r.title, "why": r.why} for r in found.refused],
        "reasons": found.reasons,
        "not_played": found.not_played,
        "stopped": found.stopped,
        "bad_files": [str(f) for f in found.bad_files],
    }
