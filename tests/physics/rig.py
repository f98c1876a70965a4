"""Handles for the physics tests: parameter records with parts switched off, states, touches, slopes."""

from __future__ import annotations

import functools
from dataclasses import replace
from typing import Any

import numpy as np

from sim.physics import kernel
from sim.physics.mechanism import DOFS
from sim.physics.modes import DriveMode
from sim.physics.run import STATE_TYPE, Drive, Run, pack_parameters, run, settle_unit
from sim.unit.contacts import CONTACT_NAMES as NAMES
from sim.unit.contacts import RUBBING
from sim.unit.model import CENTRES, ActionUnit, Damper
from tests.physics.design_unit import load_design_unit

Array = Any
"""A numpy array or record."""

SPRINGS = ("springs_repetition", "springs_repetition_rate", "springs_jack", "springs_jack_rate")
TOUCHES = {"soft": 2.0, "medium": 11.0, "hard": 34.0}
"""Peak force (N) of the finger that gives the design unit about 0.7, 2 and 4.5 m/s."""


def make_parameters(unit: ActionUnit | None = None, **changes: float) -> Array:
    """The unit's parameters with some of them set otherwise."""
    p = pack_parameters(unit if unit is not None else load_design_unit())
    for name, value in changes.items():
        p[name] = value
    return p


def remove_contacts(p: Array, *, but: tuple[str, ...] = ()) -> Array:
    """No contact pushes, save those named."""
    out = p.copy()
    for n in NAMES:
        if n not in but:
            out[f"K_{n}"], out[f"limit_{n}"] = 0.0, 1e9
    return out


def remove_friction(p: Array) -> Array:
    out = p.copy()
    for n in (*CENTRES, "damper"):
        out[f"friction_{n}"] = 0.0
    for n in RUBBING:
        out[f"mu_{n}"] = 0.0
    return out


def remove_losses(p: Array) -> Array:
    """No dry friction, no loss in felts, key or shank."""
    out = remove_friction(p)
    for n in NAMES:
        out[f"c_{n}"] = 0.0
    out["key_bending_damping"] = out["damping_ee"] = out["damping_er"] = out["damping_rr"] = 0.0
    return out


def keep_hammer_alone(p: Array) -> Array:
    """Nothing acts on key, wippen, jack and lever: left alone they stay where they are."""
    out = p.copy()
    for n in ("wippen_mx", "wippen_my", "jack_mx", "jack_my", "lever_mx", "lever_my", "key_front_moment"):
        out[n] = 0.0
    for n in SPRINGS:
        out[n] = 0.0
    return out


def remove_string(p: Array) -> Array:
    """The string out of the hammer's reach."""
    out = p.copy()
    out["string_y"] += 1.0
    return out


def make_rigid(unit: ActionUnit) -> ActionUnit:
    return replace(unit, hammer=replace(unit.hammer, shank_bends=False))


def fit_damper(unit: ActionUnit) -> ActionUnit:
    """The unit with a damper of invented mass and friction over the key's end."""
    return replace(unit, damper=Damper(key_end=(0.235, 0.02), gap=3e-3, mass=0.04, friction=0.05))


def make_state(**values: float) -> Array:
    """Named coordinates, ``v_`` speeds (taken as steady: the speeds before are the same), the rest zero."""
    s = np.zeros(1, STATE_TYPE)
    s["f"] = 0.05
    for name, value in values.items():
        s[name] = value
        if name.startswith("v_"):
            s["o_" + name[2:]] = value
    return s


def make_pull(force: float, *, mass: float = 0.5, rise: float = 0.02, damping: float = 2.0) -> Drive:
    """A finger of some mass, resting on the key, whose muscle force rises smoothly to ``force``."""
    return Drive(
        DriveMode.DRIVEN_MASS, np.array([[0.0, 0.0, 0.0], [rise, force, 0.0]]), mass=mass, muscle_damping=damping
    )


def make_steady_force(force: float) -> Drive:
    """A constant force on the key."""
    return Drive(DriveMode.KEY_FORCE, np.array([[0.0, force, 0.0]]))


@functools.cache
def _rest() -> Array:
    return settle_unit(load_design_unit(), step=10e-6)


def load_rest() -> Array:
    """The design unit at rest."""
    return _rest().copy()


def run_strike(p: Array, drive: Drive, duration: float, step: float, **options: Any) -> Run:
    """A run from rest that must end well."""
    options.setdefault("every", None)
    return run(p, drive, duration, load_rest(), step=step, **options).require()


def find_first_contact(r: Run) -> tuple[float, float]:
    """Time of the first string contact (s) and crown speed there (m/s)."""
    makes = r.log.of("string", True)
    assert len(makes), "the hammer does not reach the string"
    column = {n: i for i, n in enumerate(kernel.LOG)}
    return float(makes[0, column["t"]]), float(makes[0, column["crown_speed"]])


def compute_crown_speed(r: Run) -> Array:
    """Upward speed of the crown along the trace, m/s: the derivative of its height, bending included."""
    p, t = r.parameters[0], r.trace
    s, c = np.sin(t["h"]), np.cos(t["h"])
    out: Array = (c * p["strike_x"] - s * p["strike_y"]) * t["v_h"]
    for q in ("e", "r"):
        turn, lift = p[f"turn_{q}_strike"], p[f"lift_{q}_strike"]
        out -= (c * turn * p["strike_y"] + s * lift) * t[q] * t["v_h"]
        out += (c * lift - s * turn * p["strike_y"]) * t[f"v_{q}"]
    return out


def find_impact(r: Run) -> tuple[float, float]:
    """First string contact (s) and crown speed there (m/s), both to second order.

    The parabola through the last three rows of the trace before the contact is
    drawn on to it.
    """
    time = find_first_contact(r)[0]
    rows = np.flatnonzero(r.trace["t"] <= time)[-3:]
    t, v = r.trace["t"][rows] - time, compute_crown_speed(r)[rows]
    return time, float(np.polynomial.Polynomial.fit(t, v, 2)(0.0))


def fit_slope(steps: list[float], errors: list[float]) -> float:
    """Least-squares slope of log error against log step."""
    return float(np.polyfit(np.log(steps), np.log(np.maximum(errors, 1e-300)), 1)[0])


def read_vector(s: Array, prefix: str = "") -> Array:
    """Coordinates (or with ``v_``, ``o_`` speeds) of a state as an array in the order of DOFS."""
    return np.array([float(s[prefix + x][0]) for x in DOFS])
