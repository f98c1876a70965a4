"""Learners that nobody teaches: one that follows the diagnosis, and one that guesses.

Both see what a learner sees: the readings of the attempt, what a scenario's unit reads
that is as it should be, and how many faults there are.  Neither looks at what is hidden.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from sim.diagnosis.faults import faults
from sim.diagnosis.inference import HEALTHY, Cause, Cells, Evidence, Posterior, posterior
from sim.diagnosis.next_test import TAKE_OUT, next_tests
from sim.teaching.adjustments import hands
from sim.teaching.exercise import LEAPING, Exercise
from sim.teaching.known_readings import Known, some
from sim.teaching.practice import Attempt, cause, take
from sim.teaching.repairs import checked, mended, put_back, regulated
from sim.teaching.trying import helped, turned, worth_trying

ENOUGH = 0.995
"""Probability of a cause from which the learner reads no further."""
BELIEVED = 0.97
"""Probability of a cause that is mended without trying whether that helps."""
CHEAP = 240.0
"""Seconds of a reading that is taken twice before it is believed."""
TELLS = 0.015
"""Bits a minute under which a reading is not worth buying."""
OF_COST = 0.5
"""Power of the cost in the worth of a reading, for one who is held to a cost."""
BUYS = 14
"""Readings that it buys at most."""
OWN = 2
"""Causes that the learner looks at by the reading that shows them, whatever it costs, before one is mended."""
QUICK, COMPARED = 60.0, 3
"""Seconds of a reading, and how many, that are taken again to see what a mend has changed."""
TRIED = 3
"""Causes that are not sure and that it mends one after the other, to see."""
SPARE = 720.0
"""Seconds of what reading may cost that are left for each mend: to set it, and to regulate after it."""
READ_AGAIN = 300.0
"""Seconds of reading again after a mend that is tried."""
OUT_OF_QUESTION = 1e-6
"""Probability after the first readings under which a cause is not thought of again."""
UNLIKELY = 0.1
"""Probability under which a cause is not tried."""
UNTOUCHED = 0.5
"""Accuracies that a reading with the action out has hardly moved by with a fault: it need not be taken again."""
GUESSED = 6
"""Readings that the guesser takes."""


def learner(e: Exercise, known: Known) -> Attempt:
    """Takes the first readings, then those that tell most until the cause is sure; mends it and regulates.

    Of two faults that are not sure together the surer one is mended, and the note looked into again for the other.
    """
    known = known.at(e)
    made, found = _looked_into(_first(Attempt(e)), known.of(e))
    likely = _likeliest(found)
    if e.count == 1:
        made, causes = _mended_one(made, found, known)
    elif found.causes[likely] >= BELIEVED:
        made, causes = mended(made, known, {n: found.severity(n)[0] for n in likely}), likely
    else:
        made, causes = _one_after_the_other(made, found, known)
    return checked(regulated(made, known), known).then(*(cause(n) for n in causes))


def guesser(e: Exercise, known: Known, random: np.random.Generator) -> Attempt:
    """Takes some readings, names causes by lot, and mends and regulates in the same way."""
    made = Attempt(e)
    made = made.then(*(take(str(n)) for n in random.choice(list(made.tests), GUESSED, replace=False)))
    causes = [str(n) for n in random.choice(list(made.causes), e.count, replace=False)]
    made = mended(made, known, dict.fromkeys(causes, 0.5))
    return regulated(made, known).then(*(cause(n) for n in causes))


def _likeliest(found: Posterior) -> Cause:
    return max(found.causes, key=lambda c: found.causes[c])


def _mended_one(made: Attempt, found: Posterior, known: Known) -> tuple[Attempt, Cause]:
    """One cause mended; those that are not sure one after the other, until a mend has helped."""
    made, found = _seen_for_itself(made, found)
    likely = sorted(found.causes, key=lambda c: -found.causes[c])
    if found.causes[likely[0]] < BELIEVED:
        for causes in _to_try(made, found, known):
            severities = {n: found.severity(n)[0] for n in causes}
            before = _shown(made, causes)
            made = _shown(mended(before, known, severities), causes)
            made = _first(made) if turned(causes) else _moved(made, before, known, severities)
            if helped(before, made, known, severities):
                return made, causes
            made = put_back(made, len(before.mends))
            likely.remove(causes)
    return mended(made, known, {n: found.severity(n)[0] for n in likely[0]}), likely[0]


def _moved(made: Attempt, before: Attempt, known: Known, severities: Mapping[str, float]) -> Attempt:
    """With the quick readings of before taken again that these faults move most."""
    shift = np.max([np.abs(_shift(known.cells, n, s)) for n, s in severities.items()], axis=0)
    by = {n: shift[known.cells.library.numbers.index(n)] for n in before.evidence().numbers}
    quick = [n for n in sorted(by, key=lambda n: -by[n]) if n not in made.taken() and made.tests[n].seconds <= QUICK]
    for name in [n for n in quick if by[n] >= 1.0 and not made.tests[n].out][:COMPARED]:
        made = made.then(take(name))
    return made


def _one_after_the_other(made: Attempt, found: Posterior, known: Known) -> tuple[Attempt, Cause]:
    """The surer of two faults mended, then the other looked for."""
    surer = next(iter(found.faults))
    severity = found.severity(surer)[0]
    shift = _shift(known.cells, surer, severity)
    kept = {
        n: v for n, v in made.evidence().numbers.items()
        if made.tests[n].out and abs(shift[known.cells.library.numbers.index(n)]) < UNTOUCHED
    }  # fmt: skip
    made = _first(mended(made, known, {surer: severity}))
    made, again = _looked_into(made, _partners(known, surer), kept)
    made, other = _mended_one(made, again, known)
    return made, (surer, *other)


def _partners(known: Known, name: str) -> Cells:
    """Cells of the one fault that is left, as often as it comes with the one that was found."""
    of_pair = {cause: known.two.prior[known.two.of == i].sum() for i, cause in enumerate(known.two.causes)}
    with_it = {n: p for pair, p in of_pair.items() if name in pair for n in pair if n != name}
    grid = some(known.one, {(n,) for n in with_it})
    prior = grid.prior.copy()
    for i, causes in enumerate(grid.causes):
        if causes != HEALTHY:
            mine = grid.of == i
            prior[mine] *= with_it[causes[0]] / prior[mine].sum()
    return replace(grid, prior=prior / prior.sum())


def _shift(grid: Cells, name: str, severity: float) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    """What a fault moves every reading by, in accuracies."""
    return np.asarray(grid.mean[grid.cell(name, severity)] - grid.mean[0])


def _seen_for_itself(made: Attempt, found: Posterior) -> tuple[Attempt, Posterior]:
    """With the reading that shows the likeliest cause, if that is not sure: taken before anything is mended for it."""
    for _ in range(OWN):
        causes = _likeliest(found)
        shown = [r for n in causes if (r := faults()[n].read) in made.tests]
        unread = [r for r in shown if able(made, r) and not _read(found, r)]
        if found.causes[causes] >= BELIEVED or not unread:
            break
        made = made.then(take(unread[0]))
        found = _found(made, found.cells, found.evidence.numbers)
    return made, found


def _read(found: Posterior, name: str) -> bool:
    return name in found.evidence.numbers or name in found.evidence.words


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
            while times < 2 and able(made, read) and made.cost(take(read)) <= CHEAP and not made.tests[read].words:
                made, times = made.then(take(read)), times + 1
    return made


def _first(made: Attempt) -> Attempt:
    """The first readings, words before the numbers that need them; none that was taken or cannot be.

    After a mend without those that leap, which tell little for what they cost.
    """
    first = [t for n, t in made.tests.items() if t.first and n not in made.taken()]
    if made.stage:
        first = [t for t in first if t.name not in LEAPING]
    for test in sorted(first, key=lambda t: not t.words):
        if able(made, test.name):
            made = made.then(take(test.name))
    return made


def able(made: Attempt, name: str) -> bool:
    """Whether a reading can be taken, as far as is known: no word that was read stands against it."""
    needs = made.tests[name].needs
    return needs is None or made.evidence().words.get(needs[0], needs[1]) == needs[1]


def _looked_into(made: Attempt, grid: Cells, kept: Mapping[str, float] | None = None) -> tuple[Attempt, Posterior]:
    """Buys readings until a cause, or one of two faults, is sure; enough is left for reading again after the mend.

    While the action is out, what puts it back counts as dearer by the way that is to be gone again.
    ``kept``: readings of before, in accuracies, that still hold.
    """
    spare = SPARE * (1 if made.stage else made.exercise.count)
    found = _found(made, grid, kept)
    grid = some(grid, {c for c, p in found.causes.items() if p >= OUT_OF_QUESTION})
    for _ in range(BUYS):
        found = _found(made, grid, kept)
        ahead = [t for t in next_tests(found, made.out) if t.test.name not in made.taken()]
        ahead = [t for t in ahead if made.reading_seconds + t.cost + spare <= made.exercise.reading_seconds]
        back = TAKE_OUT if made.out else 0.0
        ahead.sort(key=lambda t: -t.tells / (t.cost + (0.0 if t.test.out else back)) ** OF_COST)
        if max(found.faults.values()) >= ENOUGH or not ahead or 60.0 * ahead[0].tells < TELLS * ahead[0].cost:
            break
        made = made.then(take(_doubted(made, found) or ahead[0].test.name))
    return made, _found(made, grid, kept)


def _found(made: Attempt, grid: Cells, kept: Mapping[str, float] | None) -> Posterior:
    now = made.evidence()
    return posterior(grid, Evidence({**(kept or {}), **now.numbers}, now.words, now.rough))


def _doubted(made: Attempt, found: Posterior) -> str:
    """The reading that shows the likeliest cause, where it is cheap and was read once: before it is believed; or ""."""
    for name in max(found.causes, key=lambda c: found.causes[c]):
        read = faults()[name].read
        once = [line for line in made.lines if line.move.name == read]
        if len(once) == 1 and able(made, read) and not made.tests[read].words and made.cost(take(read)) <= CHEAP:
            return read
    return ""
