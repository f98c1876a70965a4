"""Two units side by side: what differs, whether a bench would see it, and which changed input carries it."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import partial

from sim.bench.outcomes import Outcome
from sim.bench.reading_list import NamedReading, list_readings, take_readings
from sim.bench.readings import Prediction
from sim.display_units import convert_si
from sim.errors import InputError, UnitError
from sim.fields.field_paths import find_kind
from sim.parallel import run_on_all_cores
from sim.studies.variants import BaseScenario, format_input
from sim.unit.model import ActionUnit

Progress = Callable[[float, str], None]

EQUALITY_TOLERANCE = 1e-9
"""Two values of an input are the same within this share."""


@dataclass(frozen=True, slots=True)
class ReadingDifference:
    """One reading of both units (SI)."""

    reading: NamedReading
    a: float | None
    b: float | None

    @property
    def difference(self) -> float | None:
        """B less A; None where one of them could not be read."""
        return None if self.a is None or self.b is None else self.b - self.a

    @property
    def exceeds(self) -> bool | None:
        """Whether a bench would see it; None where that is not known.

        A reading that only one of the two units gives differs for certain.
        """
        if (self.a is None) != (self.b is None):
            return True
        if self.difference is None or self.reading.accuracy is None:
            return None
        found = convert_si(abs(self.difference), self.reading.unit)
        return found is not None and found > self.reading.accuracy


@dataclass(frozen=True, slots=True)
class InputDifference:
    """One input that differs: its value in A and in B (SI), and the overrides that make A's into B's."""

    name: str
    a: float | None
    b: float | None
    overrides: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class ChangeEffect:
    """What A becomes with some inputs changed: the outcome, and each reading's change (SI)."""

    outcome: str
    effect: Mapping[str, float]


@dataclass(frozen=True)
class Comparison:
    """The whole comparison."""

    a: Prediction
    b: Prediction
    units: tuple[ActionUnit, ActionUnit]
    lines: tuple[ReadingDifference, ...]
    changes: tuple[InputDifference, ...]
    alone: tuple[ChangeEffect, ...]
    """Each change by itself, in the order of ``changes``."""
    together: ChangeEffect

    def shares(self, reading: str) -> list[tuple[InputDifference, float]]:
        """What each change alone does to a reading (SI), the greatest first."""
        found = [
            (change, one.effect[reading])
            for change, one in zip(self.changes, self.alone, strict=True)
            if one.effect.get(reading)
        ]
        return sorted(found, key=lambda pair: -abs(pair[1]))

    def interaction(self, reading: str) -> float | None:
        """All changes together less the sum of each alone; None where one of them could not be read."""
        if reading not in self.together.effect or any(reading not in one.effect for one in self.alone):
            return None
        return self.together.effect[reading] - sum(one.effect[reading] for one in self.alone)

    def elsewhere(self, line: ReadingDifference) -> float | None:
        """What of the difference no single field carries (leads, a damper left out, raw points)."""
        if line.difference is None or line.reading.name not in self.together.effect:
            return None
        return line.difference - self.together.effect[line.reading.name]


def compare_units(
    a: BaseScenario, b: BaseScenario, *, repetition: bool = True, progress: Progress | None = None
) -> Comparison:
    """Compare two units, each set up for its own targets.

    Raises InputError for an input that makes no sense, SimulationError when one of the
    two cannot be followed.
    """
    kind = "repeat" if repetition else "predict"
    units = a.ready, b.ready
    changes = tuple(find_input_differences(a, b))
    jobs: list[Mapping[str, str]] = [c.overrides for c in changes]
    jobs.append({p: text for c in changes for p, text in c.overrides.items()})
    reading: list[Callable[[], Prediction | str]] = [partial(take_readings, unit, kind) for unit in units]
    reading += [partial(_read_variant, a, overrides, kind) for overrides in jobs]
    first, second, *done = run_on_all_cores(
        reading, progress, lambda number: "each change alone" if number > 1 else "both"
    )
    assert not isinstance(first, str) and not isinstance(second, str)  # a unit that stands is read, or raises
    before, after = list_readings(first), list_readings(second)
    lines = tuple(_compare_reading(name, before, after) for name in dict.fromkeys((*before, *after)))
    *alone, together = (_measure_effect(before, found) for found in done)
    return Comparison(first, second, units, lines, changes, tuple(alone), together)


def _read_variant(a: BaseScenario, overrides: Mapping[str, str], kind: str) -> Prediction | str:
    try:
        return take_readings(a.set_up_with(overrides), kind)
    except InputError as error:
        fault = error.faults[0]
        return f"{Outcome.REFUSED}: {fault.field} = {fault.value}; allowed: {fault.allowed}"
    except UnitError as error:
        return f"{Outcome.NOT_FOLLOWED}: {error.name}"


def _measure_effect(before: Mapping[str, NamedReading], found: Prediction | str) -> ChangeEffect:
    if isinstance(found, str):
        return ChangeEffect(found, {})
    effect = {}
    for name, taken in list_readings(found).items():
        first = before[name].value if name in before else None
        if taken.value is not None and first is not None:
            effect[name] = taken.value - first
    return ChangeEffect(found.outcome, effect)


def _compare_reading(
    name: str, before: Mapping[str, NamedReading], after: Mapping[str, NamedReading]
) -> ReadingDifference:
    one, other = before.get(name), after.get(name)
    known = one or other
    assert known is not None  # the name comes from one of the two
    return ReadingDifference(known, one.value if one else None, other.value if other else None)


def find_input_differences(a: BaseScenario, b: BaseScenario) -> Iterator[InputDifference]:
    """The inputs that differ, each with what would make A's into B's."""
    one, other = a.loaded, b.loaded
    if one.key.sharp != other.key.sharp:
        yield InputDifference("key.sharp", None, None, {"key.sharp": str(other.key.sharp).lower()})
    if one.hammer.shank_bends != other.hammer.shank_bends:
        yield InputDifference(
            "hammer.shank_bends", None, None, {"hammer.shank_bends": str(other.hammer.shank_bends).lower()}
        )
    found = {p: si for p, si in other.nominal.items() if find_kind(p) and _has_difference(one.nominal.get(p), si)}
    whole = {p: other.nominal[p] for p in other.nominal if p.startswith("damper.") or p == "settings.damper"}
    if whole and one.damper is None:
        yield InputDifference("damper", None, None, {p: format_input(p, si, other) for p, si in whole.items()})
        found = {p: si for p, si in found.items() if p not in whole}
    for path, si in found.items():
        contact, _, name = path.rpartition(".")
        stiffness = f"{contact}.stiffness"
        if name != "exponent" or stiffness not in other.nominal:
            yield InputDifference(path, one.nominal.get(path), si, {path: format_input(path, si, other)})
        elif stiffness not in found:  # else the stiffness brings its exponent along, in its unit
            told = format_input(stiffness, other.nominal[stiffness], other)
            yield InputDifference(path, one.nominal.get(path), si, {stiffness: told})


def _has_difference(a: float | None, b: float) -> bool:
    return a is None or abs(a - b) > EQUALITY_TOLERANCE * max(abs(a), abs(b))
