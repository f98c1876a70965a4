"""Many columns of numbers as few bytes, for a browser to read as they are."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
LEVELS = 65534
"""Steps between a column's least and greatest value.  Sixteen bits resolve a hammer's turn to a micrometre at the
crown, far below a pixel, at half the size of single precision."""


def pack_columns(columns: Mapping[str, Array]) -> dict[str, Any]:
    """Columns of equal length as ``{"rows", "columns", "bytes"}``.

    ``columns``: name, ``at`` (which run of ``rows`` little-endian int16 in
    ``bytes``; -1 where the column does not change), ``scale`` and ``offset``:
    value = offset + scale * int16.
    """
    entries: list[dict[str, Any]] = []
    blocks: list[bytes] = []
    for name, values in columns.items():
        low, high = float(values.min()), float(values.max())
        scale, offset = (high - low) / LEVELS, (high + low) / 2
        at = len(blocks) if scale > 0 else -1
        entries.append({"name": name, "at": at, "scale": scale, "offset": offset})
        if scale > 0:
            blocks.append(np.rint((values - offset) / scale).astype("<i2").tobytes())
    return {"rows": len(next(iter(columns.values()))), "columns": entries, "bytes": b"".join(blocks)}


def select_columns(table: Mapping[str, Any], names: Collection[str]) -> dict[str, Any]:
    """A packed table with some of its columns."""
    size = int(table["rows"]) * 2
    entries: list[dict[str, Any]] = []
    blocks: list[bytes] = []
    for entry in table["columns"]:
        if entry["name"] in names:
            moves = entry["at"] >= 0
            entries.append(entry | {"at": len(blocks) if moves else -1})
            blocks += [table["bytes"][entry["at"] * size : (entry["at"] + 1) * size]] if moves else []
    return {"rows": table["rows"], "columns": entries, "bytes": b"".join(blocks)}
