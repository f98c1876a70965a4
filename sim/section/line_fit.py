"""Lines through a few notes of a section: what lies between is read off them, and how far a note lies off its line."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np
from numpy.typing import NDArray

Line = Callable[[int], float]

LEAST_FOR_LINE = 6
"""From so many notes on a line is fitted, which no single note bends; through fewer it is drawn from note to note."""
LEAST_FOR_CURVE = 9
"""... and may be curved."""
ROUNDS = 30
MEDIAN_TO_DEVIATION = 1.4826
"""Standard deviation of a normal spread over the median of its absolute deviations."""
TUKEY = 4.685
"""Deviations, in standard deviations, from which a note counts nothing (Beaton and Tukey, Technometrics 16, 1974)."""


def fit_line(points: Mapping[int, float], least: float = 0.0) -> Line:
    """A line through values by key number, level beyond the ends; ``least``: deviations that mean nothing."""
    keys = np.array(sorted(points), float)
    values = np.array([points[int(k)] for k in keys])
    if len(keys) < LEAST_FOR_LINE:
        return lambda key: float(np.interp(key, keys, values))
    middle, half = 0.5 * (keys[0] + keys[-1]), max(0.5 * (keys[-1] - keys[0]), 1.0)
    degree = 2 if len(keys) >= LEAST_FOR_CURVE else 1
    along = np.vander((keys - middle) / half, degree + 1)
    fitted = _fit_robustly(along, values, least)

    def at(key: int) -> float:
        x = (np.clip(key, keys[0], keys[-1]) - middle) / half
        return float(np.polyval(fitted, x))

    return at


def _fit_robustly(along: NDArray[np.float64], values: NDArray[np.float64], least: float) -> NDArray[np.float64]:
    """Coefficients by iteratively reweighted least squares, begun level at the median."""
    fitted: NDArray[np.float64] = np.zeros(along.shape[1])
    fitted[-1] = np.median(values)
    for _ in range(ROUNDS):
        off = values - along @ fitted
        spread = max(MEDIAN_TO_DEVIATION * float(np.median(np.abs(off))), least, 1e-15)
        weight = np.clip(1 - (off / (TUKEY * spread)) ** 2, 0, None) ** 2
        root = np.sqrt(weight)[:, None]
        better = np.asarray(np.linalg.lstsq(along * root, values * root[:, 0], rcond=None)[0])
        if np.allclose(better, fitted, rtol=0, atol=1e-9 * spread):
            break
        fitted = better
    return fitted
