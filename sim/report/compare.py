"""A comparison as tables, JSON, CSV, and as curves laid over one another."""

from __future__ import annotations

from collections.abc import Collection, Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from sim.bench.predict import MODERATE, find_touch
from sim.bench.readings import SlowPress
from sim.bench.rest_pose import settle_at_rest
from sim.bench.strike import play_touch
from sim.display_units import choose_unit, convert_column, convert_si, format_number, format_unit
from sim.errors import UnitError
from sim.fields.field_paths import find_kind
from sim.report.drawing.figures import CROWN, FAINT, KEY
from sim.report.drawing.mechanism import INK, escape_lettering
from sim.report.formats.json_text import Document, clean_document
from sim.report.formats.tables import new_plain_table
from sim.report.formats.traces import format_csv_lines
from sim.studies.compare import Comparison, InputDifference, ReadingDifference
from sim.unit.model import ActionUnit
from sim.units import convert_to_unit

TITLED_INPUTS = 1
"""Changes named in a figure's title."""
MOST = 3
"""Changes named for one reading in the table."""
LEAST_SHARE = 0.02
"""Of a reading whose accuracy at the bench is not known, a difference of this share is traced to its inputs too."""
DOTS = "dotted"
NEAR_STRING_MM = 12.0
"""Of the crown's way, the last of it before the string is drawn, mm."""


def build_tables(c: Comparison) -> RenderableType:
    """What a person reads: outcomes, the inputs that differ, the readings side by side."""
    parts: list[RenderableType] = [_heads(c), _inputs(c), _readings(c)]
    return Group(*(Padding(part, (0, 0, 1, 0)) for part in parts))


def _heads(c: Comparison) -> RenderableType:
    text = Text()
    for letter, unit, found in zip("AB", c.units, (c.a, c.b), strict=True):
        text.append(f"{letter}  {unit.name} (key {unit.key_number}): ", style="bold")
        text.append(found.outcome + (f"; {found.reason}" if found.reason else ""))
        text.append("\n" if letter == "A" else "")
    return text


def _inputs(c: Comparison) -> RenderableType:
    if not c.changes:
        return Text("No input of the two differs by a field of its own.")
    table = new_plain_table("Inputs that differ")
    for name, justify in (("", "left"), ("A", "right"), ("B", "right"), ("", "left"), ("A with this alone", "left")):
        table.add_column(name, justify=justify, overflow="fold")  # type: ignore[arg-type]
    for change, alone in zip(c.changes, c.alone, strict=True):
        a, b, unit = format_input(change)
        table.add_row(change.name, a, b, unit, alone.outcome)
    if len(c.changes) > 1:
        table.add_row("all of these", "", "", "", c.together.outcome)
    return table


def format_input(change: InputDifference) -> tuple[str, str, str]:
    """Value in A and in B, and their unit, as typed in a scenario."""
    kind = find_kind(change.name)
    if kind is None:
        words = next(iter(change.overrides.values())) if len(change.overrides) == 1 else "fitted"
        return "–", words, ""
    si = kind.form == "contact stiffness"
    numbers = [
        "–" if v is None else f"{v if si else convert_to_unit(v, kind.unit, kind.dimension):.6g}"
        for v in (change.a, change.b)
    ]
    return numbers[0], numbers[1], "SI" if si else kind.unit


def _readings(c: Comparison) -> Table:
    table = new_plain_table(
        "Readings (! : a bench would see the difference; ? : how finely it reads this is not known)"
    )
    for name in ("", "A", "B", "B - A", "", ""):
        table.add_column(name, justify="right" if name in ("A", "B", "B - A") else "left", no_wrap=True)
    table.add_column("carried by, each alone", overflow="fold")
    for line in c.lines:
        if line.a is None and line.b is None:
            continue
        r = line.reading
        a, b, d = (format_line_value(v, line) for v in (line.a, line.b, line.difference))
        mark = {True: "!", False: "", None: "?" if line.difference else ""}[line.exceeds]
        table.add_row(r.title, a, b, d, r.shown_unit, Text(mark, style="bold yellow"), _carriers(c, line))
    return table


