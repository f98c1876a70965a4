"""Lessons (shared/lessons): text whose claims the simulation can test, something to foretell, something to do."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from types import MappingProxyType

from sim.diagnosis.bench_tests import ReadableQuantity
from sim.display_units import UNITS, format_si
from sim.fields.catalogue import load_catalogue
from sim.shared_files import find_shared_folder
from sim.teaching.adjustments import load_adjustments
from sim.teaching.lesson_rows import ClaimRow, ForetellRow, LessonRow, WantRow
from sim.teaching.probes import Seen, load_sights, probe_unit
from sim.unit.model import ActionUnit
from sim.units import parse_quantity

CHANGE_WORDS = ("grows", "shrinks", "stays")
"""What a reading may do; it stays within what a bench can tell."""
CANNOT_BE_READ = "cannot be read"


@dataclass(frozen=True)
class Change:
    """Hands and how far each is turned: a value (SI), or a share of what is there."""

    turns: tuple[tuple[str, float, bool], ...] = ()

    def on(self, unit: ActionUnit) -> ActionUnit:
        """The unit with it.  Raises UnitError where a hand does not reach."""
        for at, value, share in self.turns:
            hand = load_adjustments()[at]
            unit = hand.put(unit, value * hand.now(unit) if share else value)
        return unit


@dataclass(frozen=True)
class Wanted:
    """What a reading has to be: between ``low`` and ``high`` (SI), a word, or less than another reading."""

    read: str
    low: float = -math.inf
    high: float = math.inf
    word: str = ""
    before: str = ""

    @property
    def sight(self) -> ReadableQuantity:
        return load_sights()[self.read]

    @property
    def reads(self) -> tuple[str, ...]:
        return (self.read, self.before) if self.before else (self.read,)

    def met(self, seen: Seen) -> bool:
        """Whether what was seen is that."""
        value = seen.values[self.read]
        if self.word:
            return (CANNOT_BE_READ if value is None else value) == self.word
        if not isinstance(value, float):
            return False
        other = seen.number(self.before) if self.before else None
        if self.before:
            return other is not None and value < other
        return self.low <= value <= self.high

    def format_target(self, inches: bool = False) -> str:
        """It in words."""
        if self.word:
            return self.word
        if self.before:
            return f"less than {load_sights()[self.before].title}"
        ends = [format_si(v, self.sight.unit, inches) for v in (self.low, self.high)]
        if not math.isfinite(self.low):
            return f"at most {ends[1]}"
        return f"at least {ends[0]}" if not math.isfinite(self.high) else f"{ends[0]} to {ends[1]}"


@dataclass(frozen=True)
class Claim:
    """One sentence of cause and effect: after ``change`` a reading does something, by so much, or is something."""

    change: Change
    read: str
    way: str = ""
    least: float = 0.0
    most: float = math.inf
    wanted: Wanted | None = None
    given: Change = Change()
    """What was done before it."""

    @property
    def reads(self) -> tuple[str, ...]:
        return self.wanted.reads if self.wanted is not None else (self.read,)

    def seen(self, unit: ActionUnit) -> tuple[Seen, Seen]:
        """What is read before the change and after it; the same where nothing is changed."""
        before = self.given.on(unit)
        first = probe_unit(before, self.reads)
        return first, probe_unit(self.change.on(before), self.reads) if self.change.turns else first

    def holds(self, unit: ActionUnit) -> bool:
        """Whether the simulation does what it says."""
        if self.wanted is not None:  # what was before does not matter, and need not be run
            return self.wanted.met(probe_unit(self.change.on(self.given.on(unit)), self.reads))
        return self.fits(*self.seen(unit))

    def fits(self, before: Seen, after: Seen) -> bool:
        """Whether a reading did what it says, or is what it says, from one look to the next."""
        if self.wanted is not None:
            return self.wanted.met(after)
        was, now = before.number(self.read), after.number(self.read)
        if was is None or now is None:
            return False
        return classify_change(self.read, was, now) == self.way and self.least <= abs(now - was) <= self.most


def classify_change(read: str, was: float, now: float) -> str:
    """What a reading did: one of WAYS."""
    if abs(now - was) < load_sights()[read].si:
        return "stays"
    return "grows" if now > was else "shrinks"


@dataclass(frozen=True)
class Paragraph:
    """One paragraph."""

    say: str
    claims: tuple[Claim, ...]
    plain: bool


@dataclass(frozen=True)
class PredictQuestion:
    """Something to foretell: what a reading will do, or its value (``number``), after a change; then it is shown."""

    ask: str
    given: Change
    change: Change
    read: str
    number: bool
    words: tuple[str, ...]
    show: str
    because: str
    claims: tuple[Claim, ...]
    """What ``because`` claims."""

    @property
    def answers(self) -> tuple[str, ...]:
        """What can be chosen; nothing where a number is asked."""
        return () if self.number else self.words or CHANGE_WORDS


@dataclass(frozen=True)
class Feedback:
    when: Wanted
    say: str


@dataclass(frozen=True)
class Task:
    """Something to bring about by doing."""

    say: str
    start: Change
    adjustments: tuple[str, ...]
    want: tuple[Wanted, ...]
    feedback: tuple[Feedback, ...]
    show: str


@dataclass(frozen=True)
class Lesson:
    name: str
    title: str
    goal: str
    scenario: str
    look_at: tuple[str, ...]
    """Readings that stand beside the picture."""
    parts: tuple[Paragraph, ...]
    prediction_questions: tuple[PredictQuestion, ...]
    task: Task

    @property
    def afterwards(self) -> str:
        """The goal as the end of a sentence."""
        return f"{self.goal[:1].lower()}{self.goal[1:]}"


@cache
def load_lessons() -> Mapping[str, Lesson]:
    """All of them by name, in their order."""
    files = sorted((find_shared_folder() / "lessons").glob("*.toml"))
    return MappingProxyType({get_lesson_name(f): _lesson(f) for f in files})


def get_lesson_name(file: Path) -> str:
    """A lesson's name: the file's without its number."""
    return file.stem.partition("-")[2]


def _lesson(file: Path) -> Lesson:
    row = load_catalogue(f"lessons/{file.name}", LessonRow)
    parts = tuple(Paragraph(p.say, tuple(map(_claim, p.claim)), p.plain) for p in row.part)
    task = Task(
        row.task.say,
        _change(row.task.start),
        row.task.hands,
        tuple(map(_wanted, row.task.want)),
        tuple(Feedback(_wanted(f.when), f.say) for f in row.task.feedback),
        row.task.show,
    )
    foretold = tuple(map(_parse_question, row.foretell))
    return Lesson(get_lesson_name(file), row.title, row.goal, row.scenario, row.look_at, parts, foretold, task)


def _parse_question(row: ForetellRow) -> PredictQuestion:
    return PredictQuestion(
        row.ask, _change(row.given), _change(row.change), row.read, row.number, load_sights()[row.read].words, row.show,
        row.because, tuple(map(_claim, row.claim)),
    )  # fmt: skip


def _claim(row: ClaimRow) -> Claim:
    change, given = _change(row.change), _change(row.given)
    if row.does is None:
        return Claim(change, row.read, wanted=_wanted(row), given=given)
    unit = load_sights()[row.read].unit
    least, most = _size(row.least, unit, 0.0), _size(row.most, unit, math.inf)
    return Claim(change, row.read, row.does, least, most, given=given)


def _wanted(row: WantRow) -> Wanted:
    unit = load_sights()[row.read].unit
    return Wanted(row.read, _size(row.low, unit, -math.inf), _size(row.high, unit, math.inf), row.word, row.before)


def _size(text: str | None, unit: str, otherwise: float) -> float:
    return otherwise if text is None else parse_quantity(text, UNITS[unit].dimension)


def _change(row: Mapping[str, str]) -> Change:
    return Change(tuple(_turn(at, text) for at, text in row.items()))


def _turn(at: str, text: str) -> tuple[str, float, bool]:
    hand = load_adjustments()[at]
    if text.endswith("%"):
        return at, float(text.removesuffix("%")) / 100, True
    return at, parse_quantity(text, UNITS[hand.unit].dimension), False
