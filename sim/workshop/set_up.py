"""Set a unit up to its targets: each target has one screw (or paper, or spring) that brings it about.

First what can be read at rest, then the slow press's readings together (the
felts give, so each moves the others a little), then check and spring, which
need blows; twice round, since the spring loads the rest.  The readings are the
bench's own.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from sim.bench import release, slow_press
from sim.bench import strike as blows
from sim.bench.predict import MODERATE, touch
from sim.bench.rest import Rest, at_rest
from sim.errors import Fault, InputError
from sim.unit.model import ActionUnit, Source

Progress = Callable[[float, str], None]

CLOSE = 1e-5
"""A length target is met within this, m."""
ROUNDS = 3


@dataclass(frozen=True)
class Screw:
    """What is turned for a target: scenario path, how to read and to move it, and reading per move to begin with."""

    path: str
    value: Callable[[ActionUnit], float]
    move: Callable[[ActionUnit, float], ActionUnit]
    gain: float


def _part(part: str, **names: Callable[[ActionUnit, float], object]) -> Callable[[ActionUnit, float], ActionUnit]:
    """Move fields of one part of the unit."""

    def move(u: ActionUnit, by: float) -> ActionUnit:
        changes: dict[str, Any] = {n: f(u, by) for n, f in names.items()}
        whole: dict[str, Any] = {part: replace(getattr(u, part), **changes)}
        return replace(u, **whole)

    return move


def _bed(u: ActionUnit) -> float:
    return u.nominal.get("key.balance_rail_height", 0.0)


def _stop(part: str) -> Callable[[ActionUnit, float], ActionUnit]:
    return _part(part, stop_angle=lambda u, by: getattr(u, part).stop_angle + by)


def _spring(u: ActionUnit, by: float) -> ActionUnit:
    """One spring for both parts keeps their shares; otherwise the lever's alone."""
    s = u.springs
    return replace(u, springs=replace(s, repetition=s.repetition + by))


SCREWS: Mapping[str, Screw] = {
    "blow": Screw(
        "settings.capstan_height",
        lambda u: u.key.capstan_centre[1] + u.key.capstan_radius,
        _part("key", capstan_centre=lambda u, by: (u.key.capstan_centre[0], u.key.capstan_centre[1] + by)),
        -12.5,
    ),
    "lever_height": Screw("settings.lever_height", lambda u: u.lever.stop_angle, _stop("lever"), -0.032),
    "jack_address": Screw("settings.jack_address", lambda u: u.jack.stop_angle, _stop("jack"), 0.05),
    "let_off": Screw(
        "settings.let_off_button_height",
        lambda u: u.rails.let_off_button_plane_y + _bed(u),
        _part("rails", let_off_button_plane_y=lambda u, by: u.rails.let_off_button_plane_y + by),
        -6.7,
    ),
    "drop": Screw(
        "settings.drop_screw_height",
        lambda u: u.rails.drop_screw_tip[1] + _bed(u),
        _part("rails", drop_screw_tip=lambda u, by: (u.rails.drop_screw_tip[0], u.rails.drop_screw_tip[1] + by)),
        -4.4,
    ),
    "drop_at_bottom": Screw(
        "settings.drop_screw_height",
        lambda u: u.rails.drop_screw_tip[1] + _bed(u),
        _part("rails", drop_screw_tip=lambda u, by: (u.rails.drop_screw_tip[0], u.rails.drop_screw_tip[1] + by)),
        -4.4,
    ),
    "dip": Screw(
        "settings.punching",
        lambda u: -u.key.punching_plane_y,
        _part("key", punching_plane_y=lambda u, by: u.key.punching_plane_y - by),
        1.05,
    ),
    "aftertouch": Screw(
        "settings.punching",
        lambda u: -u.key.punching_plane_y,
        _part("key", punching_plane_y=lambda u, by: u.key.punching_plane_y - by),
        1.05,
    ),
    "balance_weight": Screw(
        "key.front_weight",
        lambda u: u.key.front_moment / -u.key.touch_point[0],
        _part("key", front_moment=lambda u, by: u.key.front_moment - by * u.key.touch_point[0]),
        -9.80665,
    ),
    "checking_distance": Screw(
        "settings.backcheck_place",
        lambda u: u.key.backcheck_foot[0],
        _part("key", backcheck_foot=lambda u, by: (u.key.backcheck_foot[0] + by, u.key.backcheck_foot[1])),
        6.0,
    ),
    "spring_rise": Screw("springs.repetition", lambda u: u.springs.repetition, _spring, 2.2),
}
"""Target to screw.  Gains in SI: m per m, m per rad, N per kg, m per N·m."""

