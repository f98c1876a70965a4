"""What a learner did, and what the simulation says to it: foretold against seen, and a task's result."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

from sim.diagnosis.bench_tests import Sight
from sim.display_units import UNITS, format_si
from sim.errors import Fault, InputError, QuantityError
from sim.regulation.set_up import set_up
from sim.scenario.load import load
from sim.scenario.shipped import scenario_path
from sim.teaching.adjustments import Hand, hands
from sim.teaching.lesson import ABSENT, Claim, Foretell, Lesson, Wanted, way_of
from sim.teaching.plain_typing import plain
from sim.teaching.probes import Seen, look, sights
from sim.unit.model import ActionUnit
from sim.units import parse

NEAR = 0.1
"""A number foretold within this share of what comes is right, or within half of what a bench tells. Our convention."""


@cache
def unit_of(lesson: Lesson) -> ActionUnit:
    """The unit that a lesson speaks of, as it should be."""
    return set_up(load(scenario_path(lesson.scenario)))


def begun(lesson: Lesson) -> ActionUnit:
    """The unit as a task hands it over."""
    return lesson.task.start.on(unit_of(lesson))


def turned(lesson: Lesson, values: Mapping[str, float]) -> ActionUnit:
    """The task's unit with hands at values (SI); a hand not named stays.  Raises InputError for one of no use here."""
    unit = begun(lesson)
    for at, value in values.items():
        if at not in lesson.task.hands:
            allowed = ", ".join(lesson.task.hands)
            raise InputError([Fault("lesson", None, "hand", at[:40], allowed, "this lesson is done with these")])
        unit = hands()[at].put(unit, value)
    return unit


def hands_of(lesson: Lesson) -> dict[Hand, float]:
    """The task's hands, and where each stands when it begins (SI)."""
    unit = begun(lesson)
    return {hands()[at]: hands()[at].now(unit) for at in lesson.task.hands}


def stands(lesson: Lesson, hand: Hand, now: float, inches: bool = False) -> str:
    """Where a hand stands, in words; of several that are told as themselves nothing, since it would give away which."""
    if hand.relative:
        return f"at {format_si(0.0, hand.unit, inches)}"
    return f"at {format_si(now, hand.unit, inches)}" if len(lesson.task.hands) == 1 else "as found"


@dataclass(frozen=True)
class Row:
    """One reading of a task: what was wanted, what came out."""

    wanted: Wanted
    asked: str
    seen: str
    met: bool


@dataclass(frozen=True)
class Result:
    """What a try came to: every reading that was wanted, and words about this very result."""

    rows: tuple[Row, ...]
    words: tuple[str, ...]

    @property
    def done(self) -> bool:
        return all(row.met for row in self.rows)


def result(lesson: Lesson, values: Mapping[str, float], inches: bool = False) -> Result:
    """Try a task with the hands at these values (SI).  Raises InputError."""
    seen = look(turned(lesson, values), reads_of(lesson))
    rows = tuple(Row(w, w.told(inches), told(seen, w.read, inches), w.met(seen)) for w in lesson.task.want)
    words = tuple(filled(f.say, seen, inches) for f in lesson.task.feedback if f.when.met(seen))
    return Result(rows, words)


def reads_of(lesson: Lesson) -> set[str]:
    """Every reading that a task's result needs."""
    wanted = [*lesson.task.want, *(f.when for f in lesson.task.feedback)]
    words = {name for f in lesson.task.feedback for name in sights() if f"{{{name}}}" in f.say}
    return {name for w in wanted for name in w.reads} | words


def told(seen: Seen, name: str, inches: bool = False) -> str:
    """One reading in words."""
    value = seen.values[name]
    if value is None or isinstance(value, str):
        return value or ABSENT
    return format_si(value, sights()[name].unit, inches)


def filled(say: str, seen: Seen, inches: bool = False) -> str:
    """Words with what was read in place of each {reading}."""
    for name in seen.values:
        say = say.replace(f"{{{name}}}", told(seen, name, inches))
    return say


def near(question: Foretell, value: float) -> float:
    """How far off a number may be foretold and still be right, where ``value`` comes (SI)."""
    return max(0.5 * sights()[question.read].si, NEAR * abs(value))


def judged(question: Foretell, inches: bool = False) -> str:
    """What counts as right, told before anything is said; nothing where a word is chosen."""
    sight = sights()[question.read]
    if question.number:
        share = f"{100 * NEAR:.0f} %"
        return f"It counts as right within {share} of what comes, and always within {told_close(sight, 0.5, inches)}."
    return "" if question.words else f"“Stays” means: it moves by less than {told_close(sight, 1.0, inches)}."


def told_close(sight: Sight, share: float, inches: bool) -> str:
    """A share of what a bench tells of a reading, in words."""
    return format_si(share * sight.si, sight.unit, inches)


@dataclass(frozen=True)
class Foretold:
    """What was said beforehand, what came, and how far off it was."""

    right: bool
    said: str
    came: str
    before: str
    after: str
    far: str
    """For a number: how far off it was."""


def foretold(lesson: Lesson, question: Foretell, said: str, inches: bool = False) -> Foretold:
    """What came of a question, beside what was said (a word of its answers, or a value).  Raises InputError."""
    was = question.given.on(unit_of(lesson))
    now = question.change.on(was)
    before, after = (look(u, [question.read]) for u in (was, now))
    b, a = (told(s, question.read, inches) for s in (before, after))
    value = after.values[question.read]
    if question.number:
        number = said_number(question, said)
        sight = sights()[question.read]
        if not isinstance(value, float):
            return Foretold(False, said, ABSENT, b, a, "")
        off = number - value
        far = format_si(off, sight.unit, inches, sign="+")
        return Foretold(abs(off) <= near(question, value), said, a, b, a, far)
    if said not in question.answers:
        raise InputError(
            [Fault("lesson", None, "answer", said[:40], ", ".join(question.answers), "choose one of these")]
        )
    if question.words:
        came = str(value)
    else:
        first = before.number(question.read)
        came = ABSENT if first is None or not isinstance(value, float) else way_of(question.read, first, value)
    return Foretold(said == came, said, came, b, a, "")


def said_number(question: Foretell, said: str) -> float:
    """A number as it was typed (SI).  Raises InputError."""
    dimension = UNITS[sights()[question.read].unit][1]
    try:
        return parse(said, dimension)
    except QuantityError as error:
        title, allowed = sights()[question.read].title, f"a quantity such as {plain(dimension.example)}"
        raise InputError([Fault("lesson", None, title, said[:40], allowed, plain(error.remedy))]) from None


def checked(unit: ActionUnit, claim: Claim, inches: bool = False) -> dict[str, str]:
    """A sentence's claim beside what the simulation says: a row of a table."""
    was, now = claim.seen(unit)
    said = claim.wanted.told(inches) if claim.wanted is not None else claim.way
    return {
        "done": "; ".join(turn_told(t, inches) for t in claim.change.turns) or "nothing",
        "reading": sights()[claim.read].title,
        "before": told(was, claim.read, inches) if claim.change.turns else "",
        "after": told(now, claim.read, inches),
        "said": said,
        "holds": "yes" if claim.fits(was, now) else "no",
    }


def turn_told(turn: tuple[str, float, bool], inches: bool = False) -> str:
    """One hand's change in words."""
    at, value, share = turn
    hand = hands()[at]
    told_as = (
        f"{100 * value:.0f} %" if share else format_si(value, hand.unit, inches, sign="+" if hand.relative else "")
    )
    return f"{hand.title} {told_as}"
