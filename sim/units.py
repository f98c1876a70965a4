"""Quantities as a technician writes them, and back again.

The only place where units are converted: everything else in the package holds
SI values.  ``parse_quantity("1 3/4 in", LENGTH)`` gives metres, ``format_mm(0.0445)`` gives
``"44.5 mm"``.

Exact factors: inch 25.4 mm (international inch, 1959); gram-force by standard
gravity 9.80665 m/s² (CGPM 1901).
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

from sim.errors import QuantityError

STANDARD_GRAVITY = 9.80665
"""Standard acceleration of free fall, m/s²."""

INCH = 0.0254
LONGEST_TEXT = 80
"""No quantity written by hand is longer than this many characters."""


@dataclass(frozen=True)
class Dimension:
    """A kind of quantity: its SI unit, every spelling of its units with the factor to SI, and an example."""

    name: str
    si: str
    factors: Mapping[str, float]
    example: str

    def factor(self, unit: str) -> float:
        """Factor from ``unit`` to SI."""
        return self.factors[_normalise_unit(unit)]

    def has_unit(self, unit: str) -> bool:
        """Whether ``unit`` belongs to this dimension, however spelt."""
        return _normalise_unit(unit) in self.factors


_GF = STANDARD_GRAVITY * 1e-3
_LENGTHS = {"mm": 1e-3, "cm": 1e-2, "m": 1.0, "um": 1e-6, "in": INCH, "inch": INCH, "inches": INCH, '"': INCH}
_MASSES = {"g": 1e-3, "mg": 1e-6, "kg": 1.0}
_FORCES = {"N": 1.0, "mN": 1e-3, "kN": 1e3, "gf": _GF, "kgf": STANDARD_GRAVITY}
_ANGLES = {"deg": math.pi / 180, "°": math.pi / 180, "degrees": math.pi / 180, "rad": 1.0, "mrad": 1e-3}
_TIMES = {"s": 1.0, "ms": 1e-3, "us": 1e-6}
_SPEEDS = {f"{u}/s": f for u, f in _LENGTHS.items() if u in ("mm", "cm", "m", "in")}
_TORQUES = {
    f"{fu}·{lu}": ff * lf for fu, ff in _FORCES.items() for lu, lf in _LENGTHS.items() if lu in ("mm", "cm", "m", "in")
}

LENGTH = Dimension("length", "m", _LENGTHS, "44.5 mm")
MASS = Dimension("mass", "kg", _MASSES, "9.5 g")
FORCE = Dimension("force", "N", _FORCES, "38 gf")
TORQUE = Dimension("torque", "N·m", _TORQUES, "1.2 N·mm")
ANGLE = Dimension("angle", "rad", _ANGLES, "12 deg")
TIME = Dimension("time", "s", _TIMES, "15 ms")
FREQUENCY = Dimension("frequency", "Hz", {"Hz": 1.0, "kHz": 1e3}, "50 Hz")
SPEED = Dimension("speed", "m/s", _SPEEDS, "2 m/s")
INERTIA = Dimension("moment of inertia", "kg·m^2", {"kg·m^2": 1.0, "g·m^2": 1e-3, "g·mm^2": 1e-9}, "1.7e-3 kg·m²")
MASS_MOMENT = Dimension(
    "mass moment", "kg·m", {"kg·m": 1.0, "g·m": 1e-3, "g·mm": 1e-6, "g·cm": 1e-5, "kg·mm": 1e-3}, "270 g·mm"
)
TURNING_STIFFNESS = Dimension(
    "turning stiffness",
    "N·m/rad",
    {f"{u}/{a}": f / g for u, f in _TORQUES.items() for a, g in _ANGLES.items()},
    "60 N·mm/rad",
)
TURNING_DAMPING = Dimension(
    "turning damping", "N·m·s/rad", {"N·m·s/rad": 1.0, "mN·m·s/rad": 1e-3, "N·mm·s/rad": 1e-3}, "0.15 N·m·s/rad"
)
STIFFNESS = Dimension("stiffness", "N/m", {"N/m": 1.0, "kN/m": 1e3, "N/mm": 1e3, "gf/mm": STANDARD_GRAVITY}, "1300 N/m")
IMPEDANCE = Dimension("impedance", "kg/s", {"kg/s": 1.0, "g/s": 1e-3, "N·s/m": 1.0}, "6.2 kg/s")
LOSS = Dimension("loss", "s/m", {"s/m": 1.0, "s/mm": 1e3, "ms/mm": 1.0}, "0.8 s/m")
NUMBER = Dimension("number", "", {"": 1.0, "%": 0.01, "percent": 0.01}, "0.35")

DIMENSIONS = {
    d.name: d
    for d in (
        LENGTH, MASS, FORCE, TORQUE, ANGLE, TIME, FREQUENCY, SPEED, INERTIA, MASS_MOMENT, TURNING_STIFFNESS,
        TURNING_DAMPING, STIFFNESS, IMPEDANCE, LOSS, NUMBER,
    )
}  # fmt: skip

_NUMBER = re.compile(
    r"""(?P<sign>[+-]?)\s*
    (?:(?:(?P<whole>[0-9]{1,9})\s+)?(?P<over>[0-9]{1,9})\s*/\s*(?P<under>[0-9]{1,9})   # 1 3/4 or 27/64
      |(?P<decimal>(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]{1,4})?))
    \s*(?P<unit>.*)""",
    re.VERBOSE,
)
_COMMA = re.compile(r"^[^A-Za-z]*[0-9]\s*,\s*[0-9]")
_NOT_FINITE = re.compile(r"^[+-]?\s*(nan|inf|infinity)\b", re.IGNORECASE)
_SAME = str.maketrans(
    {"−": "-", "\u00a0": " ", "\u202f": " ", "\u2009": " ", "⋅": "·", "*": "·", "∙": "·", "µ": "u", "μ": "u",
     "″": '"', "”": '"', "º": "°", "²": "^2"}
)  # fmt: skip


_RUN_TOGETHER = re.compile(r"\b(k?gf|[km]?N|k?g)(?=(?:mm|cm|m|in)(?![A-Za-z]))")
"""Nmm, kgm2: a product without its sign."""


@lru_cache(maxsize=1000)
def _normalise_unit(unit: str) -> str:
    """One spelling for each unit: products with a raised dot, powers with a caret, no blanks."""
    plain = unit.translate(_SAME).strip()
    plain = re.sub(r"\s*([·/^])\s*", r"\1", plain)
    plain = re.sub(r"\s+|(?<=[A-Za-z])\.(?=[A-Za-z])", "·", plain)
    plain = _RUN_TOGETHER.sub(r"\1·", plain)
    return re.sub(r"\bm2\b", "m^2", re.sub(r"\bmm2\b", "mm^2", plain))


def split_quantity(text: str) -> tuple[float, str]:
    """A quantity's number and the spelling of its unit ("1 3/4 in" gives 1.75 and "in")."""
    example = f'write a number and a unit, such as "{LENGTH.example}"'
    if len(text) > LONGEST_TEXT:
        raise QuantityError(f"a text of {len(text)} characters is no quantity", example)
    plain = text.translate(_SAME).strip()
    if _NOT_FINITE.match(plain):
        raise QuantityError(f"{text!r} is not a finite number", example)
    if _COMMA.match(plain):
        raise QuantityError(f"{text!r} has a comma in its number", f'write a decimal point: "{_with_point(plain)}"')
    match = _NUMBER.fullmatch(plain)
    if match is None:
        raise QuantityError(f"{text!r} does not begin with a number", example)
    return _number(match, text), _normalise_unit(match["unit"])


