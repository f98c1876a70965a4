"""Cause and effect as a bench would see it, against lever arms worked out by hand and the trade's own figures."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pytest

from sim.bench import release, repetition, slow_press, strike
from sim.bench.outcomes import Outcome
from sim.bench.predict import MODERATE, SOFT, find_touch
from sim.bench.readings import Settings, TouchWeight
from sim.bench.rest_pose import settle_at_rest
from sim.scenario.load import load
from sim.unit.model import GRAVITY, ActionUnit

SCENARIO = Path(__file__).resolve().parents[2] / "scenarios" / "concert-grand-natural.toml"
GF = GRAVITY * 1e-3


@cache
def unit(*changes: tuple[str, str]) -> ActionUnit:
    return load(SCENARIO, dict(changes))


@cache
def pressed(*changes: tuple[str, str]) -> tuple[TouchWeight, Settings]:
    p = slow_press.press_slowly(settle_at_rest(unit(*changes)))
    assert p.outcome == Outcome.PLAYS, p.reason
    return slow_press.read_touch_weight(p)[0], slow_press.read_settings(p)


@cache
def rise(spring: float, lever_friction: float) -> tuple[float, bool]:
    """Spring rise (mm) and kick for a repetition spring and a lever centre, both in N·mm."""
    changes = (("springs.repetition", f"{spring} N·mm"), ("friction.lever", f"{lever_friction} N·mm"))
    rest = settle_at_rest(unit(*changes))
    reading, run = strike.play_touch(rest, find_touch(MODERATE))
    found = release.measure_spring_rise(rest, run, reading.caught)
    assert found.height is not None
    return found.height * 1e3, found.leaves_lever


@cache
def repeated(*changes: tuple[str, str]) -> repetition.Ensemble:
    return repetition.play_ensemble(settle_at_rest(unit(*changes)))


def turn_per_travel(centre: str) -> float:
    """Turn of a centre per key travel at the touch point over 2 to 5 mm, by hand from the arms (rad/m)."""
    u = unit()
    arm = -u.key.touch_point[0]
    key = 1 / arm
    wippen = u.key.capstan_centre[0] / arm / (u.wippen.centre[0] - u.key.capstan_centre[0])
    # crown rise over key travel, measured, over the crown's arm about the hammer centre
    mean_leverage = pressed()[0].leverage_6mm * (u.key.front_edge_x / u.key.touch_point[0])
    hammer = mean_leverage / u.hammer.strike_point[0]
    return {"key": key, "wippen": wippen, "hammer": hammer, "jack": 0.0, "lever": 0.0}[centre]


@pytest.mark.parametrize("centre", ["key", "wippen", "hammer", "jack", "lever"])
def test_felt_friction_per_torque(centre: str) -> None:
    """Virtual work: friction felt at the key = torque x turn per key travel (plane statics; arms from the scenario).

    Jack and lever do not turn against the wippen before let-off: nothing is felt of them there.
    """
    more = 1.0
    torque = unit().friction[centre] * 1e3
    change = pressed((f"friction.{centre}", f"{torque + more} N·mm"))[0].friction - pressed()[0].friction
    expected = turn_per_travel(centre) * more * 1e-3
    # arms move by a few per cent over the span, and what rubs at the contacts follows the load
    assert change == pytest.approx(expected, rel=0.10, abs=0.15 * GF), (
        f"{change / GF:.2f} gf, by hand {expected / GF:.2f}"
    )


def test_tight_hammer_centre_raises_down_weight() -> None:
    """faults.md: D up by torque x local leverage / strike radius; U down alike; B stays."""
    more = 2e-3
    tight = pressed(("friction.hammer", f"{(unit().friction['hammer'] + more) * 1e3} N·mm"))[0]
    expected = turn_per_travel("hammer") * more
    assert tight.down_weight - pressed()[0].down_weight == pytest.approx(expected, rel=0.1)
    assert pressed()[0].up_weight - tight.up_weight == pytest.approx(expected, rel=0.1)
    assert tight.balance_weight == pytest.approx(
        pressed()[0].balance_weight, abs=0.5 * GF
    )  # half of the 1 g weights it is read with


def test_spring_window() -> None:
    """From weak to strong: does not lift, rises 2 to 4.5 mm in a window, kicks ('a firm rise without a kick')."""
    springs = (29.0, 31.0, 32.5, 33.0, 36.0, 40.0, 46.0)
    rises = [rise(s, 1.0) for s in springs]
    assert rises[0][0] < 0.1 and not rises[0][1]
    assert any(1.5 < height < 5.0 and not kick for height, kick in rises), rises
    assert rises[-1][1], "a spring far too strong must kick"
    assert all(b[0] >= a[0] - 0.05 for a, b in zip(rises, rises[1:], strict=False)), rises


def window_middle(lever_friction: float) -> float:
    """Spring at which the rise is 3 mm, N·mm."""
    low, high = 28.0, 42.0
    for _ in range(12):
        mid = (low + high) / 2
        low, high = (mid, high) if rise(mid, lever_friction)[0] < 3.0 else (low, mid)
    return (low + high) / 2


def test_spring_window_shifts_with_lever_friction() -> None:
    """The spring must overcome the lever's own centre: one N·mm for each N·mm (plane statics, the two torques add)."""
    shift = (window_middle(3.0) - window_middle(1.0)) / 2.0
    assert shift == pytest.approx(1.0, abs=0.2), shift


