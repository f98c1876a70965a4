"""A prediction as tables that a technician reads at a glance, and as CSV: a line a reading."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from sim.bench.outcomes import Outcome
from sim.bench.readings import EVENTS, Prediction, Repetition, Strike
from sim.display_units import convert_si, format_number
from sim.fields.field_paths import find_kind
from sim.report.formats.reading_rows import (
    KeyPosition,
    ReadingRow,
    Remark,
    list_all_rows,
    list_centre_rows,
    list_curve_rows,
    list_remarks,
    list_rows,
    list_setting_rows,
    list_strike_rows,
)
from sim.report.formats.tables import CAUTIONS, new_plain_table
from sim.report.formats.traces import format_csv_lines
from sim.unit.model import ActionUnit
from sim.units import INCH, format_quantity


def build_prediction_tables(p: Prediction, unit: ActionUnit, *, inches_first: bool = False) -> RenderableType:
    """The main job's sheet: outcome, settings, touch, blows, repetition, centres, marks, assumptions."""
    place = KeyPosition.of(unit)
    parts: list[RenderableType] = [
        format_head(unit, p.outcome, p.reason),
        build_readings_table(
            "Settings", drop_missing_parts(list_setting_rows(p, place), unit), inches_first=inches_first
        ),
        build_readings_table("Touch", list_rows(p.touch, "touch", place)),
        *([build_strikes_table(p.strikes)] if p.strikes else []),
        *build_repetition_tables(p.repetition, place),
        *([build_centres_table(p, place)] if p.centres else []),
        *build_remarks(list_remarks(p, place)),
        *_set_up(p),
        format_assumed(p.assumed),
    ]
    return Group(*(Padding(part, (0, 0, 1, 0)) for part in parts))


def format_head(unit: ActionUnit, outcome: str, reason: str = "") -> RenderableType:
    """Name of the note, and on top of everything whether it plays."""
    kind = "sharp" if unit.key.sharp else "natural"
    line = Text(f"{unit.name} (key {unit.key_number}, {kind}): ", style="bold")
    good = outcome == Outcome.PLAYS
    line.append(outcome if good else f"DOES NOT PLAY: {outcome}", style="green" if good else "red")
    if reason and not good:
        line.append(f"\n{reason}")
    return line


def drop_missing_parts(found: Sequence[ReadingRow], unit: ActionUnit) -> tuple[ReadingRow, ...]:
    """The rows without those of a part that the unit has not."""
    return tuple(row for row in found if unit.damper is not None or row.name != "damper_start")


def build_readings_table(title: str, found: Sequence[ReadingRow], *, inches_first: bool = False) -> Table:
    """Readings with their usual range and a mark in words."""
    table = new_plain_table(title)
    lengths = any(row.inches for row in found)
    heads = ["value", "", *(["inches"] if lengths else [])]
    if inches_first and lengths:
        heads = ["inches", "value", ""]
    table.add_column("", min_width=26)
    for name in heads:
        table.add_column(name, justify="left" if name == "" else "right", no_wrap=True)
    table.add_column("usual", justify="right", no_wrap=True)
    table.add_column("", no_wrap=True)
    for row in found:
        cells = {"value": row.shown, "": row.label, "inches": row.inches.replace(" in", "")}
        span = str(row.usual) if row.usual else ""
        table.add_row(row.title, *(cells[name] for name in heads), span, _format_side(row))
    return table


def _format_side(row: ReadingRow) -> Text:
    return Text(row.side.upper() if row.side else "", style="bold yellow")


def build_strikes_table(blows: Sequence[Strike]) -> Table:
    """One column a blow; the ledger's remainder on the last line."""
    table = new_plain_table("Blows of one finger")
    table.add_column("", min_width=26)
    table.add_column("")
    for blow in blows:
        table.add_column(f"{blow.touch}{'' if blow.pressed else ', struck'}", justify="right", no_wrap=True)
    table.add_row("outcome", "", *(blow.outcome for blow in blows))
    columns = [list_strike_rows(blow) for blow in blows]
    for line in zip(*columns, strict=True):
        if line[0].name == "ledger_remainder":
            table.add_row(line[0].title, "%", *(_per_cent(row.value) for row in line))
        elif any(row.value is not None for row in line):
            table.add_row(_strike_title(line[0]), line[0].label, *(row.shown for row in line))
    table.add_row("caught by the check", "", *("yes" if blow.caught else "no" for blow in blows))
    return table


def build_events_table(blows: Sequence[Strike]) -> Table:
    """When things happened in each blow, ms."""
    table = new_plain_table("Events, ms from the start of the finger")
    table.add_column("", min_width=36)
    for blow in blows:
        table.add_column(blow.touch, justify="right", no_wrap=True)
    for name, title in EVENTS.items():
        times = [convert_si(blow.events.get(name), "ms") for blow in blows]
        if any(time is not None for time in times):
            table.add_row(title, *(format_number(time, "ms") for time in times))
    return table


def _strike_title(row: ReadingRow) -> str:
    return "free flight, way" if row.name == "free_flight_distance" else row.title


def _per_cent(value: float | None) -> str:
    return "–" if value is None else f"{value * 100:+.3f}"


def build_repetition_tables(r: Repetition, place: KeyPosition) -> list[RenderableType]:
    """Coming back and playing again."""
    found = list_rows(r, "repetition", place)
    if all(row.value is None for row in found) and not r.sounded_fraction:
        return []
    table = build_readings_table("Repetition", found)
    for title, text in (("limiting part", r.limiting_part), ("kicks", _format_yes(r.kicks))):
        if text:
            table.add_row(title, text, *[""] * (len(table.columns) - 2))
    parts: list[RenderableType] = [table]
    if r.sounded_fraction:
        parts.append(_fractions(r))
    return parts


