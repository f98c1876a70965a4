"""Orders of work: one setting at a time, every reading after each, and what each step upset."""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache

from sim.errors import UnitError
from sim.regulation import regulate as solved
from sim.regulation import targets as asked
from sim.regulation.screws import CAPSTAN, PUNCHING, SCREWS, Screw
from sim.shared_files import find_shared_file
from sim.unit.model import ActionUnit
from sim.units import LENGTH, parse_quantity

Progress = Callable[[float, str], None]
NOTICEABLE_CHANGE = {"mm": 5e-5, "gf": 9.8e-3, "g": 5e-3, "deg": 4e-3}
"""A reading counts as upset when a step moved it by more than this (SI), by its unit at the edge."""


@dataclass(frozen=True)
class Step:
    """One step of an order: target names set, what turns, in plain words, and a value of its own (SI) if any."""

    sets: tuple[str, ...]
    by: str
    say: str
    value: float | None = None


@dataclass(frozen=True)
class Order:
    name: str
    title: str
    steps: tuple[Step, ...]


@dataclass(frozen=True)
class CompletedStep:
    """A step that was done: readings after it (SI), what it upset (change), and whether it came out."""

    step: Step
    unit: ActionUnit
    readings: Mapping[str, float | None]
    upset: Mapping[str, float]
    reached: bool


@cache
def load_orders() -> Mapping[str, Order]:
    """The shipped schools (shared/orders.toml)."""
    data = tomllib.loads(find_shared_file("orders.toml").read_text(encoding="utf-8"))
    return {name: Order(name, o["title"], tuple(_step(s) for s in o["steps"])) for name, o in data.items()}


def _step(s: Mapping[str, object]) -> Step:
    sets = s["set"]
    assert isinstance(sets, list)
    value = parse_quantity(str(s["value"]), LENGTH) if "value" in s else None
    return Step(tuple(map(str, sets)), str(s.get("by", "")), str(s["say"]), value)


def follow_order(
    unit: ActionUnit, order: Order, targets: Mapping[str, float], progress: Progress | None = None
) -> tuple[CompletedStep, ...]:
    """Go through an order once, each step with its own screw, as the unit then stands (SI)."""
    say = progress or (lambda fraction, what: None)
    out: list[CompletedStep] = []
    steps = list_steps(order, targets)
    for i, step in enumerate(steps):
        say(i / len(steps), step.say)
        out.append(carry_out_step(out[-1].unit if out else unit, step, targets, out[-1].readings if out else None))
    return tuple(out)


def list_steps(order: Order, targets: Mapping[str, float]) -> tuple[Step, ...]:
    """The steps of an order for which there is a target."""
    return tuple(s for s in order.steps if any(t in targets for t in s.sets))


def carry_out_step(
    unit: ActionUnit, step: Step, targets: Mapping[str, float], before: Mapping[str, float | None] | None = None
) -> CompletedStep:
    """One step with its own screw, as the unit then stands; ``before``: the readings before it, if taken."""
    wanted = {t: targets[t] if step.value is None else step.value for t in step.sets if t in targets}
    was = read_step_readings(unit) if before is None else before
    u, reached = _set(unit, step, wanted)
    after = read_step_readings(u)
    return CompletedStep(step, u, after, _upset(was, after, step.sets), reached)


def _set(u: ActionUnit, step: Step, wanted: Mapping[str, float]) -> tuple[ActionUnit, bool]:
    """Set one thing."""
    chosen: dict[str, Screw] = {"blow": CAPSTAN, "dip": PUNCHING}
    for target, value in wanted.items():
        screw = SCREWS[target]
        if step.by and target == "aftertouch":
            screw = asked.choose_screw("aftertouch", {"dip": 0.0}) if step.by == "blow" else chosen[step.by]
        try:
            u, reached = solved.set_one_reading(u, target, value, screw)
        except UnitError:
            return u, False
        if not reached:
            return u, False
    return u, True


def read_step_readings(u: ActionUnit) -> dict[str, float | None]:
    """Every reading that a step may set or upset (SI); empty where the unit cannot be followed."""
    try:
        return asked.read_all(u, dict.fromkeys(("checking_distance", "spring_rise", "balance_weight"), 0.0))
    except UnitError:
        return {}


def _upset(
    before: Mapping[str, float | None], after: Mapping[str, float | None], meant: tuple[str, ...]
) -> dict[str, float]:
    """Readings that moved though they were not meant to."""
    out = {}
    for name, value in after.items():
        old = before.get(name)
        if name in meant or value is None or old is None:
            continue
        if abs(value - old) > NOTICEABLE_CHANGE[asked.get_target_unit(name)]:
            out[name] = value - old
    return out
