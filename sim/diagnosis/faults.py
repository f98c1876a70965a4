"""The fault catalogue (shared/faults.toml): what goes wrong in one unit, as changes of model inputs.

A fault's severity runs from 0, the least that is worth the name, to 1, the worst met.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType
from typing import Literal

from sim.display_units import format_si
from sim.fields.catalogue import Entry, load_catalogue, one_of
from sim.regulation.model_inputs import find_bench_unit, find_model_input
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
        model_input, value = find_model_input(self.at), self.value(severity)
        now = model_input.get(unit)
        return model_input.put(unit, {"to": value, "by": now + value, "share": now * value}[self.how])

    def magnitude(self, severity: float, inches: bool = False) -> str:
        """How bad, as a bench would say it: ``3.2 N·mm``, ``-1.0 mm``, ``80 %``."""
        value = self.value(severity)
        if self.how == "share":
            return f"{100 * value:.0f} %"
        return format_si(value, find_bench_unit(self.at), inches, sign="+" if self.how == "by" else "")


class FaultPair(Entry):
    """Two faults that come together."""

    faults: tuple[str, str]
    prior: float
    why: str


class _Row(Entry):
    name: str
    title: str
    at: str
    to: tuple[str, str] | None = None
    by: tuple[str, str] | None = None
    share: tuple[str, str] | None = None
    prior: float
    signs: dict[str, Literal["+", "-"]]
    shows: str
    test: str
    read: str
    cure: str
    caution: str = ""
    needs: Literal["", "damper"] = ""
    _either = one_of("to", "by", "share")


class _File(Entry):
    fault: tuple[_Row, ...]
    pair: tuple[FaultPair, ...]


@cache
def load_faults() -> Mapping[str, Fault]:
    """The catalogue by name, in its order."""
    return MappingProxyType({row.name: _parse_fault(row) for row in _load_catalogue().fault})


def load_fault_pairs() -> tuple[FaultPair, ...]:
    """Faults that come together."""
    return _load_catalogue().pair


def apply_faults(unit: ActionUnit, ill: Iterable[tuple[str, float]]) -> ActionUnit:
    """A unit with faults by name and severity.  Raises KeyError, ValueError."""
    for name, severity in ill:
        unit = load_faults()[name].spoil(unit, severity)
    return unit


@cache
def _load_catalogue() -> _File:
    return load_catalogue("faults.toml", _File)


def _parse_fault(row: _Row) -> Fault:
    how, ends = next((name, ends) for name in ("to", "by", "share") if (ends := getattr(row, name)))
    dimension = NUMBER if how == "share" else find_model_input(row.at).dimension
    low, high = (parse_quantity(text, dimension) for text in ends)
    signs = {name: 1 if sign == "+" else -1 for name, sign in row.signs.items()}
    told = row.model_dump(exclude={"to", "by", "share", "signs"})
    return Fault(how=how, low=low, high=high, signs=signs, **told)
