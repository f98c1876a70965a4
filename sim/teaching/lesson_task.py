"""What a learner did, and what the simulation says to it: foretold against seen, and a task's result."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

from sim.diagnosis.bench_tests import ReadableQuantity
from sim.display_units import UNITS, format_si
from sim.errors import Fault, InputError, QuantityError
from sim.regulation.set_up import set_up
from sim.scenario.load import load
from sim.scenario.shipped import find_scenario
from sim.teaching.adjustments import Adjustment, load_adjustments
from sim.teaching.lesson import CANNOT_BE_READ, Claim, Lesson, PredictQuestion, Wanted, classify_change
from sim.teaching.plain_typing import replace_symbols
from sim.teaching.probes import Seen, load_sights, probe_unit
from sim.unit.model import ActionUnit
from sim.units import parse_quantity

ANSWER_SHARE = 0.1
"""A number foretold within this share of what comes is right, or within half of what a bench tells. Our convention."""


@cache
def load_lesson_unit(lesson: Lesson) -> ActionUnit:
    """The unit that a lesson speaks of, as it should be."""
    return set_up(load(find_scenario(lesson.scenario)))


def build_task_unit(lesson: Lesson) -> ActionUnit:
    """The unit as a task hands it over."""
    return lesson.task.start.on(load_lesson_unit(lesson))


def apply_turns(lesson: Lesson, values: Mapping[str, float]) -> ActionUnit:
    """The task's unit with hands at values (SI); a hand not named stays.  Raises InputError for one of no use here."""
    unit = build_task_unit(lesson)
    for at, value in values.items():
        if at not in lesson.task.adjustments:
            allowed = ", ".join(lesson.task.adjustments)
            raise InputError([Fault("lesson", None, "hand", at[:40], allowed, "this lesson is done with these")])
        unit = load_adjustments()[at].put(unit, value)
    return unit


def list_task_adjustments(lesson: Lesson) -> dict[Adjustment, float]:
    """The task's hands, and where each stands when it begins (SI)."""
    unit = build_task_unit(lesson)
    return {load_adjustments()[at]: load_adjustments()[at].now(unit) for at in lesson.task.adjustments}


def format_adjustment_place(lesson: Lesson, hand: Adjustment, now: float, inches: bool = False) -> str:
    """Where a hand stands, in words; of several that are told as themselves nothing, since it would give away which."""
    if hand.relative:
        return f"at {format_si(0.0, hand.unit, inches)}"
    return f"at {format_si(now, hand.unit, inches)}" if len(lesson.task.adjustments) == 1 else "as found"


@dataclass(frozen=True)
class ResultRow:
    """One reading of a task: what was wanted, what came out."""

    wanted: Wanted
    asked: str
    seen: str
    met: bool


@dataclass(frozen=True)
class TaskResult:
    """What a try came to: every reading that was wanted, and words about this very result."""

    rows: tuple[ResultRow, ...]
    words: tuple[str, ...]

    @property
    def done(self) -> bool:
        return all(row.met for row in self.rows)


def judge_task(lesson: Lesson, values: Mapping[str, float], inches: bool = False) -> TaskResult:
    """Try a task with the hands at these values (SI).  Raises InputError."""
    seen = probe_unit(apply_turns(lesson, values), list_needed_readings(lesson))
    rows = tuple(
        ResultRow(w, w.format_target(inches), format_seen(seen, w.read, inches), w.met(seen)) for w in lesson.task.want
    )
    words = tuple(fill_words(f.say, seen, inches) for f in lesson.task.feedback if f.when.met(seen))
    return TaskResult(rows, words)


def list_needed_readings(lesson: Lesson) -> set[str]:
    """Every reading that a task's result needs."""
    wanted = [*lesson.task.want, *(f.when for f in lesson.task.feedback)]
    words = {name for f in lesson.task.feedback for name in load_sights() if f"{{{name}}}" in f.say}
    return {name for w in wanted for name in w.reads} | words


def format_seen(seen: Seen, name: str, inches: bool = False) -> str:
    """One reading in words."""
    value = seen.values[name]
    if value is None or isinstance(value, str):
        return value or CANNOT_BE_READ
    return format_si(value, load_sights()[name].unit, inches)


