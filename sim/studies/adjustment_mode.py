"""The two manners of reading a unit whose inputs are moved: its screws held, or the unit regulated again.

At a bench parts are measured with an error, and the unit is then regulated by
reading it, again with an error: a doubt about a part shows in what is not
regulated only.  Held, the screws stay and everything moves.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from sim.bench.outcomes import Outcome
from sim.bench.reading_list import NamedReading, list_reading_names, list_readings, take_readings
from sim.bench.readings import Prediction
from sim.errors import Fault, InputError, NoUnitError, UnitError
from sim.regulation.regulate import regulate
from sim.regulation.targets import choose_screw, get_met_tolerance
from sim.studies.tolerances import TARGET_PREFIX, find_tolerance, list_known_inputs
from sim.studies.variants import HEIGHT_SUFFIX, BaseScenario
from sim.unit.model import ActionUnit
from sim.value_records import value_record

HELD, REGULATED = "held", "regulated"
DEFAULT_TARGETS = ("blow", "dip", "let_off", "drop", "lever_height", "jack_address", "checking_distance")
"""Readings a unit is regulated to where the scenario asks for nothing else."""


@value_record
@dataclass(frozen=True, slots=True)
class StudyPoint:
    """What became of a unit with some inputs moved: ``plays`` or what it does instead, and its readings by name."""

    outcome: str
    taken: Mapping[str, NamedReading]


class AdjustmentMode(Protocol):
    """A way of moving inputs and reading what comes of it."""

    @property
    def name(self) -> str:
        """One of MANNERS."""

    @property
    def unit(self) -> ActionUnit:
        """The unit with nothing moved."""

    @property
    def known(self) -> Mapping[str, float]:
        """The inputs that can be moved, with their values (SI)."""

    @property
    def targets(self) -> Mapping[str, float]:
        """Readings that are regulated, with what they are regulated to (SI)."""

    @property
    def turned(self) -> Mapping[str, str]:
        """Screws that are turned for a target, and the path of that target."""

    def read(self, moved: Mapping[str, float], kind: str) -> StudyPoint:
        """Readings of a kind with some inputs at other values (SI); nothing is raised for a unit that fails."""


@value_record
@dataclass(frozen=True)
class HeldScrews:
    """Every screw stays where it is."""

    origin: BaseScenario
    name: str = HELD
    targets: Mapping[str, float] = field(default_factory=dict)
    turned: Mapping[str, str] = field(default_factory=dict)

    @property
    def unit(self) -> ActionUnit:
        return self.origin.ready

    @cached_property
    def known(self) -> Mapping[str, float]:
        return list_known_inputs(self.unit)

    def read(self, moved: Mapping[str, float], kind: str) -> StudyPoint:
        return _catch_failures(lambda: take_readings(self.origin.held(moved), kind))


@value_record
@dataclass(frozen=True)
class RegulatedScrews:
    """The unit is regulated again each time, from where its screws stand, to readings that may be moved themselves."""

    origin: BaseScenario
    targets: Mapping[str, float]
    gains: Mapping[str, NDArray[np.float64]]
    """What the screws do to the readings, learned beforehand, so that the order of the units does not matter."""
    name: str = REGULATED

    @classmethod
    def of(cls, origin: BaseScenario) -> RegulatedScrews:
        """To the scenario's own targets, and to what REGULATED_TO read as they stand."""
        targets = _choose_targets(origin)
        gains: dict[str, NDArray[np.float64]] = {}
        for side in (0.5, -0.5):
            aside = {t: si + side * find_tolerance(find_target_path(t), origin.ready).si for t, si in targets.items()}
            regulate(origin.ready, aside, warm=True, check=False, learned=gains)
        return cls(origin, targets, gains)

    @property
    def unit(self) -> ActionUnit:
        return self.origin.ready

    @cached_property
    def turned(self) -> Mapping[str, str]:
        screws = {
            choose_screw(t, self.targets).path.removesuffix(HEIGHT_SUFFIX): find_target_path(t) for t in self.targets
        }
        return {path: target for screw, target in screws.items() for path in (screw, f"{screw}{HEIGHT_SUFFIX}")}

    @cached_property
    def known(self) -> Mapping[str, float]:
        left = {path: si for path, si in list_known_inputs(self.unit).items() if path not in self.turned}
        return left | {find_target_path(t): si for t, si in self.targets.items()}

    def read(self, moved: Mapping[str, float], kind: str) -> StudyPoint:
        asked = {t: moved.get(find_target_path(t), si) for t, si in self.targets.items()}
        parts = {path: si for path, si in moved.items() if not path.startswith(TARGET_PREFIX)}
        return _catch_failures(lambda: self._regulated(self.origin.held(parts), asked, kind))

    def _regulated(self, start: ActionUnit, asked: Mapping[str, float], kind: str) -> Prediction | str:
        """What is read of it; in words the targets that are not met, when starting afresh does not meet them either."""
        check = not asked.keys() <= set(list_reading_names(kind))  # else what is read tells whether they are met
        missed: list[str] = []
        for warm in (True, False):
            done = regulate(start, asked, warm=warm, check=check, learned=dict(self.gains) if warm else None)
            missed = [miss.target for miss in done.misses]
            if missed:
                continue
            found = take_readings(done.unit, kind)
            missed = [] if check else _find_missed_targets(list_readings(found), asked)
            if not missed:
                return found
        return f"{Outcome.NOT_REGULATED}: {', '.join(sorted(t.replace('_', ' ') for t in missed))}"


