"""Learners that nobody teaches: one that follows the diagnosis, and one that guesses.

Both see what a learner sees: the readings of the attempt, what a scenario's unit reads
that is as it should be, and how many faults there are.  Neither looks at what is hidden.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

from sim.errors import InputError
from sim.lessons.exercise import Exercise, sound
from sim.lessons.hands import Hand, hands
from sim.lessons.known import Known
from sim.lessons.practice import Attempt, cause, mend, take
from sim.workshop.faults import faults
from sim.workshop.inference import Posterior, posterior
from sim.workshop.knobs import knob_at
from sim.workshop.next_test import SURE, TAKE_OUT, next_tests
from sim.workshop.screws import SCREWS
from sim.workshop.trials import LEAST

SET_BY = {
    "screw.rest_cushion_gap": "rest_gap", "move.wippen_rail_back": "spread", "move.knuckle_out": "knuckle_set",
    "head": "hammer_weight", "lead": "front_weight", "spring.repetition": "spring_rise",
}  # fmt: skip
"""The reading by which a hand is set, where it has another name than the screw."""
REGULATED = {
    "let_off": "screw.let_off", "drop": "screw.drop", "aftertouch": "screw.dip",
    "checking_distance": "screw.checking_distance", "spring_rise": "spring.repetition",
}  # fmt: skip
"""Readings in the action that are regulated once the fault is mended, in this order, and by which hand."""
ENOUGH = 0.995
"""Probability of a cause from which the learner reads no further."""
BUYS = 8
"""Readings that it buys at most; what is not sure by then, it finds out by mending."""
TRIED = 3
"""Causes that it mends one after the other, the wrong ones put back."""
TURNS = 3
"""Of one hand, before it is left as it is; DEAR hands are put to work once."""
DEAR = 1200.0
"""Seconds from which a hand is dear."""
CLOSE = 1.25
"""Accuracies within which a reading that is being set is left."""
OFF, LEAST_OFF = 2.0, 1.75
"""Standard deviations, of reading and of healthy units, and at least accuracies, by which another one has to be off."""
TOLD = 3.0
"""Accuracies that a hand has to have moved its reading by to tell how the reading answers it."""
GUESSED = 6
"""Readings that the guesser takes."""


def learner(e: Exercise, known: Known) -> Attempt:
    """Takes the first readings, then those that tell most until the cause is sure; mends, regulates, reads again.

    A cause that is not sure is tried: mended, and put back where the note does not then read as a healthy one.
    """
    looked, found = _looked_into(_first(Attempt(e)), known)
    likely = sorted(found.causes, key=lambda c: -found.causes[c])
    made = looked
    for tried, causes in enumerate(likely[:TRIED], start=1):
        severities = {n: found.severity(n)[0] for n in causes}
        before = made
        made = _first(_mended(made, known, severities))
        if found.causes[causes] >= SURE or tried == TRIED or _healthy(made, known):
            break
        made = _put_back(made, len(before.mends), severities)
    return _regulated(made, known).then(*(cause(n) for n in causes))


def guesser(e: Exercise, known: Known, random: np.random.Generator) -> Attempt:
    """Takes some readings, names causes by lot, and mends and regulates in the same way."""
    made = Attempt(e)
    made = made.then(*(take(str(n)) for n in random.choice(list(made.tests), GUESSED, replace=False)))
    causes = [str(n) for n in random.choice(list(made.causes), e.count, replace=False)]
    made = _first(_mended(made, known, dict.fromkeys(causes, 0.5)))
    return _regulated(made, known).then(*(cause(n) for n in causes))


def _first(made: Attempt) -> Attempt:
    """The first readings, words before the numbers that need them; none that was taken or cannot be."""
    first = [t for t in made.tests.values() if t.first and t.name not in made.taken()]
    for test in sorted(first, key=lambda t: not t.words):
        known = made.evidence().words
        if test.needs is None or known.get(test.needs[0], test.needs[1]) == test.needs[1]:
            made = made.then(take(test.name))
    return made


def _looked_into(made: Attempt, known: Known) -> tuple[Attempt, Posterior]:
    """Buys readings until a cause is sure; enough is kept for reading again after the mend."""
    grid = known.of(made.exercise)
    rule = made.exercise.rule
    kept = made.exercise.count * (made.seconds + TAKE_OUT)
    for bought in range(BUYS + 1):
        found = posterior(grid, made.evidence())
        ahead = [t for t in next_tests(found, made.out) if t.test.name not in made.taken()]
        ahead = [t for t in ahead if made.seconds + t.cost + kept <= rule.reading_seconds]
        if bought == BUYS or max(found.causes.values()) >= ENOUGH or not ahead or ahead[0].tells < LEAST:
            break
        made = made.then(take(ahead[0].test.name))
    return made, found


def _healthy(made: Attempt, known: Known) -> bool:
    """Whether the note now reads as a healthy one."""
    return posterior(known.cells, made.evidence()).ranked[0][0] == ""


def _mended(made: Attempt, known: Known, severities: Mapping[str, float]) -> Attempt:
    """Every fault's own hand, then once more those whose reading another hand has moved."""
    for name, severity in severities.items():
        made = _set(made, known, faults()[name].at, severity=severity, name=name)
    if len(severities) > 1:
        for name in severities:
            if hands()[faults()[name].at].seconds < DEAR:
                made = _set(made, known, faults()[name].at)
    return made


