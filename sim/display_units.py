"""Readings at the edge: SI value to the number, the unit and the name that a person or a file gets."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sim.units import ANGLE, FORCE, FREQUENCY, LENGTH, MASS, NUMBER, SPEED, TIME, TORQUE, Dimension, convert_to_unit

UNITS: Mapping[str, tuple[str, Dimension]] = {
    "": ("", NUMBER),
    "mm": ("mm", LENGTH),
    "in": ("in", LENGTH),
    "ms": ("ms", TIME),
    "m_s": ("m/s", SPEED),
    "mm_s": ("mm/s", SPEED),
    "gf": ("gf", FORCE),
    "N": ("N", FORCE),
    "Nmm": ("N·mm", TORQUE),
    "deg": ("deg", ANGLE),
    "g": ("g", MASS),
    "Hz": ("Hz", FREQUENCY),
}
"""Unit of a reading's name (``hammer_speed_m_s``) to its spelling and dimension."""

DIGITS: Mapping[str, int] = {
    "": 2,
    "mm": 2,
    "in": 3,
    "ms": 2,
    "m_s": 2,
    "mm_s": 0,
    "gf": 1,
    "N": 1,
    "Nmm": 2,
    "deg": 1,
    "g": 1,
    "Hz": 0,
}
"""Decimals shown, where the reading's accuracy asks for no fewer."""


def convert_si(si: float | None, unit: str) -> float | None:
    """An SI value in the unit of its name; None stays None, and what is not finite becomes None."""
    if si is None or not math.isfinite(si):
        return None
    spelling, dimension = UNITS[unit]
    return convert_to_unit(float(si), spelling, dimension)


def convert_column(si: ArrayLike, unit: str) -> NDArray[np.float64]:
    """SI values in the unit of their name."""
    spelling, dimension = UNITS[unit]
    return np.asarray(si, dtype=float) / dimension.factor(spelling)


def format_unit(unit: str) -> str:
    """The unit as it is written: ``m_s`` is m/s."""
    return UNITS[unit][0]


def format_column_name(name: str, unit: str) -> str:
    """The name in files: ``blow`` in ``mm`` is ``blow_mm``."""
    return f"{name}_{unit}" if unit else name


def choose_unit(unit: str, inches: bool) -> str:
    """The unit to show: lengths in inches where they are asked for."""
    return "in" if inches and unit == "mm" else unit


def count_decimals(unit: str, accuracy: float | None) -> int:
    """Decimals that make sense for a reading of this accuracy."""
    if accuracy is None or accuracy < 0.5 or unit == "in":
        return DIGITS[unit]
    return min(DIGITS[unit], 1 if accuracy < 2 else 0)


def format_number(value: float | None, unit: str, accuracy: float | None = None) -> str:
    """A number in its unit as text; a dash where nothing was read."""
    if value is None:
        return "–"
    text = f"{value:.{count_decimals(unit, accuracy)}f}"
    return text.removeprefix("-") if float(text) == 0 else text


def format_si(si: float | None, unit: str, inches: bool = False, sign: str = "") -> str:
    """An SI value with the unit of its name, lengths in inches where asked; ``sign`` "+" shows it always."""
    unit = choose_unit(unit, inches)
    value = convert_si(si, unit)
    text = format(value, f"+.{DIGITS[unit]}f") if sign and value is not None else format_number(value, unit)
    return f"{text} {format_unit(unit)}".strip()