AT_REST = ("lever_height", "jack_address", "blow")
PRESSED = ("let_off", "drop", "drop_at_bottom", "dip", "aftertouch", "balance_weight")
PLAYED = ("checking_distance", "spring_rise")
LONGEST = {"checking_distance": 1e-3, "spring_rise": 1.5e-3, "balance_weight": 0.02}
"""Longest move of a screw in one step (m, N·m, kg); others 0.5 mm or 0.02 rad."""
TOLERANCE = {"balance_weight": 5e-4, "checking_distance": 1e-4, "spring_rise": 2e-4}


def set_up(unit: ActionUnit, progress: Progress | None = None) -> ActionUnit:
    """The unit with its targets met; the same unit when it has none.

    Raises InputError naming the target, what was reached and what stands in the
    way, when the targets contradict or cannot be reached.
    """
    wanted = {k: v for k, v in unit.targets.items() if k in SCREWS}
    if not wanted:
        return unit
    _contradiction(unit, wanted)
    say = progress or (lambda fraction, what: None)
    screws = dict(SCREWS)
    if "aftertouch" in wanted and "dip" in wanted:
        screws["aftertouch"] = replace(SCREWS["blow"], gain=12.5 / 4.75)
    u, last = unit, {}
    for k in range(ROUNDS):
        for i, (group, read) in enumerate(((AT_REST, _read_rest), (PRESSED, _read_pressed), (PLAYED, _read_played))):
            mine = [t for t in group if t in wanted]
            if mine:
                say((3 * k + i) / (3 * ROUNDS), f"setting {', '.join(m.replace('_', ' ') for m in mine)}")
                u = _solve(u, wanted, mine, screws, read)
        last = _misses(u, wanted)
        if not last:
            return _marked(unit, u, wanted, screws)
    raise _unreachable(unit, wanted, last)


def _contradiction(unit: ActionUnit, wanted: Mapping[str, float]) -> None:
    if {"dip", "aftertouch", "blow"} <= wanted.keys():
        raise InputError(
            (
                Fault(
                    unit.path,
                    None,
                    "targets.aftertouch",
                    f"{wanted['aftertouch'] * 1e3:.2f} mm",
                    "two of blow, dip and aftertouch: the third follows from them and the let-off",
                    "leave one of the three out and read what it comes to",
                ),
            )
        )


def _read_rest(u: ActionUnit) -> dict[str, float | None]:
    rest = at_rest(u)
    return {
        "blow": rest.at_rest["string"],
        "lever_height": slow_press.lever_height(rest),
        "jack_address": slow_press.jack_address(rest),
    }


def _read_pressed(u: ActionUnit) -> dict[str, float | None]:
    pressed = slow_press.press(at_rest(u))
    s = slow_press.settings(pressed)
    weight, _ = slow_press.touch_weight(pressed)
    out = {
        "let_off": s.let_off,
        "drop": s.drop,
        "drop_at_bottom": s.drop_at_bottom,
        "dip": s.dip,
        "aftertouch": s.aftertouch,
        "balance_weight": weight.balance_weight,
    }
    if pressed.outcome != "plays":
        # the jack is held too long: say how, so that the button can be lowered first
        out |= {"let_off": None, "drop": None, "drop_at_bottom": None, "aftertouch": None, "balance_weight": None}
    return out


def _read_played(u: ActionUnit) -> dict[str, float | None]:
    rest = at_rest(u)
    reading, run = blows.play(rest, touch(MODERATE))
    rise = release.spring_rise(rest, run, reading.caught)
    return {"checking_distance": reading.checking_distance, "spring_rise": rise.height}


Reader = Callable[[ActionUnit], dict[str, float | None]]


