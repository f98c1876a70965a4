"""What cannot be played is a named outcome with its cause, never a plausible number."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from sim.bench.outcomes import Outcome
from sim.bench.predict import list_touches, predict, strike
from sim.bench.rest_pose import settle_at_rest
from sim.bench.strike import make_drive, play_touch, run_blow
from sim.errors import SimulationError
from sim.physics.finger import TOUCH_KINDS, Touch, drive_dead_load
from sim.physics.modes import End
from sim.physics.run import LEDGER_BOUND, run
from sim.regulation.set_up import set_up
from sim.scenario.load import load
from sim.unit.model import GRAVITY, ActionUnit
from tests.physics.rig import make_rigid
from tests.tiers import try_each

SCENARIOS = Path(__file__).resolve().parents[2] / "scenarios"


def demo(**changes: str) -> ActionUnit:
    return load(SCENARIOS / "concert-grand-natural.toml", {k.replace("__", "."): v for k, v in changes.items()})


@pytest.mark.parametrize(
    ("change", "outcome", "cause"),
    [
        ({"settings__punching": "7.5 mm"}, Outcome.NEVER_ESCAPES, "jack"),
        ({"settings__let_off_button_height": "131.85 mm"}, Outcome.BLOCKS, "lets off too late"),
        ({"friction__key": "80 N·mm"}, Outcome.KEY_DOES_NOT_RETURN, "friction"),
        ({"friction__jack": "12 N·mm"}, Outcome.JACK_DOES_NOT_RETURN, "jack"),
        ({"springs__repetition": "20%"}, Outcome.JACK_DOES_NOT_RETURN, "jack"),
    ],
)
def test_named_outcome(change: dict[str, str], outcome: str, cause: str) -> None:
    p = predict(demo(**change), repetition=False)
    assert p.outcome == outcome, (p.outcome, p.reason)
    assert cause in p.reason
    assert not p.plays


def test_mixed_parts_do_not_play_well() -> None:
    """The rebuild of mixed parts: too little aftertouch, checks far off, misses strokes at every rate."""
    p = predict(load(SCENARIOS / "mixed-parts.toml"))
    assert p.settings.aftertouch < 0.8e-3
    assert max(p.repetition.sounded_fraction.values()) < 0.9
    assert p.outcome == Outcome.DOES_NOT_REPEAT and p.repetition.limiting_part is not None


@try_each("name", ["concert-grand-natural", "concert-grand-sharp", "bass-heavy-hammer", "treble", "damped"])
def test_shipped_units_play(name: str) -> None:
    """Healthy demo units play; ledgers close within 0.5 % for every touch."""
    p = predict(load(SCENARIOS / f"{name}.toml"), repetition=False)
    assert p.plays, (p.outcome, p.reason)
    for s in p.strikes:
        assert abs(s.ledger_remainder) <= 0.005, (s.touch, s.ledger_remainder)
        assert s.caught, s.touch


def test_standard_fingers_give_their_speeds() -> None:
    """shared/touches.toml: 0.7, 1.5, 2 and 4.5 m/s on the healthy demo unit (readings' convention)."""
    speeds = [s.hammer_speed for s in strike(demo())]
    assert [t.name for t in list_touches()] == ["soft", "moderate", "medium", "hard"]
    assert speeds == pytest.approx([0.7, 1.5, 2.0, 4.5], rel=0.005)


@try_each("struck", [False, True])
@pytest.mark.parametrize("kind", TOUCH_KINDS)
def test_every_kind_of_touch_plays(kind: str, struck: bool) -> None:
    """Finger, falling mass, force and given motion, pressed and struck: louder when stronger, ledgers closed."""
    rest = settle_at_rest(demo())
    speeds = []
    for t in list_touches(kind, struck):
        reading, r = play_touch(rest, t)
        assert reading.hammer_speed is not None, t
        assert abs(r.ledger.remainder) < 0.005, (t, r.ledger.remainder)
        speeds.append(reading.hammer_speed)
    assert speeds == sorted(speeds), speeds


def test_a_falling_mass_cannot_give_more_than_it_has() -> None:
    """200 g from 20 mm: the key's work is at most m g (height + travel) (statics)."""
    rest = settle_at_rest(demo())
    _, r = play_touch(rest, next(t for t in list_touches("mass", True) if t.name == "moderate"))
    travel = float(r.place.key_travel.max() - rest.design_travel)
    most = 0.2 * GRAVITY * (rest.unit.finger.struck_height + travel + 0.005)
    assert 0.3 * most < r.ledger.finger < most


def test_a_contact_deeper_than_its_felt_ends_the_run() -> None:
    """A tonne on the key: the run stops and says which contact, and when."""
    rest = settle_at_rest(demo())
    r = run(rest.parameters, drive_dead_load(1e4), 0.2, rest.state)
    assert not r.outcome.fine
    assert r.outcome.where and 0 < r.outcome.time < 0.2
    with pytest.raises(SimulationError, match=r.outcome.where):
        r.require()


def test_a_step_far_too_long_is_not_a_result() -> None:
    """At 1 ms the explicit step blows up: named, not returned as a number."""
    unit = make_rigid(demo(string__near_end_delay="2 ms"))
    rest = settle_at_rest(unit)
    drive = make_drive(rest, Touch("hard", 160.0))
    r = run(rest.parameters, drive, 0.2, rest.state, step=1e-3)
    assert not r.outcome.fine, "a stroke at a step of 1 ms cannot be right"


@try_each("contact", ["toe_button", "punching"])
@try_each("stiffness", ["1e9 N/m", "7e14 N/m"])
def test_a_contact_too_stiff_for_the_step_is_not_a_result(contact: str, stiffness: str) -> None:
    """Linear contacts within the allowed range that gain energy at every bounce (found by tests/fuzz_trials.py)."""
    rest = settle_at_rest(demo(**{f"contacts__{contact}__stiffness": stiffness}))
    found, r = play_touch(rest, list_touches()[2])
    assert abs(r.ledger.remainder) > LEDGER_BOUND and r.outcome.how is End.NOT_ACCOUNTED
    assert found.outcome.startswith(Outcome.LEAVES_DOMAIN) and found.hammer_speed is None
    assert found.ledger_remainder is None
    with pytest.raises(SimulationError, match="too stiff"):
        r.require()


def test_events_lie_within_the_step() -> None:
    """Event times of a coarse and of a fine step agree far better than the coarse step is long."""
    unit = demo()
    times = []
    for step in (40e-6, 5e-6):
        r = run_blow(settle_at_rest(unit, step), list_touches()[2])
        times.append([r.log.times(c, True)[0] for c in ("toe_button", "drop_screw", "string", "punching")])
    assert np.abs(np.subtract(*times)).max() < 8e-6, times


def test_set_up_meets_its_targets() -> None:
    """Targets in, settings out; read again by the slow press and a blow of their own."""
    unit = set_up(load(SCENARIOS / "targets-example.toml"))
    p = predict(unit, repetition=False)
    assert p.settings.blow == pytest.approx(44.45e-3, abs=5e-5)
    assert p.settings.dip == pytest.approx(10.16e-3, abs=5e-5)
    assert p.settings.let_off == pytest.approx(1.5875e-3, abs=5e-5)
    assert p.settings.drop_at_bottom == pytest.approx(1.6e-3, abs=5e-5)
    assert p.settings.lever_height == pytest.approx(0.15e-3, abs=5e-5)
    assert p.settings.jack_address == pytest.approx(0.0, abs=5e-5)
    assert p.checking_distance == pytest.approx(15e-3, abs=2e-4)
    assert p.repetition.spring_rise == pytest.approx(3e-3, abs=3e-4)
    assert {unit.sources[path].kind for path in ("settings.capstan_height", "springs.repetition")} == {"set up"}
