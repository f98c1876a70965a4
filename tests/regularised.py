"""The same mechanism as an ordinary differential equation, for general-purpose integrators.

Dry friction is smoothed, T = -bound * tanh(slip / width); everything else is as
in the kernel: the same gaps (``kernel.gaps``), the same felts, the string as its
wave impedance without waves coming back.  With ``rub = 0`` it is the smooth limit
of the mechanism itself.  Used by the physics tests as an independent integration
and by ``benchmark.py`` as the rival: compiled, so that the integrator and not the
language is compared.

Unknowns: the ten coordinates, their speeds, the string's place at the strike point.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numba
import numpy as np

from sim.physics import kernel
from sim.physics.mechanism import DOFS, JOINTS
from sim.physics.modes import DriveMode
from sim.physics.run import IDLE_FINGER_HEIGHT, STATE_TYPE, Drive
from sim.unit.contacts import CONTACT_NAMES as NAMES
from sim.unit.contacts import RUBBING
from tests.lazily import Lazily

solvers = Lazily("scipy.integrate")

Array = Any
N = len(DOFS)
SIZE = 2 * N + 1
N_CONTACTS, N_JOINTS = len(NAMES), len(JOINTS)
STRING, FINGER = NAMES.index("string"), NAMES.index("finger")
KF, KR, W, J, L, H, E, R, D, F = range(N)
METHODS = ("Radau", "BDF", "LSODA", "DOP853", "RK45", "RK23", "odeint")


@numba.njit(error_model="numpy")
def evaluate_muscle(table: Array, t: float) -> float:
    """Value of the drive's piecewise cubic at t, flat beyond its ends."""
    n = table.shape[0]
    if t <= table[0, 0]:
        return table[0, 1]
    if t >= table[n - 1, 0]:
        return table[n - 1, 1]
    k = 0
    while table[k + 1, 0] <= t:
        k += 1
    w = table[k + 1, 0] - table[k, 0]
    x = (t - table[k, 0]) / w
    y = 1.0 - x
    ends = y * y * (1.0 + 2.0 * x) * table[k, 1] + x * x * (3.0 - 2.0 * x) * table[k + 1, 1]
    return ends + w * x * y * (y * table[k, 2] - x * table[k + 1, 2])


@numba.njit(error_model="numpy")
def smooth_forces(p: Array, y: Array, force: Array) -> None:
    """Weights, springs and centripetal terms of parts that ride on the wippen."""
    q, v = y[:N], y[N : 2 * N]
    torque = p.key_bending_stiffness * (q[KR] - q[KF]) + p.key_bending_damping * (v[KR] - v[KF])
    force[KF] = p.key_front_moment * p.g * math.cos(q[KF]) + torque
    force[KR] = -torque
    sw, cw = math.sin(q[W]), math.cos(q[W])
    force[W] = -p.g * (cw * p.wippen_mx - sw * p.wippen_my)
    for part in (J, L):
        s, c = math.sin(q[part]), math.cos(q[part])
        if part == J:
            mx, my, ax, ay = p.jack_mx, p.jack_my, p.jx, p.jy
            spring = p.springs_jack + p.springs_jack_rate * (q[J] - q[W])
        else:
            mx, my, ax, ay = p.lever_mx, p.lever_my, p.lx, p.ly
            spring = p.springs_repetition + p.springs_repetition_rate * (q[L] - q[W])
        moment_x, moment_y = c * mx - s * my, s * mx + c * my
        arm_x, arm_y = cw * ax - sw * ay, sw * ax + cw * ay
        cross = arm_y * moment_x - arm_x * moment_y
        force[W] += spring - cross * v[part] * v[part]
        force[part] = -p.g * moment_x - spring + cross * v[W] * v[W]
    s, c = math.sin(q[H]), math.cos(q[H])
    along, across = q[E] * p.bend_e_x + q[R] * p.bend_r_x, q[E] * p.bend_e_y + q[R] * p.bend_r_y
    force[H] = -p.g * (c * p.hammer_mx - s * p.hammer_my - s * along - c * across)
    force[E] = -p.g * (c * p.bend_e_x - s * p.bend_e_y) - p.spring_ee * q[E] - p.spring_er * q[R]
    force[E] -= p.damping_ee * v[E] + p.damping_er * v[R]
    force[R] = -p.g * (c * p.bend_r_x - s * p.bend_r_y) - p.spring_er * q[E] - p.spring_rr * q[R]
    force[R] -= p.damping_er * v[E] + p.damping_rr * v[R]
    force[D] = -p.damper_weight
    force[F] = 0.0


