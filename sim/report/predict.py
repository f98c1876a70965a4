"""The prediction as one CSV table: a line a reading."""

from __future__ import annotations

from collections.abc import Iterator

from sim.bench.readings import Prediction
from sim.display_units import convert_si
from sim.report.formats.reading_rows import Place, Row, all_rows, curve_rows
from sim.report.formats.traces import csv_text
from sim.unit.model import ActionUnit
from sim.units import INCH

HEADER = ("group", "of", "reading", "title", "value", "unit", "inches", "usual_low", "usual_high", "mark", "look_first")


def csv(prediction: Prediction, unit: ActionUnit) -> str:
    """Every reading with its usual range, then the words: outcome, what was assumed."""
    return csv_text(HEADER, _lines(prediction, Place.of(unit)))


def _lines(p: Prediction, place: Place) -> Iterator[tuple[object, ...]]:
    yield _words("unit", p.unit)
    yield _words("outcome", p.outcome)
    yield _words("reason", p.reason)
    for row in all_rows(p, place):
        yield _reading(row)
    yield _words("limiting_part", p.repetition.limiting_part or "", "repetition")
    yield _words("kicks", "" if p.repetition.kicks is None else "yes" if p.repetition.kicks else "no", "repetition")
    for rate, sounded, home in curve_rows(p.repetition):
        yield ("repetition", f"{rate} a second", "sounded_fraction", "strokes that sound", sounded, *[""] * 6)
        yield ("repetition", f"{rate} a second", "reset_fraction", "strokes begun with the jack home", home, *[""] * 6)
    for strike in p.strikes:
        for name, time in strike.events.items():
            yield (
                "event",
                strike.touch,
                name,
                name.replace("_", " "),
                convert_si(time, "ms"),
                "ms",
                *[""] * 5,
            )
    for path in p.assumed:
        yield _words("assumed", path, "input")


def _words(name: str, text: str, group: str = "unit") -> tuple[object, ...]:
    return (group, "", name, name.replace("_", " "), text, *[""] * 6)


def _reading(row: Row) -> tuple[object, ...]:
    inches = row.value * 1e-3 / INCH if row.unit == "mm" and row.value is not None else None
    low, high = (row.usual.low, row.usual.high) if row.usual else (None, None)
    look = row.advice[1] if row.advice else ""
    return (row.group, row.of, row.name, row.title, row.value, row.label, inches, low, high, row.side or "", look)
