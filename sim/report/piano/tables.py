"""The piano at the bench as tables, JSON and CSV."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from sim.display_units import UNITS, column_name, convert_si
from sim.piano.key_ends import CLEAR
from sim.piano.mismatch import HAMMER_RAIL, MISMATCHES, READINGS, Effect, Read
from sim.piano.piano import Note
from sim.report.formats.tables import CAUTIONS, plain_table
from sim.report.formats.traces import csv_text
from sim.units import deg, mm, show

LENGTHS = ("string_height", "strike_line", "hammer_centre_height", "bore", "hanging_distance", "fitting_bore",
           "fitting_distance", "off_line")  # fmt: skip
KEY_END = ("read", "again", "carried", "reckoned", "under", "rail")
WARNING = "bold yellow"


def titled(title: str, *heads: str) -> Table:
    """A table whose first column is words and whose others are numbers."""
    table = plain_table(title)
    for i, head in enumerate(heads):
        table.add_column(head, justify="right" if i and head else "left", no_wrap=bool(head) or not i)
    return table


def millimetres(value: float | None, digits: int = 2) -> str:
    """A length (m) in mm; a dash where there is none."""
    return "–" if value is None else show(value, "mm", UNITS["mm"][1], digits).removesuffix(" mm")


def signed(value: float | None) -> str:
    """A difference (m) in mm with its sign; a plain 0 where it rounds to none."""
    if value is None:
        return "–"
    text = f"{convert_si(value, 'mm'):+.2f}"
    return "0" if float(text) == 0 else text


def notes(found: Sequence[Note], angle: float) -> list[RenderableType]:
    """What fits under each string, and what was remarked."""
    fits = f"shank {deg(angle)} off the string" if angle else "shank along the string"
    table = titled(
        f"Under the strings, mm and degrees (* not read: the scenario's hammer; fits: {fits})", "key", "string",
        "strike line", "centre", "bore", "hung", "shank", "off line", "bore fits", "hung fits",
    )  # fmt: skip
    for n in found:
        table.add_row(
            f"{n.key} {n.section}", millimetres(n.string_height), millimetres(n.strike_line),
            millimetres(n.hammer_centre_height), _own(n, "bore"), _own(n, "hanging_distance"),
            "–" if n.shank_angle is None else deg(n.shank_angle, 2).removesuffix(" deg"), signed(n.off_line),
            millimetres(n.fitting_bore), millimetres(n.fitting_distance),
        )  # fmt: skip
    return [table, *(Text(f"key {n.key}: {remark}", style=WARNING) for n in found for remark in n.remarks)]


def _own(n: Note, name: str) -> str:
    return millimetres(getattr(n, name), 1) + (" " if name in n.read else "*")


def key_ends(found: Sequence[Note]) -> list[RenderableType]:
    """What was read of key ends and damper blocking at piano and bench, and whether it clears."""
    table = titled("Key ends to damper blocking, mm", "key", "read, piano", "read, bench", "so in piano", "reckoned",
                   "over end", "rail", "")  # fmt: skip
    for n in found:
        cells = [millimetres(getattr(n.key_end, name), 1) for name in KEY_END]
        table.add_row(str(n.key), *cells, n.key_end.verdict)
    words = (
        f"{mm(CLEAR, 0)} or more clears. So in piano: the bench's reading, carried over by blocking and stop; "
        "reckoned: blocking, stop and the scenario's key; over end: blocking's underside over the key's end, key down; "
        "rail: wippen rail to blocking."
    )
    return [table, Text(words)]


def mismatch(n: Note, bench: Read, alone: Sequence[Effect], piano: Read) -> list[RenderableType]:
    """What was read differently, what each of it does alone, and what the action comes to in the piano."""
    if not n.mismatch:
        return [Text(f"Key {n.key}: nothing was read again at the bench, so bench and piano are not compared.")]
    table = titled(f"Key {n.key}: regulated at the bench, then in the piano, mm", "", "by", *_heads())
    table.add_row("at the bench", "", *(millimetres(bench.values[r]) for r in READINGS), "", _outcome(bench))
    for e in alone:
        table.add_row(MISMATCHES[e.name].title, signed(e.by), *_changes(e.found, bench), _outcome(e.found))
    table.add_row("all of them at once", "", *_changes(piano, bench), "")
    table.add_row("in the piano", "", *(millimetres(piano.values[r]) for r in READINGS), "", _outcome(piano))
    words = (
        "By: piano less bench. A bed that lies otherwise moves key height and hammer centre too; at once, what the bed "
        "already does to them is not added again."
    )
    return [table, Text(words)]


def _heads() -> tuple[str, ...]:
    return *(n.replace("_", "-") for n in READINGS), "off line", ""


def _changes(found: Read, base: Read) -> tuple[str, ...]:
    pairs = ((found.values[n], base.values[n]) for n in READINGS)
    cells = (signed(None if a is None or b is None else a - b) for a, b in pairs)
    return *cells, signed(found.off_line) if found.off_line else ""


def _outcome(found: Read) -> str:
    return "" if found.outcome == "plays" else found.outcome.upper()


def effects(found: Sequence[Effect], base: Read) -> RenderableType:
    """What each half millimetre does."""
    table = titled("What each half millimetre of piano less bench does (change of the reading, mm)", "", "by",
                   *_heads())  # fmt: skip
    before = ""
    for e in found:
        title = MISMATCHES[e.name].title
        table.add_row("" if title == before else title, signed(e.by), *_changes(e.found, base), _outcome(e.found))
        before = title
    return table


def cautions() -> RenderableType:
    """Before anything is touched."""
    return Text(f"{CAUTIONS} Nothing here is advice to touch strings, plate or tension.", style="italic")


def of_note(n: Note) -> dict[str, Any]:
    """One note as JSON."""
    out: dict[str, Any] = {"key": n.key, "section": n.section}
    out |= {column_name(name, "mm"): convert_si(getattr(n, name), "mm") for name in LENGTHS}
    out |= {"hammer_weight_g": convert_si(n.weight, "g"), "hammer_read": list(n.read)}
    out |= {column_name(name, "deg"): convert_si(getattr(n, name), "deg") for name in ("string_slope", "shank_angle")}
    end = n.key_end
    out["key_end_clearance_mm"] = convert_si(end.level, "mm")
    out["key_end"] = {column_name(name, "mm"): convert_si(getattr(end, name), "mm") for name in KEY_END}
    out["key_end"] |= {"clears": end.clears, "verdict": end.verdict}
    out["piano_less_bench_mm"] = {name: convert_si(by, "mm") for name, by in n.mismatch.items()}
    return out | {"remarks": list(n.remarks)}


def of_read(found: Read) -> dict[str, Any]:
    """One slow press as JSON."""
    return {"outcome": found.outcome} | {column_name(n, "mm"): convert_si(v, "mm") for n, v in found.values.items()}


def of_effect(e: Effect) -> dict[str, Any]:
    """One mismatch as JSON."""
    by = {
        "mismatch": e.name,
        "by_mm": convert_si(e.by, "mm"),
        "off_line_mm": convert_si(e.found.off_line, "mm"),
    }
    return by | of_read(e.found)


def csv(found: Sequence[Note]) -> str:
    """Every note on a line."""
    gathered = ("hammer_read", "key_end", "piano_less_bench_mm", "remarks")
    names = [k for k in of_note(found[0]) if k not in gathered] if found else []
    ends = [column_name(name, "mm") for name in KEY_END]
    moved = [n for n in MISMATCHES if n != HAMMER_RAIL]
    heads = (*names, *(f"key_end_{n}" for n in ends), "key_end_verdict", *(f"{n}_piano_less_bench_mm" for n in moved))
    return csv_text((*heads, "remarks"), _lines(found, names, ends, moved))


def _lines(
    found: Sequence[Note], names: Sequence[str], ends: Sequence[str], moved: Sequence[str]
) -> Iterator[tuple[object, ...]]:
    for n in found:
        row = of_note(n)
        yield (
            *(row[name] for name in names),
            *(row["key_end"][name] for name in ends),
            row["key_end"]["verdict"],
            *(row["piano_less_bench_mm"].get(m) for m in moved),
            "; ".join(n.remarks),
        )
