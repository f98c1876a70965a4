"""Reading and writing quantities."""

from __future__ import annotations

import contextlib
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.errors import QuantityError
from sim.units import (
    ANGLE,
    DIMENSIONS,
    FORCE,
    FREQUENCY,
    IMPEDANCE,
    INERTIA,
    LENGTH,
    MASS,
    NUMBER,
    SPEED,
    STANDARD_GRAVITY,
    STIFFNESS,
    TIME,
    TORQUE,
    TURNING_STIFFNESS,
    Dimension,
    format_degrees,
    format_gf,
    format_inch_fraction,
    format_inches,
    format_mm,
    format_quantity,
    parse_contact_stiffness,
    parse_quantity,
)

WRITTEN = [
    ("44.5 mm", LENGTH, 0.0445),
    ("44.5mm", LENGTH, 0.0445),
    ("1 3/4 in", LENGTH, 1.75 * 0.0254),
    ("4 27/64 in", LENGTH, (4 + 27 / 64) * 0.0254),
    ('1 3/4"', LENGTH, 1.75 * 0.0254),
    ("3/16 in", LENGTH, 3 / 16 * 0.0254),
    ("0.400 in", LENGTH, 0.4 * 0.0254),
    (".400 in", LENGTH, 0.4 * 0.0254),
    ("-0.4 mm", LENGTH, -0.0004),
    ("−0.4 mm", LENGTH, -0.0004),
    ("38 gf", FORCE, 38e-3 * 9.80665),
    ("18 g", MASS, 0.018),
    ("1.2 N·mm", TORQUE, 1.2e-3),
    ("1.2 Nmm", TORQUE, 1.2e-3),
    ("1.2 N.mm", TORQUE, 1.2e-3),
    ("1.7e-3 kgm2", INERTIA, 1.7e-3),
    ("1.2 N mm", TORQUE, 1.2e-3),
    ("1.2 N*mm", TORQUE, 1.2e-3),
    ("1.2 mN·m", TORQUE, 1.2e-3),
    ("0.0012 N·m", TORQUE, 1.2e-3),
    ("100 gf·mm", TORQUE, 100 * 9.80665e-6),
    ("12 deg", ANGLE, math.radians(12)),
    ("12°", ANGLE, math.radians(12)),
    ("15 ms", TIME, 0.015),
    ("2 m/s", SPEED, 2.0),
    ("50 Hz", FREQUENCY, 50.0),
    ("1600 N·m/rad", TURNING_STIFFNESS, 1600.0),
    ("60 N·mm/rad", TURNING_STIFFNESS, 0.06),
    ("1.7e-3 kg·m²", INERTIA, 1.7e-3),
    ("1.7e-3 kg*m2", INERTIA, 1.7e-3),
    ("1.7e-3 kg m^2", INERTIA, 1.7e-3),
    ("6.2 kg/s", IMPEDANCE, 6.2),
    ("1300 N/m", STIFFNESS, 1300.0),
    ("5 %", NUMBER, 0.05),
    ("0.35", NUMBER, 0.35),
]


@pytest.mark.parametrize(("text", "dimension", "si"), WRITTEN)
def test_as_technicians_write(text: str, dimension: Dimension, si: float) -> None:
    assert parse_quantity(text, dimension) == pytest.approx(si, rel=1e-12)


REFUSED = [
    ("44,5 mm", LENGTH, "44.5 mm"),
    ("1,200 mm", LENGTH, "decimal point"),
    ("44.5", LENGTH, "no unit"),
    ("44.5 furlong", LENGTH, "unknown unit"),
    ("44.5 g", LENGTH, "is a mass, not a length"),
    ("38 g", FORCE, "38 gf"),
    ("nan mm", LENGTH, "not a finite"),
    ("-inf mm", LENGTH, "not a finite"),
    ("1e999 mm", LENGTH, "not a finite"),
    ("1 3/0 in", LENGTH, "divides by zero"),
    ("1 3/4/5 in", LENGTH, "unknown unit"),
    ("４４ mm", LENGTH, "does not begin with a number"),
    ("", LENGTH, "does not begin with a number"),
    ("about 44 mm", LENGTH, "does not begin with a number"),
    ("9" * 500 + " mm", LENGTH, "503 characters"),
]


@pytest.mark.parametrize(("text", "dimension", "words"), REFUSED)
def test_refusals_say_what_to_write(text: str, dimension: Dimension, words: str) -> None:
    with pytest.raises(QuantityError) as caught:
        parse_quantity(text, dimension)
    assert words in str(caught.value)
    assert caught.value.remedy


@given(st.sampled_from([(d, u) for d in DIMENSIONS.values() for u in d.factors]), st.floats(-1e6, 1e6))
def test_what_is_shown_reads_back(where: tuple[Dimension, str], value: float) -> None:
    dimension, unit = where
    si = value * dimension.factor(unit)
    assert parse_quantity(format_quantity(si, unit, dimension), dimension) == pytest.approx(si, rel=1e-11, abs=1e-300)


@given(st.integers(0, 20), st.integers(1, 63))
def test_fractions_of_an_inch_read_back(whole: int, sixty_fourths: int) -> None:
    x = (whole + sixty_fourths / 64) * 0.0254
    text = f"{format_inch_fraction(x)} in"
    assert "/64" not in text or sixty_fourths % 2 == 1
    assert parse_quantity(text, LENGTH) == pytest.approx(x, rel=1e-12)


@given(st.text(max_size=100))
def test_any_text_is_a_quantity_or_a_clear_refusal(text: str) -> None:
    for dimension in (LENGTH, NUMBER, TORQUE):
        with contextlib.suppress(QuantityError):
            assert math.isfinite(parse_quantity(text, dimension))


def test_contact_stiffness_carries_its_exponent() -> None:
    assert parse_contact_stiffness("5e7 N/m^2") == (5e7, 2.0)
    assert parse_contact_stiffness("4e9 N/m^2.5") == (4e9, 2.5)
    assert parse_contact_stiffness("1300 N/m") == (1300.0, 1.0)
    assert parse_contact_stiffness("2 N/mm^2") == pytest.approx((2e6, 2.0))
    with pytest.raises(QuantityError):
        parse_contact_stiffness("5e7 N")


def test_readings_as_printed() -> None:
    assert format_mm(0.0445) == "44.5 mm"
    assert format_inches(0.04445) == "1.750 in (1 3/4)"
    assert format_inch_fraction(-0.0015875) == "-1/16"
    assert format_gf(38e-3 * STANDARD_GRAVITY) == "38.0 gf"
    assert format_degrees(math.radians(12)) == "12.0 deg"
