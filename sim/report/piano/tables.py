"""The piano at the bench as tables, JSON and CSV."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from sim.bench.outcomes import Outcome
from sim.display_units import UNITS, convert_si, format_column_name
from sim.piano.key_ends import LEAST_KEY_CLEARANCE
from sim.piano.mismatch import HAMMER_RAIL, MISMATCHES, READINGS, MismatchEffect, SlowPressReading
from sim.piano.piano import PianoNote
from sim.report.formats.tables import CAUTIONS, new_plain_table
from sim.report.formats.traces import format_csv_lines
from sim.units import format_degrees, format_mm, format_quantity

LENGTHS = ("string_height", "strike_line", "hammer_centre_height", "bore", "hanging_distance", "fitting_bore",
           "fitting_distance", "off_line")  # fmt: skip
KEY_END = ("read", "again", "carried", "reckoned", "under", "rail")
WARNING = "bold yellow"


def new_titled_table(title: str, *heads: str) -> Table:
    """A table whose first column is words and whose others are numbers."""
    table = new_plain_table(title)
    for i, head in enumerate(heads):
        table.add_column(head, justify="right" if i and head else "left", no_wrap=bool(head) or not i)
    return table


def format_millimetres(value: float | None, digits: int = 2) -> str:
    """A length (m) in mm; a dash where there is none."""
    return "–" if value is None else format_quantity(value, "mm", UNITS["mm"].dimension, digits).removesuffix(" mm")


def format_signed(value: float | None) -> str:
    """A difference (m) in mm with its sign; a plain 0 where it rounds to none."""
    if value is None:
        return "–"
    text = f"{convert_si(value, 'mm'):+.2f}"
    return "0" if float(text) == 0 else text


def build_notes_table(found: Sequence[PianoNote], angle: float) -> list[RenderableType]:
    """What fits under each string, and what was remarked."""
    fits = f"shank {format_degrees(angle)} off the string" if angle else "shank along the string"
    table = new_titled_table(
        f"Under the strings, mm and degrees (* not read: the scenario's hammer; fits: {fits})", "key", "string",
        "strike line", "centre", "bore", "hung", "shank", "off line", "bore fits", "hung fits",
    )  # fmt: skip
    for n in found:
        table.add_row(
            f"{n.key} {n.section}",
            format_millimetres(n.string_height),
            format_millimetres(n.strike_line),
            format_millimetres(n.hammer_centre_height),
            _format_own(n, "bore"),
            _format_own(n, "hanging_distance"),
            "–" if n.shank_angle is None else format_degrees(n.shank_angle, 2).removesuffix(" deg"),
            format_signed(n.off_line),
            format_millimetres(n.fitting_bore),
            format_millimetres(n.fitting_distance),
        )
    return [table, *(Text(f"key {n.key}: {remark}", style=WARNING) for n in found for remark in n.remarks)]


def _format_own(n: PianoNote, name: str) -> str:
    return format_millimetres(getattr(n, name), 1) + (" " if name in n.read else "*")


def build_key_ends_table(found: Sequence[PianoNote]) -> list[RenderableType]:
    """What was read of key ends and damper blocking at piano and bench, and whether it clears."""
    table = new_titled_table(
        "Key ends to damper blocking, mm",
        "key",
        "read, piano",
        "read, bench",
        "so in piano",
        "reckoned",
        "over end",
        "rail",
        "",
    )
    for n in found:
        cells = [format_millimetres(getattr(n.key_end, name), 1) for name in KEY_END]
        table.add_row(str(n.key), *cells, n.key_end.verdict)
    words = (
        f"{format_mm(LEAST_KEY_CLEARANCE, 0)} or more clears. So in piano: the bench's reading, carried over by "
        f"blocking and stop; "
        "reckoned: blocking, stop and the scenario's key; over end: blocking's underside over the key's end, key down; "
        "rail: wippen rail to blocking."
    )
    return [table, Text(words)]


def build_mismatch_table(
    n: PianoNote, bench: SlowPressReading, alone: Sequence[MismatchEffect], piano: SlowPressReading
) -> list[RenderableType]:
    """What was read differently, what each of it does alone, and what the action comes to in the piano."""
    if not n.mismatch:
        return [Text(f"Key {n.key}: nothing was read again at the bench, so bench and piano are not compared.")]
    table = new_titled_table(f"Key {n.key}: regulated at the bench, then in the piano, mm", "", "by", *_heads())
    table.add_row("at the bench", "", *(format_millimetres(bench.values[r]) for r in READINGS), "", _outcome(bench))
    for e in alone:
        table.add_row(MISMATCHES[e.name].title, format_signed(e.by), *_changes(e.found, bench), _outcome(e.found))
    table.add_row("all of them at once", "", *_changes(piano, bench), "")
    table.add_row("in the piano", "", *(format_millimetres(piano.values[r]) for r in READINGS), "", _outcome(piano))
    words = (
        "By: piano less bench. A bed that lies otherwise moves key height and hammer centre too; at once, what the bed "
        "already does to them is not added again."
    )
    return [table, Text(words)]


def _heads() -> tuple[str, ...]:
    return *(n.replace("_", "-") for n in READINGS), "off line", ""


def _changes(found: SlowPressReading, base: SlowPressReading) -> tuple[str, ...]:
    pairs = ((found.values[n], base.values[n]) for n in READINGS)
    cells = (format_signed(None if a is None or b is None else a - b) for a, b in pairs)
    return *cells, format_signed(found.off_line) if found.off_line else ""


def _outcome(found: SlowPressReading) -> str:
    return "" if found.outcome == Outcome.PLAYS else found.outcome.upper()


def build_effects_table(found: Sequence[MismatchEffect], base: SlowPressReading) -> RenderableType:
    """What each half millimetre does."""
    table = new_titled_table("What each half millimetre of piano less bench does (change of the reading, mm)", "", "by",
                   *_heads())  # fmt: skip
    before = ""
    for e in found:
        title = MISMATCHES[e.name].title
        table.add_row(
            "" if title == before else title, format_signed(e.by), *_changes(e.found, base), _outcome(e.found)
        )
        before = title
    return table


def format_cautions() -> RenderableType:
    """Before anything is touched."""
    return Text(f"{CAUTIONS} Nothing here is advice to touch strings, plate or tension.", style="italic")


def build_note_document(n: PianoNote) -> dict[str, Any]:
    """One note as JSON."""
    out: dict[str, Any] = {"key": n.key, "section": n.section}
    out |= {format_column_name(name, "mm"): convert_si(getattr(n, name), "mm") for name in LENGTHS}
    out |= {"hammer_weight_g": convert_si(n.weight, "g"), "hammer_read": list(n.read)}
    out |= {
        format_column_name(name, "deg"): convert_si(getattr(n, name), "deg") for name in ("string_slope", "shank_angle")
    }
    end = n.key_end
    out["key_end_clearance_mm"] = convert_si(end.level, "mm")
    out["key_end"] = {format_column_name(name, "mm"): convert_si(getattr(end, name), "mm") for name in KEY_END}
    out["key_end"] |= {"clears": end.clears, "verdict": end.verdict}
    out["piano_less_bench_mm"] = {name: convert_si(by, "mm") for name, by in n.mismatch.items()}
    return out | {"remarks": list(n.remarks)}


def build_read_document(found: SlowPressReading) -> dict[str, Any]:
    """One slow press as JSON."""
    return {"outcome": found.outcome} | {
        format_column_name(n, "mm"): convert_si(v, "mm") for n, v in found.values.items()
    }


def build_effect_document(e: MismatchEffect) -> dict[str, Any]:
    """One mismatch as JSON."""
    by = {"mismatch": e.name, "by_mm": convert_si(e.by, "mm"), "off_line_mm": convert_si(e.found.off_line, "mm")}
    return by | build_read_document(e.found)


def format_csv(found: Sequence[PianoNote]) -> str:
    """Every note on a line."""
    gathered = ("hammer_read", "key_end", "piano_less_bench_mm", "remarks")
    names = [k for k in build_note_document(found[0]) if k not in gathered] if found else []
    ends = [format_column_name(name, "mm") for name in KEY_END]
    moved = [n for n in MISMATCHES if n != HAMMER_RAIL]
    heads = (*names, *(f"key_end_{n}" for n in ends), "key_end_verdict", *(f"{n}_piano_less_bench_mm" for n in moved))
    return format_csv_lines((*heads, "remarks"), _lines(found, names, ends, moved))


def _lines(
    found: Sequence[PianoNote], names: Sequence[str], ends: Sequence[str], moved: Sequence[str]
) -> Iterator[tuple[object, ...]]:
    for n in found:
        row = build_note_document(n)
        yield (
            *(row[name] for name in names),
            *(row["key_end"][name] for name in ends),
            row["key_end"]["verdict"],
            *(row["piano_less_bench_mm"].get(m) for m in moved),
            "; ".join(n.remarks),
        )
