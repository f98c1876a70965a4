"""What a note is regulated to where nothing is asked, and its hammer's felt, by key number (shared/compass.toml)."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from functools import cache

import numpy as np

from sim.fields.catalogue import Entry, load_catalogue
from sim.fields.defaults import is_sharp
from sim.regulation.targets import get_target_dimension
from sim.units import parse_quantity

FELT_SQUEEZE = 1e-3
"""The felt's force is given at this squeeze, m."""
FELT_FIELD = "contacts.string"


class _Sourced(Entry):
    source: str
    note: str = ""

    @property
    def description(self) -> str:
        return f"{self.source}: {self.note}" if self.note else self.source


class _Asked(_Sourced):
    at: tuple[tuple[int, str], ...]
    sharp_at: tuple[tuple[int, str], ...] | None = None


class _Felt(_Sourced):
    at: tuple[tuple[int, float, float], ...]


class _File(Entry):
    asked: dict[str, _Asked]
    felt: _Felt


@cache
def _load_compass() -> _File:
    return load_catalogue("compass.toml", _File)


def find_usual_target(key_number: int) -> dict[str, float]:
    """Target to its value (SI) where a sheet says nothing else."""
    out = {}
    for target, row in _load_compass().asked.items():
        points = (is_sharp(key_number) and row.sharp_at) or row.at
        out[target] = _interpolate(
            key_number, [(k, parse_quantity(text, get_target_dimension(target))) for k, text in points]
        )
    return out


def find_hammer_felt(key_number: int) -> Mapping[str, object]:
    """Scenario fields of the hammer's felt at a key, as a file holds them, with their source."""
    row = _load_compass().felt
    force = math.exp(_interpolate(key_number, [(k, math.log(f)) for k, f, _ in row.at]))
    power = round(_interpolate(key_number, [(k, p) for k, _, p in row.at]), 3)
    told = {"source": "assumed", "note": f"felt over the compass, {row.description}"}
    stiffness = force / FELT_SQUEEZE**power
    return {
        f"{FELT_FIELD}.stiffness": {"value": f"{stiffness:.4g} N/m^{power:g}", **told},
        f"{FELT_FIELD}.exponent": {"value": f"{power:g}", **told},
    }


def _interpolate(key_number: int, points: Sequence[tuple[int, float]]) -> float:
    keys, values = zip(*points, strict=True)
    return float(np.interp(key_number, keys, values))
