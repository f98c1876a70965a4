"""The errors a user can meet, each a sentence with what to do next."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass


class ActionUnitError(Exception):
    """Base of every error this package raises on purpose."""


class QuantityError(ActionUnitError, ValueError):
    """A text that is no quantity of the wanted kind; ``remedy`` says how to write it."""

    def __init__(self, problem: str, remedy: str) -> None:
        super().__init__(f"{problem}; {remedy}")
        self.problem = problem
        self.remedy = remedy


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong with the input: where, what stands there, what may stand there, what to do."""

    file: str
    line: int | None
    field: str
    value: str
    allowed: str
    remedy: str

    def __str__(self) -> str:
        place = f"{self.file}, line {self.line}" if self.line is not None else self.file
        return f"{place}: {self.field} = {self.value}; allowed: {self.allowed}; {self.remedy}"


class InputError(ActionUnitError):
    """Everything that is wrong with an input, found in one go."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))

    def __reduce__(self) -> tuple[type[InputError], tuple[tuple[Fault, ...]]]:
        return type(self), (self.faults,)


class UnitError(ActionUnitError):
    """This unit cannot be built or read: what is caught, and it alone, where units are tried."""

    name: str = "no such unit"


class NoUnitError(InputError, UnitError):
    """Measures that make no unit, or a unit that its targets cannot be set up in: every fault of them."""


class OutputError(InputError):
    """A result could not be written; what was in its place before stays."""


class SimulationError(UnitError):
    """A run left the domain of the model; ``time`` in s counts from the start of the run."""

    def __init__(self, name: str, time: float | None, detail: str) -> None:
        when = "" if time is None else f" at {time * 1e3:.3f} ms"
        super().__init__(f"{name}{when}: {detail}")
        self.name = name
        self.time = time
        self.detail = detail

    def __reduce__(self) -> tuple[type[SimulationError], tuple[str, float | None, str]]:
        return type(self), (self.name, self.time, self.detail)