@numba.njit(error_model="numpy")
def accelerate(p: Array, y: Array, force: Array, inv_f: float, out: Array) -> None:
    """out = M^-1 force; wippen, jack and lever are coupled through the wippen."""
    q = y[:N]
    sw, cw = math.sin(q[W]), math.cos(q[W])
    s, c = math.sin(q[J]), math.cos(q[J])
    jack = (cw * p.jx - sw * p.jy) * (c * p.jack_mx - s * p.jack_my)
    jack += (sw * p.jx + cw * p.jy) * (s * p.jack_mx + c * p.jack_my)
    s, c = math.sin(q[L]), math.cos(q[L])
    lever = (cw * p.lx - sw * p.ly) * (c * p.lever_mx - s * p.lever_my)
    lever += (sw * p.lx + cw * p.ly) * (s * p.lever_mx + c * p.lever_my)
    left = p.inertia_w - jack * jack * p.inv_j - lever * lever * p.inv_l
    out[W] = (force[W] - jack * p.inv_j * force[J] - lever * p.inv_l * force[L]) / left
    out[J] = p.inv_j * (force[J] - jack * out[W])
    out[L] = p.inv_l * (force[L] - lever * out[W])
    out[KF], out[KR] = force[KF] * p.inv_front, force[KR] * p.inv_rear
    out[H] = p.inv_hh * force[H] + p.inv_he * force[E] + p.inv_hr * force[R]
    out[E] = p.inv_he * force[H] + p.inv_ee * force[E] + p.inv_er * force[R]
    out[R] = p.inv_hr * force[H] + p.inv_er * force[E] + p.inv_rr * force[R]
    out[D], out[F] = force[D] * p.inv_d, force[F] * inv_f


@numba.njit(error_model="numpy")
def rhs(
    t: float, y: Array, ps: Array, laws: Array, joints: Array, table: Array, drive: Array, width: Array, work: Array
) -> Array:
    """dy/dt.

    ``drive``: mode, 1 / finger mass, muscle damping; ``width``: of the tanh, rad/s and m/s; ``work``: a state.
    """
    p, s = ps[0], work[0]
    s.kf, s.kr, s.w, s.j, s.l, s.h, s.e, s.r, s.d, s.f = y[0], y[1], y[2], y[3], y[4], y[5], y[6], y[7], y[8], y[9]
    s.ys = y[2 * N]
    gap, normal, sliding = np.empty(N_CONTACTS), np.zeros((N_CONTACTS, N)), np.zeros((N_CONTACTS, N))
    kernel.gaps(p, s, gap, normal, sliding)
    force = np.empty(N)
    smooth_forces(p, y, force)
    if drive[0] == 2.0:
        force[KF] -= evaluate_muscle(table, t) * (math.cos(y[KF]) * p.touch_x - math.sin(y[KF]) * p.touch_y)
    else:
        force[F] -= evaluate_muscle(table, t) + drive[2] * y[N + F]
    out = np.empty(SIZE)
    out[:N] = y[N : 2 * N]
    out[2 * N] = 0.0
    for i in range(N_CONTACTS):
        if gap[i] >= 0.0:
            continue
        rate = 0.0
        for k in range(N):
            rate -= normal[i, k] * y[N + k]
        squeeze = laws[i, 0] * (gap[i] * gap[i] if laws[i, 1] == 2.0 else (-gap[i]) ** laws[i, 1])
        push = squeeze * (1.0 + laws[i, 2] * rate)
        if i == STRING:  # felt and string share the speed: push = squeeze * (1 + c (rate - push / 2Z))
            push /= 1.0 + squeeze * laws[i, 2] * p.half_admittance
            push = max(0.0, push)
            out[2 * N] = p.half_admittance * push
        push = max(0.0, push)
        rub = 0.0
        if laws[i, 3] > 0.0:
            for k in range(N):
                rub += sliding[i, k] * y[N + k]
            rub = laws[i, 3] * push * math.tanh(rub / width[1])
        for k in range(N):
            force[k] += normal[i, k] * push - sliding[i, k] * rub
    for i in range(N_JOINTS):
        body, against = int(joints[i, 0]), int(joints[i, 1])
        slip = y[N + body] - (y[N + against] if against >= 0 else 0.0)
        torque = joints[i, 2] * math.tanh(slip / width[0])
        force[body] -= torque
        if against >= 0:
            force[against] += torque
    accelerate(p, y, force, drive[1], out[N : 2 * N])
    return out


@dataclass(frozen=True)
class Problem:
    """The right-hand side of one unit and one finger, and where it starts."""

    fun: Callable[[float, Array], Array]
    start: Array
    crown: Callable[[Array], tuple[float, float]]
    """Distance of the crown from the string (m) and its speed toward it (m/s)."""


