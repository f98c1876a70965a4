"""One blow: what a finger's touch makes of the unit, with its events and where the work went."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from sim.bench.outcomes import Outcome
from sim.bench.readings import Strike
from sim.bench.rest_pose import Rest
from sim.bench.slow_press import FIRM_FORCE, find_bottom_travel
from sim.physics.finger import (
    TABLE_END,
    Touch,
    build_power_path,
    drive_falling_mass,
    drive_finger_motion,
    drive_force,
    drive_key_motion,
    drive_pressed,
    drive_struck,
)
from sim.physics.modes import DriveMode
from sim.physics.run import Drive, Run, run

Array = NDArray[np.float64]

SHORTEST_APPROACH = 1e-3
"""A tip led from above a key with less way than this comes as if the key had it, m."""
LEAVING_TRAVEL = 1e-5
"""Travel at which the key is said to have left rest, m."""
DURATION = 0.45
"""Simulated time of a blow, s: the hammer is at rest in the check by then."""
FORCE_RISE_TIME = 0.02
"""Time in which the force of a force touch rises, s."""
BLOW_SEPARATION = 5e-3
"""Two string contacts further apart than this are two blows, s; not where the string, swinging out after the blow,
only reaches a hammer on its way back."""
CAUGHT_SPEED = 0.02
"""Crown speed below which the hammer is at rest, m/s."""


def run_blow(rest: Rest, touch: Touch, duration: float = DURATION) -> Run:
    """Run one touch from rest (no reading taken)."""
    drive = make_drive(rest, touch)
    if touch.kind == "motion":
        duration += float(drive.table[-2, 0])
    return run(rest.parameters, drive, duration, rest.state, step=rest.step, every=rest.step)


def make_drive(rest: Rest, touch: Touch) -> Drive:
    """The touch on this unit."""
    finger = rest.unit.finger
    above = finger.struck_height if touch.struck else 0.0
    if touch.kind == "mass":
        return drive_falling_mass(touch.strength, above)
    if touch.kind == "force":
        push = drive_force(np.array([0.0, FORCE_RISE_TIME, TABLE_END]), touch.strength * np.array([0.0, 1.0, 1.0]))
        return replace(push, mode=DriveMode.DRIVEN_MASS, mass=finger.mass, height=above) if touch.struck else push
    if touch.kind == "motion":
        return _guide_key(rest, touch.strength, above)
    return drive_struck(finger, touch.strength) if touch.struck else drive_pressed(finger, touch.strength)


def _guide_key(rest: Rest, time: float, above: float) -> Drive:
    """The key led to its bottom, or the finger's tip led there from above the key as fast."""
    bottom = find_bottom_travel(rest, 4 * FIRM_FORCE)
    if above == 0.0:
        return drive_key_motion(build_power_path(bottom, time, 3.0), rest.arm, rest.angle)
    pad = rest.unit.contacts["finger"]
    way = above + bottom + (4 * FIRM_FORCE / pad.stiffness) ** (1 / pad.exponent)
    path = build_power_path(way, time * way / max(bottom, SHORTEST_APPROACH), 3.0)
    path[:, 1] += rest.design_travel - above
    return drive_finger_motion(path)


def play_touch(rest: Rest, touch: Touch, duration: float = DURATION) -> tuple[Strike, Run]:
    """Play one touch and read it (SI).  The run comes along for its traces."""
    r = run_blow(rest, touch, duration)
    return read_strike(rest, touch, r), r


def read_strike(rest: Rest, touch: Touch, r: Run) -> Strike:
    """Readings of a finished blow."""
    name = touch.name
    if not r.outcome.fine:
        return Strike(name, not touch.struck, f"{Outcome.LEAVES_DOMAIN}: {r.outcome}")
    t = r.trace["t"]
    travel = rest.travel(r)
    makes = r.log.of("string", True)
    e = _events(rest, r, travel)
    losses = _losses(r)
    common = Strike(name, not touch.struck, "", losses=losses, ledger_remainder=r.ledger.remainder, events=e)
    key_speed = float(r.place.key_speed[: _row(t, e["key_meets_punching"])].max())
    checked, caught = _checking(r)
    if not len(makes):
        return replace(common, outcome=Outcome.DOES_NOT_SOUND, key_speed_max=key_speed, checking_distance=checked)
    contact, blows = float(makes[0, 0]), count_blows(makes)
    release = e["string_release"]
    start = e["key_leaves_rest"]
    free = e["free_flight"]
    bottom = e["key_bottom"]
    inside = (t > contact - 1e-3) & (t < contact + 0.02)
    return replace(
        common,
        outcome=Outcome.SOUNDS if blows == 1 else f"{Outcome.SOUNDS} {blows} times",
        hammer_speed=float(makes[0, 4]),
        key_speed_max=key_speed,
        travel_time=contact - start if start is not None else None,
        free_flight=None if free is None else contact - free,
        free_flight_distance=None if free is None else float(np.interp(free, t, r.place.crown_to_string)),
        contact_time=None if release is None else release - contact,
        peak_force=float(r.trace["N_string"][inside].max()),
        key_bottom_after_contact=None if bottom is None else bottom - contact,
        checking_distance=checked if caught else None,
        caught=caught,
        contacts_with_string=blows,
    )


