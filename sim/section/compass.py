"""What a note is regulated to where nothing is asked, and its hammer's felt, by key number (shared/compass.toml)."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping, Sequence
from functools import cache
from typing import Any

import numpy as np

from sim.fields.defaults import is_sharp
from sim.regulation.targets import get_target_dimension
from sim.shared_files import find_shared_file
from sim.units import parse_quantity

FELT_SQUEEZE = 1e-3
"""The felt's force is given at this squeeze, m."""
FELT_FIELD = "contacts.string"


@cache
def _load_compass() -> dict[str, Any]:
    return tomllib.loads(find_shared_file("compass.toml").read_text(encoding="utf-8"))


def find_usual_target(key_number: int) -> dict[str, float]:
    """Target to its value (SI) where a sheet says nothing else."""
    out = {}
    for target, row in _load_compass()["asked"].items():
        points = row.get("sharp_at", row["at"]) if is_sharp(key_number) else row["at"]
        out[target] = _interpolate(
            key_number, [(k, parse_quantity(text, get_target_dimension(target))) for k, text in points]
        )
    return out


def find_target_source(target: str) -> str:
    """Where the value of a target comes from."""
    return _format_source(_load_compass()["asked"][target])


def find_hammer_felt(key_number: int) -> Mapping[str, object]:
    """Scenario fields of the hammer's felt at a key, as a file holds them, with their source."""
    row = _load_compass()["felt"]
    force = math.exp(_interpolate(key_number, [(k, math.log(f)) for k, f, _ in row["at"]]))
    power = round(_interpolate(key_number, [(k, p) for k, _, p in row["at"]]), 3)
    told = {"source": "assumed", "note": f"felt over the compass, {_format_source(row)}"}
    stiffness = force / FELT_SQUEEZE**power
    return {
        f"{FELT_FIELD}.stiffness": {"value": f"{stiffness:.4g} N/m^{power:g}", **told},
        f"{FELT_FIELD}.exponent": {"value": f"{power:g}", **told},
    }


def _format_source(row: Mapping[str, Any]) -> str:
    return f"{row['source']}: {row['note']}" if "note" in row else str(row["source"])


def _interpolate(key_number: int, points: Sequence[tuple[int, float]]) -> float:
    keys, values = zip(*points, strict=True)
    return float(np.interp(key_number, keys, values))
