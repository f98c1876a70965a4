"""The healthy demo unit and the published figures."""

from __future__ import annotations

import tomllib
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import brentq

from sim.bench import strike
from sim.bench.readings import Strike
from sim.bench.rest import Rest, at_rest
from sim.physics.finger import Touch
from sim.physics.run import Run
from sim.unit.scenario import load

ROOT = Path(__file__).resolve().parents[3]
FIGURES = tomllib.loads((ROOT / "shared" / "published.toml").read_text(encoding="utf-8"))
GATES = FIGURES["gates"]


def band(law: str, v: float, widening: float) -> tuple[float, float]:
    """Range of the three grands at hammer speed v, widened."""
    values = [a * v**b + c for a, b, c in FIGURES["power_laws"][law]]
    return min(values) * (1 - widening), max(values) * (1 + widening)


@cache
def demo() -> Rest:
    return at_rest(load(ROOT / "scenarios" / "concert-grand-natural.toml"))


@cache
def strength(v: float, struck: bool = False) -> float:
    """Strength (N) of the demo unit's finger that gives hammer speed v."""
    rest = demo()

    def miss(force: float) -> float:
        makes = strike.blow(rest, Touch("", force, struck), 0.35).log.of("string", True)
        return (float(makes[0, 4]) if len(makes) else 0.0) - v

    # the speed grows with the strength but for small wiggles: bracket it from below
    strengths = np.geomspace(1.0, 400.0, 40)
    high = next(s for s in strengths if miss(float(s)) > 0)
    low = strengths[max(0, int(np.searchsorted(strengths, high)) - 1)]
    return float(brentq(miss, low, high, xtol=1e-4))


@cache
def blow_at(v: float, struck: bool = False) -> tuple[Strike, Run]:
    """The demo unit struck at hammer speed v by its own finger."""
    return strike.play(demo(), Touch(f"{v} m/s", strength(v, struck), struck))


@pytest.fixture(scope="session")
def rest() -> Rest:
    return demo()
