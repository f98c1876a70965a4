"""Readings as tables that a technician reads at a glance."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from rich import box
from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from sim.bench.readings import EVENTS, Prediction, Repetition, Strike
from sim.display_units import convert_si, format_number
from sim.report.formats.reading_rows import (
    Mark,
    Place,
    Row,
    centre_rows,
    curve_rows,
    marks,
    rows,
    setting_rows,
    strike_rows,
)
from sim.unit.model import ActionUnit

CAUTIONS = (
    "Before touching the action: key weights are lead (do not dry-sand, file or drill; wash hands); glues and solvents "
    "give off vapour and may burn (air the room, no flame); an action is heavy and awkward (two people; press no key "
    "while it is drawn out); strings nearby are at full tension; tools are sharp. Local rules and licensed practice "
    "come first."
)


def prediction(p: Prediction, unit: ActionUnit, *, inches_first: bool = False) -> RenderableType:
    """The main job's sheet: outcome, settings, touch, blows, repetition, centres, marks, assumptions."""
    place = Place.of(unit)
    parts: list[RenderableType] = [
        head(unit, p.outcome, p.reason),
        readings("Settings", fitted(setting_rows(p, place), unit), inches_first=inches_first),
        readings("Touch", rows(p.touch, "touch", place)),
        *([strikes(p.strikes)] if p.strikes else []),
        *repetition(p.repetition, place),
        *([centres(p, place)] if p.centres else []),
        *looks(marks(p, place)),
        *_set_up(p),
        assumed(p.assumed),
    ]
    return Group(*(Padding(part, (0, 0, 1, 0)) for part in parts))


def head(unit: ActionUnit, outcome: str, reason: str = "") -> RenderableType:
    """Name of the note, and on top of everything whether it plays."""
    kind = "sharp" if unit.key.sharp else "natural"
    line = Text(f"{unit.name} (key {unit.key_number}, {kind}): ", style="bold")
    good = outcome == "plays"
    line.append(outcome if good else f"DOES NOT PLAY: {outcome}", style="green" if good else "red")
    if reason and not good:
        line.append(f"\n{reason}")
    return line


def fitted(found: Sequence[Row], unit: ActionUnit) -> tuple[Row, ...]:
    """The rows without those of a part that the unit has not."""
    return tuple(row for row in found if unit.damper is not None or row.name != "damper_start")


def readings(title: str, found: Sequence[Row], *, inches_first: bool = False) -> Table:
    """Readings with their usual range and a mark in words."""
    table = plain_table(title)
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
        table.add_row(row.title, *(cells[name] for name in heads), span, _side(row))
    return table


def _side(row: Row) -> Text:
    return Text(row.side.upper() if row.side else "", style="bold yellow")


def strikes(blows: Sequence[Strike]) -> Table:
    """One column a blow; the ledger's remainder on the last line."""
    table = plain_table("Blows of one finger")
    table.add_column("", min_width=26)
    table.add_column("")
    for blow in blows:
        table.add_column(f"{blow.touch}{'' if blow.pressed else ', struck'}", justify="right", no_wrap=True)
    table.add_row("outcome", "", *(blow.outcome for blow in blows))
    columns = [strike_rows(blow) for blow in blows]
    for line in zip(*columns, strict=True):
        if line[0].name == "ledger_remainder":
            table.add_row(line[0].title, "%", *(_per_cent(row.value) for row in line))
        elif any(row.value is not None for row in line):
            table.add_row(_strike_title(line[0]), line[0].label, *(row.shown for row in line))
    table.add_row("caught by the check", "", *("yes" if blow.caught else "no" for blow in blows))
    return table


def events(blows: Sequence[Strike]) -> Table:
    """When things happened in each blow, ms."""
    table = plain_table("Events, ms from the start of the finger")
    table.add_column("", min_width=36)
    for blow in blows:
        table.add_column(blow.touch, justify="right", no_wrap=True)
    for name, title in EVENTS.items():
        times = [convert_si(blow.events.get(name), "ms") for blow in blows]
        if any(time is not None for time in times):
            table.add_row(title, *(format_number(time, "ms") for time in times))
    return table


def _strike_title(row: Row) -> str:
    return "free flight, way" if row.name == "free_flight_distance" else row.title


def _per_cent(value: float | None) -> str:
    return "–" if value is None else f"{value * 100:+.3f}"


def repetition(r: Repetition, place: Place) -> list[RenderableType]:
    """Coming back and playing again."""
    found = rows(r, "repetition", place)
    if all(row.value is None for row in found) and not r.sounded_fraction:
        return []
    table = readings("Repetition", found)
    for title, text in (("limiting part", r.limiting_part), ("kicks", _yes(r.kicks))):
        if text:
            table.add_row(title, text, *[""] * (len(table.columns) - 2))
    parts: list[RenderableType] = [table]
    if r.sounded_fraction:
        parts.append(_fractions(r))
    return parts


def _yes(value: bool | None) -> str:
    return "" if value is None else "yes" if value else "no"


def _fractions(r: Repetition) -> Table:
    curves = list(curve_rows(r))
    table = plain_table("Share of strokes by rate (strokes a second)")
    table.add_column("", min_width=26)
    for rate, _, _ in curves:
        table.add_column(rate, justify="right")
    table.add_row("sound", *(f"{sounded:.2f}" for _, sounded, _ in curves))
    table.add_row("begin with the jack home", *("–" if home is None else f"{home:.2f}" for _, _, home in curves))
    return table


def centres(p: Prediction, place: Place) -> Table:
    """Torque, pinning force and swings of each centre."""
    table = plain_table("Centres")
    table.add_column("", min_width=26)
    for name in ("torque N·mm", "pinning gf", "at mm", "usual", "swings", "usual", ""):
        table.add_column(name, justify="right", no_wrap=True)
    found = centre_rows(p, place)
    for name in p.centres:
        row = {r.name: r for r in found if r.of == name}
        force, swings = row["pinning_force"], row["swings"]
        sides = ", ".join(f"{word} {r.side}" for word, r in (("gauge", force), ("swings", swings)) if r.side)
        table.add_row(
            name, row["torque"].shown, force.shown, row["radius"].shown, _usual(force), swings.shown, _usual(swings),
            Text(sides.upper(), style="bold yellow"),
        )  # fmt: skip
    return table


def _usual(row: Row) -> str:
    return str(row.usual) if row.usual and row.value is not None else ""


def looks(found: Iterable[Mark]) -> list[RenderableType]:
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
    from sim.fields.field_paths import kind_at
    from sim.units import show

    items = []
    for path, si in p.set_up.items():
        kind = kind_at(path)
        items.append(f"{path} {show(si, kind.unit, kind.dimension, 2)}" if kind else f"{path} {si:g}")
    return [Text(f"Set up for the targets: {', '.join(items)}")]


def assumed(paths: Sequence[str]) -> RenderableType:
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


def plain_table(title: str) -> Table:
    """A table with a line under its head and no frame."""
    return Table(
        title=title, title_justify="left", title_style="bold", box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False
    )
