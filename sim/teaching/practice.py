"""One attempt at an exercise: a plain list of moves, from which everything else follows."""

from __future__ import annotations

import math
import zlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from typing import Literal

import numpy as np

from sim.diagnosis.bench_tests import BenchTest, Symptoms, Word, list_unit_tests, try_symptoms
from sim.diagnosis.faults import load_faults
from sim.diagnosis.hidden_faults import simulate_bench_reading
from sim.diagnosis.inference import Evidence
from sim.diagnosis.next_test import TAKE_OUT_SECONDS
from sim.display_units import convert_si, format_si, format_unit
from sim.errors import Fault, InputError, UnitError
from sim.fields.field_paths import suggest_name
from sim.fields.untrusted_text import make_input_error
from sim.teaching.adjustments import Adjustment, load_adjustments
from sim.teaching.exercise import Exercise, prepare_bench
from sim.unit.model import ActionUnit

CACHE_SIZE = 64
MOST_MOVES = 400
"""Moves of one attempt; the longest sensible one has some eighty."""

Kind = Literal["take", "mend", "cause"]
Repairs = tuple[tuple[str, float], ...]
"""Hands and what they were put at or turned by (SI), in their order."""


@dataclass(frozen=True)
class Move:
    """A reading taken, a hand put at a value (SI), or a cause named."""

    kind: Kind
    name: str
    value: float = 0.0

    def __str__(self) -> str:
        if self.kind != "mend":
            return f"{self.kind} {self.name}"
        unit = load_adjustments()[self.name].unit
        return f"mend {self.name}={convert_si(self.value, unit):.9g} {format_unit(unit)}".rstrip()


def take_reading(name: str) -> Move:
    return Move("take", name)


def name_cause(name: str) -> Move:
    return Move("cause", name)


def make_repair(at: str, typed: str | float) -> Move:
    """A hand put at a value as typed, or in SI.  Raises InputError."""
    hand = load_adjustments().get(at)
    if hand is None:
        hint = suggest_name(at, load_adjustments())
        raise make_input_error("practice", "mend", at, hint.allowed, hint.remedy)
    if not isinstance(typed, str):
        return Move("mend", at, typed)
    try:
        return Move("mend", at, hand.read(typed))
    except InputError as error:
        raise InputError([replace(fault, file="practice") for fault in error.faults]) from None


def parse_move(text: str) -> Move:
    """A move as it is written: ``take NAME``, ``mend AT=VALUE``, ``cause NAME``.  Raises InputError."""
    kind, _, rest = text.strip().partition(" ")
    at, is_given, typed = rest.partition("=")
    if kind == "mend" and is_given:
        return make_repair(at.strip(), typed.strip())
    if kind in ("take", "cause") and rest:
        return Move("take" if kind == "take" else "cause", rest.strip())
    allowed = "take NAME, mend AT=VALUE, or cause NAME"
    raise make_input_error("practice", "move", text, allowed, "write it as one of these")


@dataclass(frozen=True)
class Taken:
    """What one reading gave: a number (SI, as a bench reads it), a word, or neither where it cannot be taken."""

    test: BenchTest
    value: float | None = None
    word: str = ""
    times: int = 1
    """Readings of which it is the mean."""
    seen: tuple[str, str] | None = None
    """Test and word that show themselves while it is taken."""

    def format_value(self, inches: bool = False) -> str:
        if self.word:
            return self.word
        if self.value is not None:
            return format_si(self.value, self.test.unit, inches)
        return f"cannot be taken: {self.seen[1]}" if self.seen else "cannot be taken"


@dataclass(frozen=True)
class NotebookLine:
    """A move with what it cost, all told so far (seconds), and what it gave; ``stage`` counts the mends before."""

    move: Move
    seconds: float
    so_far: float
    stage: int
    out: bool
    """The action is out afterwards."""
    taken: Taken | None = None


