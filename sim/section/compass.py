"""What a note is regulated to where nothing is asked, and its hammer's felt, by key number (shared/compass.toml)."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping, Sequence
from functools import cache
from typing import Any

import numpy as np

from sim.fields.defaults import is_sharp
from sim.regulation.targets import dimension_of
from sim.shared_files import shared_file
from sim.units import parse

SQUEEZE = 1e-3
"""The felt's force is given at this squeeze, m."""
FELT = "contacts.string"


@cache
def _file() -> dict[str, Any]:
    return tomllib.loads(shared_file("compass.toml").read_text(encoding="utf-8"))


def asked(key_number: int) -> dict[str, float]:
    """Target to its value (SI) where a sheet says nothing else."""
    out = {}
    for target, row in _file()["asked"].items():
        points = row.get("sharp_at", row["at"]) if is_sharp(key_number) else row["at"]
        out[target] = _between(key_number, [(k, parse(text, dimension_of(target))) for k, text in points])
    return out


def asked_source(target: str) -> str:
    """Where the value of a target comes from."""
    return _told(_file()["asked"][target])


def felt(key_number: int) -> Mapping[str, object]:
    """Scenario fields of the hammer's felt at a key, as a file holds them, with their source."""
    row = _file()["felt"]
    force = math.exp(_between(key_number, [(k, math.log(f)) for k, f, _ in row["at"]]))
    power = round(_between(key_number, [(k, p) for k, _, p in row["at"]]), 3)
    told = {"source": "assumed", "note": f"felt over the compass, {_told(row)}"}
    stiffness = force / SQUEEZE**power
    return {
        f"{FELT}.stiffness": {"value": f"{stiffness:.4g} N/m^{power:g}", **told},
        f"{FELT}.exponent": {"value": f"{power:g}", **told},
    }


def _told(row: Mapping[str, Any]) -> str:
    return f"{row['source']}: {row['note']}" if "note" in row else str(row["source"])


def _between(key_number: int, points: Sequence[tuple[int, float]]) -> float:
    keys, values = zip(*points, strict=True)
    return float(np.interp(key_number, keys, values))
