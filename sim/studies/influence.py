"""How each reading answers to each input: slopes in natural units, and curves where a slope does not do.

Each input is moved by even steps to both sides, the screws held or the unit
regulated again; a parabola through the readings gives the slope in the middle,
how far it bends, and from what is left over the reading's own noise.  Where the
noise hides the slope, or the curve bends, four more points are taken further out.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from functools import partial

import numpy as np

from sim.bench.reading_list import NamedReading, find_reading_kind
from sim.display_units import convert_si
from sim.fields.field_paths import find_kind
from sim.parallel import run_on_all_cores
from sim.regulation.screws import BUTTON, CAPSTAN, DROP_SCREW
from sim.studies.adjustment_mode import HELD, AdjustmentMode, StudyPoint, choose_adjustment_mode, read_unmoved_unit
from sim.studies.tolerances import find_input_factor, find_tolerance, select_inputs, select_studied_inputs
from sim.studies.variants import BaseScenario
from sim.unit.model import ActionUnit
from sim.value_records import value_record

Progress = Callable[[float, str], None]

INNER, OUTER = (-2, -1, 0, 1, 2), (-4, -3, -2, -1, 0, 1, 2, 3, 4)
STEP = 0.5
"""One step over the bench's tolerance of the input."""
LARGEST_SLOPE_ERROR = 0.10
"""A slope is good when its error is at most this share of it ..."""
SMALL_EFFECT = 0.02
"""... or when the whole effect over four steps is this share of the reading's accuracy (of its value without one)."""
CURVATURE_LIMIT = 0.25
"""A curve bends when its slope changes by this share over four steps."""
PITCHES = {screw.path: screw.pitch for screw in (CAPSTAN, BUTTON, DROP_SCREW)}
"""Screws whose turns move the input itself: path to the path of the pitch."""
SHARE_AMOUNT = 0.10
"""Inputs without a unit of the bench's own are told by this share of their value."""
NATURAL_AMOUNTS = {"mm": 1.0, "g": 1.0, "N·mm": 1.0, "deg": 1.0, "gf": 1.0, "": 0.1, "ms": 1.0, "N": 1.0}
"""Natural amounts by unit."""


