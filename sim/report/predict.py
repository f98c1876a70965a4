"""The prediction as one CSV table: a line a reading."""

from __future__ import annotations

from collections.abc import Iterator

from sim.bench.readings import Prediction
from sim.display_units import convert_si
from sim.report.formats.reading_rows import KeyPosition, ReadingRow, list_all_rows, list_curve_rows
from sim.report.formats.traces import format_csv_lines
from sim.unit.model import ActionUnit
from sim.units import INCH

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