def test_tight_lever_centre() -> None:
    """faults.md: rise and repetition fall, the down weight stays."""
    tight = ("friction.lever", "4 N·mm")
    assert pressed(tight)[0].down_weight == pytest.approx(pressed()[0].down_weight, abs=0.5 * GF)
    assert rise(33.0, 4.0)[0] < rise(33.0, 1.0)[0] - 1.0
    healthy, slow = repeated(), repeated(tight)
    assert slow.home.mean() < healthy.home.mean(), (slow.home.mean(), healthy.home.mean())


def test_weak_spring_spoils_repetition() -> None:
    """faults.md: the jack is not reset, strokes are missed."""
    healthy, weak = repeated(), repeated(("springs.repetition", "28 N·mm"))
    assert weak.sounded[:, :4].mean() < healthy.sounded[:, :4].mean() - 0.1


def test_strong_spring_leaves_down_weight() -> None:
    """The spring pushes inside the wippen: D before let-off hardly changes (faults.md)."""
    strong = pressed(("springs.repetition", "130%"))[0]
    assert strong.down_weight == pytest.approx(pressed()[0].down_weight, abs=1.0 * GF)


def test_let_off_button() -> None:
    """Down with the button: let-off earlier, more aftertouch, dip as it was; the drop past escape moves too."""
    height = float(unit().nominal["settings.let_off_button_height"]) * 1e3
    lower = pressed(("settings.let_off_button_height", f"{height - 0.1} mm"))[1]
    here = pressed()[1]
    assert 0.3e-3 < lower.let_off - here.let_off < 1.2e-3
    assert lower.aftertouch > here.aftertouch
    assert lower.dip == pytest.approx(here.dip, abs=2e-5)
    assert lower.blow == pytest.approx(here.blow, abs=1e-6)


def test_drop_screw() -> None:
    """Up with the screw: less drop; let-off stays within 0.1 mm while the lever meets the screw first."""
    height = float(unit().nominal["settings.drop_screw_height"]) * 1e3
    higher = pressed(("settings.drop_screw_height", f"{height + 0.1} mm"))[1]
    here = pressed()[1]
    assert here.drop_at_bottom - higher.drop_at_bottom > 0.2e-3
    assert here.drop - higher.drop > 0.2e-3
    assert higher.let_off == pytest.approx(here.let_off, abs=1e-4)


def test_soft_blow_sounds_once() -> None:
    reading, _ = strike.play_touch(settle_at_rest(unit()), find_touch(SOFT))
    assert reading.contacts_with_string == 1 and reading.caught


def test_slow_press_is_the_limit_of_slow_pressing(monkeypatch: pytest.MonkeyPatch) -> None:
    """Down weight, let-off and drop do not hang on the speed of the slow press (half of it: the same)."""
    here = pressed()
    monkeypatch.setattr(slow_press, "PRESS_SPEED", slow_press.PRESS_SPEED / 2)
    p = slow_press.press_slowly(settle_at_rest(unit()))
    weight, found = slow_press.read_touch_weight(p)[0], slow_press.read_settings(p)
    assert weight.down_weight == pytest.approx(here[0].down_weight, abs=0.1 * GF)
    assert weight.up_weight == pytest.approx(here[0].up_weight, abs=0.1 * GF)
    for name in ("let_off", "drop", "drop_at_bottom", "aftertouch"):
        assert getattr(found, name) == pytest.approx(getattr(here[1], name), abs=5e-5), name
    assert np.isfinite(weight.let_off_hump)
