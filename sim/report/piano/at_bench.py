"""A piano's sheet and one unit, brought together: every table, and the whole as JSON."""

from __future__ import annotations

from typing import Any

from rich.console import RenderableType
from rich.text import Text

from sim.display_units import convert_si
from sim.piano.at_bench import AtBench
from sim.report.piano import tables as piano
from sim.report.piano import template


def tables(found: AtBench, angle: float) -> list[RenderableType]:
    """What fits, what clears, what each mismatch does, where the template hangs and what it does when it touches."""
    return [
        *piano.notes(found.notes, angle),
        *piano.key_ends(found.notes),
        *_hammer(found),
        *piano.mismatch(found.note, found.bench, found.alone, found.piano),
        piano.effects(found.half_millimetres, found.bench),
        *template.hung(found.lines, found.note.key, found.lower),
        *template.trap(found.touching, found.told, found.note.key),
        piano.cautions(),
    ]


def _hammer(found: AtBench) -> list[RenderableType]:
    if not found.hammer:
        return []
    changed = ", ".join(f"{path} {value}" for path, value in found.hammer.items())
    words = (
        f"Key {found.note.key} has the hammer that was read there ({changed}), regulated to the scenario's readings."
    )
    return [Text(words)]


def document(found: AtBench) -> dict[str, Any]:
    """The whole as JSON."""
    return {
        "piano": found.sheet,
        "unit": found.unit.name,
        "key": found.note.key,
        "hammer_changed": dict(found.hammer),
        "notes": [piano.of_note(n) for n in found.notes],
        "bench": piano.of_read(found.bench),
        "in_the_piano": piano.of_read(found.piano),
        "each_alone": [piano.of_effect(e) for e in found.alone],
        "effects": [piano.of_effect(e) for e in found.half_millimetres],
        "lower_at_bench_mm": convert_si(found.lower, "mm"),
        "template": [template.of_line(line) for line in found.lines],
        "template_read_and_true": [template.of_told(row) for row in found.told],
        "touching": [template.of_touching(t) for t in found.touching],
        "assumed": list(found.unit.assumed),
    }
