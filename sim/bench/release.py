"""After the blow: how the check lets go, how the spring lifts, how jack and key come back."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sim.bench.rest import Rest
from sim.physics.finger import even_travel, key_motion
from sim.physics.run import NO_FINGER, Drive, Run, go_on

LET_UP = 12e-3
"""Speed at which the key is let up from the check, touch point, m/s."""
AT_REST = 3e-4
"""The crown is back when it stays this close to its resting height, m."""


@dataclass(frozen=True)
class Rise:
    """How the lever lifts the hammer when the check lets go (SI); None where there was no check to let go."""

    height: float | None
    speed: float | None
    leaves_lever: bool
    run: Run | None


def spring_rise(rest: Rest, checked: Run, caught: bool) -> Rise:
    """Let the key up slowly after a caught blow and watch the hammer (readings.md, spring rise)."""
    if not caught:
        return Rise(None, None, False, None)
    start = float(checked.place.key_travel[-1]) - rest.design_travel
    path = even_travel(start, 0.0, LET_UP)
    path[:, 0] += checked.end
    up = go_on(
        checked,
        key_motion(path, rest.arm, rest.angle),
        float(path[-2, 0]) - checked.end + 0.15,
        step=rest.step,
        every=5e-4,
    )
    if not up.outcome.fine:
        return Rise(None, None, False, up)
    crown, t = up.place.crown_to_string, up.trace["t"]
    lets_go = up.log.times("backcheck", False)
    if not len(lets_go):
        return Rise(None, None, False, up)
    go = float(lets_go[-1])
    start_height = float(crown[0])
    height = max(0.0, start_height - float(crown.min()))
    peak = int(np.argmin(crown))
    rising = slice(0, peak + 1)
    speed = float(up.place.crown_speed[rising].max()) if height > 0 else 0.0
    parts = up.log.of("lever_knuckle", False)
    leaves = bool(np.any((parts[:, 0] > go - 0.02) & (parts[:, 0] <= t[peak]) & (parts[:, 4] > 0.02)))
    return Rise(height, speed, leaves, up)


@dataclass(frozen=True)
class Return:
    """Coming back when the finger is taken away (s)."""

    jack_home: float | None
    at_rest: float | None
    run: Run


def let_go(rest: Rest, held: Run, duration: float = 0.5) -> Return:
    """Take the finger away from a held key and time the jack's and everything's return."""
    back = go_on(held, Drive(NO_FINGER), duration, step=rest.step, every=5e-4)
    if not back.outcome.fine:
        return Return(None, None, back)
    t = back.trace["t"] - held.end
    away = np.nonzero(~rest.jack_home(back.trace))[0]
    home = _after(t, away)
    off = np.abs(back.place.crown_to_string - rest.at_rest["string"]) > AT_REST
    moving = np.abs(back.place.crown_speed) > 0.02
    return Return(home, _after(t, np.nonzero(off | moving)[0]), back)


def _after(t: np.ndarray, rows: np.ndarray) -> float | None:
    """Time after the last of the rows; None when they last to the end."""
    if not len(rows):
        return 0.0
    last = int(rows[-1])
    return None if last + 1 >= len(t) else float(t[last + 1])
