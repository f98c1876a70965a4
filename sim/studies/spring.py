"""The repetition spring: what it does to rise, kick, reset, return, repetition and catch, and its usable window.

The window lies between the weakest spring that lifts the hammer out of its
check and the weakest that kicks; a tight lever centre moves both.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from sim.bench import release
from sim.bench import strike as blows
from sim.bench.outcomes import Outcome
from sim.bench.predict import MODERATE, SOFT, find_touch
from sim.bench.reading_list import NamedReading, list_readings, take_readings
from sim.bench.readings import Prediction
from sim.bench.rest_pose import settle_at_rest
from sim.errors import NoUnitError, UnitError
from sim.parallel import run_on_all_cores
from sim.studies.variants import BaseScenario

Progress = Callable[[float, str], None]

SPRING, LEVER_CENTRE = "springs.repetition", "friction.lever"
LEAST_RISE = 0.2e-3
"""A rise from which on the lever is said to lift the hammer, m."""
TORQUE_RESOLUTION = 0.02e-3
"""The edges of the window are found within this, N·m."""
SEARCH_RANGE = 0.5, 1.6
"""Springs tried for the window, over the scenario's own."""
FRICTIONS = (0.5e-3, 1.0e-3, 1.5e-3, 2.0e-3, 2.5e-3, 3.0e-3)
"""Lever centres for which the window is found, N·m."""
SHARES = (0.85, 0.9, 0.95, 1.0, 1.05, 1.1, 1.15, 1.2, 1.25)
"""Springs of the curves, over the scenario's own."""
CURVES = (
    "spring_rise", "spring_rise_speed", "reset_point", "return_time", "rest_time", "limit_hz", "checking_distance",
    "soft_checking_distance", "hard_checking_distance", "let_off_hump", "down_weight",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class SpringReading:
    """One spring (N·m) and what it does."""

    torque: float
    outcome: str
    kicks: bool | None
    caught: tuple[tuple[str, bool], ...]
    """Touch, and whether the check caught the hammer."""
    readings: dict[str, NamedReading]


@dataclass(frozen=True, slots=True)
class SpringWindow:
    """Springs (N·m) that lift and do not kick, at one lever-centre friction (N·m); None where no edge was met."""

    friction: float
    lifts_from: float | None
    kicks_from: float | None

    @property
    def width(self) -> float | None:
        """From the weakest that lifts to the weakest that kicks."""
        return None if self.lifts_from is None or self.kicks_from is None else self.kicks_from - self.lifts_from

    @property
    def centre(self) -> float | None:
        """Half way between the two."""
        return None if self.lifts_from is None or self.kicks_from is None else (self.kicks_from + self.lifts_from) / 2


@dataclass(frozen=True)
class SpringStudy:
    """Curves over the spring, and windows over the lever centre."""

    own: float
    """The scenario's spring, N·m."""
    own_friction: float
    springs: tuple[SpringReading, ...]
    windows: tuple[SpringWindow, ...]

    @property
    def shift(self) -> float | None:
        """How far the window's centre moves per lever-centre friction (N·m per N·m), by least squares."""
        known = [(w.friction, w.centre) for w in self.windows if w.centre is not None]
        if len(known) < 2:
            return None
        friction, centre = np.array(known, dtype=float).T
        return float(np.polyfit(friction, centre, 1)[0])


def study_spring(
    origin: BaseScenario,
    shares: Sequence[float] = SHARES,
    frictions: Sequence[float] = FRICTIONS,
    *,
    repetition: bool = True,
    progress: Progress | None = None,
) -> SpringStudy:
    """The whole study; the screws stay as they are."""
    held = origin.by_height
    own, friction = held.ready.nominal[SPRING], held.ready.nominal[LEVER_CENTRE]
    jobs: list[Callable[[], SpringReading | SpringWindow]] = [
        partial(read_spring, held, own * share, repetition) for share in shares
    ]
    jobs += [
        partial(find_spring_window, held, torque) for torque in sorted({*frictions, friction} if frictions else ())
    ]
    found = run_on_all_cores(jobs, progress, lambda number: "springs" if number < len(shares) else "windows")
    springs = tuple(spring for spring in found if isinstance(spring, SpringReading))
    return SpringStudy(own, friction, springs, tuple(w for w in found if isinstance(w, SpringWindow)))


def read_spring(origin: BaseScenario, torque: float, repetition: bool = True) -> SpringReading:
    """What one spring does."""
    try:
        found = take_readings(origin.held({SPRING: torque}), "repeat" if repetition else "predict")
    except NoUnitError as error:
        return SpringReading(torque, f"{Outcome.REFUSED}: {error.faults[0].remedy}", None, (), {})
    except UnitError as error:
        return SpringReading(torque, f"{Outcome.NOT_FOLLOWED}: {error.name}", None, (), {})
    readings = list_readings(found)
    wanted = [n for n in readings if n in CURVES or n.startswith(("sounded_at", "home_at"))]
    return SpringReading(
        torque, found.outcome, found.repetition.kicks, _is_caught(found), {n: readings[n] for n in wanted}
    )


def _is_caught(found: Prediction) -> tuple[tuple[str, bool], ...]:
    return tuple((blow.touch, blow.caught) for blow in found.strikes)


def find_spring_window(origin: BaseScenario, friction: float) -> SpringWindow:
    """The springs that lift without a kick at one lever-centre friction (both N·m)."""
    own = origin.ready.nominal[SPRING]
    low, high = (own * share for share in SEARCH_RANGE)
    lifts = bisect_threshold(low, high, lambda torque: _test_spring(origin, torque, friction)[0])
    kicks = bisect_threshold(lifts or low, high, lambda torque: _test_spring(origin, torque, friction)[1])
    return SpringWindow(friction, lifts, kicks)


def bisect_threshold(low: float, high: float, holds: Callable[[float], bool]) -> float | None:
    """The least value from which on something holds, within CLOSE; None where it holds at neither end or at both."""
    if holds(low) or not holds(high):
        return None
    while high - low > TORQUE_RESOLUTION:
        middle = (low + high) / 2
        low, high = (low, middle) if holds(middle) else (middle, high)
    return high


def _test_spring(origin: BaseScenario, torque: float, friction: float) -> tuple[bool, bool]:
    """Whether this spring lifts the hammer from its check, and whether it kicks."""
    try:
        rest = settle_at_rest(origin.held({SPRING: torque, LEVER_CENTRE: friction}))
    except UnitError:
        return False, False
    reading, run = blows.play_touch(rest, find_touch(MODERATE))
    if not run.outcome.fine:
        return False, False
    found = release.measure_spring_rise(rest, run, reading.caught)
    if found.height is None:
        return False, False
    twice = blows.play_touch(rest, find_touch(SOFT))[0].contacts_with_string > 1
    return found.height >= LEAST_RISE, found.leaves_lever or twice