def build_rows(c: Comparison, inches: bool = False, only: Collection[str] = ()) -> list[dict[str, str]]:
    """The readings side by side as words, a row each; lengths in mm or in inches; ``only`` some, by name."""
    seen = {True: "yes", False: "no", None: "?"}
    return [
        {
            "reading": line.reading.title,
            "A": format_line_value(line.a, line, inches),
            "B": format_line_value(line.b, line, inches),
            "B - A": format_line_value(line.difference, line, inches),
            "unit": format_unit(choose_unit(line.reading.unit, inches)) or line.reading.shown_unit,
            "a bench would see it": seen[line.exceeds] if line.difference else "no",
            "carried by, each alone": _carriers(c, line, inches),
        }
        for line in c.lines
        if (line.a is not None or line.b is not None) and (not only or line.reading.name in only)
    ]


def format_line_value(value: float | None, line: ReadingDifference, inches: bool = False) -> str:
    """A value of a line as text."""
    unit = choose_unit(line.reading.unit, inches)
    return format_number(convert_si(value, unit), unit, line.reading.accuracy)


def _carriers(c: Comparison, line: ReadingDifference, inches: bool = False) -> str:
    if line.difference is None or not _is_traced(line):
        return ""
    parts = [(f"{change.name} ", v, "") for change, v in c.shares(line.reading.name)[:MOST]]
    mixed, rest = c.interaction(line.reading.name), c.elsewhere(line)
    parts += [("together ", mixed, " more")] if mixed is not None else []
    parts += [("no single field ", rest, "")] if rest is not None else []
    told = [f"{name}{_format_signed(v, line, inches)}{more}" for name, v, more in parts if _is_worth_showing(v, line)]
    if mixed is None and c.changes:
        told.append("the rest only together")
    return "; ".join(told)


def _is_worth_showing(value: float, line: ReadingDifference) -> bool:
    """Whether a part of a difference is worth its place: a tenth of it, and not rounded to nothing."""
    return abs(value) > 0.1 * abs(line.difference or 0.0) and float(format_line_value(value, line)) != 0


def _is_traced(line: ReadingDifference) -> bool:
    """Whether the inputs behind a difference are worth naming."""
    if line.exceeds is not None or line.a is None or line.b is None:
        return bool(line.exceeds)
    return abs(line.b - line.a) > LEAST_SHARE * max(abs(line.a), abs(line.b))


def _format_signed(value: float, line: ReadingDifference, inches: bool = False) -> str:
    text = format_line_value(value, line, inches)
    return text if value < 0 else f"+{text}"


def build_document(c: Comparison) -> Document:
    """The comparison as JSON, in the units of the names."""
    names = [change.name for change in c.changes]
    readings = []
    for line in c.lines:
        name, unit = line.reading.name, line.reading.unit
        readings.append(
            {
                "reading": line.reading.key,
                "a": convert_si(line.a, unit),
                "b": convert_si(line.b, unit),
                "difference": convert_si(line.difference, unit),
                "accuracy": line.reading.accuracy,
                "exceeds_accuracy": line.exceeds,
                "alone": {
                    change: convert_si(one.effect.get(name), unit) for change, one in zip(names, c.alone, strict=True)
                },
                "together": convert_si(c.together.effect.get(name), unit),
                "interaction": convert_si(c.interaction(name), unit),
                "no_single_field": convert_si(c.elsewhere(line), unit),
            }
        )
    inputs = [
        {"input": ch.name, "a": a, "b": b, "unit": unit, "set": dict(ch.overrides), "outcome_alone": one.outcome}
        for ch, one in zip(c.changes, c.alone, strict=True)
        for a, b, unit in [format_input(ch)]
    ]
    sides = [
        {"unit": u.name, "outcome": p.outcome, "reason": p.reason} for u, p in zip(c.units, (c.a, c.b), strict=True)
    ]
    return clean_document(
        {"a": sides[0], "b": sides[1], "inputs": inputs, "outcome_together": c.together.outcome, "readings": readings}
    )


