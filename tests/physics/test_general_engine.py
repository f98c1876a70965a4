"""Sub-mechanisms against a general-purpose multibody engine: MuJoCo (written against 4.0; any from 3.3.7 will do).

Bodies are given to it by mass, mass centre and inertia, joints as hinges, weight as
gravity; its integrator is Runge-Kutta of order 4 at 10 µs, whose own error plays no part
where motion is smooth.  The kernel's is of order 2: its error at 5 µs is found by
halving the step and must be all that is left between the two.
Source: Todorov, Erez & Tassa, MuJoCo, IROS 2012; its documentation, chapter Computation.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from sim.physics.run import Drive, run
from sim.unit.model import GRAVITY
from tests.lazily import Lazily
from tests.physics.design_unit import load_design_unit
from tests.physics.rig import (
    Array,
    keep_hammer_alone,
    make_parameters,
    make_rigid,
    make_state,
    remove_contacts,
    remove_friction,
)
from tests.tiers import try_each
from tests.twin.bodies import format_chain, format_hinge, format_lump, format_rigid_hammer, format_world

mujoco = Lazily("mujoco")

STEP = 5e-6


def follow(model: mujoco.MjModel, q: Array, v: Array, times: Array) -> Array:
    """Joint angles at the times."""
    data = mujoco.MjData(model)
    data.qpos[:], data.qvel[:] = q, v
    out = []
    for t in times:
        while data.time < t - 0.5 * model.opt.timestep:
            mujoco.mj_step(model, data)
        out.append(data.qpos.copy())
    return np.array(out)


def kernel_angles(p: Array, start: Array, names: str, times: Array, step: float) -> Array:
    r = [run(p, Drive(), float(t), start, step=step, every=None).require().state for t in times]
    return np.array([[float(s[x][0]) for x in names] for s in r])


def test_wippen_jack_and_lever_swing_as_a_chain_of_three() -> None:
    """Thrown up from rest and falling back, springs acting, no contact: angles over 60 ms, speeds up to 40 rad/s.

    Jack and lever turn against the wippen there, against the frame here.
    """
    u = load_design_unit()
    times = np.array([0.01, 0.02, 0.04, 0.06])
    speeds = {"w": 4.0, "j": -6.0, "l": 5.0}
    engine = follow(
        format_world(format_chain(u)),
        np.zeros(3),
        np.array([speeds["w"], speeds["j"] - speeds["w"], speeds["l"] - speeds["w"]]),
        times,
    )
    engine[:, 1:] += engine[:, :1]
    p = remove_friction(remove_contacts(make_parameters(u)))
    start = make_state(**{f"v_{x}": v for x, v in speeds.items()})
    coarse, fine = (kernel_angles(p, start, "wjl", times, dt) for dt in (2 * STEP, STEP))
    error = np.abs(coarse - fine).max() / 3
    miss = np.abs(fine - engine).max()
    assert np.abs(fine).max() > 0.3, "hardly moved"
    assert miss < 1.5 * error + 1e-9, f"engine {engine}, kernel {fine}, kernel's own error {error}"
    assert miss < 1e-6


@try_each("stiffness", [2e3, 2e4])
def test_hammer_drops_on_an_elastic_cushion_and_bounces(stiffness: float) -> None:
    """From the string's height: fall, speed and angle on the way, and two bounces from a one-sided linear spring.

    The engine's cushion is a tendon from the shank's cushion point to a place 30 km below it,
    which pushes when shorter than its rest range: vertical to 1e-7, as the kernel's plane is.
    """
    u = make_rigid(load_design_unit())
    plane, deep = u.rails.rest_cushion_plane_y, 3e4
    ground = f'<site name="deep" pos="{u.hammer.centre[0] + u.hammer.cushion_point[0]} {-deep} 0"/>'
    spring = (
        f'<spatial springlength="{plane + deep!r} {2 * deep!r}" stiffness="{stiffness!r}">'
        '<site site="deep"/><site site="cushion"/></spatial>'
    )
    times = np.array([0.05, 0.095, 0.1, 0.11, 0.15, 0.2, 0.28, 0.32, 0.4])
    rough, engine = (
        follow(format_world(ground + format_rigid_hammer(u), spring, step=dt), np.zeros(1), np.zeros(1), times)[:, 0]
        for dt in (1e-5, 5e-6)
    )
    p = keep_hammer_alone(remove_contacts(make_parameters(u), but=("rest_cushion",)))
    p = remove_friction(p)
    p["K_rest_cushion"], p["p_rest_cushion"], p["c_rest_cushion"] = stiffness, 1.0, 0.0
    p["limit_rest_cushion"] = 1.0
    start = make_state(h=0.0)
    coarse, fine = (kernel_angles(p, start, "h", times, dt)[:, 0] for dt in (2 * STEP, STEP))
    bounces = run(p, Drive(), 0.4, start, step=STEP, every=None).log.times("rest_cushion", make=True)
    assert len(bounces) >= 2, f"{bounces}"
    # a linear spring's force has a corner at the touch, which costs both of them their order: no division by three
    error = np.abs(coarse - fine).max() + np.abs(rough - engine).max()
    miss = np.abs(fine - engine).max()
    assert miss < error + 1e-8, f"engine {engine}, kernel {fine}, error of both {error}"
    assert miss < 1e-5, f"engine {engine}, kernel {fine}"


def test_hammer_falls_freely_for_the_engine_s_time_and_speed() -> None:
    """Time and speed at which the cushion is met, found in both."""
    u = make_rigid(load_design_unit())
    model = format_world(format_rigid_hammer(u))
    data = mujoco.MjData(model)
    while data.qpos[0] > u.hammer.rest_angle:
        before = float(data.qpos[0])
        mujoco.mj_step(model, data)
    part = (u.hammer.rest_angle - before) / (float(data.qpos[0]) - before)
    time = data.time - (1 - part) * model.opt.timestep
    p = keep_hammer_alone(remove_friction(remove_contacts(make_parameters(u))))
    coarse, fine = (kernel_angles(p, make_state(h=0.0), "h", np.array([0.03]), dt)[0, 0] for dt in (2 * STEP, STEP))
    r = run(p, Drive(), time, make_state(h=0.0), step=STEP, every=None).require()
    angle = float(r.state["h"][0] + (time - r.end) * r.state["v_h"][0])
    own = abs(coarse - fine) + 40 * STEP**2
    assert angle == pytest.approx(u.hammer.rest_angle, abs=2e-8 + own), f"at {time} s: {angle} rad"
    assert float(r.state["v_h"][0]) == pytest.approx(float(data.qvel[0]), rel=1e-4), "speed on arrival"


@try_each("torque", [0.4e-3, 0.1e-3])
def test_hinge_with_dry_friction_dies_away_as_the_engine_s(torque: float) -> None:
    """The hammer hanging from its pin, let go at 0.35 rad: turning points of the first second.

    The engine's friction loss is a constraint softened by its impedance (0.9999 here), so it
    creeps a little where Coulomb's law sticks: near a turning point the torque lags by some of
    its time constant (2 ms of a swing of 0.7 s), less than 1 % of the amplitude lost.
    """
    u = make_rigid(load_design_unit())
    hm = u.hammer
    shank = 2 * hm.shank_mass_moment / hm.shank_length
    x, y = hm.head_mass_centre
    body = f"""<body>{format_hinge("h", f'frictionloss="{torque!r}" solimpfriction="0.9999 0.9999 1e-3"')}
  {format_lump(shank, 0.0, -hm.shank_length / 2, hm.shank_inertia - shank * (hm.shank_length / 2) ** 2)}
  <body>{format_lump(hm.head_mass, y, -x, hm.head_mass * hm.head_gyration**2)}</body>
