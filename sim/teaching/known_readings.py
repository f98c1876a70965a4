"""What a learner knows beforehand: what each fault does to the unit, and how many faults an exercise hides."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from sim.diagnosis.inference import NO_FAULT, Cause, CauseGrid, build_cause_grid
from sim.diagnosis.library import Library
from sim.teaching.exercise import Exercise, list_fault_pairs


@dataclass(frozen=True, eq=False)
class KnownReadings:
    """The cells of a scenario's unit, and of them those with one fault, or two, and none that is healthy."""

    cells: CauseGrid
    whole: Library | None = None
    """The library that answers how readings follow hands, where the cells have another."""

    @property
    def library(self) -> Library:
        return self.cells.library if self.whole is None else self.whole

    def at(self, e: Exercise) -> KnownReadings:
        """What holds for an exercise: its unit differs as healthy ones do, or is the scenario's own."""
        return self if e.rule.varied or self.whole is not None else self.own

    def of(self, e: Exercise) -> CauseGrid:
        """For so many faults as the exercise says it hides."""
        known = self.at(e)
        return known.one if e.count == 1 else known.two

    @cached_property
    def own(self) -> KnownReadings:
        """Of the scenario's very unit, which does not differ from itself."""
        library, nothing = self.cells.library, np.zeros_like
        same = replace(
            library, slopes=nothing(library.slopes), bends=nothing(library.bends), leaps=nothing(library.leaps)
        )
        return KnownReadings(build_cause_grid(same), library)

    @cached_property
    def one(self) -> CauseGrid:
        return select_fault_count(self.cells, 1)

    @cached_property
    def two(self) -> CauseGrid:
        """Pairs of the catalogue, and the others that an exercise of two may hide, taken to add up."""
        library = self.cells.library
        return select_fault_count(build_cause_grid(library, list_fault_pairs(library.unit)), 2)


def select_fault_count(grid: CauseGrid, count: int) -> CauseGrid:
    """Cells of so many faults at once; the healthy one is left without any weight."""
    return select_causes(grid, {cause for cause in grid.causes if len(cause) == count})


def select_causes(grid: CauseGrid, causes: Collection[Cause]) -> CauseGrid:
    """Cells of some causes; the healthy one stays, without any weight."""
    kept = [i for i, cause in enumerate(grid.causes) if cause == NO_FAULT or cause in causes]
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
