"""The main job: every reading of one unit, taken in the order in which a bench would."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Callable
from dataclasses import replace
from functools import cache

from sim.bench import centres, release, repetition, slow_press
from sim.bench import strike as blows
from sim.bench.outcomes import Outcome
from sim.bench.readings import Centre, Prediction, Repetition, Settings, SlowPress, Strike, TouchWeight
from sim.bench.rest_pose import Rest, settle_at_rest
from sim.errors import UnitError
from sim.physics.finger import Touch
from sim.physics.run import Run
from sim.shared_files import find_shared_file
from sim.unit.model import ActionUnit

Progress = Callable[[float, str], None]
Stop = Callable[[], bool]

MODERATE, SOFT = "moderate", "soft"


@cache
def list_touches(kind: str = "finger", struck: bool = False) -> tuple[Touch, ...]:
    """The standard touches of a kind, soft to hard: the same for every unit (shared/touches.toml)."""
    data = tomllib.loads(find_shared_file("touches.toml").read_text(encoding="utf-8"))
    return tuple(Touch(name, strength, struck, kind) for name, strength in data[kind].items())


def find_touch(name: str) -> Touch:
    return next(t for t in list_touches() if t.name == name)


def predict(
    unit: ActionUnit, *, repetition: bool = True, every_rate: bool = True, progress: Progress | None = None,
    stop: Stop | None = None,
) -> Prediction:  # fmt: skip
    """What this note will do.  A reading that cannot be taken is None, with the cause in ``outcome``.

    ``repetition`` or not; up to its limit only where not ``every_rate`` is asked for.
    """
    say = progress or (lambda fraction, what: None)
    found = centres.read_centres(unit)
    try:
        rest = settle_at_rest(unit)
    except UnitError as e:
        return make_empty_prediction(unit, Outcome.DOES_NOT_REST, str(e), found)
    say(0.02, "slow press")
    pressed = slow_press.press_slowly(rest)
    settings = slow_press.read_settings(pressed)
    weight, curve = slow_press.read_touch_weight(pressed)
    say(0.10, "blows")
    played = _check(stop, [blows.play_touch(rest, t) for t in list_touches()])
    strikes = tuple(s for s, _ in played)
    rep = _release(rest, pressed, played)
    say(0.25, "repetition")
    outcome, reason = judge_unit(pressed, weight, strikes, rep)
    if repetition and pressed.plays:
        rep = _repeat(rest, rep, lambda f, what: say(0.25 + 0.75 * f, what), stop, every_rate=every_rate)
        if outcome == Outcome.PLAYS and rep.limit_hz is None:
            outcome, reason = Outcome.DOES_NOT_REPEAT, _slow(rep)
    say(1.0, "done")
    return Prediction(unit.name, outcome, reason, settings, weight, strikes, rep, found, unit.assumed, slow_press=curve)


def _check(stop: Stop | None, value: list[tuple[Strike, Run]]) -> list[tuple[Strike, Run]]:
    if stop is not None and stop():
        raise KeyboardInterrupt
    return value


def make_empty_prediction(unit: ActionUnit, outcome: Outcome, reason: str, found: dict[str, Centre]) -> Prediction:
    """A prediction without readings, and why."""
    empty = Settings(spread=unit.rails.spread)
    return Prediction(unit.name, outcome, reason, empty, TouchWeight(), (), Repetition(), found, unit.assumed)


def _release(rest: Rest, pressed: slow_press.PressRun, played: list[tuple[Strike, Run]]) -> Repetition:
    """Spring rise, kick, reset point and return times."""
    reading = next((p for p in played if p[0].touch == MODERATE), None)
    out = Repetition(reset_point=slow_press.find_reset_point(pressed))
    if reading is None or not reading[1].outcome.fine:
        return out
    rise = release.measure_spring_rise(rest, reading[1], reading[0].caught)
    back = release.release_key(rest, reading[1])
    twice = any(s.contacts_with_string > 1 for s, _ in played if s.touch == SOFT)
    return replace(
        out,
        spring_rise=rise.height,
        spring_rise_speed=rise.speed,
        kicks=None if rise.height is None else rise.leaves_lever or twice,
        return_time=back.jack_home,
        rest_time=back.at_rest,
    )


def _repeat(
    rest: Rest, rep: Repetition, progress: Progress | None, stop: Stop | None, *, every_rate: bool = True
) -> Repetition:
    e = repetition.play_down_to_limit(rest, progress, stop, every_rate=every_rate)
    limit, spread, part = repetition.find_ensemble_limit(e)
    by_rate, home = (
        {rate: float(f) for rate, f in zip(e.rates, x.mean(axis=0), strict=True) if math.isfinite(f)}
        for x in (e.sounded, e.home)
    )
    return replace(
        rep, limit_hz=limit, limit_spread_hz=spread, limiting_part=part, sounded_fraction=by_rate, reset_fraction=home
    )


def judge_unit(
    pressed: slow_press.PressRun, weight: TouchWeight, strikes: tuple[Strike, ...], rep: Repetition
) -> tuple[Outcome, str]:
    """The outcome in a word or two, and the reason: the first thing that keeps the note from playing."""
    if not pressed.plays:
        return pressed.outcome, pressed.reason
    if rep.reset_point is None:
        return Outcome.JACK_DOES_NOT_RETURN, "let up slowly, the key is back before the jack is under the knuckle"
    if weight.up_weight is not None and weight.up_weight <= 0:
        return Outcome.KEY_DOES_NOT_RETURN, "friction outweighs what pushes the key up"
    silent = [s.touch for s in strikes if s.hammer_speed is None]
    if "medium" in silent:
        return Outcome.DOES_NOT_SOUND, f"the hammer does not reach the string at {', '.join(silent)}"
    if rep.return_time is None:
        return (
            Outcome.JACK_DOES_NOT_RETURN,
            "with the key let go the jack is not back under the knuckle in half a second",
        )
    many = [s.touch for s in strikes if s.contacts_with_string > 1]
    if many:
        return Outcome.SOUNDS_TWICE, f"the hammer meets the string more than once at {', '.join(many)}"
    return Outcome.PLAYS, ""


def _slow(rep: Repetition) -> str:
    rate, share = min(rep.sounded_fraction.items())
    late = f"; late: {rep.limiting_part}" if rep.limiting_part else ""
    return f"only {share:.0%} of the strokes sound at {rate:g} a second, the slowest tried{late}"


def strike(unit: ActionUnit) -> tuple[Strike, ...]:
    """Blows of the standard fingers.  Raises SimulationError when the unit does not come to rest."""
    rest = settle_at_rest(unit)
    return tuple(blows.play_touch(rest, t)[0] for t in list_touches())


def weigh(unit: ActionUnit) -> tuple[TouchWeight, Settings, SlowPress | None]:
    """Slow press only: weights, settings, curve."""
    pressed = slow_press.press_slowly(settle_at_rest(unit))
    weight, curve = slow_press.read_touch_weight(pressed)
    return weight, slow_press.read_settings(pressed), curve


def repeat(unit: ActionUnit, progress: Progress | None = None, stop: Stop | None = None) -> Repetition:
    """Release and repetition only."""
    rest = settle_at_rest(unit)
    pressed = slow_press.press_slowly(rest)
    played = [blows.play_touch(rest, t) for t in list_touches() if t.name in (MODERATE, SOFT)]
    return _repeat(rest, _release(rest, pressed, played), progress, stop)