</body>"""
    model = format_world(body, step=1e-4, options='integrator="implicitfast" iterations="200" tolerance="1e-14"')
    # the same part here: turned by a quarter, so that its angle stays within the kernel's range
    p = keep_hammer_alone(remove_friction(remove_contacts(make_parameters(u))))
    along, across = float(p["hammer_mx"][0]), float(p["hammer_my"][0])
    p["hammer_mx"], p["hammer_my"], p["friction_hammer"] = across, -along, torque
    start = 0.35 - math.atan2(across, along)
    times = np.arange(1, 20001) * 1e-4
    engine = follow(model, np.array([start]), np.zeros(1), times)[:, 0]
    r = run(p, Drive(), 2.0, make_state(h=start), step=2e-5, every=1e-4).require()
    own = r.trace["h"]

    def turns(angle: Array) -> Array:
        way = np.sign(np.diff(angle))
        at = np.flatnonzero((way[1:] != way[:-1]) & (np.abs(way[1:]) > 0)) + 1
        return angle[at][:6]

    a, b = turns(engine), turns(own)
    count = min(len(a), len(b), 5)
    assert count >= 2, f"engine {a}, kernel {b}"
    lost = np.abs(np.abs(a[:count] - b[:count])).max()
    drop = 2 * torque / (math.hypot(along, across) * GRAVITY)
    assert lost < 0.01 * count * drop, f"turning points: engine {a}, kernel {b}, amplitude lost per half swing {drop}"
