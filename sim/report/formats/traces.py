"""Curves and traces as named columns with their units, and out to CSV or Parquet."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from sim.bench.readings import Repetition, SlowPress
from sim.display_units import convert_column
from sim.physics.run import COLUMN, Run
from sim.unit.contacts import CONTACT_NAMES

Array = NDArray[np.float64]

ANGLES = {"kf": "key_front", "kr": "key_rear", "w": "wippen", "j": "jack", "l": "lever", "h": "hammer"}
SUFFIXES = (".csv", ".parquet")
_SIGNED = re.compile(r"[+-][0-9.]+(?:e[+-]?[0-9]+)?(?: [^\W\d_/]{1,3}[\w·/²]{0,6})?")
"""A number with its sign and perhaps a unit, which is no formula."""
_BREAKS = re.compile(r"[\t\n\v\f\r\x1c-\x1e\x85\u2028\u2029]+")
_FORMULA = re.compile(r"(^\s*|[;|]\s*)(?=[=+\-@＝＋－＠])")
"""Where a spreadsheet would begin to read a formula: in front of a cell, or of what it might take for the next one."""


@dataclass(frozen=True)
class Columns:
    """Columns of equal length by name; the name ends in the unit."""

    data: Mapping[str, Array | tuple[object, ...]]

    def __len__(self) -> int:
        return len(next(iter(self.data.values()), ()))


def tabulate_run(run: Run, travel_at_rest: float = 0.0, every: float = 0.0) -> Columns:
    """Motion of the parts and force in every contact.

    ``travel_at_rest`` (m) is where key travel counts from, ``every`` (s) the
    interval between rows (0: every row of the run's trace).
    """
    trace, place = run.trace, run.place
    out: dict[str, Array | tuple[object, ...]] = {
        "time_ms": convert_column(trace["t"], "ms"),
        "key_travel_mm": convert_column(place.key_travel - travel_at_rest, "mm"),
        "key_speed_m_s": place.key_speed,
        "crown_to_string_mm": convert_column(place.crown_to_string, "mm"),
        "crown_speed_m_s": place.crown_speed,
        **{f"{name}_angle_deg": convert_column(trace[q], "deg") for q, name in ANGLES.items()},
        "shank_bending_mm": convert_column(trace["e"], "mm"),
        "shank_tip_turn_deg": convert_column(trace["r"], "deg"),
        "damper_lift_mm": convert_column(trace["d"], "mm"),
        "finger_force_N": trace["finger_force"],
        **{f"{contact}_force_N": trace[f"N_{contact}"] for contact in CONTACT_NAMES if f"N_{contact}" in COLUMN},
    }
    return Columns({name: column[:: _stride(trace["t"], every)] for name, column in out.items()})


def _stride(t: Array, every: float) -> int:
    return max(1, round(every / float(t[1] - t[0]))) if len(t) > 1 else 1


def tabulate_slow_press(press: SlowPress) -> Columns:
    """Force against travel, pressing and returning."""
    return Columns(
        {
            "key_travel_mm": convert_column(press.travel, "mm"),
            "pressing_gf": convert_column(press.pressing, "gf"),
            "returning_gf": convert_column(press.returning, "gf"),
            "crown_to_string_mm": convert_column(press.crown, "mm"),
            "leverage": press.leverage,
        }
    )


def tabulate_repetition(repetition: Repetition) -> Columns:
    """Share of the strokes that sound, and that begin with the jack home, by rate."""
    rates = sorted(repetition.sounded_fraction)
    reset = repetition.reset_fraction
    return Columns(
        {
            "rate_hz": np.array(rates, dtype=float),
            "sounded_fraction": np.array([repetition.sounded_fraction[r] for r in rates], dtype=float),
            "reset_fraction": np.array([reset.get(r, np.nan) for r in rates], dtype=float),
        }
    )


def tabulate_rows(rows: Sequence[Mapping[str, object]]) -> Columns:
    """Rows under one another: a column a name, in the order in which they first come, None where a row has none.

    A column that holds texts and other things is one of texts, as a cell of CSV would tell them.
    """
    names = dict.fromkeys(name for row in rows for name in row)
    return Columns({name: _unify_values([row.get(name) for row in rows]) for name in names})


def _unify_values(values: list[object]) -> tuple[object, ...]:
    told = [value for value in values if value is not None]
    if all(isinstance(value, int | float) and not isinstance(value, bool) for value in told):
        whole = all(isinstance(value, int) for value in told)
        return tuple(float(v) if isinstance(v, int | float) and not whole else v for v in values)
    if all(isinstance(value, bool) for value in told):
        return tuple(values)
    return tuple(value if value is None or isinstance(value, str) else format_cell(value) for value in values)


def stack_columns(parts: Iterable[tuple[str, Columns]], name: str) -> Columns:
    """Tables under one another, told apart by a first column of text."""
    pairs = list(parts)
    labels = tuple(label for label, columns in pairs for _ in range(len(columns)))
    names = list(pairs[0][1].data) if pairs else []
    joined = {n: np.concatenate([np.asarray(columns.data[n]) for _, columns in pairs]) for n in names}
    return Columns({name: labels, **joined})


def write_columns(columns: Columns, path: Path) -> None:
    """To the file; its ending says how."""
    path.write_bytes(
        encode_parquet(columns) if path.suffix.lower() == ".parquet" else format_columns_csv(columns).encode()
    )


def format_columns_csv(columns: Columns) -> str:
    """As CSV, with a head."""
    return format_csv_lines(columns.data, zip(*columns.data.values(), strict=True))


def encode_parquet(columns: Columns) -> bytes:
    """As a Parquet file; in a column of texts and numbers None is a cell without a value."""
    import pyarrow
    import pyarrow.parquet

    arrays = {
        name: pyarrow.array(list(column) if isinstance(column, tuple) else np.ascontiguousarray(column))
        for name, column in columns.data.items()
    }
    out = io.BytesIO()
    pyarrow.parquet.write_table(pyarrow.table(arrays), out, compression="zstd")
    return out.getvalue()


def format_csv_lines(header: Iterable[str], lines: Iterable[Iterable[object]]) -> str:
    """CSV; numbers as they are, texts that a spreadsheet would run as formulas made plain."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow([format_cell(name) for name in header])
    writer.writerows([format_cell(value) for value in line] for line in lines)
    return out.getvalue()


def format_cell(value: object) -> str:
    """One cell, on one line: empty for nothing or for what is not finite."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float | np.floating | np.integer):
        return f"{float(value):.9g}" if np.isfinite(value) else ""
    text = _BREAKS.sub(" ", str(value))
    return text if _SIGNED.fullmatch(text) else _FORMULA.sub(r"\1'", text)
