"""Model inputs by name, as faults and healthy variation change them: how each is read and put.

A field of a scenario keeps its path (``springs.repetition``, ``contacts.capstan.friction``).  What is turned or moved
has a name of its own, and is told by its change: ``screw.READING``, ``move.MOVE``.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from sim.display_units import UNITS
from sim.fields.field_paths import find_kind
from sim.regulation.moves import MOVES
from sim.regulation.screws import SCREWS
from sim.regulation.targets import get_target_unit
from sim.unit.model import GRAVITY, ActionUnit
from sim.units import FORCE, LENGTH, MASS, NUMBER, TORQUE, Dimension

SHARED = ("friction", "springs", "contacts")
"""Sections of a scenario whose fields the unit has by the same names and in the same units."""


@dataclass(frozen=True)
class ModelInput:
    """A model input: its dimension, what it is now (0 where it is told by its change), and how it is put."""

    dimension: Dimension
    get: Callable[[ActionUnit], float]
    put: Callable[[ActionUnit, float], ActionUnit]
    relative: bool = False
    """Whether a value is a change from where it stands."""


def find_model_input(at: str) -> ModelInput:
    """The input that ``at`` names: ``friction.hammer``, ``screw.let_off``.  Raises KeyError."""
    section, *names = at.split(".")
    kind = find_kind(at)
    if section in SHARED and kind is not None:
        return ModelInput(
            kind.dimension, lambda u: _value(u, (section, *names)), lambda u, v: _with(u, (section, *names), v)
        )
    dimension, change = _CHANGES[section](names[0] if names else "")
    return ModelInput(dimension, lambda u: 0.0, change, relative=True)


def _value(whole: Any, path: Sequence[str]) -> float:
    for name in path:
        whole = whole[name] if isinstance(whole, Mapping) else getattr(whole, name)
    return float(whole)


def _with(whole: Any, path: Sequence[str], value: float) -> Any:
    """The whole (records and mappings in each other) with another value at a path."""
    if not path:
        return value
    name, *rest = path
    if isinstance(whole, Mapping):
        return {**whole, name: _with(whole[name], rest, value)}
    return replace(whole, **{name: _with(getattr(whole, name), rest, value)})


Change = tuple[Dimension, Callable[[ActionUnit, float], ActionUnit]]


def _screw(reading: str) -> Change:
    """Turned until the reading is off by so much, to first order; nothing else is turned for it."""
    screw = SCREWS[reading]
    return UNITS[get_target_unit(reading)].dimension, lambda u, v: screw.move(u, v / screw.gain)


def _move(name: str) -> Change:
    if name == "head_mass":
        return MASS, SCREWS["inertia"].move
    if name == "key_lead":
        return FORCE, lambda u, v: SCREWS["balance_weight"].move(u, v / GRAVITY)
    return LENGTH, MOVES[name].apply


_CHANGES: Mapping[str, Callable[[str], Change]] = {"screw": _screw, "move": _move}
_SPELLINGS = {TORQUE.name: "Nmm", NUMBER.name: "", LENGTH.name: "mm", MASS.name: "g", FORCE.name: "gf"}


def find_bench_unit(at: str) -> str:
    """The unit in which an input is told at the bench."""
    return _SPELLINGS[find_model_input(at).dimension.name]
