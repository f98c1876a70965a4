"""The slow press: settings, touch weights and the force curve, by pressing so slowly that momentum plays no part."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from sim.bench.outcomes import Outcome
from sim.bench.readings import Settings, SlowPress, TouchWeight
from sim.bench.rest_pose import Rest, rotate_vectors
from sim.physics.finger import build_even_path, build_slowing_path, drive_key_motion
from sim.physics.modes import DriveMode
from sim.physics.run import Drive, Run, continue_run, run
from sim.unit.model import GRAVITY

Array = NDArray[np.float64]

FIRM_FORCE = 0.300 * GRAVITY
"""Force of firm contact with the punching, N (300 gf: trade.md, dip test load)."""
PRESS_SPEED = 3e-3
"""Speed of the slow press at the touch point, m/s: the crown coasts less than 0.02 mm on it."""
QUICK_SPEED = 12e-3
"""Speed of a quick press over the first half of the way, m/s."""
WEIGHT_SPAN = (2e-3, 5e-3)
"""Travel over which down and up weight are taken, m (readings.md)."""
ESCAPE_DISTANCE = 1e-3
"""The jack can have escaped when its top's rear edge stands this far in front of the knuckle's core, m."""
LARGEST_KEY_TURN = 1.1
"""Turn of the key at which a press ends that met no punching, rad: past the model's range."""
ESCAPE_FALL = 5e-5
"""... and the crown has fallen this far from its highest point, m."""
PAST_ESCAPE = 5e-5
"""Further travel at which the key is held to read the drop, m."""


@dataclass(frozen=True)
class PressRun:
    """A slow press and its return, with where things happened (touch-point travel in m)."""

    rest: Rest
    down: Run
    up: Run | None
    outcome: Outcome
    reason: str
    peak: int
    """Trace row of the crown's highest point."""
    firm: int | None
    """Trace row of firm contact with the punching."""

    @property
    def plays(self) -> bool:
        return self.outcome is Outcome.PLAYS


def find_bottom_travel(rest: Rest, force: float = 2 * FIRM_FORCE) -> float:
    """Touch-point travel at which the punching carries about ``force`` N, m."""
    law = rest.unit.contacts["punching"]
    squeeze = (force / law.stiffness) ** (1 / law.exponent)
    arm = abs(rest.unit.key.punching_x)
    return (rest.at_rest["punching"] + squeeze) * rest.arm / arm


def press_slowly(rest: Rest, *, back: bool = True, quick: bool = False) -> PressRun:
    """Press the key slowly to firm contact and let it up again; nothing is raised, see ``outcome``.

    ``quick`` hurries over the first half of the way, where only weights are read.
    """
    depth = min(find_bottom_travel(rest), LARGEST_KEY_TURN * rest.arm)
    path = (
        build_slowing_path(depth, 0.5 * depth, QUICK_SPEED, PRESS_SPEED)
        if quick
        else build_even_path(0.0, depth, PRESS_SPEED)
    )
    down = run(
        rest.parameters,
        drive_key_motion(path, rest.arm, rest.angle),
        float(path[-2, 0]) + 0.05,
        rest.state,
        step=rest.step,
        every=5e-4,
    )
    outcome, reason = Outcome.PLAYS, ""
    crown = down.place.crown_to_string
    peak = int(np.argmin(crown)) if len(crown) else 0
    firm = _firm(down, peak)
    if not down.outcome.fine:
        return PressRun(rest, down, None, Outcome.LEAVES_DOMAIN, str(down.outcome), peak, None)
    if len(down.log.times("string", True)) or crown[peak] < 5e-5:
        outcome, reason = Outcome.BLOCKS, _blocked(down, peak)
    elif not _escaped(rest, down, crown[peak]) and _carried(down, -1):
        outcome, reason = (
            Outcome.DOES_NOT_DROP,
            "let off, the hammer is carried on up by the lever: the drop screw is too high",
        )
    elif not _escaped(rest, down, crown[peak]):
        outcome, reason = Outcome.NEVER_ESCAPES, "the jack is still under the knuckle when the key is at the bottom"
    if not back or outcome != Outcome.PLAYS:
        return PressRun(rest, down, None, outcome, reason, peak, firm)
    back_path = build_even_path(depth, 0.0, 1.5 * PRESS_SPEED)
    up = continue_run(
        down,
        drive_key_motion(_later(back_path, down.end), rest.arm, rest.angle),
        float(back_path[-2, 0]) + 0.2,
        step=rest.step,
        every=5e-4,
    )
    if not up.outcome.fine:
        outcome, reason = Outcome.LEAVES_DOMAIN, str(up.outcome)
    return PressRun(rest, down, up, outcome, reason, peak, firm)


