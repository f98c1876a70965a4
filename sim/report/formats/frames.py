"""Readings, curves and traces as pandas frames."""

from __future__ import annotations

from functools import singledispatch
from typing import Any

import pandas as pd

from sim.bench.readings import Prediction, Repetition, SlowPress, Strike
from sim.display_units import format_unit
from sim.physics.run import Run
from sim.report.formats import traces
from sim.report.formats.reading_rows import KeyPosition, ReadingRow, list_all_rows
from sim.unit.model import ActionUnit


@singledispatch
def to_frame(result: Any, unit: ActionUnit | None = None) -> pd.DataFrame:
    """A result as a frame; columns are named with their units.

    A prediction gives one row a reading (with ``unit``: its usual range too);
    strikes one row a blow; a run, a slow press or a repetition its curves.
    """
    raise TypeError(f"no frame is made of a {type(result).__name__}")


def format_frame_csv(frame: pd.DataFrame) -> str:
    """A frame, without its index, as CSV in which no spreadsheet finds a formula."""
    return traces.format_csv_lines((str(name) for name in frame.columns), frame.itertuples(index=False, name=None))


@to_frame.register
def _(result: Prediction, unit: ActionUnit | None = None) -> pd.DataFrame:
    place = KeyPosition.of(unit) if unit is not None else None
    return pd.DataFrame([_reading(row) for row in list_all_rows(result, place)])


def _reading(row: ReadingRow) -> dict[str, Any]:
    return {
        "group": row.group,
        "of": row.of,
        "reading": row.name,
        "value": row.value,
        "unit": format_unit(row.unit),
        "usual_low": row.usual.low if row.usual else None,
        "usual_high": row.usual.high if row.usual else None,
        "mark": row.side or "",
    }


@to_frame.register
def _(result: Strike, unit: ActionUnit | None = None) -> pd.DataFrame:
    return to_frame((result,), unit)


@to_frame.register(tuple)
@to_frame.register(list)
def _(result: Any, unit: ActionUnit | None = None) -> pd.DataFrame:
    from sim.report.formats.json_text import build_strike_document

    plain = ("events_ms", "losses_mJ")
    return pd.DataFrame(
        [{k: v for k, v in build_strike_document(strike).items() if k not in plain} for strike in result]
    )


@to_frame.register
def _(result: Run, unit: ActionUnit | None = None) -> pd.DataFrame:
    return pd.DataFrame(dict(traces.tabulate_run(result).data))


@to_frame.register
def _(result: SlowPress, unit: ActionUnit | None = None) -> pd.DataFrame:
    return pd.DataFrame(dict(traces.tabulate_slow_press(result).data))


@to_frame.register
def _(result: Repetition, unit: ActionUnit | None = None) -> pd.DataFrame:
    return pd.DataFrame(dict(traces.tabulate_repetition(result).data))
