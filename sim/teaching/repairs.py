"""How a learner mends: hands put to what they should be or turned by their readings, and what else they upset.

It goes by the readings of the attempt and by the scenario's unit, and not by what is hidden.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

from sim.bench.outcomes import Outcome
from sim.diagnosis.faults import load_faults
from sim.errors import InputError
from sim.regulation.model_inputs import find_model_input
from sim.studies.healthy_variation import load_variations
from sim.teaching.adjustments import Adjustment, load_adjustments
from sim.teaching.exercise import load_sound_unit
from sim.teaching.known_readings import KnownReadings
from sim.teaching.practice import Attempt, make_repair, take_reading

GUIDING_READINGS = {
    "screw.rest_cushion_gap": "rest_gap", "move.wippen_rail_back": "spread", "move.knuckle_out": "knuckle_set",
    "move.head_mass": "hammer_weight", "move.key_lead": "front_weight", "springs.repetition": "spring_rise",
}  # fmt: skip
"""The reading by which a hand is set, where it has another name than the screw."""
REGULATED = {
    "let_off": "screw.let_off", "drop": "screw.drop", "aftertouch": "screw.dip",
    "checking_distance": "screw.checking_distance", "spring_rise": "springs.repetition",
}  # fmt: skip
"""Readings in the action that are regulated once the fault is mended, in this order, and by which hand."""
FOLLOWING_READINGS = ("down_weight", "up_weight", "reset_point")
"""Readings in the action that nothing is regulated by: they come back with the rest, or the mend was not enough."""
UNBLOCKING_SCREWS: Mapping[str, tuple[str, float]] = {
    Outcome.BLOCKS: ("screw.let_off", 0.8e-3), Outcome.DOES_NOT_DROP: ("screw.drop", 0.8e-3),
    Outcome.NEVER_ESCAPES: ("screw.dip", 0.5e-3),
}  # fmt: skip
"""What a note that does not play is first helped by, m."""
QUICK = 40.0
"""Seconds of a reading that is taken twice when something is set by it."""
TURNS = 4
"""Of one hand, before it is left as it is."""
DEAR_SECONDS = 1200.0
"""Seconds from which a hand is put to work once."""
CLOSE_ACCURACIES = 1.0
"""Accuracies within which a reading that is being set is left; of a dear part 0.5."""
OFF_ACCURACIES = 1.75
"""Accuracies that another reading has to be off by to be set anew."""
PLAINLY, SPREAD = 2.5, 1.3
"""Accuracies, and standard deviations of healthy units, of the same where time is short and the unit differs."""
SURELY = 2.5
"""Standard deviations of healthy units by which one of those has to be off."""
SHORT_SECONDS = 1500.0
"""Seconds left, by the rule of what is allowed, under which time is short."""
TOLD_ACCURACIES = 3.0
"""Accuracies that a hand has to have moved its reading by to tell how the reading answers it."""


def repair_faults(made: Attempt, known: KnownReadings, severities: Mapping[str, float]) -> Attempt:
    """Every fault's own hand, as far as the diagnosis takes the fault to be off, then by the readings."""
    for name, severity in severities.items():
        fault = load_faults()[name]
        hand = load_adjustments()[fault.at]
        made = _apply_adjustment(made, hand, -fault.value(severity) if hand.relative else _find_right_value(made, hand))
    for name in severities:
        by = find_guiding_reading(load_faults()[name].at)
        if by is None or made.tests[by].out:
            continue
        made = _turn_to_reading(made, known, load_faults()[name].at, by)
    return made


def undo_repairs(made: Attempt, count: int) -> Attempt:
    """What was turned by the mends after the first so many; a pin or a spring that is as it should be may stay."""
    for at in dict(made.repairs[count:]):
        if load_adjustments()[at].relative:
            made = _apply_adjustment(
                made, load_adjustments()[at], -sum(value for other, value in made.repairs[count:] if other == at)
            )
    return made


def regulate_readings(made: Attempt, known: KnownReadings) -> Attempt:
    """Every reading that is regulated brought back where it is off; first the note made to play at all.

    Where time is short, what a healthy unit may differ by is let be, as long as nothing was regulated before it.
    """
    made = _make_play(made, known)
    library, right = known.cells.library, load_sound_unit(made.exercise.scenario)[1]
    mends = made.repairs
    for reading, at in REGULATED.items():
        made, now = _take_current(made, reading)
        i, aim = library.numbers.index(reading), right.numbers[reading]
        off = OFF_ACCURACIES
        if (
            made.exercise.rule.varied
            and made.repairs == mends
            and at not in dict(mends)
            and _count_seconds_left(made) < SHORT_SECONDS
        ):
            off = max(PLAINLY, SPREAD * math.sqrt(library.scatter[i, i]))
        if now is not None and aim is not None and abs(now - aim) > off * made.tests[reading].si:
            made = _turn_to_reading(made, known, at, reading)
    return made