def _later(path: Array, start: float) -> Array:
    out = path.copy()
    out[:, 0] += start
    return out


def _firm(down: Run, peak: int) -> int | None:
    firm = (down.trace["finger_force"] >= FIRM_FORCE) & (down.trace["N_punching"] > 0.5 * FIRM_FORCE)
    rows = np.nonzero(firm[peak:])[0]
    return peak + int(rows[0]) if len(rows) else None


def _escaped(rest: Rest, run: Run, highest: float) -> bool:
    """The crown has fallen off its highest point and the jack's top stands in front of the knuckle's core.

    (The jack may still lean against the knuckle's side.)
    """
    fallen = float(run.place.crown_to_string[-1]) - highest
    return rest.address(run.trace)[-1] > ESCAPE_DISTANCE and fallen > ESCAPE_FALL


def is_lever_carrying(pressed: PressRun) -> bool:
    """Whether it is the lever, not the jack, that brings the hammer where it blocks or stays up."""
    at = pressed.peak if pressed.outcome == Outcome.BLOCKS else -1
    return _carried(pressed.down, at)


def _carried(run: Run, row: int) -> bool:
    """The lever carries the hammer and the jack only leans on it, if at all."""
    return bool(run.trace["N_lever_knuckle"][row] > run.trace["N_jack_knuckle"][row])


def _blocked(run: Run, peak: int) -> str:
    if _carried(run, peak):
        return "the jack let off, but the lever carries the hammer to the string: the drop screw is too high"
    return "the jack still pushes when the hammer is at the string: it lets off too late"


def measure_escape_drop(pressed: PressRun) -> float | None:
    """Crown to string with the key held just past escape, m (None: the jack did not leave the knuckle)."""
    rest, down = pressed.rest, pressed.down
    falling = down.place.crown_speed[pressed.peak :]
    if not len(falling):
        return None
    escape = pressed.peak + int(np.argmin(falling))
    travel = float(rest.travel(down)[escape]) + PAST_ESCAPE
    path = build_slowing_path(travel, 0.5 * travel, QUICK_SPEED, 2 * PRESS_SPEED)
    held = run(
        rest.parameters,
        drive_key_motion(path, rest.arm, rest.angle),
        float(path[-2, 0]) + 0.25,
        rest.state,
        step=rest.step,
        every=2e-3,
    )
    if not held.outcome.fine or not _escaped(rest, held, down.place.crown_to_string[pressed.peak]):
        return None
    return float(held.place.crown_to_string[-1])


def read_settings(pressed: PressRun, *, drop: bool = True, wink: bool = True) -> Settings:
    """Settings as they come out of a slow press (SI); ``drop`` and ``wink`` may be left out, each takes a run."""
    rest, down = pressed.rest, pressed.down
    g = rest.at_rest
    out = Settings(
        blow=g["string"],
        spread=rest.unit.rails.spread,
        lever_height=measure_lever_height(rest),
        jack_address=measure_jack_address(rest),
        wink=measure_tripped_fall(rest) if wink else None,
    )
    if pressed.outcome == Outcome.LEAVES_DOMAIN:
        return out
    travel = rest.travel(down) * rest.front_edge_ratio
    crown = down.place.crown_to_string
    firm = pressed.firm
    if firm is not None:
        out = replace(out, dip=float(travel[firm]))
    if rest.unit.damper is not None:
        lifted = np.nonzero(down.trace["d"] > 5e-5)[0]
        out = replace(out, damper_start=float(travel[lifted[0]]) if len(lifted) else None)
    if not pressed.plays or firm is None:
        return out
    let_off = float(crown[pressed.peak])
    held = measure_escape_drop(pressed) if drop else None
    return replace(
        out,
        let_off=let_off,
        drop=None if held is None else held - let_off,
        drop_at_bottom=float(crown[firm]) - let_off,
        aftertouch=float(travel[firm] - travel[pressed.peak]),
    )


def measure_jack_address(rest: Rest) -> float:
    """At rest: rear edge of the jack's top to the rear of the knuckle's core, fore and aft, + to the player, m."""
    u, (w, j, h) = rest.unit, (rest.state[x] for x in ("w", "j", "h"))
    core = rotate_vectors(h, u.hammer.knuckle_centre)[0] + u.hammer.centre[0]
    rear = rotate_vectors(j, u.jack.top_rear)[0] + rotate_vectors(w, u.wippen.jack_centre)[0] + u.wippen.centre[0]
    return float((core - rear)[0])


