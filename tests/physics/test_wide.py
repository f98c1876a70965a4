"""Samples of the trials that take too long for CI: units drawn wide, and deliberate errors in the physics."""

from __future__ import annotations

import math
import os
from pathlib import Path

import numpy as np
import pytest

import sim
from sim.bench import repetition
from sim.bench.outcomes import Outcome
from sim.bench.predict import list_touches
from sim.bench.readings import Strike
from sim.bench.rest_pose import settle_at_rest
from sim.bench.slow_press import find_bottom_travel
from sim.errors import InputError, SimulationError
from sim.fields.field_paths import list_fields
from sim.scenario.load import load
from tests import evidence, fuzz_trials, wide_draws
from tests.mutants import MUTANTS
from tests.mutation_trials import apply_mutant
from tests.tiers import try_each
from tests.wide_draws import DrawnUnit

SEED = int(os.environ["TRIALS_SEED"])
SCENARIOS = Path(__file__).parents[2] / "scenarios"
SIM = Path(sim.__file__).parent


@try_each("manner", ["some", "one", "all measures a little", "all coordinates a little"])
def test_units_drawn_wide_end_in_readings_or_a_named_outcome(manner: str) -> None:
    """Other units at every run; the report ends with their seed (tests/fuzz_trials.py)."""
    found = [fuzz_trials.try_unit(i + 1, SEED, manner) for i in range(8)]
    wrong = [f"{t.draw}: {t.wrong}" for t in found if t.wrong]
    assert not wrong, "\n".join(wrong)
    assert any(t.reached for t in found), "not one reached the physics"


def test_a_key_that_does_not_travel_has_no_curve() -> None:
    """One of the units of this seed comes back above where it began: no press and release have a travel in common."""
    found = [fuzz_trials.try_unit(i + 1, 1166968190, "all coordinates a little") for i in range(8)]
    assert [t.wrong for t in found if t.wrong] == []


def test_every_input_is_drawn_over_its_whole_range() -> None:
    """The ranges come from the fields; drawn often enough, each input nears both ends of its own."""
    random = np.random.default_rng(SEED)
    for f in list_fields():
        if f.kind is None:
            assert f.path in wide_draws.list_inputs() or f.path in wide_draws.TEXTS
            continue
        assert f.path in wide_draws.list_inputs()
        values = [wide_draws.draw_value(f.kind, random) for _ in range(400)]
        assert min(values) == f.kind.minimum and max(values) == f.kind.maximum, f.path


@try_each(
    "scenario, drawn",
    [
        ("damped", {"coordinates.lever.stop_angle": "54.9 deg"}),
        ("treble", {"coordinates.key.front_moment": "56594.9 g·mm"}),
        ("bass-heavy-hammer", {"coordinates.key.front_moment": "100000 g·mm"}),
        ("concert-grand-sharp", {"contacts.string.stiffness": "2484198.7 N/m"}),
        ("treble", {"contacts.finger.thickness": "5.0 mm"}),
        ("concert-grand-natural", {"settings.punching_height": "42.5 mm"}),
        (
            "concert-grand-natural",
            {"coordinates.key.punching_x": "-30 mm", "coordinates.key.punching_plane_y": "-600 mm"},
        ),
    ],
)
def test_what_the_trials_once_found_wrong(scenario: str, drawn: dict[str, str]) -> None:
    """A wink, a weight or a ledger that was no number, a traceback, a run without end."""
    wanted = DrawnUnit("once", scenario, drawn)
    played = [*list_touches()[1:3], *list_touches("motion", True)[:1]]
    found = fuzz_trials.examine_unit(wanted, wanted.unit(), played, whole=True)
    assert not found.wrong and found.steps < 4e6


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("key.inertia_front", "0 kg·m²"),
        ("lever.inertia", "0 kg·m²"),
        ("hammer.shank_inertia", "0 kg·m²"),
        ("hammer.shank_length", "0 mm"),
        ("hammer.knuckle_radius", "-3 mm"),
        ("key.punching_x", "-0.001 mm"),
        ("key.front_edge_x", "0 mm"),
        ("key.touch_point", "100 mm, 0 mm"),
        ("hammer.strike_point", "0 mm, 0 mm"),
    ],
)
def test_coordinates_that_make_no_unit_are_refused(name: str, value: str) -> None:
    """Once divisions by zero, a run without end, a key played behind its pin."""
    with pytest.raises(InputError) as refused:
        load(SCENARIOS / "damped.toml", {f"coordinates.{name}": value})
    (fault,) = refused.value.faults
    assert fault.field == f"coordinates.{name}" and fault.allowed and fault.remedy


@pytest.mark.parametrize(
    ("one", "other"), [("jack.top_front", "jack.top_rear"), ("lever.surface_to", "lever.surface_from")]
)
def test_a_face_without_a_length_is_refused(one: str, other: str) -> None:
    at = {f"coordinates.{name}": "3 mm, 40 mm" for name in (one, other)}
    with pytest.raises(InputError, match=one):
        load(SCENARIOS / "damped.toml", at)


def test_a_unit_that_needs_too_short_a_step_says_so() -> None:
    """A shank without mass, as stiff as can be, asked for 7 million steps a blow."""
    light = {"hammer.shank_inertia": "1e-8 kg·m²", "hammer.head_mass": "0 g"}
    over = {f"coordinates.{name}": value for name, value in light.items()} | {"hammer.shank_stiffness": "1e5 N/m"}
    with pytest.raises(SimulationError, match="too short a step"):
        settle_at_rest(load(SCENARIOS / "damped.toml", over))


def test_the_finger_of_a_shallow_key_goes_forward_in_time() -> None:
    """The depth it is kept at may lie below the bottom of such a key."""
    rest = settle_at_rest(load(SCENARIOS / "concert-grand-natural.toml", {"settings.punching_height": "37 mm"}))
    assert find_bottom_travel(rest, repetition.BOTTOM_FORCE) < max(repetition.DEPTHS)
    for rate in repetition.RATES:
        path, _ = repetition.build_finger_path(rest, rate, max(repetition.DEPTHS))
        assert (np.diff(path[:, 0]) > 0).all()


def test_a_wrong_end_of_a_unit_is_noticed() -> None:
    """What the trials look for: a number that is not finite, wherever it lies."""
    good = Strike("soft", True, Outcome.SOUNDS, hammer_speed=2.0, losses={"felt string": 0.1})
    assert not list(fuzz_trials.list_not_finite(good))
    bad = Strike("soft", True, Outcome.SOUNDS, hammer_speed=math.nan, losses={"felt string": math.inf})
    assert list(fuzz_trials.list_not_finite(bad)) == [".hammer_speed", ".losses.felt string"]


def test_every_mutant_still_stands_in_the_physics(tmp_path: Path) -> None:
    """Each deliberate error finds its place exactly once and changes the file."""
    assert len({m.name for m in MUTANTS}) == len(MUTANTS) >= 30
    for mutant in MUTANTS:
        copy = tmp_path / mutant.file
        copy.parent.mkdir(exist_ok=True)
        copy.write_text((SIM / mutant.file).read_text(encoding="utf-8"), encoding="utf-8")
        apply_mutant(mutant, tmp_path)
        assert copy.read_text(encoding="utf-8") != (SIM / mutant.file).read_text(encoding="utf-8")


def test_the_record_has_every_mutant_noticed() -> None:
    """Made by ``python tests/mutation_trials.py --keep``, of whichever version it says."""
    rows = evidence.load_record("mutation")["row"]
    assert {row["name"] for row in rows} == {m.name for m in MUTANTS}
    assert all(row["met"] and row["caught_by"] for row in rows)