def make_problem(
    p: Array, drive: Drive, state: Array, *, rub: float = 1.0, slip: float = 1e-3, turn: float = 1e-2
) -> Problem:
    """``slip`` (m/s) and ``turn`` (rad/s) are the widths of the smoothed friction, ``rub`` a factor on it."""
    laws = np.array([[p[f"{a}_{n}"][0] for a in "Kpc"] + [0.0] for n in NAMES], float)
    for n in RUBBING:
        laws[NAMES.index(n), 3] = rub * p[f"mu_{n}"][0]
    joints = np.array(
        [[DOFS.index(b), DOFS.index(a) if a else -1, rub * p[f"friction_{n}"][0]] for n, b, a in JOINTS], float
    )
    inv_f = 1 / drive.mass if drive.mode == DriveMode.DRIVEN_MASS else 0.0
    settings = np.array([drive.mode, inv_f, drive.muscle_damping], float)
    width, work, table = np.array([turn, slip]), np.zeros(1, STATE_TYPE), drive.table

    def fun(t: float, y: Array) -> Array:
        return rhs(t, y, p, laws, joints, table, settings, width, work)

    y = np.array([state[x][0] for x in DOFS] + [state[f"v_{x}"][0] for x in DOFS] + [0.0], float)
    travel = p["touch_y"][0] - (math.sin(y[KF]) * p["touch_x"][0] + math.cos(y[KF]) * p["touch_y"][0])
    y[F] = drive.height - travel if drive.mode == DriveMode.DRIVEN_MASS else IDLE_FINGER_HEIGHT
    y[N + F] = -drive.speed

    def crown(z: Array) -> tuple[float, float]:
        beyond, across = p["lift_r_strike"][0], p["strike_y"][0]
        bends = p["turn_r_strike"][0] > 0.0
        at, up = p["strike_x"][0] - across * z[R] * bends, across + z[E] * bends + beyond * z[R]
        s, c = math.sin(z[H]), math.cos(z[H])
        height = p["hy"][0] + s * at + c * up
        bend = c * z[N + E] + (c * beyond - s * across) * z[N + R] if bends else 0.0
        return float(p["string_y"][0] + z[2 * N] - height), float((c * at - s * up) * z[N + H] + bend)

    return Problem(fun, y, crown)


def integrate(
    prob: Problem, duration: float, method: str, rtol: float, *, atol: float | None = None, grid: float = 1e-3
) -> tuple[Array, Array]:
    """Times and states (a row each) on an even grid, by the named integrator of scipy at its own choice of steps."""
    t = np.linspace(0.0, duration, round(duration / grid) + 1)
    # places matter to some micrometres, speeds to some millimetres a second: a thousandth of each at rtol = 1e-3
    floor = 1e-3 * rtol if atol is None else atol
    scale = np.concatenate([np.full(N, floor), np.full(N, 1e3 * floor), [floor]])
    if method == "odeint":
        return t, solvers.odeint(prob.fun, prob.start, t, rtol=rtol, atol=scale, tfirst=True, mxstep=100000)
    with np.errstate(over="ignore", invalid="ignore"):  # an explicit method's steps that are thrown away
        done = solvers.solve_ivp(prob.fun, (0.0, duration), prob.start, method=method, t_eval=t, rtol=rtol, atol=scale)
    if not done.success:
        raise ArithmeticError(f"{method} at rtol {rtol}: {done.message}")
    return done.t, done.y.T


def find_string_contact(prob: Problem, t: Array, y: Array) -> tuple[float, float]:
    """Time of first string contact (s) and crown speed there (m/s), found tightly within its interval of the grid."""
    distance = np.array([prob.crown(z)[0] for z in y])
    reached = np.flatnonzero(distance < 0)
    if not len(reached):
        raise ArithmeticError("the hammer does not reach the string")
    k = int(reached[0]) - 1

    def gap(_: float, z: Array) -> float:
        return prob.crown(z)[0]

    gap.terminal = True  # type: ignore[attr-defined]
    last = solvers.solve_ivp(prob.fun, (t[k], t[k + 1]), y[k], method="DOP853", rtol=1e-10, atol=1e-12, events=gap)
    if not len(last.t_events[0]):
        raise ArithmeticError("the crossing of the string was lost")
    return float(last.t_events[0][0]), prob.crown(last.y_events[0][0])[1]


def measure_stroke_speed(
    p: Array, drive: Drive, state: Array, duration: float, method: str, rtol: float, **options: Any
) -> tuple[float, float]:
    """Crown speed (m/s) and time (s) at first string contact, by a general integrator over the whole duration."""
    prob = make_problem(p, drive, state, **options)
    time, speed = find_string_contact(prob, *integrate(prob, duration, method, rtol))
    return speed, time
