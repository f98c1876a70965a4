"""The mark of an attempt: cause, cost, and whether the mended unit plays as before, each in words with its numbers."""

from __future__ import annotations

from dataclasses import dataclass

from sim.bench.outcomes import Outcome
from sim.diagnosis.bench_tests import BenchTest, Symptoms, list_bench_tests
from sim.diagnosis.faults import load_faults
from sim.diagnosis.inference import NOTICED_FROM
from sim.display_units import format_si
from sim.regulation.duration_text import format_bench_time
from sim.teaching.cheapest_path import CheapestPath, find_cheapest_path
from sim.teaching.exercise import JUMPING_READINGS, Exercise, ExerciseBench, prepare_bench
from sim.teaching.known_readings import KnownReadings
from sim.teaching.practice import Attempt


@dataclass(frozen=True)
class MarkRow:
    """One thing that was looked at."""

    what: str
    passed: bool
    words: str


@dataclass(frozen=True)
class RestoredReading:
    """One reading of the mended unit (SI, None where it cannot be taken) and the span in which it is right."""

    test: BenchTest
    now: float | None
    low: float
    high: float

    @property
    def passed(self) -> bool:
        return self.now is not None and self.low <= self.now <= self.high

    def format_line(self, inches: bool = False) -> str:
        low, high = (format_si(v, self.test.unit, inches) for v in (self.low, self.high))
        now = "cannot be taken" if self.now is None else format_si(self.now, self.test.unit, inches)
        return f"{self.test.title} {now} (right: {low} to {high})"


@dataclass(frozen=True)
class Mark:
    """What an attempt is worth.  ``cost``, ``allowed`` in seconds; ``truth`` tells each hidden fault and how bad."""

    exercise: Exercise
    passed: bool
    cost: float
    allowed: float
    rows: tuple[MarkRow, ...]
    truth: tuple[str, ...]
    backs: tuple[RestoredReading, ...]
    path: CheapestPath | None
    """The cheapest; None where no library of the unit was at hand."""


def mark_attempt(attempt: Attempt, known: KnownReadings | None = None, *, inches: bool = False) -> Mark:
    """Mark an attempt as it stands; with the library of the scenario's unit the cheapest path is told too."""
    made = prepare_bench(attempt.exercise)
    allowed = compute_allowed_seconds(attempt.exercise)
    backs = list_restored_readings(made, attempt.found)
    rows = (_cause(attempt, made), _cost(attempt, allowed), _plays(made, attempt.found), _mark_restored(backs, inches))
    truth = tuple(format_hidden_fault(name, severity, made, inches) for name, severity in made.hidden.ill)
    path = None if known is None else find_cheapest_path(attempt.exercise, known)
    return Mark(attempt.exercise, all(r.passed for r in rows), attempt.seconds, allowed, rows, truth, backs, path)


def compute_allowed_seconds(e: Exercise) -> float:
    """All that an exercise may cost: the teacher's word, or the level's readings and TURNS times the right hands.

    Known to the learner by its rule only: the number would tell which hands are the right ones.
    """
    return e.allowed_with(load_faults()[n].at for n in prepare_bench(e).hidden.names)


def format_allowed(e: Exercise) -> str:
    """The same as the learner is told it."""
    if e.allowed is not None:
        return f"{format_bench_time(e.allowed)} for everything"
    hand = "hand" if e.count == 1 else "hands"
    return f"{format_bench_time(e.reading_seconds)} for reading, and twice what the right {hand} would take"


def format_hidden_fault(name: str, severity: float, made: ExerciseBench, inches: bool = False) -> str:
    """A hidden fault and how bad it was."""
    fault = load_faults()[name]
    return f"{fault.title}, {fault.magnitude(severity, inches)}"


def list_restored_readings(made: ExerciseBench, found: Symptoms | None) -> tuple[RestoredReading, ...]:
    """The readings in the action, and where they are right.

    That is from what this unit read before it was spoiled to what the scenario says it should
    read, the only thing a learner can set it to, and on either side FELT accuracies: from
    there on a difference counts as a fault that is felt.  LEAPING readings tell nothing either way.
    """
    backs = []
    for name, test in list_bench_tests().items():
        was, right = (s.numbers.get(name) for s in (made.before, made.right))
        if test.first and not test.words and name not in JUMPING_READINGS and was is not None and right is not None:
            now = None if found is None else found.numbers[name]
            low, high = min(was, right) - NOTICED_FROM * test.si, max(was, right) + NOTICED_FROM * test.si
            backs.append(RestoredReading(test, now, low, high))
    return tuple(backs)


def _cause(attempt: Attempt, made: ExerciseBench) -> MarkRow:
    named, ill = attempt.named, made.hidden.names
    titles = " and ".join(attempt.causes[n] for n in named) or "nothing"
    truth = " and ".join(attempt.causes[n] for n in ill)
    if set(named) == set(ill):
        return MarkRow("cause", True, f"Right: {truth}.")
    found = set(named) & set(ill)
    half = f" {' and '.join(attempt.causes[n] for n in found)} was right." if found else ""
    return MarkRow("cause", False, f"You named {titles}; it was {truth}.{half}")


def _cost(attempt: Attempt, allowed: float) -> MarkRow:
    by = {kind: sum(line.seconds for line in attempt.lines if line.move.kind == kind) for kind in ("take", "mend")}
    words = (
        f"{format_bench_time(attempt.seconds)} of {format_bench_time(allowed)} allowed: "
        f"{format_bench_time(by['take'])} reading, "
    )
    return MarkRow("cost", attempt.seconds <= allowed, f"{words}{format_bench_time(by['mend'])} mending.")


def _plays(made: ExerciseBench, found: Symptoms | None) -> MarkRow:
    if found is None:
        return MarkRow("plays", False, "The unit does not come to rest.")
    off = [
        f"{test.title}: {found.words[name]}"
        for name, test in list_bench_tests().items()
        if test.first and test.words and found.words[name] not in (made.before.words[name], made.right.words[name])
    ]
    if off:
        return MarkRow("plays", False, f"It does not play as it should: {'; '.join(off)}.")
    return MarkRow("plays", True, f"Pressed slowly it {Outcome.PLAYS}, is caught and comes home as before.")


def _mark_restored(backs: tuple[RestoredReading, ...], inches: bool) -> MarkRow:
    off = [b.format_line(inches) for b in backs if not b.passed]
    if off:
        return MarkRow(
            "readings", False, f"{len(off)} of {len(backs)} readings in the action are off: {'; '.join(off)}."
        )
    return MarkRow("readings", True, f"All {len(backs)} readings in the action are back.")
