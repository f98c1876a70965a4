"""After the blow: how the check lets go, how the spring lifts, how jack and key come back."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sim.bench.rest_pose import Rest
from sim.physics.finger import build_even_path, drive_key_motion
from sim.physics.modes import DriveMode
from sim.physics.run import Drive, Run, continue_run

EASING_SPEED = 25e-3
"""Speed at which the key is eased up from the check, touch point, m/s (the way up in 0.4 s). Our convention:
let up much slower, the hammer either stays or climbs the whole way to the drop screw."""
PARTING_GAP = 3e-4
"""The hammer has left the lever when it stands this far off it while rising, m. Our convention."""
REST_TOLERANCE = 3e-4
"""The crown is back when it stays this close to where it comes to rest, m (friction leaves it a little off
its height before the blow)."""


@dataclass(frozen=True)
class SpringRise:
    """How the lever lifts the hammer when the check lets go (SI); None where there was no check to let go."""

    height: float | None
    speed: float | None
    leaves_lever: bool
    run: Run | None


def measure_spring_rise(rest: Rest, checked: Run, caught: bool) -> SpringRise:
    """Let the key up slowly after a caught blow and watch the hammer (readings.md, spring rise)."""
    if not caught:
        return SpringRise(None, None, False, None)
    start = float(checked.place.key_travel[-1]) - rest.design_travel
    path = build_even_path(start, 0.0, EASING_SPEED)
    path[:, 0] += checked.end
    up = continue_run(
        checked,
        drive_key_motion(path, rest.arm, rest.angle),
        float(path[-2, 0]) - checked.end + 0.15,
        step=rest.step,
        every=5e-4,
    )
    if not up.outcome.fine:
        return SpringRise(None, None, False, up)
    crown, t = up.place.crown_to_string, up.trace["t"]
    lets_go = up.log.times("backcheck", False)
    if not len(lets_go):
        return SpringRise(None, None, False, up)
    go = float(lets_go[-1])
    start_height = float(crown[0])
    height = max(0.0, start_height - float(crown.min()))
    peak = int(np.argmin(crown))
    rising = slice(0, peak + 1)
    speed = float(up.place.crown_speed[rising].max()) if height > 0 else 0.0
    climbing = slice(int(np.searchsorted(t, go)), peak + 1)
    parted = rest.gap_along("lever_knuckle", up.trace, climbing).max(initial=0.0)
    leaves = height > 0 and bool(parted > PARTING_GAP)
    return SpringRise(height, speed, leaves, up)


@dataclass(frozen=True)
class KeyReturn:
    """Coming back when the finger is taken away (s)."""

    jack_home: float | None
    at_rest: float | None
    run: Run


def release_key(rest: Rest, held: Run, duration: float = 0.5) -> KeyReturn:
    """Take the finger away from a held key and time the jack's and everything's return."""
    back = continue_run(held, Drive(DriveMode.NO_FINGER), duration, step=rest.step, every=5e-4)
    if not back.outcome.fine:
        return KeyReturn(None, None, back)
    t = back.trace["t"] - held.end
    away = np.nonzero(~rest.jack_home(back.trace))[0]
    home = _after(t, away)
    crown = back.place.crown_to_string
    off = np.abs(crown - crown[-1]) > REST_TOLERANCE
    moving = np.abs(back.place.crown_speed) > 0.02
    return KeyReturn(home, _after(t, np.nonzero(off | moving)[0]), back)


def _after(t: np.ndarray, rows: np.ndarray) -> float | None:
    """Time after the last of the rows; None when they last to the end."""
    if not len(rows):
        return 0.0
    last = int(rows[-1])
    return None if last + 1 >= len(t) else float(t[last + 1])
