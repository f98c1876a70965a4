"""Usual ranges of the readings over the compass, and the part to look at first outside them.

The ranges are data with a source each (``shared/usual_ranges.toml``); nothing
in the physics knows them.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any, Literal

from sim.shared_files import find_shared_file

Points = tuple[tuple[int, float, float], ...]
Side = Literal["low", "high"]


@dataclass(frozen=True, slots=True)
class UsualRange:
    """The usual range of one reading on one key, in the unit a technician reads in."""

    name: str
    unit: str
    low: float
    high: float
    source: str
    advice: Mapping[Side, tuple[str, str]]
    """Side to what it may mean and what to look at first."""

    def side(self, value: float | None) -> Side | None:
        """On which side of the range a value lies; None inside it, or without a value."""
        if value is None:
            return None
        return "low" if value < self.low else "high" if value > self.high else None

    def __str__(self) -> str:
        if self.high == float("inf"):
            return f"{self.low:.3g} or more"
        return f"{self.low:.3g} to {self.high:.3g}"


@dataclass(frozen=True, slots=True)
class _Entry:
    unit: str
    natural: Points
    sharp: Points
    source: str
    advice: Mapping[Side, tuple[str, str]]


def find_usual_range(name: str, key_number: int, sharp: bool = False) -> UsualRange | None:
    """The usual range of a reading (``let_off``, ``pinning.hammer``), or None where there is none."""
    entry = load_usual_ranges().get(name)
    if entry is None:
        return None
    low, high = _between(entry.sharp if sharp else entry.natural, key_number)
    return UsualRange(name, entry.unit, low, high, entry.source, entry.advice)


@cache
def load_usual_ranges() -> Mapping[str, _Entry]:
    """All entries of the file by name."""
    with find_shared_file("usual_ranges.toml").open("rb") as file:
        return {name: _entry(raw) for name, raw in _walk(tomllib.load(file), "")}


def _walk(tree: Mapping[str, Any], path: str) -> Iterator[tuple[str, Mapping[str, Any]]]:
    for name, raw in tree.items():
        here = f"{path}.{name}" if path else name
        if "at" in raw:
            yield here, raw
        else:
            yield from _walk(raw, here)


def _entry(raw: Mapping[str, Any]) -> _Entry:
    natural = _points(raw["at"])
    sides: tuple[Side, ...] = ("low", "high")
    advice = {side: (raw[side]["means"], raw[side]["look"]) for side in sides if side in raw}
    sharp = _points(raw["sharp_at"]) if "sharp_at" in raw else natural
    return _Entry(raw["unit"], natural, sharp, raw["source"], advice)


def _points(rows: list[list[Any]]) -> Points:
    return tuple((int(key), float(low), float(high)) for key, low, high in rows)


def _between(points: Points, key_number: int) -> tuple[float, float]:
    """Low and high at a key, by straight lines between the points, level beyond them."""
    below = [p for p in points if p[0] <= key_number] or [points[0]]
    above = [p for p in points if p[0] >= key_number] or [points[-1]]
    (k0, low0, high0), (k1, low1, high1) = below[-1], above[0]
    if k0 == k1:
        return low0, high0
    share = (key_number - k0) / (k1 - k0)
    return _mix(low0, low1, share), _mix(high0, high1, share)


def _mix(a: float, b: float, share: float) -> float:
    return a if a == b else a + (b - a) * share
