"""The fault catalogue (shared/faults.toml): what goes wrong in one unit, as changes of model inputs.

A fault's severity runs from 0, the least that is worth the name, to 1, the worst met.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType
from typing import Any

from sim.display_units import format_si
from sim.regulation.model_inputs import find_bench_unit, find_model_input
from sim.shared_files import find_shared_file
from sim.unit.model import ActionUnit
from sim.units import NUMBER, parse_quantity

Signs = Mapping[str, int]


@dataclass(frozen=True)
class Fault:
    """One fault; ``low`` and ``high`` in SI, or shares of what is right (``how`` is to, by or share)."""

    name: str
    title: str
    at: str
    how: str
    low: float
    high: float
    prior: float
    signs: Signs
    shows: str
    test: str
    read: str
    cure: str
    caution: str = ""
    needs: str = ""

    def value(self, severity: float) -> float:
        """Of the input (to), its change (by) or its share, between least and worst.  Raises ValueError."""
        if not 0.0 <= severity <= 1.0:
            raise ValueError(f"severity {severity} is not between 0 and 1")
        return self.low + severity * (self.high - self.low)

    def of(self, unit: ActionUnit) -> bool:
        """Whether a unit has the part at all."""
        return self.needs != "damper" or unit.damper is not None

    def spoil(self, unit: ActionUnit, severity: float) -> ActionUnit:
        """The unit with this fault."""
        knob, value = find_model_input(self.at), self.value(severity)
        now = knob.get(unit)
        return knob.put(unit, {"to": value, "by": now + value, "share": now * value}[self.how])

    def magnitude(self, severity: float, inches: bool = False) -> str:
        """How bad, as a bench would say it: ``3.2 N·mm``, ``-1.0 mm``, ``80 %``."""
        value = self.value(severity)
        if self.how == "share":
            return f"{100 * value:.0f} %"
        return format_si(value, find_bench_unit(self.at), inches, sign="+" if self.how == "by" else "")


@dataclass(frozen=True)
class FaultPair:
    """Two faults that come together."""

    faults: tuple[str, str]
    prior: float
    why: str


@cache
def load_faults() -> Mapping[str, Fault]:
    """The catalogue by name, in its order."""
    return MappingProxyType({row["name"]: _parse_fault(row) for row in _load_catalogue()["fault"]})


@cache
def load_fault_pairs() -> tuple[FaultPair, ...]:
    """Faults that come together."""
    return tuple(FaultPair(tuple(row["faults"]), row["prior"], row["why"]) for row in _load_catalogue()["pair"])


def apply_faults(unit: ActionUnit, ill: Iterable[tuple[str, float]]) -> ActionUnit:
    """A unit with faults by name and severity.  Raises KeyError, ValueError."""
    for name, severity in ill:
        unit = load_faults()[name].spoil(unit, severity)
    return unit


def _load_catalogue() -> dict[str, Any]:
    with find_shared_file("faults.toml").open("rb") as file:
        return tomllib.load(file)


def _parse_fault(row: dict[str, Any]) -> Fault:
    how = next(h for h in ("to", "by", "share") if h in row)
    dimension = NUMBER if how == "share" else find_model_input(row["at"]).dimension
    low, high = (parse_quantity(t, dimension) for t in row[how])
    told = {
        k: row[k]
        for k in ("name", "title", "at", "prior", "shows", "test", "read", "cure", "caution", "needs")
        if k in row
    }
    return Fault(how=how, low=low, high=high, signs={n: {"+": 1, "-": -1}[s] for n, s in row["signs"].items()}, **told)
