"""A packed table read as the browser reads it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from sim.report.formats.packed_columns import Array


def unpack_column(table: Mapping[str, Any], name: str) -> Array:
    """One column of a packed table."""
    entry = next(e for e in table["columns"] if e["name"] == name)
    rows = int(table["rows"])
    if entry["at"] < 0:
        return np.full(rows, entry["offset"])
    stored = np.frombuffer(table["bytes"], "<i2", rows, entry["at"] * rows * 2)
    return np.asarray(entry["offset"] + entry["scale"] * stored)
