"""Fit what nobody measured to the readings of a healthy note, so that the next prediction is of this piano.

The unknown inputs are those in which healthy units differ, each with its own standard deviation
as prior.  Gauss-Newton about the library's slopes (the least-squares form of Bayes' rule:
Tarantola, Inverse Problem Theory, SIAM 2005, eq. 3.51), the unit run again at every step; what
is left of the uncertainty comes out with it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from scipy.special import chdtrc

from sim.diagnosis.bench_tests import try_symptoms
from sim.diagnosis.inference import CauseGrid
from sim.diagnosis.observations import Observations
from sim.errors import SimulationError
from sim.fields.overrides import apply_overrides
from sim.fields.scenario_files import Leaf, Leaves
from sim.regulation.model_inputs import find_model_input
from sim.scenario.writing import FILE_LABEL, update_leaves
from sim.studies.healthy_variation import Variation, load_variations, vary_unit
from sim.studies.variants import BaseScenario, format_input
from sim.unit.model import ActionUnit

Progress = Callable[[float, str], None]

LEAST_HEALTHY_CHANCE = 1e-4
"""Chance of readings so far off from which a note is not taken for healthy."""
STEPS = 4
"""The unit is run again so many times at most."""
CONVERGED_STEP = 0.05
"""A step of fewer standard deviations of every input ends the search."""


@dataclass(frozen=True)
class FittedInput:
    """One input: how far off the scenario it is, in standard deviations of healthy units, and how uncertain still."""

    variation: Variation
    z: float
    deviation: float

    @property
    def learned(self) -> float:
        """Share of the input's prior uncertainty that the readings took away."""
        return 1.0 - self.deviation


@dataclass(frozen=True)
class ReproducedReading:
    """One reading (SI): as read (None: not read), of the scenario, of the fitted unit, and the fit's standard error."""

    name: str
    read: float | None
    before: float
    after: float
    error: float


@dataclass(frozen=True)
class Calibration:
    """A unit fitted to readings."""

    unit: ActionUnit
    inputs: tuple[FittedInput, ...]
    readings: tuple[ReproducedReading, ...]


def calibrate_unit(grid: CauseGrid, observed: Observations, progress: Progress | None = None) -> Calibration:
    """Fit the library's unit.  Raises SimulationError where the readings are not those of a healthy note."""
    library, evidence = grid.library, observed.evidence
    columns = [library.numbers.index(n) for n in evidence.numbers]
    wanted = np.array(list(evidence.numbers.values()))
    rough = np.array([evidence.rough.get(n, 1.0) for n in evidence.numbers])
    slopes = library.slopes[:, columns]
    straight = slopes.T @ slopes
    noise = grid.covariance(columns, rough, np.array([0]))[0] - straight
    off = wanted - grid.mean[0, columns]
    chance = float(chdtrc(len(columns), off @ np.linalg.solve(straight + noise, off))) if columns else 1.0
    if chance < LEAST_HEALTHY_CHANCE:
        told = f"so far from a healthy note's as these readings lie but {chance:.1g} of such notes: diagnose it first"
        raise SimulationError("not healthy", None, told)
    gain = np.linalg.solve(straight + noise, slopes.T).T if columns else np.zeros((len(slopes), 0))
    left = np.eye(len(slopes)) - gain @ slopes.T
    z, unit, now = np.zeros(len(slopes)), library.unit, library.healthy
    for step in range(STEPS):
        if progress is not None:
            progress(step / STEPS, "fitting")
        before = z
        z = gain @ (wanted - now[columns] + slopes.T @ z)
        if np.abs(z - before).max(initial=0.0) < CONVERGED_STEP:
            z = before
            break
        unit = vary_unit(library.unit, z.tolist())
        found = try_symptoms(unit)
        now, _ = library.pack(found)
        if np.isnan(now[columns]).any():
            lost = ", ".join(n for n, c in zip(evidence.numbers, columns, strict=True) if np.isnan(now[c]))
            raise SimulationError(
                "not healthy", None, f"fitted to these readings the unit gives no {lost}: is the note healthy?"
            )
    errors = np.sqrt(np.maximum(np.einsum("kr,kl,lr->r", library.slopes, left, library.slopes), 0.0))
    deviations = np.sqrt(np.maximum(np.diag(left), 0.0))
    inputs = tuple(FittedInput(v, float(a), float(d)) for v, a, d in zip(load_variations(), z, deviations, strict=True))
    rows = []
    for i, name in enumerate(library.numbers):
        si = library.tests[name].si
        if np.isfinite(now[i]):
            rows.append(
                ReproducedReading(
                    name, observed.numbers.get(name), library.healthy[i] * si, now[i] * si, errors[i] * si
                )
            )
    return Calibration(unit, inputs, tuple(rows))


def write_calibrated_scenario(origin: BaseScenario, fitted: Calibration) -> Leaves:
    """The scenario with what was fitted, each input with what is left of its uncertainty.  Raises InputError."""
    told: dict[str, str] = {}
    doubt: dict[str, str] = {}
    for one in fitted.inputs:
        path, model_input = one.variation.at, find_model_input(one.variation.at)
        if model_input.relative:  # screws and moves go by their own settings and coordinates
            continue
        told[path] = format_input(path, model_input.get(fitted.unit), fitted.unit)
        doubt[path] = f"{100 * one.variation.deviation * one.deviation:.1f} %"
    base = apply_overrides(origin.leaves, FILE_LABEL, {**origin.overrides, **told})
    leaves = update_leaves(base, fitted.unit)
    leaves = {path: leaf for path, leaf in leaves.items() if path[0] != "targets"}  # its screws stand as they were read
    for path, share in doubt.items():
        way = tuple(path.split("."))
        raw = leaves[way].raw
        value = raw.get("value") if isinstance(raw, Mapping) else raw
        made = {"value": value, "uncertainty": share, "source": "estimated", "note": "fitted to readings of the note"}
        leaves[way] = Leaf(made, FILE_LABEL, None)
    return leaves
