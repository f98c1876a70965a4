"""Learners that nobody teaches: one that follows the diagnosis, and one that guesses.

Both see what a learner sees: the readings of the attempt, what a scenario's unit reads
that is as it should be, and how many faults there are.  Neither looks at what is hidden.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

from sim.errors import InputError
from sim.lessons.exercise import LEAPING, Exercise, sound
from sim.lessons.hands import Hand, hands
from sim.lessons.known import Known
from sim.lessons.practice import Attempt, cause, mend, take
from sim.lessons.trying import helped, turned, worth_trying
from sim.workshop.bench_tests import PLAYS
from sim.workshop.faults import faults
from sim.workshop.healthy import variations
from sim.workshop.inference import Cause, Posterior, posterior
from sim.workshop.knobs import knob_at
from sim.workshop.next_test import TAKE_OUT, next_tests

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
BELIEVED = 0.97
"""Probability of a cause that is mended without trying whether that helps."""
CHEAP = 240.0
"""Seconds of a reading that is taken twice before it is believed."""
TELLS = 0.015
"""Bits a minute under which a reading is not worth buying."""
BUYS = 14
"""Readings that it buys at most."""
TRIED = 3
"""Causes that are not sure and that it mends one after the other, to see."""
QUICK = 40.0
"""Seconds of a reading that is taken twice when something is set by it."""
READ_AGAIN = 300.0
"""Seconds of reading again after a mend that is tried."""
UNLIKELY = 0.1
"""Probability under which a cause is not tried."""
TURNS = 4
"""Of one hand, before it is left as it is."""
DEAR = 1200.0
"""Seconds from which a hand is put to work once."""
CLOSE = 1.25
"""Accuracies within which a reading that is being set is left; of a dear part 0.5."""
OFF, SPREAD = 1.75, 1.3
"""Accuracies, and standard deviations of healthy units, that another reading has to be off by to be set anew."""
TOLD = 3.0
"""Accuracies that a hand has to have moved its reading by to tell how the reading answers it."""
GUESSED = 6
"""Readings that the guesser takes."""


def learner(e: Exercise, known: Known) -> Attempt:
    """Takes the first readings, then those that tell most until the cause is sure; mends it and regulates.

    Causes that are not sure are mended one after the other until a mend has helped.
    """
    made, found = _looked_into(_first(Attempt(e)), known)
    likely = sorted(found.causes, key=lambda c: -found.causes[c])
    if found.causes[likely[0]] < BELIEVED and e.count == 1:
        for causes in _to_try(made, found, known):
            before = _shown(made, causes)
            severities = {n: found.severity(n)[0] for n in causes}
            made = _shown(_mended(before, known, severities), causes)
            if turned(causes):
                made = _first(made)
            if helped(before, made, known, severities):
                return _regulated(made, known).then(*(cause(n) for n in causes))
            made = _put_back(made, len(before.mends))
            likely.remove(causes)
    made = _mended(made, known, {n: found.severity(n)[0] for n in likely[0]})
    return _regulated(made, known).then(*(cause(n) for n in likely[0]))


def _to_try(made: Attempt, found: Posterior, known: Known) -> list[Cause]:
    """Causes that a mend would tell something of, the likely and quick ones first."""

    def worth(causes: Cause) -> float:
        return found.causes[causes] / (sum(hands()[faults()[n].at].seconds for n in causes) + READ_AGAIN)

    likely = [c for c in found.causes if found.causes[c] >= UNLIKELY and worth_trying(c, made, known)]
    return sorted(likely, key=worth, reverse=True)[:TRIED]


def _shown(made: Attempt, causes: Cause) -> Attempt:
    """With the readings that show these faults first, twice where they are cheap: what a mend has to change."""
    for name in causes:
        read = faults()[name].read
        if read in made.tests:
            times = made.taken()[read].times if read in made.taken() else 0
            while times < 2 and made.cost(take(read)) <= CHEAP and not made.tests[read].words:
                made, times = made.then(take(read)), times + 1
    return made


def guesser(e: Exercise, known: Known, random: np.random.Generator) -> Attempt:
    """Takes some readings, names causes by lot, and mends and regulates in the same way."""
    made = Attempt(e)
    made = made.then(*(take(str(n)) for n in random.choice(list(made.tests), GUESSED, replace=False)))
    causes = [str(n) for n in random.choice(list(made.causes), e.count, replace=False)]
    made = _mended(made, known, dict.fromkeys(causes, 0.5))
    return _regulated(made, known).then(*(cause(n) for n in causes))


def _first(made: Attempt) -> Attempt:
    """The first readings, words before the numbers that need them; none that was taken or cannot be.

    After a mend without those that leap, which tell little for what they cost.
    """
    first = [t for n, t in made.tests.items() if t.first and n not in made.taken()]
    if made.stage:
        first = [t for t in first if t.name not in LEAPING]
    for test in sorted(first, key=lambda t: not t.words):
        known = made.evidence().words
        if test.needs is None or known.get(test.needs[0], test.needs[1]) == test.needs[1]:
            made = made.then(take(test.name))
    return made


def _looked_into(made: Attempt, known: Known) -> tuple[Attempt, Posterior]:
    """Buys readings until a cause is sure; enough is kept for reading again after the mend."""
    grid = known.of(made.exercise)
    kept = made.exercise.count * (made.seconds + TAKE_OUT)
    for bought in range(BUYS + 1):
        found = posterior(grid, made.evidence())
        ahead = [t for t in next_tests(found, made.out) if t.test.name not in made.taken()]
        ahead = [t for t in ahead if made.seconds + t.cost + kept <= made.exercise.reading_seconds]
        if (
            bought == BUYS
            or max(found.causes.values()) >= ENOUGH
            or not ahead
            or 60.0 * ahead[0].tells < TELLS * ahead[0].cost
        ):
            break
        again = _doubted(made, found)
        made = made.then(take(again or ahead[0].test.name))
    return made, found


def _doubted(made: Attempt, found: Posterior) -> str:
    """The reading that shows the likeliest cause, where it is cheap and was read once: before it is believed; or ""."""
    for name in max(found.causes, key=lambda c: found.causes[c]):
        read = faults()[name].read
        once = [line for line in made.lines if line.move.name == read]
        if len(once) == 1 and not made.tests[read].words and made.cost(take(read)) <= CHEAP:
            return read
    return ""


def _mended(made: Attempt, known: Known, severities: Mapping[str, float]) -> Attempt:
    """Every fault's own hand, as far as the diagnosis takes the fault to be off, then by the readings."""
    for name, severity in severities.items():
        fault = faults()[name]
        hand = hands()[fault.at]
        made = _put(made, hand, -fault.value(severity) if hand.relative else _right(made, hand))
    for name in severities:
        by = set_by(faults()[name].at)
        if by is None or made.tests[by].out:
            continue
        made = _set(made, known, faults()[name].at, by)
    return made


