"""One unit under test: its blows at asked hammer speeds, its slow press, itself with parts changed; each made once."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from sim.bench import slow_press, strike
from sim.bench.readings import Settings, Strike, TouchWeight
from sim.bench.rest_pose import Rest, settle_at_rest
from sim.physics.finger import Touch
from sim.physics.run import Run
from sim.studies.healthy_variation import read_regulated
from sim.unit.model import CENTRES, ActionUnit

Array = NDArray[np.float64]

STRENGTHS: Mapping[str, Array] = {
    "finger": np.geomspace(0.5, 5000.0, 58),  # N
    "motion": np.geomspace(1.0, 0.008, 40),  # s: the shorter, the louder
}
"""Strengths that are tried, soft to hard, to bracket the one that gives a hammer speed."""
STRENGTH_TOLERANCE = 1e-4
"""Share of a strength to which it is found."""


class Specimen:
    """A unit and what has been read of it so far (SI).  Blows are found anew for each unit, by its own finger."""

    def __init__(self, unit: ActionUnit) -> None:
        self.unit = unit
        self._tried: dict[tuple[str, bool], dict[int, float]] = {}
        self._strengths: dict[tuple[str, float, bool], float | None] = {}
        self._blows: dict[tuple[str, float, bool], Strike | None] = {}

    @cached_property
    def rest(self) -> Rest:
        return settle_at_rest(self.unit)

    @cached_property
    def pressed(self) -> slow_press.PressRun:
        return slow_press.press_slowly(self.rest)

    @cached_property
    def weights(self) -> TouchWeight:
        return slow_press.read_touch_weight(self.pressed)[0]

    @cached_property
    def settings(self) -> Settings:
        return slow_press.read_settings(self.pressed, drop=False, wink=False)

    @cached_property
    def regulated_readings(self) -> dict[str, float]:
        """What this unit reads of all that is regulated."""
        return read_regulated(self.unit)

    @cached_property
    def rigid(self) -> Specimen:
        """The same with a shank that does not bend."""
        return Specimen(replace(self.unit, hammer=replace(self.unit.hammer, shank_bends=False)))

    @cached_property
    def ideal(self) -> Specimen:
        """The same with a shank that does not bend and centres without friction."""
        return Specimen(replace(self.rigid.unit, friction=dict.fromkeys(CENTRES, 0.0)))

    def touch(self, v: float, struck: bool = False, kind: str = "finger") -> Touch | None:
        """The finger (or the led key) that gives hammer speed v (m/s) on this unit; None where none does."""
        key = (kind, v, struck)
        if key not in self._strengths:
            self._strengths[key] = self._strength(v, struck, kind)
        found = self._strengths[key]
        return None if found is None else Touch(f"{v:g} m/s", found, struck, kind)

    def blow(self, v: float, struck: bool = False, kind: str = "finger") -> Strike | None:
        """Readings of the blow with hammer speed v (m/s)."""
        key = (kind, v, struck)
        if key not in self._blows:
            played = self.run(v, struck, kind)
            self._blows[key] = None if played is None else played[0]
        return self._blows[key]

    def run(self, v: float, struck: bool = False, kind: str = "finger") -> tuple[Strike, Run] | None:
        """The same with its motion, made anew."""
        touch = self.touch(v, struck, kind)
        return None if touch is None else strike.play_touch(self.rest, touch)

    def speed(self, touch: Touch) -> float:
        """Hammer speed that a touch gives, m/s; 0 where the string is not met or the run leaves its domain."""
        r = strike.run_blow(self.rest, touch)
        makes = r.log.of("string", True)
        return float(makes[0, 4]) if len(makes) and r.outcome.fine else 0.0

    def find_louder_strength(self, v: float, struck: bool, kind: str) -> int | None:
        """Place in STRENGTHS of the softest that is louder than v (m/s)."""
        tried = self._tried.setdefault((kind, struck), {})
        for i, strength in enumerate(STRENGTHS[kind]):
            if i not in tried:
                tried[i] = self.speed(Touch("", float(strength), struck, kind))
            if tried[i] > v:
                return i
        return None

    def _strength(self, v: float, struck: bool, kind: str) -> float | None:
        """The speed grows with the strength but for small wiggles: it is bracketed from below."""
        i = self.find_louder_strength(v, struck, kind)
        if i is None or i == 0:
            return None
        low, high = sorted(map(float, STRENGTHS[kind][i - 1 : i + 1]))

        from scipy.optimize import brentq

        def miss(strength: float) -> float:
            return self.speed(Touch("", strength, struck, kind)) - v

        return float(brentq(miss, low, high, xtol=STRENGTH_TOLERANCE * low, rtol=STRENGTH_TOLERANCE))
