"""Samples of the trials that take too long for CI: units drawn wide, and deliberate errors in the physics."""

from __future__ import annotations

import math
import os
from pathlib import Path

import pytest

import sim
from sim.bench.predict import touches
from sim.bench.readings import Strike
from sim.errors import InputError
from sim.unit.scenario import load
from tests import fuzz_trials
from tests.mutants import MUTANTS
from tests.mutation_trials import mutated

SEED = int(os.environ["TRIALS_SEED"])
SCENARIOS = Path(__file__).parents[2] / "scenarios"
PHYSICS = Path(sim.__file__).parent / "physics"


@pytest.mark.parametrize("manner", ["one", "some"])
def test_units_drawn_wide_end_in_readings_or_a_named_outcome(manner: str) -> None:
    """Other units at every run; the report ends with their seed (tests/fuzz_trials.py)."""
    found = [fuzz_trials.tried(i, SEED, manner) for i in range(12)]
    wrong = [f"{t.scenario} {t.drawn}: {t.wrong}" for t in found if t.wrong]
    assert not wrong, "\n".join(wrong)
    assert sum(t.end not in ("refused", "traceback") for t in found) >= 2, "hardly one reached the physics"


@pytest.mark.parametrize(
    ("scenario", "drawn"),
    [
        ("damped", {"coordinates.lever.stop_angle": "54.9 deg"}),
        ("treble", {"coordinates.key.front_moment": "56594.9 g·mm"}),
        ("bass-heavy-hammer", {"coordinates.key.front_moment": "100000 g·mm"}),
        ("concert-grand-sharp", {"contacts.string.stiffness": "2484198.7 N/m"}),
        ("treble", {"contacts.finger.thickness": "5.0 mm"}),
    ],
)
def test_what_the_trials_once_found_wrong(scenario: str, drawn: dict[str, str]) -> None:
    """A wink, a weight or a ledger that was no number, or a traceback."""
    unit = load(SCENARIOS / f"{scenario}.toml", drawn)
    *_, wrong = fuzz_trials.examined(unit, [*touches()[1:3], *touches("motion", True)[:1]], whole=True)
    assert not wrong


@pytest.mark.parametrize("part", ["key.inertia_front", "lever.inertia", "hammer.shank_inertia"])
def test_a_part_without_inertia_is_refused(part: str) -> None:
    """Once a division by zero."""
    with pytest.raises(InputError, match=part):
        load(SCENARIOS / "damped.toml", {f"coordinates.{part}": "0 kg·m²"})


def test_a_wrong_end_of_a_unit_is_noticed() -> None:
    """What the trials look for: a number that is not finite, wherever it lies."""
    good = Strike("soft", True, "sounds", hammer_speed=2.0, losses={"felt string": 0.1})
    assert not list(fuzz_trials.not_finite(good))
    bad = Strike("soft", True, "sounds", hammer_speed=math.nan, losses={"felt string": math.inf})
    assert list(fuzz_trials.not_finite(bad)) == [".hammer_speed", ".losses.felt string"]


def test_every_mutant_still_stands_in_the_physics(tmp_path: Path) -> None:
    """Each deliberate error finds its place exactly once and changes the file."""
    assert len({m.name for m in MUTANTS}) == len(MUTANTS) >= 30
    for mutant in MUTANTS:
        copy = tmp_path / mutant.file
        copy.write_text((PHYSICS / mutant.file).read_text(encoding="utf-8"), encoding="utf-8")
        mutated(mutant, tmp_path)
        assert copy.read_text(encoding="utf-8") != (PHYSICS / mutant.file).read_text(encoding="utf-8")
