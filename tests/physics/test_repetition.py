"""The ensemble that the repetition limit is read from: what may be left out of it, and what counts as one blow."""

from __future__ import annotations

import numpy as np

from sim.bench import repetition
from sim.bench.predict import predict
from sim.bench.rest_pose import settle_at_rest
from sim.bench.strike import count_blows
from sim.studies.variants import BaseScenario
from tests.tiers import try_each


@try_each("name", ["concert-grand-natural", "treble", "mixed-parts"])
def test_what_the_limit_does_not_hang_on_need_not_be_played(name: str) -> None:
    """A shorter ensemble gives the same limit, spread and part as the whole one (its own definition, readings.md)."""
    rest = settle_at_rest(BaseScenario.of(name).ready)
    whole, short = repetition.play_ensemble(rest), repetition.play_ensemble(rest, every_rate=False)
    assert repetition.find_ensemble_limit(short) == repetition.find_ensemble_limit(whole)
    played = ~np.isnan(short.sounded)
    assert played.sum() < 0.95 * played.size
    assert np.array_equal(short.sounded[played], whole.sounded[played])


def test_a_slow_note_is_tried_slower() -> None:
    """What does not keep up with four strokes a second may keep up with three: a limit lies between rates tried."""
    weak = BaseScenario.of("concert-grand-natural", {"springs.repetition": "30 N·mm"})
    slow = predict(weak.ready, every_rate=False).repetition
    first, *_, last = sorted(slow.sounded_fraction)
    assert first == min(repetition.SLOW_RATES) and last == min(repetition.RATES)
    assert slow.limit_hz is not None and min(repetition.SLOW_RATES) <= slow.limit_hz < min(repetition.RATES)
    assert slow.sounded_fraction[last] < repetition.LIMIT_FRACTION


def contacts(*times_and_speeds: tuple[float, float]) -> np.ndarray:
    """Rows of a log, made up: time (s) and speed of the crown (m/s)."""
    rows = np.zeros((len(times_and_speeds), 7))
    for row, (time, speed) in zip(rows, times_and_speeds, strict=True):
        row[0], row[4] = time, speed
    return rows


def test_a_string_that_reaches_the_hammer_on_its_way_back_is_no_second_blow() -> None:
    """readings.md: the crown meets the string; a string swinging out after the blow may meet the crown."""
    assert count_blows(contacts()) == 0
    assert count_blows(contacts((0.040, 2.0))) == 1
    assert count_blows(contacts((0.040, 2.0), (0.042, 0.3))) == 1
    assert count_blows(contacts((0.040, 2.0), (0.046, -0.6))) == 1
    assert count_blows(contacts((0.040, 2.0), (0.070, 0.2))) == 2
    assert count_blows(contacts((0.040, 2.0), (0.046, -0.6), (0.070, 0.2))) == 2
