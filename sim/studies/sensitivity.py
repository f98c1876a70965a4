"""How the bench's tolerances spread the readings, and which of them is to blame: Sobol indices over all at once.

Saltelli's design on Sobol's sequence, the estimators of scipy.stats.sobol_indices
(Sobol, Math. Comput. Simul. 55 (2001) 271; Saltelli et al., Comput. Phys. Commun. 181 (2010) 259).

The design stands on whole rows: an index is given only where every unit it is
made from gave the reading.  Units that fail are never left out of it; they are
counted by what they did instead, and whether a unit plays has indices of its own.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from sim.bench.outcomes import Outcome
from sim.bench.reading_list import NamedReading, find_reading_kind
from sim.errors import Fault, InputError
from sim.fields.field_paths import find_kind
from sim.parallel import run_on_all_cores
from sim.studies.adjustment_mode import REGULATED, AdjustmentMode, StudyPoint, choose_adjustment_mode, read_unmoved_unit
from sim.studies.tolerances import Tolerance, find_input_factor, find_tolerance, select_inputs, select_main_inputs
from sim.studies.variants import BaseScenario

Array = NDArray[np.float64]
Progress = Callable[[float, str], None]
Stop = Callable[[], bool]
Shares = tuple[float | None, ...]

SAMPLES = 64
CONFIDENCE = 0.95
"""Confidence of the intervals, by bootstrap."""
DRAWS = 200
SEED = 20240229
"""The same draw every time."""
PLAYS = NamedReading("plays", None, "", "plays (1) or not (0)", None)


@dataclass(frozen=True)
class SobolIndices:
    """One reading: its spread, and each input's share of the variance, by itself and with all it takes part in.

    A share is None where one of the units that it is made from gave no reading, and
    for a reading that does not vary.
    """

    reading: NamedReading
    mean: float
    deviation: float
    """Mean and standard deviation (SI) over the units drawn freely that gave the reading."""
    missing: float
    """Share of all units that gave no reading."""
    first: Shares
    total: Shares
    first_error: Shares
    """Half the confidence interval."""
    total_error: Shares


@dataclass(frozen=True)
class SensitivityAnalysis:
    """The whole analysis."""

    screws: str
    """The manner: held or regulated."""
    targets: Mapping[str, float]
    """What each unit was regulated to before the target's own tolerance (SI); empty when the screws were held."""
    inputs: tuple[Tolerance, ...]
    samples: int
    outcomes: Mapping[str, int]
    """How many units did what, the commonest first."""
    readings: tuple[SobolIndices, ...]

    @property
    def runs(self) -> int:
        """Units read."""
        return sum(self.outcomes.values())

    @property
    def playing(self) -> float:
        """Share of the units that play."""
        return self.outcomes.get(Outcome.PLAYS, 0) / self.runs


def analyse(
    origin: BaseScenario,
    only: Iterable[str] = (),
    readings: Iterable[str] = (),
    samples: int = SAMPLES,
    progress: Progress | None = None,
    *,
    screws: str = REGULATED,
    stop: Stop | None = None,
) -> SensitivityAnalysis:
    """Draw units within the tolerances of the inputs (``only``; else the main ones) and read them.

    ``screws`` is one of MANNERS.  Regulated, each drawn unit is regulated again, to
    targets drawn within what a bench reads; readings that are regulated are then
    left out unless they are named.  Raises InputError.
    """
    if samples < 2 or samples & (samples - 1):
        raise InputError([Fault("--samples", None, "samples", str(samples), "2, 4, 8 ...", "take a power of two")])
    asked = tuple(readings)
    kind = find_reading_kind(asked)
    way = choose_adjustment_mode(screws, origin)
    paths = select_inputs(only, way.known, way.turned) or select_main_inputs(way.known)
    return compute_sensitivity(
        way, [find_tolerance(path, way.unit) for path in paths], kind, asked, samples, progress, stop
    )


def compute_sensitivity(
    way: AdjustmentMode,
    inputs: Sequence[Tolerance],
    kind: str,
    asked: Sequence[str],
    samples: int,
    progress: Progress | None = None,
    stop: Stop | None = None,
) -> SensitivityAnalysis:
    """The analysis for given inputs: ``samples`` x (inputs + 2) units, on all cores."""
    base = read_unmoved_unit(way, kind).taken
    names = asked or [n for n, taken in base.items() if taken.value is not None and n not in way.targets]
    design = _build_design(way, inputs, samples)
    paths = [given.path for given in inputs]
    jobs = [partial(way.read, dict(zip(paths, row.tolist(), strict=True)), kind) for row in design]
    points = run_on_all_cores(jobs, progress, lambda number: f"unit {number + 1} of {len(jobs)}", stop)
    found = [
        _compute_indices(base[name], _collect_reading(points, name), samples, len(inputs))
        for name in names
        if name in base
    ]
    plays = np.array([float(point.outcome == Outcome.PLAYS) for point in points])
    if not plays.all():
        found.insert(0, _compute_indices(PLAYS, plays, samples, len(inputs)))
    outcomes = dict(Counter(point.outcome for point in points).most_common())
    return SensitivityAnalysis(way.name, way.targets, tuple(inputs), samples, outcomes, tuple(found))


