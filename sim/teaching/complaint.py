"""What the owner of a spoiled note says of it, from what it reads."""

from __future__ import annotations

from sim.bench.outcomes import Outcome
from sim.diagnosis.bench_tests import Symptoms, Word, list_bench_tests
from sim.teaching.exercise import FELT_BY_OWNER, Exercise, prepare_bench

COMPLAINTS: tuple[tuple[str, str | int, str], ...] = (
    ("slow_press", Outcome.BLOCKS, "Pressed slowly, the hammer stays at the string."),
    ("slow_press", Outcome.NEVER_ESCAPES, "Pressed slowly, nothing clicks: it never lets go."),
    ("slow_press", Outcome.DOES_NOT_DROP, "It feels odd when I press it slowly."),
    ("check", Word.NOT_CAUGHT, "The hammer bounces about after a blow."),
    ("home", Word.NO, "After one blow the next has no strength."),
    ("repeats", Word.NO, "When I repeat it softly, notes go missing."),
    ("kicks", Word.YES, "There is a jolt in the key when I let it up."),
    ("down_weight", 1, "It is heavier than its neighbours."),
    ("down_weight", -1, "It is lighter than its neighbours."),
    ("return_time", 1, "It comes back slowly."),
    ("let_off_hump", 1, "There is a bump near the bottom, more than on its neighbours."),
    ("aftertouch", 1, "The key goes too deep."),
    ("aftertouch", -1, "The key stops before it feels finished."),
    ("let_off", 1, "Very soft notes do not speak."),
)
"""Reading, the word or the way it goes, and what is said of it."""


def choose_complaint(e: Exercise) -> str:
    """What the owner says: the teacher's words, or the first thing that the readings give to complain of."""
    if e.owner:
        return e.owner
    made = prepare_bench(e)
    found = made.hidden.found
    heard = (
        words
        for name, way, words in COMPLAINTS
        if found is not None and _complaint_holds(name, way, made.before, found)
    )
    return next(heard, "It is not like its neighbours; I cannot say what it is.")


def _complaint_holds(name: str, way: str | int, before: Symptoms, found: Symptoms) -> bool:
    if isinstance(way, str):
        return found.words[name] == way != before.words[name]
    a, b = before.numbers[name], found.numbers[name]
    return a is not None and b is not None and way * (b - a) >= FELT_BY_OWNER * list_bench_tests()[name].si
