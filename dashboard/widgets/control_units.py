"""How a control's value is shown and typed: mm or inches, torque or pinning force.  SI on the other side."""

from __future__ import annotations

from dataclasses import dataclass

from dashboard.session.controls import Control
from sim.bench.centres import PINNING_RADIUS
from sim.display_units import UNITS
from sim.errors import QuantityError
from sim.unit.model import GRAVITY, ActionUnit
from sim.units import FORCE, LENGTH, TORQUE, Dimension, parse_quantity

DIGITS = {unit.label: unit.decimals for unit in UNITS.values()}


@dataclass(frozen=True)
class ControlUnit:
    """A unit on the screen: its size in SI, and what a typed value may be."""

    unit: str
    size: float
    step: float
    dimension: Dimension
    arm: float = 0.0
    """Radius at which a force stands for a torque, m; 0: the value is what it says."""

    @property
    def digits(self) -> int:
        """Decimals."""
        return DIGITS[self.unit]

    @property
    def format(self) -> str:
        """Of a slider's number."""
        return f"%.{self.digits}f"

    @property
    def example(self) -> str:
        """A text that would be taken."""
        return {"mm": "1.6 mm or 1/16 in", "in": "1/16 in or 1.6 mm", "N·mm": "33 N·mm", "gf": "4 gf", "deg": "68 deg"}[
            self.unit
        ]

    def out(self, si: float) -> float:
        """On the screen."""
        return si / self.size

    def rounded(self, value: float) -> float:
        """As a slider stands."""
        return round(value, self.digits)

    def back(self, value: float) -> float:
        """In SI."""
        return value * self.size

    def text(self, si: float) -> str:
        """Number and unit."""
        return f"{self.out(si):.{self.digits}f} {self.unit}"

    def parse(self, text: str) -> float:
        """A typed value in SI.  Raises QuantityError."""
        try:
            return parse_quantity(text, self.dimension) * (self.arm or 1.0)
        except QuantityError:
            if self.arm:
                return parse_quantity(text, TORQUE)
            raise

    def ends(self, c: Control, begin: float, value: float, told: bool) -> tuple[float, float]:
        """Ends of the slider (all SI before): the reach either way from ``begin``, and on to where it stands."""
        low, high = min(begin - c.reach, value), max(begin + c.reach, value)
        if not told:
            low, high = max(low, c.low), min(high, c.high)
        return self.rounded(self.out(low)), self.rounded(self.out(high))


def choose_control_unit(name: str, c: Control, unit: ActionUnit, inches: bool, pinning: bool) -> ControlUnit:
    """How a control is shown."""
    if c.group == "friction" and pinning:
        arm = -unit.key.touch_point[0] if name == "friction.key" else PINNING_RADIUS
        return ControlUnit("gf", GRAVITY * 1e-3 * arm, 0.1, FORCE, arm)
    if c.unit == "mm" and inches:
        return ControlUnit("in", 25.4e-3, 0.002 if c.step < 2e-4 else 0.01, LENGTH)
    label, dimension, digits = UNITS[c.unit]
    size = dimension.factor(label)
    return ControlUnit(label, size, max(round(c.step / size, digits), 10.0**-digits), dimension)
