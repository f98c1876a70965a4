"""The surfaces as the engine's own contacts: balls on capsules, rigid but for the solver's softness.

Its law is not the unit's (a spring and damper that scale with what is moved, the
same for felt and wood), so that readings agree less closely; where surfaces touch,
and that they rub by Coulomb's law, is found by the engine itself.  For the rigid shank only: a ball
on the unbent shank does not bend it.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from sim.unit.contacts import CONTACT_NAMES
from sim.unit.model import ActionUnit
from tests.lazily import Lazily
from tests.twin.measures import RUBBING, Array

mujoco = Lazily("mujoco")

SOFTNESS = (5e-5, 1.0)
"""Time (s) in which the engine lets a contact's error die, and its damping ratio; its default of 20 ms is for
things a hundred times slower.  Taken after trying 10 to 400 µs on one stroke of the demo unit at three dynamics: so
hard surfaces chatter, and the hammer's speed moves by up to 6 % with it, at random."""
SKIN = 1e-3
"""Radius of the capsule that stands for a face, and of the ball that stands for a point, m."""


def add_contacts(u: ActionUnit, surfaces: Array) -> Callable[[mujoco.MjSpec], None]:
    """What puts the surfaces (rows of measures.FACE) on the bodies."""

    def put(spec: mujoco.MjSpec) -> None:
        for row in surfaces:
            name = CONTACT_NAMES[row["law"]]
            ball = _ball(spec, row, name, u)
            for i in range(row["corners"] - 1):
                face = _face(spec, row, i, name, u)
                rubs = u.contacts[name].friction if name in RUBBING else 0.0
                pair = spec.add_pair(name=f"{name}{i}", geomname1=ball, geomname2=face)
                pair.condim, pair.solref = (3 if rubs else 1), SOFTNESS
                pair.friction = [max(rubs, 1e-5)] * 2 + [1e-4] * 3
        for joint, low, high in (("j", u.jack.stop_angle, u.jack.largest_turn), ("l", u.lever.stop_angle, 1.5)):
            stop = spec.joint(joint)
            stop.limited, stop.range, stop.solref_limit = mujoco.mjtLimited.mjLIMITED_TRUE, [low, high], SOFTNESS

    return put


def _ball(spec: mujoco.MjSpec, row: Array, name: str, u: ActionUnit) -> str:
    radius, y = float(row["radius"]), float(row["y"])
    if name == "jack_knuckle":
        radius -= u.jack.top_edge_radius
    if radius == 0.0:
        radius, y = SKIN, y + SKIN
    spec.bodies[row["body"]].add_geom(
        name=f"{name} ball", type=mujoco.mjtGeom.mjGEOM_SPHERE, pos=[row["x"], y, 0], size=[radius, 0, 0],
        contype=0, conaffinity=0,
    )  # fmt: skip
    return f"{name} ball"


def _face(spec: mujoco.MjSpec, row: Array, i: int, name: str, u: ActionUnit) -> str:
    ends = np.array([[row[f"x{k}"], row[f"y{k}"]] for k in (i, i + 1)])
    radius = u.jack.top_edge_radius if name == "jack_knuckle" else SKIN
    if name != "jack_knuckle":
        along = (ends[1] - ends[0]) / np.hypot(*(ends[1] - ends[0]))
        ends -= radius * np.array([-along[1], along[0]])
    spec.bodies[row["face"]].add_geom(
        name=f"{name} face {i}", type=mujoco.mjtGeom.mjGEOM_CAPSULE, size=[radius, 0, 0],
        fromto=[*ends[0], 0, *ends[1], 0], contype=0, conaffinity=0,
    )  # fmt: skip
    return f"{name} face {i}"