def choose_adjustment_mode(name: str, origin: BaseScenario) -> AdjustmentMode:
    """The manner of that name (one of MANNERS).  Raises InputError for a unit that cannot be read so."""
    held = origin.by_height
    return RegulatedScrews.of(held) if name == REGULATED else HeldScrews(held)


def read_unmoved_unit(way: AdjustmentMode, kind: str) -> StudyPoint:
    """The unit with nothing moved.  Raises InputError when not even that can be read."""
    found = way.read({}, kind)
    if not found.taken:
        remedy = "see what predict says of it, and mend that first"
        raise InputError([Fault(way.unit.path, None, way.unit.name, found.outcome, "a unit that can be read", remedy)])
    return found


def find_target_path(target: str) -> str:
    """Where a scenario gives a target: both drops by one field."""
    return f"{TARGET_PREFIX}{'drop' if target == 'drop_at_bottom' else target}"


def _find_missed_targets(taken: Mapping[str, NamedReading], asked: Mapping[str, float]) -> list[str]:
    read = {target: taken[target].value for target in asked}
    return [t for t, si in read.items() if si is None or abs(si - asked[t]) > get_met_tolerance(t)]


def _choose_targets(origin: BaseScenario) -> dict[str, float]:
    targets = dict(origin.loaded.targets)
    if {"blow", "dip"} <= targets.keys():
        targets.pop("aftertouch", None)  # these leave no choice of it
    read = list_readings(take_readings(origin.ready, "predict"))
    for name in DEFAULT_TARGETS:
        if choose_screw(name, targets).path in {choose_screw(t, targets).path for t in targets}:
            continue
        found = read[name].value
        if found is None:
            remedy = "regulate it first, or leave its screws where they are: --screws held"
            said = name.replace("_", " ")
            raise InputError([Fault("--screws", None, said, "cannot be read", "a unit that can be regulated", remedy)])
        targets[name] = found
    return targets


def _catch_failures(read: Callable[[], Prediction | str]) -> StudyPoint:
    try:
        found = read()
    except NoUnitError as error:
        return StudyPoint(f"{Outcome.REFUSED}: {error.faults[0].remedy}", {})
    except UnitError as error:
        return StudyPoint(f"{Outcome.NOT_FOLLOWED}: {error.name}", {})
    return StudyPoint(found, {}) if isinstance(found, str) else StudyPoint(found.outcome, list_readings(found))