def _with_point(plain: str) -> str:
    return re.sub(r"\s*,\s*", ".", plain, count=1)


def _number(match: re.Match[str], text: str) -> float:
    if match["decimal"] is not None:
        value = float(match["decimal"])
    else:
        under = int(match["under"])
        if under == 0:
            raise QuantityError(f"{text!r} divides by zero", "write the fraction's lower number, such as 1 3/4 in")
        value = int(match["whole"] or 0) + int(match["over"]) / under
    if not math.isfinite(value):
        raise QuantityError(f"{text!r} is not a finite number", "write a number of ordinary size")
    return -value if match["sign"] == "-" else value


def parse_quantity(text: str, dimension: Dimension) -> float:
    """The SI value of a quantity of the given dimension; QuantityError says what is wrong and how to write it."""
    value, unit = split_quantity(text)
    example = f'write it as in "{dimension.example}"'
    if unit in dimension.factors:
        si = value * dimension.factors[unit]
        if not math.isfinite(si):
            raise QuantityError(f"{text!r} is not a finite {dimension.name}", example)
        return si
    if not unit:
        raise QuantityError(f"{text!r} has no unit, {dimension.name} needs one", example)
    if dimension is FORCE and unit == "g":
        raise QuantityError(f"{text!r} is a mass, not a force", f'write gram-force: "{value:g} gf"')
    kinds = [d.name for d in DIMENSIONS.values() if unit in d.factors]
    if kinds:
        raise QuantityError(f"{text!r} is a {kinds[0]}, not a {dimension.name}", example)
    raise QuantityError(
        f"{text!r} has an unknown unit {unit!r}", f"units of {dimension.name}: {_list_spellings(dimension)}"
    )


