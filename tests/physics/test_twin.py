"""A sample of the twin (tests/twin, tests/twin_trials.py): the demo unit in a general-purpose engine.

Source: MuJoCo (Todorov, Erez & Tassa, IROS 2012) places the bodies, carries the forces, integrates and solves
all dry friction; laws of felt, leather and string by the same formulas, written anew.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import pytest

import sim
from tests import evidence
from tests.twin.compare import Compared, press, strike, with_shank
from tests.twin.engine import Twin

NAME = "concert-grand-natural"


@cache
def twin(bends: bool) -> Twin:
    return Twin(with_shank(sim.load(NAME), bends), 40e-6)


def held(found: list[Compared]) -> None:
    for c in found:
        assert c.tolerance is not None and c.met, f"{c.quantity}: {c.ours} here, {c.theirs} in the twin {c.unit_of}"


@pytest.mark.parametrize(("bends", "touch"), [(False, "soft"), (False, "hard"), (True, "medium")])
def test_a_stroke_is_the_twin_s(bends: bool, touch: str) -> None:
    """Travel time to 0.3 ms, hammer speed to 1 % (rigid shank) and 3 % (bending: six links against one element)."""
    held(strike(NAME, twin(bends).u, twin(bends), "cubed", touch))


def test_a_slow_press_is_the_twin_s() -> None:
    """Weights to 0.3 gf over the same span, let-off to 0.05 mm, drop at the bottom to 0.1 mm."""
    held(press(NAME, twin(False).u, twin(False), 20e-3))


def test_a_twin_of_another_unit_disagrees() -> None:
    """The comparison can fail: a hammer 10 % heavier in the twin alone."""
    u = with_shank(sim.load(NAME), False)
    found = strike(
        NAME, replace(u, hammer=replace(u.hammer, head_mass=1.1 * u.hammer.head_mass)), twin(False), "cubed", "hard"
    )
    assert not all(c.met for c in found)


def test_the_record_agrees() -> None:
    """Every comparison with the same laws; those with the engine's own contacts are told with their reason."""
    rows = evidence.kept("twin")["row"]
    assert {r["shank"] for r in rows} == {"rigid", "bending"} and len({r["unit"] for r in rows}) >= 2
    for r in rows:
        assert r["met"] or (r["contacts"] == "stock" and r["note"]), r
