"""Answers to the lessons' tasks, found by trying: no answer is written down anywhere."""

from __future__ import annotations

from functools import cache

import numpy as np

from sim.teaching.adjustments import Adjustment
from sim.teaching.lesson import Lesson, Wanted, load_lessons
from sim.teaching.lesson_task import apply_turns, build_task_unit, list_task_adjustments
from sim.teaching.probes import Seen, probe_unit

COARSE, FINE, ROUNDS = 7, 3, 3
IDLE = 3
"""Times a hand is tried ever closer to where it stands without bringing anything."""
WRONG_WORD = 100.0
"""What a word that is not the wanted one counts, in accuracies."""


def measure_miss(wanted: Wanted, seen: Seen) -> float:
    """How far a reading is from what is wanted, in accuracies; 0 where it is met."""
    if wanted.met(seen):
        return 0.0
    value = None if wanted.word else seen.number(wanted.read)
    if value is None:
        return WRONG_WORD
    high = seen.number(wanted.before) if wanted.before else wanted.high
    if high is None:
        return WRONG_WORD
    far = wanted.low - value if value < wanted.low else value - high
    return 1 + far / wanted.sight.si


def sum_misses(lesson: Lesson, values: dict[str, float]) -> tuple[float, bool]:
    """The sum of what is off, and whether the task is done."""
    want = lesson.task.want
    seen = probe_unit(apply_turns(lesson, values), {name for w in want for name in w.reads})
    return sum(measure_miss(w, seen) for w in want), all(w.met(seen) for w in want)


@cache
def find_answer(name: str) -> dict[str, float]:
    """Values of the hands (SI) that do a lesson's task, a step of its hand inside: hand by hand, closer and closer."""
    lesson = load_lessons()[name]
    hands = list_task_adjustments(lesson)
    values = {hand.at: now for hand, now in hands.items()}
    best, done = sum_misses(lesson, values)
    for _ in range(ROUNDS):
        for hand in hands:
            values, best, done = _search_adjustment(lesson, hand, values, best)
            if done:
                return values
    raise AssertionError(f"{name}: no answer found; nearest {values}, off by {best:.1f} accuracies")


def _search_adjustment(
    lesson: Lesson, hand: Adjustment, values: dict[str, float], best: float
) -> tuple[dict[str, float], float, bool]:
    """The best place of one hand, the others as they stand."""
    low, high, each = hand.low, hand.high, (hand.high - hand.low) / (COARSE - 1)
    count, idle = COARSE, 0
    while each > 0.5 * hand.step and idle < IDLE:
        idle += 1
        for place in np.linspace(low, high, count):
            tried = {**values, hand.at: round(float(place) / hand.step) * hand.step}
            if not hand.low <= tried[hand.at] <= hand.high or tried == values:
                continue
            far, done = sum_misses(lesson, tried)
            if done:
                return tried, far, True
            if far < best:
                values, best, idle = tried, far, 0
        low, high = max(hand.low, values[hand.at] - 0.67 * each), min(hand.high, values[hand.at] + 0.67 * each)
        count, each = FINE, 0.67 * each
    return values, best, False


def find_wrong_answer(name: str) -> dict[str, float]:
    """Values that do not do it: the hands as they are handed over, the first of them a step further off."""
    lesson = load_lessons()[name]
    start = {hand.at: now for hand, now in list_task_adjustments(lesson).items()}
    first = next(iter(list_task_adjustments(lesson)))
    right = find_answer(name)[first.at]
    away = first.step if start[first.at] >= right else -first.step
    return {**start, first.at: float(np.clip(start[first.at] + away, first.low, first.high))}


def list_start_values(name: str) -> dict[str, float]:
    """The hands as a task hands them over."""
    assert build_task_unit(load_lessons()[name])
    return {hand.at: now for hand, now in list_task_adjustments(load_lessons()[name]).items()}