def measure_lever_height(rest: Rest) -> float:
    """At rest: top of the jack below (+) or above (-) the lever's surface under the knuckle, m.

    The gap between knuckle and jack less that between knuckle and lever: what a
    strip of paper between them would find.
    """
    return rest.at_rest["jack_knuckle"] - rest.at_rest["lever_knuckle"]


def measure_tripped_fall(rest: Rest) -> float | None:
    """Fall of the crown when the jack is tripped by its toe at rest, m; None where the unit leaves its domain.

    The jack held out of the way is a jack that carries nothing.
    """
    p = rest.parameters.copy()
    p["K_jack_knuckle"] = 0.0
    tripped = run(p, Drive(DriveMode.NO_FINGER), 0.25, rest.state, step=rest.step, every=0.01, viscous=40.0)
    if not tripped.outcome.fine:
        return None
    fall = float(tripped.place.crown_to_string[-1]) - rest.at_rest["string"]
    return fall if fall > 1e-6 else 0.0


def read_touch_weight(pressed: PressRun) -> tuple[TouchWeight, SlowPress | None]:
    """Down and up weight and the slow-press curve (N at the touch point)."""
    if pressed.outcome == Outcome.LEAVES_DOMAIN:
        return TouchWeight(), None
    rest, down = pressed.rest, pressed.down
    travel, force = rest.travel(down), down.trace["finger_force"]
    d = _mean_over(travel, force, WEIGHT_SPAN)
    before, begun = travel < travel[pressed.peak], (travel > 5e-5) & (travel < 1e-3)
    crown = down.place.crown_to_string
    rise = crown[0] - crown
    edge = travel * rest.front_edge_ratio
    weights = TouchWeight(
        down_weight=d,
        break_away=float(force[begun].max()) if begun.any() else None,
        let_off_hump=float(force[before].max()) - d if before.any() and d is not None else None,
        leverage_mean=float(rise[pressed.peak] / edge[pressed.peak]) if edge[pressed.peak] > 0 else None,
        leverage_6mm=float(np.interp(6e-3, edge, rise) / 6e-3) if edge[-1] > 6e-3 else None,
    )
    if pressed.up is None or not pressed.plays:
        return weights, None
    back, lift = rest.travel(pressed.up), pressed.up.trace["finger_force"]
    u = _mean_over(back, lift, WEIGHT_SPAN)
    if d is None or u is None:
        return replace(weights, up_weight=u), _curve(travel, force, back, lift, crown, rest.front_edge_ratio)
    weights = replace(weights, up_weight=u, balance_weight=(d + u) / 2, friction=(d - u) / 2)
    return weights, _curve(travel, force, back, lift, crown, rest.front_edge_ratio)


def _mean_over(travel: Array, force: Array, span: tuple[float, float]) -> float | None:
    """Mean force where the travel lies in the span; None where it never does."""
    inside = (travel >= span[0]) & (travel <= span[1])
    return float(force[inside].mean()) if inside.any() else None


def _curve(travel: Array, force: Array, back: Array, lift: Array, crown: Array, edge: float) -> SlowPress | None:
    """None where the key has no travel that is pressed and let up."""
    both = float(min(travel.max(), back.max()))
    if both <= 0.0:
        return None
    grid = np.linspace(0.0, both, 400)
    order, order_back = np.argsort(travel, kind="stable"), np.argsort(back, kind="stable")
    pressing = np.interp(grid, travel[order], force[order])
    returning = np.interp(grid, back[order_back], lift[order_back])
    above = np.interp(grid, travel[order], crown[order])
    return SlowPress(
        grid,
        pressing,
        returning,
        above,
        -np.gradient(above, grid) / edge,
        float(np.trapezoid(pressing - returning, grid)),
    )


def find_reset_point(pressed: PressRun) -> float | None:
    """Front-edge depth on the slow return at which the jack is home under the knuckle for good, m."""
    if pressed.up is None:
        return None
    away = np.nonzero(~pressed.rest.jack_home(pressed.up.trace))[0]
    if not len(away) or away[-1] + 1 >= len(pressed.up.trace):
        return None
    return float(pressed.rest.travel(pressed.up)[away[-1] + 1] * pressed.rest.front_edge_ratio)