def _put_back(made: Attempt, count: int) -> Attempt:
    """What was turned by the mends after the first so many; a pin or a spring that is as it should be may stay."""
    for at in dict(made.mends[count:]):
        if hands()[at].relative:
            made = _put(made, hands()[at], -sum(value for other, value in made.mends[count:] if other == at))
    return made


def _regulated(made: Attempt, known: Known) -> Attempt:
    """Every reading that is regulated brought back where it is off; first a dear part put right that was not."""
    made, _ = _read(made, "slow_press")
    if made.taken()["slow_press"].word != PLAYS:
        for at in [at for at in dict(made.mends) if hands()[at].seconds >= DEAR]:
            by = set_by(at)
            made = made if by is None else _set(made.then(take(by)), known, at, by, turns=1, close=0.5)
    library = known.cells.library
    for reading, at in REGULATED.items():
        made, now = _read(made, reading)
        right = sound(made.exercise.scenario)[1].numbers[reading]
        scatter = library.scatter[(i := library.numbers.index(reading)), i] if made.exercise.rule.varied else 0.0
        off = (OFF if at in dict(made.mends) else max(OFF, SPREAD * math.sqrt(scatter))) * made.tests[reading].si
        if now is not None and right is not None and abs(now - right) > off:
            made = _set(made, known, at, reading)
    return made


def set_by(at: str) -> str | None:
    """The reading that tells where a hand has to go; None where it is put to what the scenario has."""
    kind, _, name = at.partition(".")
    return SET_BY.get(at, name if kind == "screw" else None)


def _set(made: Attempt, known: Known, at: str, by: str, turns: int = TURNS, close: float = CLOSE) -> Attempt:
    """One hand turned until its reading is the scenario's; how the reading answers it is learnt on the way."""
    hand, aim = hands()[at], sound(made.exercise.scenario)[1].numbers[by]
    gain = answers(known, at, by)
    was, step, low, high = None, 0.0, 0.7 * gain, 1.5 * gain
    for _ in range(turns):
        made, now = _read(made, by)
        if now is None or aim is None or abs(aim - now) <= close * made.tests[by].si:
            break
        if was is not None and abs(step * gain) > TOLD * made.tests[by].si:
            gain = min(max((now - was) / step, low), high)
        was, step = now, (aim - now) / gain
        stands = 0.0 if hand.relative else dict(made.mends).get(at, _right(made, hand))
        made = _put(made, hand, stands + step)
    return made


def answers(known: Known, at: str, by: str) -> float:
    """How much a reading changes (SI) for what a hand is turned by, as the library has it; 1 where it does not say."""
    library = known.cells.library
    for variation, slopes in zip(variations(), library.slopes, strict=True):
        if variation.at == at and variation.left:
            step = variation.deviation * (knob_at(at).get(library.unit) if variation.share else 1.0)
            return float(slopes[library.numbers.index(by)] * library.tests[by].si / step)
    return 1.0


def _right(made: Attempt, hand: Hand) -> float:
    """Where a hand stands in the scenario's unit."""
    return hand.now(sound(made.exercise.scenario)[0])


def _read(made: Attempt, name: str) -> tuple[Attempt, float | None]:
    """A reading as it is now (SI), unless it was taken since the last mend; a quick one twice."""
    if name not in made.taken():
        quick = made.cost(take(name)) <= QUICK and not made.tests[name].words
        made = made.then(*([take(name)] * (2 if quick else 1)))
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