def fill_words(say: str, seen: Seen, inches: bool = False) -> str:
    """Words with what was read in place of each {reading}."""
    for name in seen.values:
        say = say.replace(f"{{{name}}}", format_seen(seen, name, inches))
    return say


def find_answer_tolerance(question: PredictQuestion, value: float) -> float:
    """How far off a number may be foretold and still be right, where ``value`` comes (SI)."""
    return max(0.5 * load_sights()[question.read].si, ANSWER_SHARE * abs(value))


def format_answer_rule(question: PredictQuestion, inches: bool = False) -> str:
    """What counts as right, told before anything is said; nothing where a word is chosen."""
    sight = load_sights()[question.read]
    if question.number:
        share = f"{100 * ANSWER_SHARE:.0f} %"
        return (
            f"It counts as right within {share} of what comes, and always within "
            f"{format_accuracy_share(sight, 0.5, inches)}."
        )
    return (
        "" if question.words else f"“Stays” means: it moves by less than {format_accuracy_share(sight, 1.0, inches)}."
    )


def format_accuracy_share(sight: ReadableQuantity, share: float, inches: bool) -> str:
    """A share of what a bench tells of a reading, in words."""
    return format_si(share * sight.si, sight.unit, inches)


@dataclass(frozen=True)
class PredictionResult:
    """What was said beforehand, what came, and how far off it was."""

    right: bool
    said: str
    came: str
    before: str
    after: str
    far: str
    """For a number: how far off it was."""


def judge_prediction(lesson: Lesson, question: PredictQuestion, said: str, inches: bool = False) -> PredictionResult:
    """What came of a question, beside what was said (a word of its answers, or a value).  Raises InputError."""
    was = question.given.on(load_lesson_unit(lesson))
    now = question.change.on(was)
    before, after = (probe_unit(u, [question.read]) for u in (was, now))
    b, a = (format_seen(s, question.read, inches) for s in (before, after))
    value = after.values[question.read]
    if question.number:
        number = parse_said_number(question, said)
        sight = load_sights()[question.read]
        if not isinstance(value, float):
            return PredictionResult(False, said, CANNOT_BE_READ, b, a, "")
        off = number - value
        far = format_si(off, sight.unit, inches, sign="+")
        return PredictionResult(abs(off) <= find_answer_tolerance(question, value), said, a, b, a, far)
    if said not in question.answers:
        raise InputError(
            [Fault("lesson", None, "answer", said[:40], ", ".join(question.answers), "choose one of these")]
        )
    if question.words:
        came = str(value)
    else:
        first = before.number(question.read)
        came = (
            CANNOT_BE_READ
            if first is None or not isinstance(value, float)
            else classify_change(question.read, first, value)
        )
    return PredictionResult(said == came, said, came, b, a, "")


def parse_said_number(question: PredictQuestion, said: str) -> float:
    """A number as it was typed (SI).  Raises InputError."""
    dimension = UNITS[load_sights()[question.read].unit].dimension
    try:
        return parse_quantity(said, dimension)
    except QuantityError as error:
        title, allowed = load_sights()[question.read].title, f"a quantity such as {replace_symbols(dimension.example)}"
        raise InputError([Fault("lesson", None, title, said[:40], allowed, replace_symbols(error.remedy))]) from None


def build_claim_row(unit: ActionUnit, claim: Claim, inches: bool = False) -> dict[str, str]:
    """A sentence's claim beside what the simulation says: a row of a table."""
    was, now = claim.seen(unit)
    said = claim.wanted.format_target(inches) if claim.wanted is not None else claim.way
    return {
        "done": "; ".join(format_turn(t, inches) for t in claim.change.turns) or "nothing",
        "reading": load_sights()[claim.read].title,
        "before": format_seen(was, claim.read, inches) if claim.change.turns else "",
        "after": format_seen(now, claim.read, inches),
        "said": said,
        "holds": "yes" if claim.fits(was, now) else "no",
    }


def format_turn(turn: tuple[str, float, bool], inches: bool = False) -> str:
    """One hand's change in words."""
    at, value, share = turn
    hand = load_adjustments()[at]
    told_as = (
        f"{100 * value:.0f} %" if share else format_si(value, hand.unit, inches, sign="+" if hand.relative else "")
    )
    return f"{hand.title} {told_as}"
