"""How the bench's tolerances spread the readings, and which of them is to blame: Sobol indices over all at once.

Saltelli's design on Sobol's sequence, the estimators of scipy.stats.sobol_indices
(Sobol, Math. Comput. Simul. 55 (2001) 271; Saltelli et al., Comput. Phys. Commun. 181 (2010) 259).
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import norm, qmc, sobol_indices

from sim.bench.flat import Taken, flat, kind_for, take
from sim.errors import Fault, InputError
from sim.workshop.tolerance import Tolerance, chosen, main_inputs, tolerance
from sim.workshop.variants import Origin

Array = NDArray[np.float64]
Progress = Callable[[float, str], None]

SAMPLES = 128
MISSING = 0.01
"""Share of samples whose reading may be missing (the middle value stands in); beyond, no index is given."""
SURE = 0.95
"""Confidence of the intervals, by bootstrap."""
DRAWS = 200
SEED = 20240229
"""The same draw every time."""


@dataclass(frozen=True)
class Indices:
    """One reading: its spread, and each input's share of the variance, by itself and with all it takes part in."""

    reading: Taken
    mean: float
    deviation: float
    missing: float
    """Share of the samples that gave no reading."""
    first: tuple[float, ...] | None
    total: tuple[float, ...] | None
    first_error: tuple[float, ...] | None
    """Half the confidence interval."""
    total_error: tuple[float, ...] | None


@dataclass(frozen=True)
class Doubt:
    """The whole analysis."""

    inputs: tuple[Tolerance, ...]
    samples: int
    runs: int
    playing: float
    """Share of the drawn units that play."""
    readings: tuple[Indices, ...]


def analyse(
    origin: Origin,
    only: Iterable[str] = (),
    readings: Iterable[str] = (),
    samples: int = SAMPLES,
    progress: Progress | None = None,
) -> Doubt:
    """Draw units within the tolerances of the inputs (``only``; else the main ones), the screws held."""
    if samples < 2 or samples & (samples - 1):
        raise InputError([Fault("--samples", None, "samples", str(samples), "2, 4, 8 ... ", "take a power of two")])
    unit, names = origin.ready, tuple(readings)
    paths = chosen(unit, list(only)) or main_inputs(unit)
    kind = kind_for(names)
    inputs = tuple(tolerance(path, unit) for path in paths)
    base = flat(take(unit, kind))
    names = tuple(n for n in names or base if n in base)
    design = _design(origin, inputs, samples)
    values, playing = _run(origin, paths, design, kind, names, progress)
    found = tuple(_indices(base[name], values[:, k], samples, len(paths)) for k, name in enumerate(names))
    return Doubt(inputs, samples, len(design), playing, found)


def _design(origin: Origin, inputs: tuple[Tolerance, ...], n: int) -> Array:
    """Rows A, B, then A with each column of B in turn (SI): n (d + 2) units."""
    d = len(inputs)
    drawn = qmc.Sobol(2 * d, seed=SEED).random(n)
    drawn = np.clip(drawn, 1e-6, 1 - 1e-6)
    a, b = (_within(origin, inputs, half) for half in (drawn[:, :d], drawn[:, d:]))
    mixed = []
    for i in range(d):
        one = a.copy()
        one[:, i] = b[:, i]
        mixed.append(one)
    return np.concatenate([a, b, *mixed])


def _within(origin: Origin, inputs: tuple[Tolerance, ...], drawn: Array) -> Array:
    out = np.empty_like(drawn)
    for i, given in enumerate(inputs):
        middle, share = origin.ready.nominal[given.path], drawn[:, i]
        out[:, i] = middle + given.si * (norm.ppf(share) if given.normal else 2 * share - 1)
        if middle >= 0:
            out[:, i] = np.maximum(out[:, i], 0.0)  # a friction, a mass, a spring is never less than none
    return out


def _run(
    origin: Origin, paths: tuple[str, ...], design: Array, kind: str, names: tuple[str, ...], progress: Progress | None
) -> tuple[Array, float]:
    say = progress or (lambda fraction, what: None)

    def one(row: Array) -> tuple[bool, list[float]]:
        try:
            found = take(origin.held(dict(zip(paths, row.tolist(), strict=True))), kind)
        except InputError:
            return False, [np.nan] * len(names)
        read = flat(found)
        values = [read[n].value if n in read else None for n in names]
        return found.plays, [np.nan if v is None else v for v in values]

    values, playing = np.empty((len(design), len(names))), 0
    with ThreadPoolExecutor(os.cpu_count()) as pool:
        try:
            for k, (plays, row) in enumerate(pool.map(one, design)):
                values[k] = row
                playing += plays
                say((k + 1) / len(design), f"unit {k + 1} of {len(design)}")
        except BaseException:
            pool.shutdown(wait=True, cancel_futures=True)
            raise
    return values, playing / len(design)


def _indices(reading: Taken, values: Array, n: int, d: int) -> Indices:
    unread = ~np.isfinite(values)
    missing = float(unread.mean())
    known = values[~unread]
    if not len(known):
        return Indices(reading, float("nan"), float("nan"), missing, None, None, None, None)
    mean, deviation = float(known.mean()), float(known.std())
    if missing > MISSING or deviation <= 1e-9 * max(abs(mean), 1e-9):
        return Indices(reading, mean, deviation, missing, None, None, None, None)
    whole = np.where(unread, np.median(known), values)
    parts = {"f_A": whole[None, :n], "f_B": whole[None, n : 2 * n], "f_AB": whole[2 * n :].reshape(d, 1, n)}
    found = sobol_indices(func=parts, n=n)
    first, total = _intervals(parts, n)
    return Indices(
        reading, mean, deviation, missing, _plain(found.first_order), _plain(found.total_order), first, total
    )


def _intervals(parts: dict[str, Array], n: int) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Half the confidence interval of first and total indices, by drawing the samples again with replacement."""
    rng = np.random.default_rng(SEED)
    drawn = []
    for _ in range(DRAWS):
        rows = rng.integers(n, size=n)
        again = sobol_indices(func={name: part[..., rows] for name, part in parts.items()}, n=n)
        drawn.append((np.ravel(again.first_order), np.ravel(again.total_order)))
    low, high = np.percentile(np.array(drawn), (50 * (1 - SURE), 50 * (1 + SURE)), axis=0)
    first, total = (high - low) / 2
    return _plain(first), _plain(total)


def _plain(values: Array) -> tuple[float, ...]:
    return tuple(float(v) for v in np.ravel(values))
