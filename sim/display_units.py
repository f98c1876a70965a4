"""Readings at the edge: SI value to the number, the unit and the name that a person or a file gets."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sim.units import ANGLE, FORCE, FREQUENCY, LENGTH, MASS, NUMBER, SPEED, TIME, TORQUE, Dimension, convert_to_unit


class DisplayUnit(NamedTuple):
    """How a unit is written, what it measures, and the decimals shown where a reading's accuracy asks for no fewer."""

    label: str
    dimension: Dimension
    decimals: int


UNITS: Mapping[str, DisplayUnit] = {
    "": DisplayUnit("", NUMBER, 2),
    "mm": DisplayUnit("mm", LENGTH, 2),
    "in": DisplayUnit("in", LENGTH, 3),
    "ms": DisplayUnit("ms", TIME, 2),
    "m_s": DisplayUnit("m/s", SPEED, 2),
    "mm_s": DisplayUnit("mm/s", SPEED, 0),
    "gf": DisplayUnit("gf", FORCE, 1),
    "N": DisplayUnit("N", FORCE, 1),
    "Nmm": DisplayUnit("N·mm", TORQUE, 2),
    "deg": DisplayUnit("deg", ANGLE, 1),
    "g": DisplayUnit("g", MASS, 1),
    "Hz": DisplayUnit("Hz", FREQUENCY, 0),
}
"""Units of readings, by the name that they have in files (``hammer_speed_m_s``); a new one is one line."""


def convert_si(si: float | None, unit: str) -> float | None:
    """An SI value in the unit of its name; None stays None, and what is not finite becomes None."""
    if si is None or not math.isfinite(si):
        return None
    return convert_to_unit(float(si), UNITS[unit].label, UNITS[unit].dimension)


def convert_column(si: ArrayLike, unit: str) -> NDArray[np.float64]:
    """SI values in the unit of their name."""
    return np.asarray(si, dtype=float) / UNITS[unit].dimension.factor(UNITS[unit].label)


def format_unit(unit: str) -> str:
    """The unit as it is written: ``m_s`` is m/s."""
    return UNITS[unit].label


def format_column_name(name: str, unit: str) -> str:
    """The name in files: ``blow`` in ``mm`` is ``blow_mm``."""
    return f"{name}_{unit}" if unit else name


def choose_unit(unit: str, inches: bool) -> str:
    """The unit to show: lengths in inches where they are asked for."""
    return "in" if inches and unit == "mm" else unit


def count_decimals(unit: str, accuracy: float | None) -> int:
    """Decimals that make sense for a reading of this accuracy."""
    if accuracy is None or accuracy < 0.5 or unit == "in":
        return UNITS[unit].decimals
    return min(UNITS[unit].decimals, 1 if accuracy < 2 else 0)


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
    text = format(value, f"+.{UNITS[unit].decimals}f") if sign and value is not None else format_number(value, unit)
    return f"{text} {format_unit(unit)}".strip()
