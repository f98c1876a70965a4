"""Usual ranges of the readings over the compass, and the part to look at first outside them.

The ranges are data with a source each (``shared/usual_ranges.toml``); nothing
in the physics knows them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Literal

from sim.fields.catalogue import Entry, load_entries

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


class _Advice(Entry):
    means: str
    look: str


class _Usual(Entry):
    unit: str
    at: Points
    sharp_at: Points | None = None
    source: str
    low: _Advice | None = None
    high: _Advice | None = None

    @property
    def advice(self) -> Mapping[Side, tuple[str, str]]:
        sides: dict[Side, _Advice | None] = {"low": self.low, "high": self.high}
        return {side: (said.means, said.look) for side, said in sides.items() if said}


def find_usual_range(name: str, key_number: int, sharp: bool = False) -> UsualRange | None:
    """The usual range of a reading (``let_off``, ``pinning.hammer``), or None where there is none."""
    entry = load_usual_ranges().get(name)
    if entry is None:
        return None
    low, high = _between((sharp and entry.sharp_at) or entry.at, key_number)
    return UsualRange(name, entry.unit, low, high, entry.source, entry.advice)


@cache
def load_usual_ranges() -> Mapping[str, _Usual]:
    """All entries of the file by name."""
    return load_entries("usual_ranges.toml", _Usual)


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