@dataclass(frozen=True, slots=True)
class Slope:
    """What one reading does per natural amount of one input, both in the units a technician reads in."""

    path: str
    reading: NamedReading
    per: str
    """``N·mm``, ``turn``, ``10 %``."""
    slope: float
    error: float
    """Standard error of the slope, from what the parabola leaves over."""
    bend: float
    """Change of the slope over the span of four steps, as a share of it."""
    values: tuple[tuple[float, float | None], ...]
    """(Input in its own unit, reading) of every point taken, in order."""

    @property
    def curved(self) -> bool:
        """Whether the slope alone misleads: it bends beyond its noise, or part of the curve cannot be read."""
        bends = abs(self.bend) > CURVATURE_LIMIT and abs(self.slope) > 3 * self.error
        return self.matters and (bends or any(value is None for _, value in self.values))

    @property
    def matters(self) -> bool:
        """Whether the reading answers at all: by a part of what a bench can read, or by being lost on the way."""
        read = [value for _, value in self.values if value is not None]
        if len(read) < len(self.values):
            return bool(read)
        return max(read) - min(read) > SMALL_EFFECT * (self.reading.accuracy or abs(read[len(read) // 2]))


@value_record
@dataclass(frozen=True)
class InputInfluence:
    """All slopes of one input, and the outcome at every point tried."""

    path: str
    slopes: Mapping[str, Slope]
    outcomes: tuple[tuple[float, str], ...]


def compute_influences(
    origin: BaseScenario,
    only: Iterable[str] = (),
    readings: Iterable[str] = (),
    progress: Progress | None = None,
    screws: str = HELD,
) -> tuple[InputInfluence, ...]:
    """The influence of each input (of ``only``) on each reading (of ``readings``), in one of MANNERS.

    Raises InputError.  Readings that are regulated are left out unless they are named.
    """
    asked = tuple(readings)
    kind = find_reading_kind(asked)
    way = choose_adjustment_mode(screws, origin)
    paths = select_inputs(only, way.known, way.turned) or select_studied_inputs(way.known)
    base = read_unmoved_unit(way, kind)
    names = tuple(n for n in asked or base.taken if n in base.taken and (asked or n not in way.targets))
    jobs = [partial(_measure_influence, way, path, kind, base, names) for path in paths]
    return tuple(run_on_all_cores(jobs, progress, lambda number: paths[number]))


def _measure_influence(
    way: AdjustmentMode, path: str, kind: str, base: StudyPoint, names: tuple[str, ...]
) -> InputInfluence:
    """One input: five points, nine where five do not tell."""
    here = way.known[path]
    step, inner, outer = _choose_steps(path, here, STEP * find_tolerance(path, way.unit).si)
    found = {0: base}
    for marks in (inner, outer):
        for m in marks:
            if m not in found:
                found[m] = way.read({path: here + m * step}, kind)
        slopes = {name: _measure_slope(way, path, step, inner, found, base.taken[name]) for name in names}
        if not any(map(_needs_more_points, slopes.values())):
            break
    own = find_input_factor(path)
    outcomes = tuple(((here + m * step) / own, found[m].outcome) for m in sorted(found))
    return InputInfluence(path, slopes, outcomes)


def _choose_steps(path: str, here: float, step: float) -> tuple[float, tuple[int, ...], tuple[int, ...]]:
    """The step (SI) and where to read, in steps: to both sides, or to the roomy one at the end of a field's range."""
    kind = find_kind(path)
    if kind is None:
        return step, INNER, OUTER
    own = find_input_factor(path)
    below, above = here - kind.minimum * own, kind.maximum * own - here
    room = min(below, above) * (1 - 1e-9)
    if room >= step:
        return min(step, room / OUTER[-1]), INNER, OUTER
    side = 1 if above > below else -1
    return step, tuple(side * m for m in range(5)), tuple(side * m for m in range(9))


def choose_natural_amount(path: str, unit: ActionUnit) -> tuple[float, str]:
    """The amount of an input (SI) by which its influence is told, and its name."""
    pitch = unit.nominal.get(PITCHES.get(path, ""))
    if pitch:
        return pitch, "turn"
    kind, here = find_kind(path), unit.nominal.get(path, 0.0)
    if kind is not None and kind.form != "contact stiffness" and kind.unit in NATURAL_AMOUNTS:
        amount = NATURAL_AMOUNTS[kind.unit]
        return amount * find_input_factor(path), kind.unit or f"{amount:g}"
    return (SHARE_AMOUNT * abs(here), f"{SHARE_AMOUNT * 100:g} %") if here else (find_input_factor(path), "1")


def _measure_slope(
    way: AdjustmentMode,
    path: str,
    step: float,
    inner: tuple[int, ...],
    found: Mapping[int, StudyPoint],
    reading: NamedReading,
) -> Slope:
    amount, per = choose_natural_amount(path, way.unit)
    own, here, marks = find_input_factor(path), way.known[path], sorted(found)
    taken = [found[m].taken.get(reading.name) for m in marks]
    values = [convert_si(t.value if t else None, reading.unit) for t in taken]
    curve = tuple(((here + m * step) / own, v) for m, v in zip(marks, values, strict=True))
    read = {m: v for m, v in zip(marks, values, strict=True) if v is not None}
    near = {m: v for m, v in read.items() if m in inner}
    fit = _fit_parabola(near)
    if len(read) > len(near) and not fit[1] <= LARGEST_SLOPE_ERROR * abs(fit[0]):
        fit = _fit_parabola(read)
    slope, error, bend = fit
    return Slope(path, reading, per, slope / step * amount, error / step * amount, bend, curve)


def _fit_parabola(points: Mapping[int, float]) -> tuple[float, float, float]:
    """Slope at nothing moved per step, its standard error, and how far it bends over four steps (share of it)."""
    if len(points) < 4 or 0 not in points:
        return float("nan"), float("nan"), float("nan")
    k, y = np.array(list(points), dtype=float), np.array(list(points.values()))
    design = np.vander(k, 3, increasing=True)
    best, *_ = np.linalg.lstsq(design, y, rcond=None)
    left = float(((y - design @ best) ** 2).sum()) / (len(k) - 3)
    error = float(np.sqrt(left * np.linalg.inv(design.T @ design)[1, 1]))
    slope = float(best[1])
    return slope, error, 8 * float(best[2]) / slope if slope else 0.0


def _needs_more_points(slope: Slope) -> bool:
    """Whether four more points shall be read: noise hides a slope that matters, or the curve bends."""
    return slope.matters and (slope.curved or not slope.error <= LARGEST_SLOPE_ERROR * abs(slope.slope))