def _list_spellings(dimension: Dimension) -> str:
    names = [u for u in dimension.factors if u and u not in ('"', "inches", "degrees")]
    return ", ".join(names[:10])


def parse_contact_stiffness(text: str) -> tuple[float, float]:
    """K of F = K d**p in N/m**p, and the p of its unit: "5e7 N/m^2" gives (5e7, 2.0)."""
    value, unit = split_quantity(text)
    match = re.fullmatch(r"(N|mN|kN)/(m|mm)(?:\^(?:\(([0-9.]+)\)|([0-9.]+)))?", unit)
    if match is None:
        raise QuantityError(
            f"{text!r} is no contact stiffness", 'write it as in "5e7 N/m^2", the power being the exponent'
        )
    try:
        power = float(match[3] or match[4] or 1)
        si = value * _FORCES[match[1]] / _LENGTHS[match[2]] ** power
    except (ValueError, OverflowError) as error:
        raise QuantityError(f"{text!r} has an unreadable power", 'write it as in "4e9 N/m^2.5"') from error
    if not math.isfinite(si):
        raise QuantityError(f"{text!r} is not finite", "write a number of ordinary size")
    return si, power


def convert_to_unit(si: float, unit: str, dimension: Dimension) -> float:
    """An SI value expressed in ``unit``."""
    return si / dimension.factor(unit)


def format_quantity(si: float, unit: str, dimension: Dimension, digits: int | None = None) -> str:
    """An SI value as text in ``unit``; without ``digits``, as many figures as it takes to read it back."""
    value = convert_to_unit(si, unit, dimension)
    number = f"{value:.{digits}f}" if digits is not None else f"{value:.12g}"
    return f"{number}{'' if unit in ('', '%') else ' '}{unit}"


def format_mm(x: float, digits: int = 1) -> str:
    """Metres as millimetres."""
    return format_quantity(x, "mm", LENGTH, digits)


def format_inches(x: float) -> str:
    """Metres as decimal inches and as the nearest 1/64: ``1.752 in (1 3/4)``."""
    return f"{x / INCH:.3f} in ({format_inch_fraction(x)})"


def format_inch_fraction(x: float) -> str:
    """Metres as the nearest 64th of an inch, in lowest terms, without the unit."""
    whole, rest = divmod(round(abs(x) / INCH * 64), 64)
    sign = "-" if x < 0 and (whole or rest) else ""
    if not rest:
        return f"{sign}{whole}"
    shared = math.gcd(rest, 64)
    fraction = f"{rest // shared}/{64 // shared}"
    return f"{sign}{whole} {fraction}" if whole else f"{sign}{fraction}"


def format_gf(x: float, digits: int = 1) -> str:
    """Newtons as gram-force."""
    return format_quantity(x, "gf", FORCE, digits)


def format_degrees(x: float, digits: int = 1) -> str:
    """Radians as degrees."""
    return format_quantity(x, "deg", ANGLE, digits)
