"""Set a unit up to its own targets before anything is read of it."""

from __future__ import annotations

from collections.abc import Callable

from sim.errors import Fault, NoUnitError
from sim.regulation.regulate import MissedTarget, regulate
from sim.regulation.targets import format_target
from sim.unit.model import ActionUnit

Progress = Callable[[float, str], None]


def set_up(unit: ActionUnit, progress: Progress | None = None) -> ActionUnit:
    """The unit with its targets met; the same unit when it has none.

    Raises NoUnitError naming the target, what was reached and what stands in the
    way, when the targets contradict or cannot be reached.
    """
    if not unit.targets:
        return unit
    done = regulate(unit, progress=progress)
    if done.misses:
        raise NoUnitError(tuple(_fault(unit, m) for m in done.misses))
    return done.unit


def _fault(unit: ActionUnit, miss: MissedTarget) -> Fault:
    came = "could not be read" if miss.reached is None else f"came to {format_target(miss.target, miss.reached)}"
    return Fault(
        unit.path,
        None,
        f"targets.{miss.target}",
        format_target(miss.target, miss.asked),
        f"what these parts can reach; it {came}",
        f"{miss.why}: change this target or the dimensions that stand in its way",
    )


def list_found_settings(unit: ActionUnit) -> dict[str, float]:
    """Settings that a set-up has found, by scenario path (SI)."""
    return {p: unit.nominal[p] for p, s in sorted(unit.sources.items()) if s.kind == "set up" and p in unit.nominal}