def _collect_reading(points: Sequence[StudyPoint], name: str) -> Array:
    """One reading of every unit (SI); NaN where it gave none."""
    values = (point.taken[name].value if name in point.taken else None for point in points)
    return np.array([np.nan if value is None else value for value in values])


def _build_design(way: AdjustmentMode, inputs: Sequence[Tolerance], n: int) -> Array:
    """Rows A, B, then A with each column of B in turn (SI): n (d + 2) units."""
    from scipy.stats import qmc  # takes a second that others need not wait for

    d = len(inputs)
    drawn = np.clip(qmc.Sobol(2 * d, seed=SEED).random(n), 1e-6, 1 - 1e-6)
    a, b = (_scale_to_tolerances(way, inputs, half) for half in (drawn[:, :d], drawn[:, d:]))
    mixed = []
    for i in range(d):
        one = a.copy()
        one[:, i] = b[:, i]
        mixed.append(one)
    return np.concatenate([a, b, *mixed])


def _scale_to_tolerances(way: AdjustmentMode, inputs: Sequence[Tolerance], drawn: Array) -> Array:
    """Shares 0 to 1 as values (SI), cut off at the end of a field's range: a friction is never less than none."""
    out = np.empty_like(drawn)
    for i, given in enumerate(inputs):
        share, kind = drawn[:, i], find_kind(given.path)
        out[:, i] = way.known[given.path] + given.si * (ndtri(share) if given.normal else 2 * share - 1)
        if kind is not None and kind.form != "contact stiffness":
            own = find_input_factor(given.path)
            out[:, i] = np.clip(out[:, i], kind.minimum * own, kind.maximum * own)
    return out


def _compute_indices(reading: NamedReading, values: Array, n: int, d: int) -> SobolIndices:
    """Of one reading, from its value for every row of the design (NaN where it was not read)."""
    a, b, mixed = values[:n], values[n : 2 * n], values[2 * n :].reshape(d, n)
    drawn = values[: 2 * n]
    drawn = drawn[np.isfinite(drawn)]
    missing = float(np.mean(~np.isfinite(values)))
    mean, deviation = (float(drawn.mean()), float(drawn.std())) if len(drawn) else (float("nan"), float("nan"))
    whole = [bool(np.isfinite(one).all()) and len(drawn) == 2 * n for one in mixed]
    none: Shares = (None,) * d
    if not any(whole) or deviation <= 1e-9 * max(abs(mean), 1e-9):
        return SobolIndices(reading, mean, deviation, missing, none, none, none, none)
    parts = {"f_A": a[None, :], "f_B": b[None, :], "f_AB": mixed[whole][:, None, :]}
    given = (_estimate_indices(parts, n), _bootstrap_errors(parts, n))
    first, total, first_error, total_error = (_fill_missing(v, whole) for pair in given for v in pair)
    return SobolIndices(reading, mean, deviation, missing, first, total, first_error, total_error)


def _estimate_indices(parts: Mapping[str, Array], n: int) -> tuple[Array, Array]:
    from scipy.stats import sobol_indices

    found = sobol_indices(func=dict(parts), n=n)
    return np.ravel(found.first_order), np.ravel(found.total_order)


def _bootstrap_errors(parts: Mapping[str, Array], n: int) -> tuple[Array, Array]:
    """Half the confidence interval of first and total indices, by drawing the rows again with replacement."""
    rng = np.random.default_rng(SEED)
    drawn = []
    for _ in range(DRAWS):
        rows = rng.integers(n, size=n)
        drawn.append(_estimate_indices({name: part[..., rows] for name, part in parts.items()}, n))
    low, high = np.percentile(np.array(drawn), (50 * (1 - CONFIDENCE), 50 * (1 + CONFIDENCE)), axis=0)
    first, total = (high - low) / 2
    return first, total


def _fill_missing(values: Array, whole: Sequence[bool]) -> Shares:
    """Values of the inputs that have one, in the place of each; None for the others."""
    left = iter(values.tolist())
    return tuple(next(left) if there else None for there in whole)