def check_repairs(made: Attempt, known: KnownReadings) -> Attempt:
    """The hands put to work first set by their own readings, if a reading that follows them is not back.

    Those alone that are read with the action out, where setting them by the diagnosis was good enough so far.
    """
    own = list(dict(made.repairs))[: made.exercise.count]
    again = [
        (at, by)
        for at in own
        if (by := find_guiding_reading(at)) and made.tests[by].out and load_adjustments()[at].seconds < DEAR_SECONDS
    ]
    if not again or _count_seconds_left(made) < SHORT_SECONDS:
        return made
    library, right = known.cells.library, load_sound_unit(made.exercise.scenario)[1]
    off = False
    for reading in FOLLOWING_READINGS:
        made, now = _take_current(made, reading)
        i, aim = library.numbers.index(reading), right.numbers[reading]
        far = max(OFF_ACCURACIES, SURELY * math.sqrt(library.scatter[i, i])) * made.tests[reading].si
        off = off or (aim is not None and (now is None or abs(now - aim) > far))
    for at, by in again if off else ():
        made = _turn_to_reading(made, known, at, by, turns=1, close=0.5)
    return regulate_readings(made, known) if off else made


def _count_seconds_left(made: Attempt) -> float:
    """Seconds left if what was put to work first is the right hand, or the right ones."""
    own = list(dict(made.repairs))[: made.exercise.count]
    return made.exercise.allowed_with(own) - made.seconds


def _make_play(made: Attempt, known: KnownReadings) -> Attempt:
    """A dear part put right that was not, and the screws helped, until the note plays when it is pressed slowly."""
    made, word = _press_slowly(made)
    if word != Outcome.PLAYS:
        for at in [at for at in dict(made.repairs) if load_adjustments()[at].seconds >= DEAR_SECONDS]:
            by = find_guiding_reading(at)
            made = (
                made if by is None else _turn_to_reading(made.then(take_reading(by)), known, at, by, turns=1, close=0.5)
            )
    for _ in range(TURNS):
        made, word = _press_slowly(made)
        if word not in UNBLOCKING_SCREWS:
            break
        at, by_much = UNBLOCKING_SCREWS[word]
        made = _apply_adjustment(made, load_adjustments()[at], by_much)
    return made


def _press_slowly(made: Attempt) -> tuple[Attempt, str]:
    made, _ = _take_current(made, "slow_press")
    return made, made.taken()["slow_press"].word


def find_guiding_reading(at: str) -> str | None:
    """The reading that tells where a hand has to go; None where it is put to what the scenario has."""
    kind, _, name = at.partition(".")
    return GUIDING_READINGS.get(at, name if kind == "screw" else None)


def _turn_to_reading(
    made: Attempt, known: KnownReadings, at: str, by: str, turns: int = TURNS, close: float = CLOSE_ACCURACIES
) -> Attempt:
    """One hand turned until its reading is the scenario's; how the reading answers it is learnt on the way."""
    hand, aim = load_adjustments()[at], load_sound_unit(made.exercise.scenario)[1].numbers[by]
    gain = estimate_response(known, at, by)
    was, step, low, high = None, 0.0, 0.7 * gain, 1.5 * gain
    for _ in range(turns):
        made, now = _take_current(made, by)
        if now is None or aim is None or gain == 0.0 or abs(aim - now) <= close * made.tests[by].si:
            break
        if made.stage and _count_seconds_left(made) < hand.seconds:
            break
        if was is not None and abs(step * gain) > TOLD_ACCURACIES * made.tests[by].si:
            gain = min(max((now - was) / step, low), high)
        was, step = now, (aim - now) / gain
        stands = 0.0 if hand.relative else dict(made.repairs).get(at, _find_right_value(made, hand))
        made = _apply_adjustment(made, hand, stands + step)
    return made


def estimate_response(known: KnownReadings, at: str, by: str) -> float:
    """How much a reading changes (SI) for what a hand is turned by, as the library has it; 1 where it does not say."""
    library = known.library
    for variation, slopes in zip(load_variations(), library.slopes, strict=True):
        if variation.at == at and variation.left:
            step = variation.deviation * (find_model_input(at).get(library.unit) if variation.share else 1.0)
            return float(slopes[library.numbers.index(by)] * library.tests[by].si / step)
    return 1.0


def _find_right_value(made: Attempt, hand: Adjustment) -> float:
    """Where a hand stands in the scenario's unit."""
    return hand.now(load_sound_unit(made.exercise.scenario)[0])


def _take_current(made: Attempt, name: str) -> tuple[Attempt, float | None]:
    """A reading as it is now (SI), unless it was taken since the last mend; a quick one twice."""
    if name not in made.taken():
        quick = made.cost(take_reading(name)) <= QUICK and not made.tests[name].words
        made = made.then(*([take_reading(name)] * (2 if quick else 1)))
    return made, made.taken()[name].value


def _apply_adjustment(made: Attempt, hand: Adjustment, value: float) -> Attempt:
    """A hand as near to a value as its steps and its reach allow; left alone where the parts do not."""
    near = hand.step * round(min(max(value, hand.low), hand.high) / hand.step)
    if hand.relative and near == 0.0:
        return made
    try:
        return made.then(make_repair(hand.at, min(max(near, hand.low), hand.high)))
    except InputError:
        return made
