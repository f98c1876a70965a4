"""Learners that nobody teaches: one that follows the diagnosis, and one that guesses.

Both see what a learner sees: the readings of the attempt, what a scenario's unit reads
that is as it should be, and how many faults there are.  Neither looks at what is hidden.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from sim.diagnosis.faults import load_faults
from sim.diagnosis.inference import NO_FAULT, Cause, CauseGrid, Evidence, Posterior, compute_posterior
from sim.diagnosis.next_test import TAKE_OUT_SECONDS, rank_next_tests
from sim.teaching.adjustments import load_adjustments
from sim.teaching.exercise import JUMPING_READINGS, Exercise
from sim.teaching.known_readings import KnownReadings, select_causes
from sim.teaching.practice import Attempt, name_cause, take_reading
from tests.learner.repair_check import has_helped, is_regulated, is_worth_trying
from tests.learner.repairs import check_repairs, regulate_readings, repair_faults, undo_repairs

ENOUGH = 0.995
"""Probability of a cause from which the learner reads no further."""
BELIEVED = 0.97
"""Probability of a cause that is mended without trying whether that helps."""
CHEAP = 240.0
"""Seconds of a reading that is taken twice before it is believed."""
LEAST_INFORMATION = 0.015
"""Bits a minute under which a reading is not worth buying."""
OF_COST = 0.5
"""Power of the cost in the worth of a reading, for one who is held to a cost."""
MOST_BUYS = 14
"""Readings that it buys at most."""
OWN_READINGS = 2
"""Causes that the learner looks at by the reading that shows them, whatever it costs, before one is mended."""
QUICK, MOST_COMPARED = 60.0, 3
"""Seconds of a reading, and how many, that are taken again to see what a mend has changed."""
MOST_TRIED = 3
"""Causes that are not sure and that it mends one after the other, to see."""
SPARE_SECONDS = 720.0
"""Seconds of what reading may cost that are left for each mend: to set it, and to regulate after it."""
READ_AGAIN = 300.0
"""Seconds of reading again after a mend that is tried."""
OUT_OF_QUESTION = 1e-6
"""Probability after the first readings under which a cause is not thought of again."""
UNLIKELY = 0.1
"""Probability under which a cause is not tried."""
UNTOUCHED = 0.5
"""Accuracies that a reading with the action out has hardly moved by with a fault: it need not be taken again."""
GUESSED_READINGS = 6
"""Readings that the guesser takes."""


def run_learner(e: Exercise, known: KnownReadings) -> Attempt:
    """Takes the first readings, then those that tell most until the cause is sure; mends it and regulates.

    Of two faults that are not sure together the surer one is mended, and the note looked into again for the other.
    """
    known = known.at(e)
    made, found = _buy_readings(_take_first_readings(Attempt(e)), known.of(e))
    likely = _find_likeliest(found)
    if e.count == 1:
        made, causes = _repair_one(made, found, known)
    elif found.causes[likely] >= BELIEVED:
        made, causes = repair_faults(made, known, {n: found.severity(n)[0] for n in likely}), likely
    else:
        made, causes = _repair_in_turn(made, found, known)
    return check_repairs(regulate_readings(made, known), known).then(*(name_cause(n) for n in causes))


def run_guesser(e: Exercise, known: KnownReadings, random: np.random.Generator) -> Attempt:
    """Takes some readings, names causes by lot, and mends and regulates in the same way."""
    made = Attempt(e)
    made = made.then(*(take_reading(str(n)) for n in random.choice(list(made.tests), GUESSED_READINGS, replace=False)))
    causes = [str(n) for n in random.choice(list(made.causes), e.count, replace=False)]
    made = repair_faults(made, known, dict.fromkeys(causes, 0.5))
    return regulate_readings(made, known).then(*(name_cause(n) for n in causes))


def _find_likeliest(found: Posterior) -> Cause:
    return max(found.causes, key=lambda c: found.causes[c])


def _repair_one(made: Attempt, found: Posterior, known: KnownReadings) -> tuple[Attempt, Cause]:
    """One cause mended; those that are not sure one after the other, until a mend has helped."""
    made, found = _read_telltale(made, found)
    likely = sorted(found.causes, key=lambda c: -found.causes[c])
    if found.causes[likely[0]] < BELIEVED:
        for causes in _list_causes_to_try(made, found, known):
            severities = {n: found.severity(n)[0] for n in causes}
            before = _read_telltales(made, causes)
            made = _read_telltales(repair_faults(before, known, severities), causes)
            made = (
                _take_first_readings(made) if is_regulated(causes) else _reread_moved(made, before, known, severities)
            )
            if has_helped(before, made, known, severities):
                return made, causes
            made = undo_repairs(made, len(before.repairs))
            likely.remove(causes)
    return repair_faults(made, known, {n: found.severity(n)[0] for n in likely[0]}), likely[0]


def _reread_moved(made: Attempt, before: Attempt, known: KnownReadings, severities: Mapping[str, float]) -> Attempt:
    """With the quick readings of before taken again that these faults move most."""
    shift = np.max([np.abs(_compute_shift(known.cells, n, s)) for n, s in severities.items()], axis=0)
    by = {n: shift[known.cells.library.numbers.index(n)] for n in before.evidence().numbers}
    quick = [n for n in sorted(by, key=lambda n: -by[n]) if n not in made.taken() and made.tests[n].seconds <= QUICK]
    for name in [n for n in quick if by[n] >= 1.0 and not made.tests[n].out][:MOST_COMPARED]:
        made = made.then(take_reading(name))
    return made


def _repair_in_turn(made: Attempt, found: Posterior, known: KnownReadings) -> tuple[Attempt, Cause]:
    """The surer of two faults mended, then the other looked for."""
    surer = next(iter(found.faults))
    severity = found.severity(surer)[0]
    shift = _compute_shift(known.cells, surer, severity)
    kept = {
        n: v for n, v in made.evidence().numbers.items()
        if made.tests[n].out and abs(shift[known.cells.library.numbers.index(n)]) < UNTOUCHED
    }  # fmt: skip
    made = _take_first_readings(repair_faults(made, known, {surer: severity}))
    made, again = _buy_readings(made, _select_partners(known, surer), kept)
    made, other = _repair_one(made, again, known)
    return made, (surer, *other)


def _select_partners(known: KnownReadings, name: str) -> CauseGrid:
    """Cells of the one fault that is left, as often as it comes with the one that was found."""
    of_pair = {cause: known.two.prior[known.two.of == i].sum() for i, cause in enumerate(known.two.causes)}
    with_it = {n: p for pair, p in of_pair.items() if name in pair for n in pair if n != name}
    grid = select_causes(known.one, {(n,) for n in with_it})
    prior = grid.prior.copy()
    for i, causes in enumerate(grid.causes):
        if causes != NO_FAULT:
            mine = grid.of == i
            prior[mine] *= with_it[causes[0]] / prior[mine].sum()
    return replace(grid, prior=prior / prior.sum())


def _compute_shift(grid: CauseGrid, name: str, severity: float) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    """What a fault moves every reading by, in accuracies."""
    return np.asarray(grid.mean[grid.cell(name, severity)] - grid.mean[0])


def _read_telltale(made: Attempt, found: Posterior) -> tuple[Attempt, Posterior]:
    """With the reading that shows the likeliest cause, if that is not sure: taken before anything is mended for it."""
    for _ in range(OWN_READINGS):
        causes = _find_likeliest(found)
        shown = [r for n in causes if (r := load_faults()[n].read) in made.tests]
        unread = [r for r in shown if can_take(made, r) and not _was_read(found, r)]
        if found.causes[causes] >= BELIEVED or not unread:
            break
        made = made.then(take_reading(unread[0]))
        found = _compute_posterior(made, found.cells, found.evidence.numbers)
    return made, found


def _was_read(found: Posterior, name: str) -> bool:
    return name in found.evidence.numbers or name in found.evidence.words


def _list_causes_to_try(made: Attempt, found: Posterior, known: KnownReadings) -> list[Cause]:
    """Causes that a mend would tell something of, the likely and quick ones first."""

    def worth(causes: Cause) -> float:
        return found.causes[causes] / (
            sum(load_adjustments()[load_faults()[n].at].seconds for n in causes) + READ_AGAIN
        )

    likely = [c for c in found.causes if found.causes[c] >= UNLIKELY and is_worth_trying(c, made, known)]
    return sorted(likely, key=worth, reverse=True)[:MOST_TRIED]


def _read_telltales(made: Attempt, causes: Cause) -> Attempt:
    """With the readings that show these faults first, twice where they are cheap: what a mend has to change."""
    for name in causes:
        read = load_faults()[name].read
        if read in made.tests:
            times = made.taken()[read].times if read in made.taken() else 0
            while (
                times < 2
                and can_take(made, read)
                and made.cost(take_reading(read)) <= CHEAP
                and not made.tests[read].words
            ):
                made, times = made.then(take_reading(read)), times + 1
    return made


def _take_first_readings(made: Attempt) -> Attempt:
    """The first readings, words before the numbers that need them; none that was taken or cannot be.

    After a mend without those that leap, which tell little for what they cost.
    """
    first = [t for n, t in made.tests.items() if t.first and n not in made.taken()]
    if made.stage:
        first = [t for t in first if t.name not in JUMPING_READINGS]
    for test in sorted(first, key=lambda t: not t.words):
        if can_take(made, test.name):
            made = made.then(take_reading(test.name))
    return made


def can_take(made: Attempt, name: str) -> bool:
    """Whether a reading can be taken, as far as is known: no word that was read stands against it."""
    needs = made.tests[name].needs
    return needs is None or made.evidence().words.get(needs[0], needs[1]) == needs[1]


def _buy_readings(made: Attempt, grid: CauseGrid, kept: Mapping[str, float] | None = None) -> tuple[Attempt, Posterior]:
    """Buys readings until a cause, or one of two faults, is sure; enough is left for reading again after the mend.

    While the action is out, what puts it back counts as dearer by the way that is to be gone again.
    ``kept``: readings of before, in accuracies, that still hold.
    """
    spare = SPARE_SECONDS * (1 if made.stage else made.exercise.count)
    found = _compute_posterior(made, grid, kept)
    grid = select_causes(grid, {c for c, p in found.causes.items() if p >= OUT_OF_QUESTION})
    for _ in range(MOST_BUYS):
        found = _compute_posterior(made, grid, kept)
        ahead = [t for t in rank_next_tests(found, made.out) if t.test.name not in made.taken()]
        ahead = [t for t in ahead if made.reading_seconds + t.cost + spare <= made.exercise.reading_seconds]
        back = TAKE_OUT_SECONDS if made.out else 0.0
        ahead.sort(key=lambda t: -t.tells / (t.cost + (0.0 if t.test.out else back)) ** OF_COST)
        if (
            max(found.faults.values()) >= ENOUGH
            or not ahead
            or 60.0 * ahead[0].tells < LEAST_INFORMATION * ahead[0].cost
        ):
            break
        made = made.then(take_reading(_choose_check_reading(made, found) or ahead[0].test.name))
    return made, _compute_posterior(made, grid, kept)


def _compute_posterior(made: Attempt, grid: CauseGrid, kept: Mapping[str, float] | None) -> Posterior:
    now = made.evidence()
    return compute_posterior(grid, Evidence({**(kept or {}), **now.numbers}, now.words, now.rough))


def _choose_check_reading(made: Attempt, found: Posterior) -> str:
    """The reading that shows the likeliest cause, where it is cheap and was read once: before it is believed; or ""."""
    for name in max(found.causes, key=lambda c: found.causes[c]):
        read = load_faults()[name].read
        once = [line for line in made.lines if line.move.name == read]
        if (
            len(once) == 1
            and can_take(made, read)
            and not made.tests[read].words
            and made.cost(take_reading(read)) <= CHEAP
        ):
            return read
    return ""
