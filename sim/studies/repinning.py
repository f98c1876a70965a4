"""What repinning one centre would bring: before and after, with what is not known of the unit averaged over."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from sim.bench.predict import predict
from sim.bench.reading_list import NamedReading, list_readings
from sim.errors import UnitError
from sim.parallel import run_on_all_cores
from sim.studies.healthy_variation import draw_healthy_unit
from sim.unit.model import ActionUnit

Progress = Callable[[float, str], None]
Stop = Callable[[], bool]

DRAWS = 8
SEED = 20261126
"""The same draws every time."""
READINGS = (
    "down_weight", "up_weight", "friction", "let_off_hump", "spring_rise", "reset_point", "return_time", "limit_hz",
)  # fmt: skip
"""What repinning is done for."""


@dataclass(frozen=True)
class ReadingChange:
    """One reading (SI): before, after, and the standard deviation of the change over units as this one may be."""

    reading: NamedReading
    before: float | None
    after: float | None
    spread: float | None
    """None where too few of the units gave the reading."""


@dataclass(frozen=True)
class Repinning:
    """A centre at another torque."""

    centre: str
    torque: float
    outcomes: tuple[str, str]
    readings: tuple[ReadingChange, ...]


def repin_centre(
    unit: ActionUnit, centre: str, torque: float, progress: Progress | None = None, stop: Stop | None = None
) -> Repinning:
    """Before and after, N·m; the screws stay.  The spread is that over units whose parts differ as healthy ones do.

    Raises KeyError for no centre, ValueError for a torque below nothing.
    """
    if torque < 0 or centre not in unit.friction:
        raise ValueError(f"{centre} cannot be pinned to {torque} N·m")
    jobs = [partial(_read_before_and_after, partial(_return_unit, unit), centre, torque)]
    jobs += [partial(_read_before_and_after, partial(_draw_like, unit, k), centre, torque) for k in range(DRAWS)]
    told = ["this unit", *(f"units like it, {k + 1} of {DRAWS}" for k in range(DRAWS))]
    ran = run_on_all_cores(jobs, progress, told.__getitem__, stop)
    own = ran[0]
    assert own is not None
    before, after = own[0][1], own[1][1]
    readings = []
    for name in READINGS:
        changes = [c for one in ran[1:] if one is not None and (c := _subtract_reading(one, name)) is not None]
        spread = float(np.std(changes, ddof=1)) if len(changes) > DRAWS // 2 else None
        readings.append(ReadingChange(before[name], before[name].value, after[name].value, spread))
    return Repinning(centre, torque, (own[0][0], own[1][0]), tuple(readings))


OutcomeReadings = tuple[str, Mapping[str, NamedReading]]


def _return_unit(unit: ActionUnit) -> ActionUnit:
    return unit


def _draw_like(unit: ActionUnit, k: int) -> ActionUnit:
    return draw_healthy_unit(unit, np.random.default_rng([SEED, k]))


def _read_before_and_after(
    made: Callable[[], ActionUnit], centre: str, torque: float
) -> tuple[OutcomeReadings, OutcomeReadings] | None:
    try:
        unit = made()
        return _read_unit(unit), _read_unit(replace(unit, friction={**unit.friction, centre: torque}))
    except UnitError:
        return None


def _read_unit(unit: ActionUnit) -> OutcomeReadings:
    found = predict(unit)
    return found.outcome, list_readings(found)


def _subtract_reading(one: tuple[OutcomeReadings, OutcomeReadings], name: str) -> float | None:
    a, b = one[0][1][name].value, one[1][1][name].value
    return None if a is None or b is None else b - a