def _put_back(made: Attempt, count: int, severities: Mapping[str, float]) -> Attempt:
    """All mends after the first so many taken back, of each hand at once."""
    unit = sound(made.exercise.scenario)[0]
    for name, severity in severities.items():
        hand, fault = hands()[faults()[name].at], faults()[name]
        turned = sum(value for at, value in made.mends[count:] if at == hand.at)
        was = -turned if hand.relative else knob_at(hand.at).get(fault.spoil(unit, severity))
        made = _put(made, hand, was)
    return made


def _regulated(made: Attempt, known: Known) -> Attempt:
    """Every reading in the action that is off brought back by the hand that it is regulated with."""
    for reading, at in REGULATED.items():
        one = made.taken().get(reading)
        if one is not None and one.value is not None and _off(made, reading, one.value, known):
            made = _first(_set(made, known, at, reading))
    return made


def _off(made: Attempt, name: str, now: float, known: Known) -> bool:
    """Whether a reading is not as a unit like the scenario's would have it."""
    right, library = sound(made.exercise.scenario)[1].numbers[name], known.cells.library
    at = library.numbers.index(name)
    variance = known.cells.noise[at] + (library.scatter[at, at] if made.exercise.rule.varied else 0.0)
    least = max(LEAST_OFF, OFF * math.sqrt(variance)) * made.tests[name].si
    return right is not None and abs(now - right) > least


def set_by(at: str) -> str | None:
    """The reading that tells where a hand has to go; None where it is put to what the scenario has."""
    kind, _, name = at.partition(".")
    return SET_BY.get(at, name if kind == "screw" else None)


def _set(made: Attempt, known: Known, at: str, by: str | None = None, severity: float = 0.0, name: str = "") -> Attempt:
    """One hand put to what the scenario has, or turned until its reading is the scenario's.

    The first turn is as far as the diagnosis takes the fault of this ``name`` to be off.
    """
    hand, by = hands()[at], by or set_by(at)
    unit, right = sound(made.exercise.scenario)
    if name and not hand.relative:
        made = _put(made, hand, hand.now(unit))
    elif name:
        made = _put(made, hand, -faults()[name].value(severity))
    aim = None if by is None else right.numbers[by]
    if by is None or aim is None or (name and hand.seconds >= DEAR):
        return made
    gain = SCREWS["spring_rise"].gain if at == "spring.repetition" else 1.0
    was, step, low, high = None, 0.0, 0.5 * gain, 2.0 * gain
    for _ in range(TURNS - bool(name)):
        made, now = _read(made, by)
        if now is None or abs(aim - now) <= CLOSE * made.tests[by].si:
            break
        if was is not None and abs(step * gain) > TOLD * made.tests[by].si:
            gain = min(max((now - was) / step, low), high)
        was, step = now, (aim - now) / gain
        stands = hand.now(unit) if at not in dict(made.mends) else dict(made.mends)[at]
        made = _put(made, hand, step if hand.relative else stands + step)
    return made


def _read(made: Attempt, name: str) -> tuple[Attempt, float | None]:
    """A reading as it is now (SI): taken, unless it was since the last mend."""
    if name not in made.taken():
        made = made.then(take(name))
    return made, made.taken()[name].value


def _put(made: Attempt, hand: Hand, value: float) -> Attempt:
    """A hand as near to a value as its steps and its reach allow; left alone where the parts do not."""
    near = hand.step * round(min(max(value, hand.low), hand.high) / hand.step)
    if hand.relative and near == 0.0:
        return made
    try:
        return made.then(mend(hand.at, min(max(near, hand.low), hand.high)))
    except InputError:
        return made