@dataclass(frozen=True)
class Attempt:
    """An exercise and the moves made so far."""

    exercise: Exercise
    moves: tuple[Move, ...] = ()

    def then(self, *moves: Move) -> Attempt:
        """With more moves.  Raises InputError for one that cannot be made."""
        made = self
        for move in moves:
            made._look_at(move)
            made = replace(made, moves=(*made.moves, move))
        return made

    def _look_at(self, move: Move) -> None:
        known: Mapping[str, object]
        if move.kind == "take":
            known = self.tests
        elif move.kind == "cause":
            known = self.causes
        else:
            known = self.adjustments
        if move.name not in known:
            hint = suggest_name(move.name, known)
            raise make_input_error("practice", move.kind, move.name, hint.allowed, hint.remedy)
        if len(self.moves) >= MOST_MOVES:
            remedy = "hand in, or begin anew"
            raise InputError([Fault("practice", None, "moves", str(len(self.moves) + 1), f"{MOST_MOVES}", remedy)])
        if move.kind == "mend":
            try:
                build_repaired_unit(self.exercise, (*self.repairs, (move.name, move.value)))
            except UnitError as error:
                remedy = "a smaller change, or another cause"
                fault = Fault("practice", None, f"mend {move.name}", str(error), "what the parts allow", remedy)
                raise InputError([fault]) from None

    @cached_property
    def tests(self) -> dict[str, BenchTest]:
        """Readings that can be taken."""
        return list_unit_tests(prepare_bench(self.exercise).sound)

    @cached_property
    def adjustments(self) -> dict[str, Adjustment]:
        """What can be changed."""
        sound = prepare_bench(self.exercise).sound
        return {at: hand for at, hand in load_adjustments().items() if hand.of(sound)}

    @cached_property
    def causes(self) -> dict[str, str]:
        """What may be named, with titles."""
        sound = prepare_bench(self.exercise).sound
        return {n: f.title for n, f in load_faults().items() if f.of(sound)}

    @cached_property
    def lines(self) -> tuple[NotebookLine, ...]:
        """The notebook."""
        lines: list[NotebookLine] = []
        total, out = 0.0, False
        mends: Repairs = ()
        times: dict[str, int] = {}
        for move in self.moves:
            stage, taken = len(mends), None
            seconds = self.cost(move, out)
            if move.kind == "take":
                taken = simulate_reading(self.exercise, mends, self.tests[move.name], times.get(move.name, 0))
                times[move.name] = times.get(move.name, 0) + 1
                out = taken.test.out
            elif move.kind == "mend":
                mends, out = (*mends, (move.name, move.value)), False
            total += seconds
            lines.append(NotebookLine(move, seconds, total, stage, out, taken))
        return tuple(lines)

    def cost(self, move: Move, out: bool | None = None) -> float:
        """Seconds of a move now, or with the action ``out``; a reading in the action puts it back, as a mend does."""
        if move.kind == "cause":
            return 0.0
        if move.kind == "mend":
            return self.adjustments[move.name].seconds
        test = self.tests[move.name]
        return test.seconds + (TAKE_OUT_SECONDS if test.out and not (self.out if out is None else out) else 0.0)

    @property
    def seconds(self) -> float:
        return self.lines[-1].so_far if self.lines else 0.0

    @property
    def reading_seconds(self) -> float:
        """Of it, what was spent on reading."""
        return sum(line.seconds for line in self.lines if line.move.kind == "take")

    @property
    def out(self) -> bool:
        return self.lines[-1].out if self.lines else False

    @property
    def repairs(self) -> Repairs:
        return tuple((m.name, m.value) for m in self.moves if m.kind == "mend")

    @property
    def stage(self) -> int:
        return len(self.repairs)

    @property
    def named(self) -> tuple[str, ...]:
        """Causes named, each once."""
        return tuple(dict.fromkeys(m.name for m in self.moves if m.kind == "cause"))

    @property
    def unit(self) -> ActionUnit:
        """As it stands now."""
        return build_repaired_unit(self.exercise, self.repairs)

    @property
    def found(self) -> Symptoms | None:
        """All that it reads now, without the bench's noise: for marking alone."""
        return read_repaired_unit(self.exercise, self.repairs)

    def taken(self, stage: int | None = None) -> dict[str, Taken]:
        """Readings taken at a stage (default: since the last mend); the mean of those taken more than once."""
        at = self.stage if stage is None else stage
        all_: dict[str, list[Taken]] = {}
        for line in self.lines:
            if line.taken is not None and line.stage == at:
                all_.setdefault(line.move.name, []).append(line.taken)
        return {name: average_taken(taken) for name, taken in all_.items()}

    def evidence(self, stage: int | None = None) -> Evidence:
        """The same as a diagnosis takes it."""
        return build_observations(self.taken(stage))


def average_taken(taken: Sequence[Taken]) -> Taken:
    """One reading taken several times of a unit that nobody touched in between."""
    values = [t.value for t in taken if t.value is not None]
    if len(values) < 2:
        return taken[-1]
    return replace(taken[-1], value=sum(values) / len(values), times=len(values))


def build_observations(taken: Mapping[str, Taken]) -> Evidence:
    """Readings as a diagnosis takes them."""
    numbers: dict[str, float] = {}
    words: dict[str, str] = {}
    rough: dict[str, float] = {}
    for name, one in taken.items():
        if one.seen is not None:
            words.setdefault(*one.seen)
        if one.word:
            words[name] = one.word
        elif one.value is not None:
            numbers[name] = one.value / one.test.si
            if one.times > 1:
                rough[name] = 1.0 / math.sqrt(one.times)
    return Evidence(numbers, words, rough)


def make_attempt(exercise: Exercise, moves: Iterable[str | Move]) -> Attempt:
    """An attempt from its moves, written or made.  Raises InputError."""
    return Attempt(exercise).then(*(parse_move(m) if isinstance(m, str) else m for m in moves))


@lru_cache(maxsize=CACHE_SIZE)
def build_repaired_unit(exercise: Exercise, mends: Repairs) -> ActionUnit:
    """The spoiled unit after so many mends.  Raises UnitError where the parts do not allow one."""
    if not mends:
        return prepare_bench(exercise).hidden.unit
    at, value = mends[-1]
    return load_adjustments()[at].put(build_repaired_unit(exercise, mends[:-1]), value)


@lru_cache(maxsize=CACHE_SIZE)
def read_repaired_unit(exercise: Exercise, mends: Repairs) -> Symptoms | None:
    """What it reads then; None where it does not come to rest."""
    return try_symptoms(build_repaired_unit(exercise, mends)) if mends else prepare_bench(exercise).hidden.found


def simulate_reading(exercise: Exercise, mends: Repairs, test: BenchTest, times: int) -> Taken:
    """One reading; its noise hangs on the exercise, the reading and how often it was taken before."""
    found = read_repaired_unit(exercise, mends)
    if found is None:
        return Taken(test, word=Word.OTHERWISE if Word.OTHERWISE in test.words else "")
    seen = None if test.needs is None else (test.needs[0], found.words[test.needs[0]])
    if test.words:
        return Taken(test, word=found.words[test.name])
    value = found.numbers[test.name]
    if value is None or (test.needs is not None and seen != test.needs):
        return Taken(test, seen=seen if seen != test.needs else None)
    drawn_by = f"{exercise.code} {exercise.ill} {test.name}"
    random = np.random.default_rng([exercise.seed, zlib.crc32(drawn_by.encode()), times])
    return Taken(test, simulate_bench_reading(test, value, random) * test.si, seen=seen)
