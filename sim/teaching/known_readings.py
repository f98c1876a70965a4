"""What a learner knows beforehand: what each fault does to the unit, and how many faults an exercise hides."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from sim.diagnosis.inference import HEALTHY, Cause, Cells, cells
from sim.diagnosis.library import Library
from sim.teaching.exercise import Exercise, couples_of


@dataclass(frozen=True, eq=False)
class Known:
    """The cells of a scenario's unit, and of them those with one fault, or two, and none that is healthy."""

    cells: Cells
    whole: Library | None = None
    """The library that answers how readings follow hands, where the cells have another."""

    @property
    def library(self) -> Library:
        return self.cells.library if self.whole is None else self.whole

    def at(self, e: Exercise) -> Known:
        """What holds for an exercise: its unit differs as healthy ones do, or is the scenario's own."""
        return self if e.rule.varied or self.whole is not None else self.own

    def of(self, e: Exercise) -> Cells:
        """For so many faults as the exercise says it hides."""
        known = self.at(e)
        return known.one if e.count == 1 else known.two

    @cached_property
    def own(self) -> Known:
        """Of the scenario's very unit, which does not differ from itself."""
        library, nothing = self.cells.library, np.zeros_like
        same = replace(
            library, slopes=nothing(library.slopes), bends=nothing(library.bends), leaps=nothing(library.leaps)
        )
        return Known(cells(same), library)

    @cached_property
    def one(self) -> Cells:
        return only(self.cells, 1)

    @cached_property
    def two(self) -> Cells:
        """Pairs of the catalogue, and the others that an exercise of two may hide, taken to add up."""
        library = self.cells.library
        return only(cells(library, couples_of(library.unit)), 2)


def only(grid: Cells, count: int) -> Cells:
    """Cells of so many faults at once; the healthy one is left without any weight."""
    return some(grid, {cause for cause in grid.causes if len(cause) == count})


def some(grid: Cells, causes: Collection[Cause]) -> Cells:
    """Cells of some causes; the healthy one stays, without any weight."""
    kept = [i for i, cause in enumerate(grid.causes) if cause == HEALTHY or cause in causes]
    place = np.full(len(grid.causes), -1)
    place[kept] = np.arange(len(kept))
    mine = np.flatnonzero(place[grid.of] >= 0)
    of = place[grid.of[mine]]
    prior = np.where(of == 0, 0.0, grid.prior[mine])
    return replace(
        grid,
        causes=tuple(grid.causes[i] for i in kept),
        of=of,
        severity=grid.severity[mine],
        prior=prior / prior.sum(),
        mean=grid.mean[mine],
        own=grid.own[mine],
        said=tuple(said[mine] for said in grid.said),
    )
