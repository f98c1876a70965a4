"""Every published row, read of many healthy units with one set of parameters: what the validation report is made of."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from sim.display_units import convert_si, format_unit
from sim.errors import UnitError
from sim.fingerprint import compute_version
from sim.parallel import run_on_all_cores
from sim.studies.healthy_variation import draw_healthy_unit
from sim.unit.model import ActionUnit
from sim.validation.published import CheckResult, JudgedRow, PublishedCheck, PublishedCurve, load_curves, load_rows
from sim.validation.published_measures import PLATEAU_AT, PLAYED, played, trace_key_speed
from sim.validation.published_trade import TRADE
from sim.validation.specimen import Specimen

Array = NDArray[np.float64]
Progress = Callable[[float, str], None]
Stop = Callable[[], bool]

UNITS, QUICK = 12, 3
"""Healthy units that are read, usually and in a hurry."""
SEED = 1
MOST_DRAWS = 20
MEASURES = {**PLAYED, **TRADE}


class NoneError(Exception):
    """None of the units that were drawn plays."""


@dataclass(frozen=True)
class DrawnCurve:
    """A curve as the units give it: values (edge unit) by unit and speed, NaN where a unit cannot be played so."""

    curve: PublishedCurve
    values: Array

    def percentile(self, q: float) -> Array:
        """Over the units, by speed; NaN where none could be read."""
        out = np.full(self.values.shape[1], np.nan)
        there = np.isfinite(self.values).any(axis=0)
        out[there] = np.nanpercentile(self.values[:, there], q, axis=0)
        return out


@dataclass(frozen=True)
class KeyStroke:
    """The key's speed (m/s) over the share of its travel, down to the punching."""

    name: str
    part: Array
    speed: Array


@dataclass(frozen=True)
class Evidence:
    """The whole comparison: the unit the others are drawn about, how many, and every row and curve."""

    unit: ActionUnit
    changed: Mapping[str, str]
    """What was changed in the scenario for this run, by path."""
    units: int
    seed: int
    passed_over: int
    """Drawn units that did not play and were drawn again, as a bench would regulate them again."""
    version: str
    judged: tuple[JudgedRow, ...]
    curves: tuple[DrawnCurve, ...]
    strokes: tuple[KeyStroke, ...] = ()
    """Of the unit that the others are drawn about."""

    @property
    def counts(self) -> dict[str, int]:
        """Rows by verdict."""
        verdicts = [j.verdict for j in self.judged]
        return {name: verdicts.count(name) for name in ("pass", "miss", "not comparable")}

    @property
    def stale(self) -> tuple[str, ...]:
        """Checks with a reason for a miss that is none."""
        return tuple(_name_check(j, f) for j in self.judged for f in j.found if f.stale)

    @property
    def unexplained(self) -> tuple[str, ...]:
        """Misses without a reason."""
        return tuple(
            _name_check(j, f) for j in self.judged for f in j.found if f.unexplained and not j.row.incomparable
        )


def _name_check(j: JudgedRow, f: CheckResult) -> str:
    low, high = f.check.gate or (float("nan"), float("nan"))
    middle = "nothing read" if f.middle is None else f"{f.middle:.4g}"
    gate = f"gate {low:.4g} to {high:.4g} {format_unit(f.check.unit)}".rstrip()
    return f"row {j.row.number}, {j.row.title}, {f.check.what}: {middle}, {gate}, {f.share or 0.0:.0%} inside"


def gather_evidence(
    unit: ActionUnit,
    units: int = UNITS,
    seed: int = SEED,
    progress: Progress | None = None,
    stop: Stop | None = None,
    *,
    changed: Mapping[str, str] | None = None,
) -> Evidence:
    """Draw so many healthy units about this one and read every row of each.

    The same seed gives the same units.  ``stop`` or Ctrl-C lets the units under way end and raises
    KeyboardInterrupt; NoneError where no drawn unit plays.
    """
    listed, drawn_over = load_rows(), load_curves()
    checks = [c for row in listed for c in row.checks]
    jobs = [partial(_one, unit, seed, i, checks, drawn_over) for i in range(units)]
    read = run_on_all_cores(jobs, progress, lambda number: f"unit {number + 1} of {units}", stop)
    by_check = iter(zip(*(values for values, _, _ in read), strict=True)) if checks else iter(())
    judged = tuple(JudgedRow(row, tuple(CheckResult(c, next(by_check)) for c in row.checks)) for row in listed)
    lines = tuple(DrawnCurve(c, np.array([over[i] for _, over, _ in read])) for i, c in enumerate(drawn_over))
    passed_over = sum(over for _, _, over in read)
    said = dict(changed or {})
    return Evidence(
        unit, said, units, seed, passed_over, compute_version(), judged, lines, compute_key_strokes(Specimen(unit))
    )


def compute_key_strokes(s: Specimen) -> tuple[KeyStroke, ...]:
    """Key speed over travel at the plateau's hammer speed: pressed, struck, and the same finger on a rigid shank."""
    found = trace_key_speed(s, PLATEAU_AT)
    return tuple(KeyStroke(name, part, speed) for name, (part, speed) in found.items())


UnitFigures = tuple[list[float | None], list[list[float]], int]


def _one(
    unit: ActionUnit, seed: int, number: int, checks: Sequence[PublishedCheck], over: Sequence[PublishedCurve]
) -> UnitFigures:
    specimen, passed_over = draw_specimen_unit(unit, seed, number)
    values = [measure_check(specimen, c) for c in checks]
    lines = [[_measure_curve_point(specimen, c, v) for v in c.speeds] for c in over]
    return values, lines, passed_over


def draw_specimen_unit(unit: ActionUnit, seed: int, number: int) -> tuple[Specimen, int]:
    """The healthy unit of that number, one that plays a slow press, and how many were passed over for it."""
    random = np.random.default_rng([seed, number])
    for passed_over in range(MOST_DRAWS):
        try:
            specimen = Specimen(draw_healthy_unit(unit, random))
            if specimen.pressed.plays:
                return specimen, passed_over
        except UnitError:
            continue
    raise NoneError(f"none of {MOST_DRAWS} units drawn about {unit.name} plays: nothing to compare")


def measure_check(specimen: Specimen, check: PublishedCheck) -> float | None:
    """One check of one unit (edge unit); None where it cannot be read."""
    try:
        return convert_si(MEASURES[check.measure](specimen, **check.options), check.unit)
    except UnitError:
        return None


def _measure_curve_point(specimen: Specimen, curve: PublishedCurve, v: float) -> float:
    value = convert_si(played(specimen, curve.quantity, v, curve.struck), curve.unit)
    return float("nan") if value is None else value