def _format_yes(value: bool | None) -> str:
    return "" if value is None else "yes" if value else "no"


def _fractions(r: Repetition) -> Table:
    curves = list(list_curve_rows(r))
    table = new_plain_table("Share of strokes by rate (strokes a second)")
    table.add_column("", min_width=26)
    for rate, _, _ in curves:
        table.add_column(rate, justify="right")
    table.add_row("sound", *(f"{sounded:.2f}" for _, sounded, _ in curves))
    table.add_row("begin with the jack home", *("–" if home is None else f"{home:.2f}" for _, _, home in curves))
    return table


def build_centres_table(p: Prediction, place: KeyPosition) -> Table:
    """Torque, pinning force and swings of each centre."""
    table = new_plain_table("Centres")
    table.add_column("", min_width=26)
    for name in ("torque N·mm", "pinning gf", "at mm", "usual", "swings", "usual", ""):
        table.add_column(name, justify="right", no_wrap=True)
    found = list_centre_rows(p, place)
    for name in p.centres:
        row = {r.name: r for r in found if r.of == name}
        force, swings = row["pinning_force"], row["swings"]
        sides = ", ".join(f"{word} {r.side}" for word, r in (("gauge", force), ("swings", swings)) if r.side)
        table.add_row(
            name, row["torque"].shown, force.shown, row["radius"].shown, _usual(force), swings.shown, _usual(swings),
            Text(sides.upper(), style="bold yellow"),
        )  # fmt: skip
    return table


def _usual(row: ReadingRow) -> str:
    return str(row.usual) if row.usual and row.value is not None else ""


def build_remarks(found: Iterable[Remark]) -> list[RenderableType]:
    """What is out of the usual, with the part to look at first; the cautions follow."""
    marked = list(found)
    if not marked:
        return [Text("Nothing lies outside its usual range.")]
    lines = Table.grid(padding=(0, 0, 0, 2))
    for mark in marked:
        lines.add_row(Text(f"{mark.title}: {mark.found}", style="bold yellow"))
        lines.add_row(Padding(f"{mark.means}; look first at: {mark.look}", (0, 0, 0, 2)))
    return [Group(Text("Out of the usual range", style="bold"), lines), Text(CAUTIONS, style="italic")]


def _set_up(p: Prediction) -> list[RenderableType]:
    if not p.set_up:
        return []
    items = []
    for path, si in p.set_up.items():
        kind = find_kind(path)
        items.append(f"{path} {format_quantity(si, kind.unit, kind.dimension, 2)}" if kind else f"{path} {si:g}")
    return [Text(f"Set up for the targets: {', '.join(items)}")]


def format_assumed(paths: Sequence[str]) -> RenderableType:
    """Which inputs nobody measured, gathered by section."""
    if not paths:
        return Text("Every input was given by the scenario; none was assumed.")
    sections: dict[str, list[str]] = {}
    for path in paths:
        section, _, name = path.partition(".")
        part = name.partition(".")[0] if section == "contacts" else name
        names = sections.setdefault(section, [])
        if part not in names:
            names.append(part)
    lines = Table.grid(padding=(0, 2, 0, 0))
    for section, names in sections.items():
        lines.add_row(f"  {section}", ", ".join(names) + (" (felt and leather laws)" if section == "contacts" else ""))
    return Group(Text(f"Only assumed, not measured ({len(paths)} inputs)", style="bold"), lines)


HEADER = ("group", "of", "reading", "title", "value", "unit", "inches", "usual_low", "usual_high", "mark", "look_first")


def format_csv(prediction: Prediction, unit: ActionUnit) -> str:
    """Every reading with its usual range, then the words: outcome, what was assumed."""
    return format_csv_lines(HEADER, _lines(prediction, KeyPosition.of(unit)))


def _lines(p: Prediction, place: KeyPosition) -> Iterator[tuple[object, ...]]:
    yield _word_line("unit", p.unit)
    yield _word_line("outcome", p.outcome)
    yield _word_line("reason", p.reason)
    for row in list_all_rows(p, place):
        yield _reading(row)
    yield _word_line("limiting_part", p.repetition.limiting_part or "", "repetition")
    yield _word_line("kicks", "" if p.repetition.kicks is None else "yes" if p.repetition.kicks else "no", "repetition")
    for rate, sounded, home in list_curve_rows(p.repetition):
        yield ("repetition", f"{rate} a second", "sounded_fraction", "strokes that sound", sounded, *[""] * 6)
        yield ("repetition", f"{rate} a second", "reset_fraction", "strokes begun with the jack home", home, *[""] * 6)
    for strike in p.strikes:
        for name, time in strike.events.items():
            yield ("event", strike.touch, name, name.replace("_", " "), convert_si(time, "ms"), "ms", *[""] * 5)
    for path in p.assumed:
        yield _word_line("assumed", path, "input")


def _word_line(name: str, text: str, group: str = "unit") -> tuple[object, ...]:
    return (group, "", name, name.replace("_", " "), text, *[""] * 6)


def _reading(row: ReadingRow) -> tuple[object, ...]:
    inches = row.value * 1e-3 / INCH if row.unit == "mm" and row.value is not None else None
    low, high = (row.usual.low, row.usual.high) if row.usual else (None, None)
    look = row.advice[1] if row.advice else ""
    return (row.group, row.of, row.name, row.title, row.value, row.label, inches, low, high, row.side or "", look)