def format_csv(c: Comparison) -> str:
    """A line a reading; a column for each input that differs."""
    names = [change.name for change in c.changes]
    header = ["reading", "unit", "a", "b", "difference", "accuracy", "exceeds", *names, "together", "interaction"]
    lines = []
    for line in c.lines:
        r = line.reading
        alone = [convert_si(one.effect.get(r.name), r.unit) for one in c.alone]
        tail = [c.together.effect.get(r.name), c.interaction(r.name)]
        values = [convert_si(v, r.unit) for v in (line.a, line.b, line.difference)]
        exceeds = "" if line.exceeds is None else line.exceeds
        lines.append(
            [r.key, r.shown_unit, *values, r.accuracy, exceeds, *alone, *(convert_si(v, r.unit) for v in tail)]
        )
    return format_csv_lines(header, lines)


def draw_comparison(c: Comparison) -> Figure:
    """A moderate blow, the slow press and the crown's way near the string, A drawn through and B dotted."""
    figure = Figure(figsize=(15, 5.4), layout="constrained")
    FigureCanvasAgg(figure)
    blow, press, crown = figure.subplots(1, 3)
    for unit, found, style in zip(c.units, (c.a, c.b), ("solid", DOTS), strict=True):
        _draw_blow(blow, unit, style)
        if found.slow_press is not None:
            _draw_press(press, found.slow_press, style)
            _draw_crown(crown, found.slow_press, style)
    blow.axhline(0, color=FAINT, lw=0.8)
    blow.set(xlabel="time, ms", ylabel="mm", xlim=(0, 200))
    blow.legend(frameon=False, fontsize=8)
    press.set(xlabel="key travel, mm", ylabel="force, gf")
    press.set_ylim(0, _top([p.slow_press for p in (c.a, c.b) if p.slow_press is not None]))
    crown.set(xlabel="key travel, mm", ylabel="crown to string, mm", ylim=(0, NEAR_STRING_MM))
    for axes, title in (
        (blow, "Moderate blow"),
        (press, "Slow press, down and back"),
        (crown, "Slow press: let-off and drop"),
    ):
        axes.set_title(title, loc="left", fontsize=10, color=INK)
        axes.spines[["top", "right"]].set_visible(False)
        axes.tick_params(labelsize=8)
    title = escape_lettering(f"A (drawn through): {c.units[0].name}    B (dotted): {_name_other(c)}")
    figure.suptitle(title, fontsize=11, color=INK)
    return figure


def _name_other(c: Comparison) -> str:
    """What B is called: by what differs, where both have one name."""
    if c.units[0].name != c.units[1].name or not c.changes:
        return c.units[1].name
    told = [" ".join((change.name, *format_input(change)[1:])).rstrip() for change in c.changes[:TITLED_INPUTS]]
    more = len(c.changes) - TITLED_INPUTS
    return "the same with " + ", ".join(told) + (f" and {more} more" if more > 0 else "")


def _draw_blow(axes: Axes, unit: ActionUnit, style: str) -> None:
    try:
        rest = settle_at_rest(unit)
    except UnitError:
        return
    run = play_touch(rest, find_touch(MODERATE))[1]
    every = max(1, len(run.trace) // 3000)
    t = convert_column(run.trace["t"], "ms")[::every]
    curves = (("crown to string", run.place.crown_to_string, CROWN), ("key travel", rest.travel(run), KEY))
    for name, values, colour in curves:
        label = name if style == "solid" else None
        axes.plot(t, convert_column(values, "mm")[::every], color=colour, ls=style, lw=1.5, label=label)


def _draw_press(axes: Axes, press: SlowPress, style: str) -> None:
    travel = convert_column(press.travel, "mm")
    for values, width in ((press.pressing, 1.5), (press.returning, 0.9)):
        axes.plot(travel, convert_column(values, "gf"), color=KEY, ls=style, lw=width)


def _draw_crown(axes: Axes, press: SlowPress, style: str) -> None:
    crown = convert_column(press.crown, "mm")
    near = crown < NEAR_STRING_MM
    axes.plot(convert_column(press.travel, "mm")[near], crown[near], color=CROWN, ls=style, lw=1.5)


def _top(presses: Sequence[SlowPress]) -> float:
    """Of the force axis, gf: the hump in full, the punching cut off."""
    tops = [float(np.nanmax(convert_column(p.pressing, "gf")[p.travel < 0.9 * p.travel.max()])) for p in presses]
    return 1.25 * max(tops, default=100.0)
