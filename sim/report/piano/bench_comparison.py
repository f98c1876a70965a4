"""A piano's sheet and one unit, brought together: every table, and the whole as JSON."""

from __future__ import annotations

from typing import Any

from rich.console import RenderableType
from rich.text import Text

from sim.display_units import convert_si
from sim.piano.bench_comparison import BenchComparison
from sim.report.piano import tables as piano
from sim.report.piano import template


def tables(found: BenchComparison, angle: float) -> list[RenderableType]:
    """What fits, what clears, what each mismatch does, where the template hangs and what it does when it touches."""
    return [
        *piano.build_notes_table(found.notes, angle),
        *piano.build_key_ends_table(found.notes),
        *_hammer(found),
        *piano.build_mismatch_table(found.note, found.bench, found.alone, found.piano),
        piano.build_effects_table(found.half_millimetre_effects, found.bench),
        *template.build_hanging_table(found.lines, found.note.key, found.lower),
        *template.build_touch_tables(found.touching, found.told, found.note.key),
        piano.format_cautions(),
    ]


def _hammer(found: BenchComparison) -> list[RenderableType]:
    if not found.hammer:
        return []
    changed = ", ".join(f"{path} {value}" for path, value in found.hammer.items())
    words = (
        f"Key {found.note.key} has the hammer that was read there ({changed}), regulated to the scenario's readings."
    )
    return [Text(words)]


def document(found: BenchComparison) -> dict[str, Any]:
    """The whole as JSON."""
    return {
        "piano": found.sheet,
        "unit": found.unit.name,
        "key": found.note.key,
        "hammer_changed": dict(found.hammer),
        "notes": [piano.build_note_document(n) for n in found.notes],
        "bench": piano.build_read_document(found.bench),
        "in_the_piano": piano.build_read_document(found.piano),
        "each_alone": [piano.build_effect_document(e) for e in found.alone],
        "effects": [piano.build_effect_document(e) for e in found.half_millimetre_effects],
        "lower_at_bench_mm": convert_si(found.lower, "mm"),
        "template": [template.build_line_document(line) for line in found.lines],
        "template_read_and_true": [template.build_reading_document(row) for row in found.told],
        "touching": [template.build_touching_document(t) for t in found.touching],
        "assumed": list(found.unit.assumed),
    }
