"""Reading and writing quantities."""

from __future__ import annotations

import contextlib
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim import units
from sim.errors import QuantityError

WRITTEN = [
    ("44.5 mm", units.LENGTH, 0.0445),
    ("44.5mm", units.LENGTH, 0.0445),
    ("1 3/4 in", units.LENGTH, 1.75 * 0.0254),
    ("4 27/64 in", units.LENGTH, (4 + 27 / 64) * 0.0254),
    ('1 3/4"', units.LENGTH, 1.75 * 0.0254),
    ("3/16 in", units.LENGTH, 3 / 16 * 0.0254),
    ("0.400 in", units.LENGTH, 0.4 * 0.0254),
    (".400 in", units.LENGTH, 0.4 * 0.0254),
    ("-0.4 mm", units.LENGTH, -0.0004),
    ("−0.4 mm", units.LENGTH, -0.0004),
    ("38 gf", units.FORCE, 38e-3 * 9.80665),
    ("18 g", units.MASS, 0.018),
    ("1.2 N·mm", units.TORQUE, 1.2e-3),
    ("1.2 Nmm", units.TORQUE, 1.2e-3),
    ("1.2 N.mm", units.TORQUE, 1.2e-3),
    ("1.7e-3 kgm2", units.INERTIA, 1.7e-3),
    ("1.2 N mm", units.TORQUE, 1.2e-3),
    ("1.2 N*mm", units.TORQUE, 1.2e-3),
    ("1.2 mN·m", units.TORQUE, 1.2e-3),
    ("0.0012 N·m", units.TORQUE, 1.2e-3),
    ("100 gf·mm", units.TORQUE, 100 * 9.80665e-6),
    ("12 deg", units.ANGLE, math.radians(12)),
    ("12°", units.ANGLE, math.radians(12)),
    ("15 ms", units.TIME, 0.015),
    ("2 m/s", units.SPEED, 2.0),
    ("50 Hz", units.FREQUENCY, 50.0),
    ("1600 N·m/rad", units.TURNING_STIFFNESS, 1600.0),
    ("60 N·mm/rad", units.TURNING_STIFFNESS, 0.06),
    ("1.7e-3 kg·m²", units.INERTIA, 1.7e-3),
    ("1.7e-3 kg*m2", units.INERTIA, 1.7e-3),
    ("1.7e-3 kg m^2", units.INERTIA, 1.7e-3),
    ("6.2 kg/s", units.IMPEDANCE, 6.2),
    ("1300 N/m", units.STIFFNESS, 1300.0),
    ("5 %", units.NUMBER, 0.05),
    ("0.35", units.NUMBER, 0.35),
]


@pytest.mark.parametrize(("text", "dimension", "si"), WRITTEN)
def test_as_technicians_write(text: str, dimension: units.Dimension, si: float) -> None:
    assert units.parse(text, dimension) == pytest.approx(si, rel=1e-12)


REFUSED = [
    ("44,5 mm", units.LENGTH, "44.5 mm"),
    ("1,200 mm", units.LENGTH, "decimal point"),
    ("44.5", units.LENGTH, "no unit"),
    ("44.5 furlong", units.LENGTH, "unknown unit"),
    ("44.5 g", units.LENGTH, "is a mass, not a length"),
    ("38 g", units.FORCE, "38 gf"),
    ("nan mm", units.LENGTH, "not a finite"),
    ("-inf mm", units.LENGTH, "not a finite"),
    ("1e999 mm", units.LENGTH, "not a finite"),
    ("1 3/0 in", units.LENGTH, "divides by zero"),
    ("1 3/4/5 in", units.LENGTH, "unknown unit"),
    ("４４ mm", units.LENGTH, "does not begin with a number"),
    ("", units.LENGTH, "does not begin with a number"),
    ("about 44 mm", units.LENGTH, "does not begin with a number"),
    ("9" * 500 + " mm", units.LENGTH, "503 characters"),
]


@pytest.mark.parametrize(("text", "dimension", "words"), REFUSED)
def test_refusals_say_what_to_write(text: str, dimension: units.Dimension, words: str) -> None:
    with pytest.raises(QuantityError) as caught:
        units.parse(text, dimension)
    assert words in str(caught.value)
    assert caught.value.remedy


@given(st.sampled_from([(d, u) for d in units.DIMENSIONS.values() for u in d.factors]), st.floats(-1e6, 1e6))
def test_what_is_shown_reads_back(where: tuple[units.Dimension, str], value: float) -> None:
    dimension, unit = where
    si = value * dimension.factor(unit)
    assert units.parse(units.show(si, unit, dimension), dimension) == pytest.approx(si, rel=1e-11, abs=1e-300)


@given(st.integers(0, 20), st.integers(1, 63))
def test_fractions_of_an_inch_read_back(whole: int, sixty_fourths: int) -> None:
    x = (whole + sixty_fourths / 64) * 0.0254
    text = f"{units.inch_fraction(x)} in"
    assert "/64" not in text or sixty_fourths % 2 == 1
    assert units.parse(text, units.LENGTH) == pytest.approx(x, rel=1e-12)


@given(st.text(max_size=100))
def test_any_text_is_a_quantity_or_a_clear_refusal(text: str) -> None:
    for dimension in (units.LENGTH, units.NUMBER, units.TORQUE):
        with contextlib.suppress(QuantityError):
            assert math.isfinite(units.parse(text, dimension))


def test_contact_stiffness_carries_its_exponent() -> None:
    assert units.parse_contact_stiffness("5e7 N/m^2") == (5e7, 2.0)
    assert units.parse_contact_stiffness("4e9 N/m^2.5") == (4e9, 2.5)
    assert units.parse_contact_stiffness("1300 N/m") == (1300.0, 1.0)
    assert units.parse_contact_stiffness("2 N/mm^2") == pytest.approx((2e6, 2.0))
    with pytest.raises(QuantityError):
        units.parse_contact_stiffness("5e7 N")


def test_readings_as_printed() -> None:
    assert units.mm(0.0445) == "44.5 mm"
    assert units.inches(0.04445) == "1.750 in (1 3/4)"
    assert units.inch_fraction(-0.0015875) == "-1/16"
    assert units.gf(38e-3 * units.g0) == "38.0 gf"
    assert units.newton_mm(1.2e-3) == "1.20 N·mm"
    assert units.deg(math.radians(12)) == "12.0 deg"
