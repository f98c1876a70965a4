"""What a learner's hand can change (shared/hands.toml): a screw turned, a pin changed, a rail moved; and how long."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType

from sim.display_units import UNITS, format_si
from sim.errors import Fault, InputError, QuantityError, UnitError
from sim.fields.catalogue import Entry, load_catalogue
from sim.regulation.model_inputs import find_bench_unit, find_model_input
from sim.teaching.plain_typing import replace_symbols
from sim.unit.model import ActionUnit
from sim.units import parse_quantity

EXAMPLE_STEPS = 4
"""Steps of a hand that are turned at a touch."""


@dataclass(frozen=True)
class Adjustment:
    """One input that can be changed; lengths of ``low`` to ``high`` and ``step`` in SI, ``seconds`` for one change.

    What is told by the reading that it is turned for starts at 0, what is told as itself (a
    torque, a coefficient) at what it is.
    """

    at: str
    title: str
    told: str
    low: float
    high: float
    step: float
    seconds: float
    caution: str = ""

    @property
    def unit(self) -> str:
        """Unit of its values at the edge."""
        return find_bench_unit(self.at)

    @property
    def relative(self) -> bool:
        """Whether a value is a change from where it stands."""
        return find_model_input(self.at).relative

    def example(self, inches: bool = False) -> str:
        """A value as it may be typed: a little more, or of what is told as itself the middle of its reach."""
        return format_si(
            EXAMPLE_STEPS * self.step if self.relative else 0.5 * (self.low + self.high), self.unit, inches
        )

    def now(self, unit: ActionUnit) -> float:
        """Where it stands (SI; 0 for one that is told by its change)."""
        return find_model_input(self.at).get(unit)

    def put(self, unit: ActionUnit, value: float) -> ActionUnit:
        """The unit with it at a value, or changed by it (SI).  Raises UnitError outside ``low`` to ``high``."""
        if not self.low <= value <= self.high:
            raise UnitError(f"{self.title}: {value} is outside {self.low} to {self.high}")
        return find_model_input(self.at).put(unit, value)

    def of(self, unit: ActionUnit) -> bool:
        """Whether the unit has the part at all."""
        return self.at != "screw.damper_start" or unit.damper is not None

    def read(self, typed: str) -> float:
        """A value as typed (SI).  Raises InputError."""
        dimension = UNITS[self.unit].dimension
        allowed = f"{format_si(self.low, self.unit)} to {format_si(self.high, self.unit)}"
        try:
            value = parse_quantity(typed, dimension)
        except QuantityError as error:
            raise self._refused(typed, allowed, replace_symbols(error.remedy)) from None
        if not self.low <= value <= self.high:
            raise self._refused(typed, allowed, "a smaller change, or another cause")
        return value

    def _refused(self, typed: str, allowed: str, remedy: str) -> InputError:
        return InputError([Fault("hand", None, self.title, typed[:40], allowed, remedy)])


class _Row(Entry):
    at: str
    title: str
    told: str
    range: tuple[str, str]
    step: str
    minutes: float
    caution: str = ""


class _File(Entry):
    hand: tuple[_Row, ...]


@cache
def load_adjustments() -> Mapping[str, Adjustment]:
    """All of them by ``at``, in the order of the file."""
    return MappingProxyType({row.at: _parse_adjustment(row) for row in load_catalogue("hands.toml", _File).hand})


def _parse_adjustment(row: _Row) -> Adjustment:
    dimension = find_model_input(row.at).dimension
    low, high, step = (parse_quantity(text, dimension) for text in (*row.range, row.step))
    return Adjustment(row.at, row.title, row.told, low, high, step, 60.0 * row.minutes, row.caution)
