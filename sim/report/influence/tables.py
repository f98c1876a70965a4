"""Influences as tables, JSON and CSV: slopes with their curves, and the spring study."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.text import Text

from sim.bench.outcomes import Outcome
from sim.display_units import convert_si, count_decimals, format_number
from sim.report.formats.json_text import Document, clean_document
from sim.report.formats.tables import new_plain_table
from sim.report.formats.traces import format_csv_lines
from sim.studies.influence import InputInfluence, Slope
from sim.studies.spring import SpringReading, SpringStudy, SpringWindow
from sim.studies.tolerances import find_input_unit

LOCAL_HEADER = ("input", "reading", "slope", "error", "unit", "per", "bend", "curved", "curve", "input_unit")
SPRING_HEADER = ("spring_Nmm", "lever_friction_Nmm", "reading", "value", "unit")


def build_slope_tables(found: Sequence[InputInfluence]) -> RenderableType:
    """One table an input: the readings that answer; the curve where the slope alone would mislead."""
    parts: list[RenderableType] = []
    quiet = []
    for answers in found:
        slopes = [s for s in answers.slopes.values() if s.matters]
        if slopes:
            parts.append(Padding(_build_answers_table(answers, slopes), (0, 0, 1, 0)))
        else:
            quiet.append(answers.path)
    if quiet:
        parts.append(Text(f"Nothing that a bench could read answers to: {', '.join(quiet)}"))
    return Group(*parts)


def _build_answers_table(answers: InputInfluence, slopes: Sequence[Slope]) -> RenderableType:
    table = new_plain_table(name_with_unit(answers.path))
    for name in ("", "slope", "", "+-", ""):
        table.add_column(name, justify="right" if name in ("slope", "+-") else "left", no_wrap=True)
    for s in slopes:
        unit = " ".join(part for part in (s.reading.shown_unit, f"per {s.per}") if part)
        table.add_row(
            s.reading.title,
            format_significant(s.slope),
            unit,
            format_significant(s.error, 2),
            "bends" if s.curved else "",
        )
    parts: list[RenderableType] = [table, *(_curve(s) for s in slopes if s.curved)]
    failed = [f"{x:.4g}: {outcome}" for x, outcome in answers.outcomes if outcome != Outcome.PLAYS]
    if failed:
        parts.append(Text(f"  does not play at {'; '.join(failed)}", style="yellow"))
    return Group(*parts)


def _curve(s: Slope) -> Text:
    digits = count_decimals(s.reading.unit, s.reading.accuracy) + 1
    points = ", ".join(f"{x:.4g}: {'–' if y is None else f'{y:.{digits}f}'}" for x, y in s.values)
    return Text(f"  {s.reading.title}, {s.reading.shown_unit}: {points}".replace(", :", ":"), overflow="fold")


def name_with_unit(path: str) -> str:
    """An input's name with the unit in which its values are told."""
    return f"{path}, {find_input_unit(path)}".removesuffix(", ")


def format_significant(value: float, count: int = 3) -> str:
    """A number to some significant figures; a dash for none."""
    return f"{value:.{count}g}" if math.isfinite(value) else "–"


def build_slope_document(found: Sequence[InputInfluence]) -> Document:
    """Slopes and curves, in the units of the names."""
    return {
        "influences": [
            clean_document(
                {
                    "input": s.path,
                    "reading": s.reading.key,
                    "slope": s.slope,
                    "error": s.error,
                    "unit": s.reading.shown_unit,
                    "per": s.per,
                    "bend": s.bend,
                    "answers": s.matters,
                    "curved": s.curved,
                    "input_unit": find_input_unit(s.path),
                    "curve": s.values,
                }
            )
            for answers in found
            for s in answers.slopes.values()
        ],
        "outcomes": {a.path: [[x, outcome] for x, outcome in a.outcomes] for a in found},
    }


def format_slope_csv(found: Sequence[InputInfluence]) -> str:
    """A line a slope."""
    lines = [
        (
            s.path,
            s.reading.key,
            s.slope,
            s.error,
            s.reading.shown_unit,
            s.per,
            s.bend,
            s.curved,
            _points(s.values),
            find_input_unit(s.path),
        )
        for answers in found
        for s in answers.slopes.values()
    ]
    return format_csv_lines(LOCAL_HEADER, lines)


