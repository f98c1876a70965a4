"""The fault catalogue (shared/faults.toml): what goes wrong in one unit, as changes of model inputs.

A fault's severity runs from 0, the least that is worth the name, to 1, the worst met.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cache
from types import MappingProxyType
from typing import Any

from sim.bench import edge
from sim.unit.data import shared_file
from sim.unit.model import GRAVITY, ActionUnit
from sim.units import FORCE, LENGTH, MASS, NUMBER, TORQUE, Dimension, parse
from sim.workshop.moves import MOVES
from sim.workshop.screws import SCREWS
from sim.workshop.targets import unit_of

Signs = Mapping[str, int]


@dataclass(frozen=True)
class Knob:
    """A model input that a fault changes: its dimension, what it is now (0: told by its change), and how it is put."""

    dimension: Dimension
    get: Callable[[ActionUnit], float]
    put: Callable[[ActionUnit, float], ActionUnit]


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
        knob, value = knob_at(self.at), self.value(severity)
        now = knob.get(unit)
        return knob.put(unit, {"to": value, "by": now + value, "share": now * value}[self.how])

    def magnitude(self, unit: ActionUnit, severity: float) -> str:
        """How bad, as a bench would say it: ``3.2 N·mm``, ``-1.0 mm``, ``80 %``."""
        value = self.value(severity)
        if self.how == "share":
            return f"{100 * value:.0f} %"
        spelling = _spelling(self.at)
        text = edge.shown(edge.number(value, spelling), spelling)
        sign = "+" if self.how == "by" and value > 0 else ""
        return f"{sign}{text} {edge.label(spelling)}".strip()


@dataclass(frozen=True)
class Pair:
    """Two faults that come together."""

    faults: tuple[str, str]
    prior: float
    why: str


def knob_at(at: str) -> Knob:
    """The input that ``at`` of the catalogue names.  Raises KeyError."""
    kind, _, name = at.partition(".")
    return _KNOBS[kind](name)


def _friction(centre: str) -> Knob:
    def put(u: ActionUnit, v: float) -> ActionUnit:
        return replace(u, friction={**u.friction, centre: v})

    return Knob(TORQUE, lambda u: u.friction[centre], put)


def _rubbing(contact: str) -> Knob:
    def put(u: ActionUnit, v: float) -> ActionUnit:
        return replace(u, contacts={**u.contacts, contact: replace(u.contacts[contact], friction=v)})

    return Knob(NUMBER, lambda u: u.contacts[contact].friction, put)


def _spring(name: str) -> Knob:
    def put(u: ActionUnit, v: float) -> ActionUnit:
        change: dict[str, Any] = {name: v}
        return replace(u, springs=replace(u.springs, **change))

    return Knob(TORQUE, lambda u: float(getattr(u.springs, name)), put)


def _screw(reading: str) -> Knob:
    """Turned until the reading is off by so much, to first order; nothing else is turned for it."""
    screw = SCREWS[reading]
    return Knob(edge.UNITS[unit_of(reading)][1], lambda u: 0.0, lambda u, v: screw.move(u, v / screw.gain))


def _move(name: str) -> Knob:
    return Knob(LENGTH, lambda u: 0.0, MOVES[name].apply)


def _head(_: str) -> Knob:
    return Knob(MASS, lambda u: 0.0, SCREWS["inertia"].move)


def _lead(_: str) -> Knob:
    return Knob(FORCE, lambda u: 0.0, lambda u, v: SCREWS["balance_weight"].move(u, v / GRAVITY))


_KNOBS: Mapping[str, Callable[[str], Knob]] = {
    "friction": _friction, "rubbing": _rubbing, "spring": _spring, "screw": _screw, "move": _move, "head": _head,
    "lead": _lead,
}  # fmt: skip
_SPELLINGS = {TORQUE.name: "Nmm", NUMBER.name: "", LENGTH.name: "mm", MASS.name: "g", FORCE.name: "gf"}


def _spelling(at: str) -> str:
    return _SPELLINGS[knob_at(at).dimension.name]


@cache
def faults() -> Mapping[str, Fault]:
    """The catalogue by name, in its order."""
    return MappingProxyType({row["name"]: _fault(row) for row in _file()["fault"]})


@cache
def pairs() -> tuple[Pair, ...]:
    """Faults that come together."""
    return tuple(Pair(tuple(row["faults"]), row["prior"], row["why"]) for row in _file()["pair"])


def spoiled(unit: ActionUnit, ill: Iterable[tuple[str, float]]) -> ActionUnit:
    """A unit with faults by name and severity.  Raises KeyError, ValueError."""
    for name, severity in ill:
        unit = faults()[name].spoil(unit, severity)
    return unit


def _file() -> dict[str, Any]:
    with shared_file("faults.toml").open("rb") as file:
        return tomllib.load(file)


def _fault(row: dict[str, Any]) -> Fault:
    how = next(h for h in ("to", "by", "share") if h in row)
    dimension = NUMBER if how == "share" else knob_at(row["at"]).dimension
    low, high = (float(t.removesuffix(" %")) / 100 if how == "share" else parse(t, dimension) for t in row[how])
    told = {
        k: row[k] for k in ("name", "title", "at", "prior", "shows", "test", "cure", "caution", "needs") if k in row
    }
    return Fault(how=how, low=low, high=high, signs={n: {"+": 1, "-": -1}[s] for n, s in row["signs"].items()}, **told)