def count_blows(makes: Array) -> int:
    """How many blows contacts with the string are (rows of the log, with the crown's speed in the fifth column)."""
    struck = makes[makes[:, 4] > 0, 0]
    return len(makes[:1]) + int(np.sum(np.diff(struck) > BLOW_SEPARATION))


def _row(t: Array, time: float | None) -> int:
    return len(t) if time is None else max(1, int(np.searchsorted(t, time)))


def _first(times: Array, after: float = 0.0) -> float | None:
    later = times[times >= after]
    return float(later[0]) if len(later) else None


def _crossing(t: Array, y: Array, level: float, after: int = 0) -> float | None:
    """Time at which y first rises through level, located between samples."""
    above = np.nonzero(y[after:] >= level)[0]
    if not len(above):
        return None
    i = after + int(above[0])
    if i == 0:
        return float(t[0])
    part = (level - y[i - 1]) / (y[i] - y[i - 1])
    return float(t[i - 1] + part * (t[i] - t[i - 1]))


def _events(rest: Rest, r: Run, travel: Array) -> dict[str, float | None]:
    t, log = r.trace["t"], r.log
    contact = _first(log.times("string", True))
    leaves = _last_before(log.times("jack_knuckle", False), contact)
    pushes = [x for x in (leaves, _last_before(log.times("lever_knuckle", False), contact)) if x is not None]
    release = None
    if contact is not None:
        ends = log.times("string", False)
        ends = ends[(ends > contact) & (ends < contact + BLOW_SEPARATION)]
        release = float(ends[-1]) if len(ends) else None
    landed = _first(log.times("punching", True))
    bottom = _crossing(t, r.trace["N_punching"], FIRM_FORCE, _row(t, landed) - 1) if landed is not None else None
    damper = _crossing(t, r.trace["d"], 5e-5) if rest.unit.damper is not None else None
    tail = _first(log.times("backcheck", True), release or contact or 0.0)
    return {
        "key_leaves_rest": _crossing(t, travel, LEAVING_TRAVEL),
        "damper_starts": damper,
        "toe_meets_button": _first(log.times("toe_button", True)),
        "lever_meets_drop_screw": _first(log.times("drop_screw", True)),
        "escape": leaves,
        "free_flight": max(pushes) if pushes and contact is not None else None,
        "string_contact": contact,
        "string_release": release,
        "key_meets_punching": landed,
        "key_bottom": bottom,
        "tail_meets_backcheck": tail,
        "caught": _caught_at(r, tail),
    }


def _last_before(times: Array, limit: float | None) -> float | None:
    before = times if limit is None else times[times < limit]
    return float(before[-1]) if len(before) else None


def _checking(r: Run) -> tuple[float, bool]:
    """Crown to string at the end of the run and whether the check holds the hammer there."""
    end = float(r.place.crown_to_string[-1])
    still = bool(np.abs(r.place.crown_speed[-200:]).max() < CAUGHT_SPEED)
    return end, still and bool(r.trace["N_backcheck"][-1] > 0.02)


def _caught_at(r: Run, tail: float | None) -> float | None:
    if tail is None or not _checking(r)[1]:
        return None
    moving = np.nonzero(np.abs(r.place.crown_speed) > CAUGHT_SPEED)[0]
    return float(r.trace["t"][moving[-1]]) if len(moving) else None


def _losses(r: Run) -> dict[str, float]:
    """Work by where it went, J: felts (squeezing), rubbing, bending, string, what is still stored or moving."""
    out = {f"felt {n}": v for n, v in r.ledger.felts.items()}
    out |= {f"rubbing {n}": v for n, v in r.ledger.rubbing.items()}
    out |= {f"bending {n}": v for n, v in r.ledger.bending.items()}
    out |= {
        "string": r.ledger.string,
        "moving": r.ledger.kinetic,
        "stored": r.ledger.potential + r.ledger.squeezed,
        "finger": r.ledger.finger,
    }
    return out