def _points(values: Iterable[tuple[float, float | None]]) -> str:
    return " ".join(f"{x:.6g}:{'' if y is None else f'{y:.6g}'}" for x, y in values)


def build_spring_tables(s: SpringStudy) -> RenderableType:
    """Curves over the spring, shares of strokes, and the windows over the lever centre."""
    curves = new_plain_table(f"Repetition spring (the scenario's own: {s.own * 1e3:.2f} N·mm)")
    curves.add_column("spring, N·mm", no_wrap=True)
    for spring in s.springs:
        curves.add_column(f"{spring.torque * 1e3:.1f}", justify="right", no_wrap=True)
    curves.add_row("plays", *("yes" if spring.outcome == Outcome.PLAYS else "no" for spring in s.springs))
    curves.add_row("kicks", *({True: "yes", False: "no", None: "–"}[spring.kicks] for spring in s.springs))
    curves.add_row("caught by the check", *(_format_caught(spring) for spring in s.springs))
    for name in dict.fromkeys(name for spring in s.springs for name in spring.readings):
        known = next(spring.readings[name] for spring in s.springs if name in spring.readings)
        label = f"{known.title}, {known.shown_unit}".rstrip(", ")
        curves.add_row(label, *(_value(spring, name) for spring in s.springs))
    return Group(curves, Text(""), _windows(s))


def _format_caught(spring: SpringReading) -> str:
    missed = [touch for touch, caught in spring.caught if not caught]
    return f"not {', '.join(missed)}" if missed else "yes" if spring.caught else "–"


def _value(spring: SpringReading, name: str) -> str:
    taken = spring.readings.get(name)
    return "–" if taken is None else format_number(convert_si(taken.value, taken.unit), taken.unit, taken.accuracy)


def _windows(s: SpringStudy) -> RenderableType:
    table = new_plain_table("Window, N·mm, by friction of the lever centre")
    for name in ("lever centre", "lifts from", "kicks from", "centre", "width"):
        table.add_column(name, justify="right", no_wrap=True)
    for w in s.windows:
        table.add_row(*(_newton_mm(v) for v in (w.friction, w.lifts_from, w.kicks_from, w.centre, w.width)))
    if s.shift is None:
        return table
    told = f"The centre moves by {s.shift:.2f} N·mm per N·mm of friction in the lever centre."
    return Group(table, Text(told))


def _newton_mm(value: float | None) -> str:
    return "–" if value is None else f"{value * 1e3:.2f}"


def build_spring_document(s: SpringStudy) -> Document:
    """The study as JSON."""
    return clean_document(
        {
            "own_Nmm": s.own * 1e3,
            "lever_friction_Nmm": s.own_friction * 1e3,
            "springs": [_spring(spring) for spring in s.springs],
            "windows": [_window(w) for w in s.windows],
            "shift_Nmm_per_Nmm": s.shift,
        }
    )


def _spring(spring: SpringReading) -> Document:
    readings = {t.key: convert_si(t.value, t.unit) for t in spring.readings.values()}
    caught = dict(spring.caught)
    return {
        "spring_Nmm": spring.torque * 1e3,
        "outcome": spring.outcome,
        "kicks": spring.kicks,
        "caught": caught,
    } | readings


def _window(w: SpringWindow) -> Document:
    named = {f"{name}_Nmm": None if v is None else v * 1e3 for name, v in _format_ends(w).items()}
    return {"lever_friction_Nmm": w.friction * 1e3, **named}


def _format_ends(w: SpringWindow) -> dict[str, float | None]:
    return {"lifts_from": w.lifts_from, "kicks_from": w.kicks_from, "centre": w.centre, "width": w.width}


def format_spring_csv(s: SpringStudy) -> str:
    """A line a value."""
    lines: list[tuple[object, ...]] = []
    for spring in s.springs:
        head = (spring.torque * 1e3, s.own_friction * 1e3)
        lines += [(*head, "outcome", spring.outcome, ""), (*head, "kicks", spring.kicks, "")]
        lines += [(*head, f"{touch}_caught", caught, "") for touch, caught in spring.caught]
        lines += [(*head, t.name, convert_si(t.value, t.unit), t.shown_unit) for t in spring.readings.values()]
    for w in s.windows:
        lines += [
            ("", w.friction * 1e3, name, None if v is None else v * 1e3, "N·mm") for name, v in _format_ends(w).items()
        ]
    return format_csv_lines(SPRING_HEADER, lines)
