"""Model inputs by name, as faults and healthy variation change them: how each is read and put."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from sim.display_units import UNITS
from sim.regulation.moves import MOVES
from sim.regulation.screws import SCREWS
from sim.regulation.targets import get_target_unit
from sim.unit.model import GRAVITY, ActionUnit
from sim.units import FORCE, LENGTH, MASS, NUMBER, TORQUE, Dimension


@dataclass(frozen=True)
class ModelInput:
    """A model input: its dimension, what it is now (0 or 1: told by its change or share), and how it is put."""

    dimension: Dimension
    get: Callable[[ActionUnit], float]
    put: Callable[[ActionUnit, float], ActionUnit]


def find_model_input(at: str) -> ModelInput:
    """The input that ``at`` names: ``friction.hammer``, ``screw.let_off``.  Raises KeyError."""
    kind, _, name = at.partition(".")
    return _MODEL_INPUTS[kind](name)


def _friction(centre: str) -> ModelInput:
    def put(u: ActionUnit, v: float) -> ActionUnit:
        return replace(u, friction={**u.friction, centre: v})

    return ModelInput(TORQUE, lambda u: u.friction[centre], put)


def _rubbing(contact: str) -> ModelInput:
    def put(u: ActionUnit, v: float) -> ActionUnit:
        return replace(u, contacts={**u.contacts, contact: replace(u.contacts[contact], friction=v)})

    return ModelInput(NUMBER, lambda u: u.contacts[contact].friction, put)


def _felt(contact: str) -> ModelInput:
    """How stiff a felt or leather is, beside what it is taken for."""

    def put(u: ActionUnit, v: float) -> ActionUnit:
        law = u.contacts[contact]
        return replace(u, contacts={**u.contacts, contact: replace(law, stiffness=law.stiffness * v)})

    return ModelInput(NUMBER, lambda u: 1.0, put)


def _spring(name: str) -> ModelInput:
    def put(u: ActionUnit, v: float) -> ActionUnit:
        change: dict[str, Any] = {name: v}
        return replace(u, springs=replace(u.springs, **change))

    return ModelInput(TORQUE, lambda u: float(getattr(u.springs, name)), put)


def _screw(reading: str) -> ModelInput:
    """Turned until the reading is off by so much, to first order; nothing else is turned for it."""
    screw = SCREWS[reading]
    return ModelInput(UNITS[get_target_unit(reading)][1], lambda u: 0.0, lambda u, v: screw.move(u, v / screw.gain))


def _move(name: str) -> ModelInput:
    return ModelInput(LENGTH, lambda u: 0.0, MOVES[name].apply)


def _head(_: str) -> ModelInput:
    return ModelInput(MASS, lambda u: 0.0, SCREWS["inertia"].move)


def _lead(_: str) -> ModelInput:
    return ModelInput(FORCE, lambda u: 0.0, lambda u, v: SCREWS["balance_weight"].move(u, v / GRAVITY))


_MODEL_INPUTS: Mapping[str, Callable[[str], ModelInput]] = {
    "friction": _friction, "rubbing": _rubbing, "felt": _felt, "spring": _spring, "screw": _screw, "move": _move,
    "head": _head, "lead": _lead,
}  # fmt: skip
_SPELLINGS = {TORQUE.name: "Nmm", NUMBER.name: "", LENGTH.name: "mm", MASS.name: "g", FORCE.name: "gf"}


def find_bench_unit(at: str) -> str:
    """The unit in which an input is told at the bench."""
    return _SPELLINGS[find_model_input(at).dimension.name]
