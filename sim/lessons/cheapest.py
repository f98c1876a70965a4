"""With hindsight: the least costly readings that would have made the true cause sure, and the mend."""

from __future__ import annotations

from dataclasses import dataclass

from sim.lessons.exercise import Exercise
from sim.workshop.inference import Cells


@dataclass(frozen=True)
class Path:
    """Readings in their order (titles), the mends, and what each part costs (seconds)."""

    readings: tuple[str, ...]
    mends: tuple[str, ...]
    sure: float
    """Probability of the true cause after these readings."""
    reading_seconds: float
    mending_seconds: float

    @property
    def seconds(self) -> float:
        return self.reading_seconds + self.mending_seconds


def cheapest(e: Exercise, grid: Cells) -> Path:
    """The path of an exercise."""
    raise NotImplementedError