def _solve(
    u: ActionUnit, wanted: Mapping[str, float], mine: list[str], screws: Mapping[str, Screw], read: Reader
) -> ActionUnit:
    """Move the screws of ``mine`` together until their readings fit (Broyden's method from the given gains)."""
    gains = np.diag([screws[t].gain for t in mine])
    moved: np.ndarray | None = None
    before: np.ndarray | None = None
    for _ in range(25):
        got = read(u)
        if any(got[t] is None for t in mine):
            u, moved, before = _make_room(u, mine, got), None, None
            continue
        values = np.array([float(got[t] or 0.0) for t in mine])
        miss = values - np.array([wanted[t] for t in mine])
        if all(abs(m) <= TOLERANCE.get(t, CLOSE) * 0.5 for m, t in zip(miss, mine, strict=True)):
            return u
        if moved is not None and before is not None and moved @ moved > 0 and "spring_rise" not in mine:
            gains = gains + np.outer((values - before) - gains @ moved, moved) / (moved @ moved)
        step = -np.linalg.solve(gains, miss)
        longest = np.array([LONGEST.get(t, 2e-2 if t in ("lever_height", "jack_address") else 5e-4) for t in mine])
        step *= min(1.0, float(np.min(longest / np.maximum(np.abs(step), 1e-12))))
        for t, by in zip(mine, step, strict=True):
            u = screws[t].move(u, float(by))
        moved, before = step, values
    return u


def _make_room(u: ActionUnit, mine: list[str], got: Mapping[str, float | None]) -> ActionUnit:
    """A reading could not be taken: earlier let-off, a lower drop screw, a stronger spring bring it about."""
    if "spring_rise" in mine or "checking_distance" in mine:
        return SCREWS["checking_distance"].move(u, -0.5e-3) if got.get("checking_distance") is None else u
    u = SCREWS["let_off"].move(u, -1.5e-4)
    return SCREWS["drop"].move(u, -1.0e-4)


def _misses(u: ActionUnit, wanted: Mapping[str, float]) -> dict[str, float | None]:
    """Targets that are not met: what the reading is."""
    got: dict[str, float | None] = {}
    for group, read in ((AT_REST, _read_rest), (PRESSED, _read_pressed), (PLAYED, _read_played)):
        if any(t in wanted for t in group):
            got |= read(u)
    out = {}
    for t, value in wanted.items():
        reading = got[t]
        if reading is None or abs(reading - value) > TOLERANCE.get(t, 2 * CLOSE):
            out[t] = reading
    return out


def _unreachable(unit: ActionUnit, wanted: Mapping[str, float], misses: Mapping[str, float | None]) -> InputError:
    def said(t: str, v: float) -> str:
        return f"{v / 9.80665e-3:.1f} gf" if t == "balance_weight" else f"{v * 1e3:.2f} mm"

    faults = []
    for t, reading in misses.items():
        came = "could not be read" if reading is None else f"came to {said(t, reading)}"
        faults.append(
            Fault(
                unit.path,
                None,
                f"targets.{t}",
                said(t, wanted[t]),
                f"what these parts can reach; it {came}",
                "change this target or the dimensions that stand in its way",
            )
        )
    return InputError(tuple(faults))


def _marked(before: ActionUnit, u: ActionUnit, wanted: Mapping[str, float], screws: Mapping[str, Screw]) -> ActionUnit:
    """Note where the settings come from, and forget the targets: they are met."""
    sources, nominal = dict(u.sources), dict(u.nominal)
    for t in wanted:
        s = screws[t]
        sources[s.path] = Source("set up", f"for a {t.replace('_', ' ')} as asked")
        if s.path not in ("settings.lever_height", "settings.jack_address"):
            nominal[s.path] = s.value(u)
        else:
            nominal[s.path] = wanted[t]
    return replace(u, sources=sources, nominal=nominal, targets={})


def found(unit: ActionUnit) -> dict[str, float]:
    """Settings that a set-up has found, by scenario path (SI)."""
    return {p: unit.nominal[p] for p, s in sorted(unit.sources.items()) if s.kind == "set up"}


__all__ = ["SCREWS", "Rest", "found", "set_up"]
