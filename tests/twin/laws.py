"""Gaps, felts, rubbing and the string, laid on the engine's bodies as forces at points.

Where a body's point is, how fast it moves and what a force on it does to the joints
is the engine's business; here is only plane geometry and one law a contact.
Felt, leather and wood: F = K d**p (1 + c d'), never tensile (Hunt & Crossley, J. Appl.
Mech. 42 (1975) 440).  Rubbing: Coulomb's law, as dry friction of a tendon that runs as
far as the surfaces slide; its bound follows the force, the engine solves for it.
String: travelling waves to both ends and back.
"""

from __future__ import annotations

import numba
import numpy as np

from tests.twin.bodies import FRONT, HEAD, REAR
from tests.twin.measures import DAMPER_SEAT, FORCES, JACK_STOP, JACK_WINDOW, KEY_DAMPER, LEVER_STOP, STRING

STOP_ARM = 0.020
"""Arm at which the laws of the stops of jack and lever hold, m."""


@numba.njit(cache=True)
def at(view, body, x, y):
    """Where a point of a body is."""
    turn = view.turn[body]
    return view.place[body, 0] + turn[0] * x + turn[1] * y, view.place[body, 1] + turn[3] * x + turn[4] * y


@numba.njit(cache=True)
def moves(view, body, x, y):
    """How fast the body's point that is at (x, y) moves."""
    spin, about = view.speed[body, 2], view.about[body]
    return view.speed[body, 3] - spin * (y - about[1]), view.speed[body, 4] + spin * (x - about[0])


@numba.njit(cache=True)
def push(view, body, x, y, fx, fy):
    """A force on the body's point that is at (x, y)."""
    force, centre = view.body_force[body], view.mass_centre[body]
    force[0] += fx
    force[1] += fy
    force[5] += (x - centre[0]) * fy - (y - centre[1]) * fx


@numba.njit(cache=True)
def circle_at(view, c):
    """Centre of a contact's circle; on the bent shank moved with its section."""
    e, r = (view.q[6], view.q[7]) if c.slope_e != 0.0 else (0.0, 0.0)
    turned = c.slope_e * e + c.slope_r * r
    return at(view, c.body, c.x - turned * c.y, c.y + c.lift_e * e + c.lift_r * r)


@numba.njit(cache=True)
def circle_moves(view, c, x, y):
    vx, vy = moves(view, c.body, x, y)
    if c.slope_e != 0.0:
        turn, e, r = view.turn[c.body], view.v[6], view.v[7]
        sx, sy = at(view, c.body, c.x, c.lift_e * view.q[6] + c.lift_r * view.q[7])
        lifted, turned = c.lift_e * e + c.lift_r * r, c.slope_e * e + c.slope_r * r
        vx += turn[1] * lifted - turned * (y - sy)
        vy += turn[4] * lifted + turned * (x - sx)
    return vx, vy


@numba.njit(cache=True)
def push_circle(view, c, x, y, fx, fy):
    push(view, c.body, x, y, fx, fy)
    if c.slope_e != 0.0:  # what the force does along the bending
        turn = view.turn[c.body]
        sx, sy = at(view, c.body, c.x, c.lift_e * view.q[6] + c.lift_r * view.q[7])
        across, moment = turn[1] * fx + turn[4] * fy, (x - sx) * fy - (y - sy) * fx
        view.joint_force[6] += c.lift_e * across + c.slope_e * moment
        view.joint_force[7] += c.lift_r * across + c.slope_r * moment


@numba.njit(cache=True)
def off_line(x, y, ax, ay, bx, by):
    """Distance of (x, y) from the left side of a piece of line (beyond its ends from the end), and direction."""
    dx, dy = bx - ax, by - ay
    along = ((x - ax) * dx + (y - ay) * dy) / (dx * dx + dy * dy)
    if 0.0 <= along <= 1.0:
        length = np.hypot(dx, dy)
        nx, ny = -dy / length, dx / length
        return (x - ax) * nx + (y - ay) * ny, nx, ny
    ex, ey = (ax, ay) if along < 0.0 else (bx, by)
    off = np.hypot(x - ex, y - ey)
    return off, (x - ex) / off, (y - ey) / off


@numba.njit(cache=True)
def squeezed(felt, depth, rate):
    """Hunt & Crossley's law."""
    return max(0.0, felt[0] * depth ** felt[1] * (1.0 + felt[2] * rate)) if depth > 0.0 else 0.0


@numba.njit(cache=True)
def slide(view, c, x, y, tx, ty):
    """Lay the contact's tendon along the sliding of its surfaces at (x, y), circle over face."""
    for joint in range(len(view.q)):
        axis = view.axes[joint]
        out = 0.0
        for body, sign in ((c.body, 1.0), (c.face, -1.0)):
            if view.carries[body, joint]:
                about = view.about[body]
                out += sign * tx * (axis[3] - axis[2] * (y - about[1]))
                out += sign * ty * (axis[4] + axis[2] * (x - about[0]))
        view.slides[c.tendon, joint] = out
    if c.slope_e != 0.0:
        turn = view.turn[c.body]
        sx, sy = at(view, c.body, c.x, c.lift_e * view.q[6] + c.lift_r * view.q[7])
        across, around = turn[1] * tx + turn[4] * ty, (x - sx) * ty - (y - sy) * tx
        view.slides[c.tendon, 6] += c.lift_e * across + c.slope_e * around
        view.slides[c.tendon, 7] += c.lift_r * across + c.slope_r * around


@numba.njit(cache=True)
def touch(view, c, felt):
    """Lay one circle's contact on both bodies; returns its force."""
    if c.tendon >= 0:
        view.bounds[c.tendon] = 0.0
    x, y = circle_at(view, c)
    ax, ay = at(view, c.face, c.x0, c.y0)
    bx, by = at(view, c.face, c.x1, c.y1)
    off, nx, ny = off_line(x, y, ax, ay, bx, by)
    if c.corners == 3:
        ax, ay = at(view, c.face, c.x2, c.y2)
        other = off_line(x, y, bx, by, ax, ay)
        if abs(other[0]) < abs(off):
            off, nx, ny = other
    depth = c.radius - off
    if depth <= 0.0:
        return 0.0
    x -= c.radius * nx
    y -= c.radius * ny
    vx, vy = circle_moves(view, c, x, y)
    wx, wy = moves(view, c.face, x, y)
    force = squeezed(felt, depth, -((vx - wx) * nx + (vy - wy) * ny))
    push_circle(view, c, x, y, force * nx, force * ny)
    push(view, c.face, x, y, -force * nx, -force * ny)
    if c.tendon >= 0:
        slide(view, c, x, y, ny, -nx)
        view.bounds[c.tendon] = felt[3] * force
    return force


@numba.njit(cache=True)
def stops(view, u, felt, row):
    """Jack and lever against their stops on the wippen: torques at the joints between them."""
    for law, joint, sense, limit in (
        (JACK_STOP, 3, 1.0, u.stop),
        (JACK_WINDOW, 3, -1.0, u.window),
        (LEVER_STOP, 4, 1.0, u.height_stop),
    ):
        over = -sense * (view.q[joint] - limit)
        force = squeezed(felt[law], STOP_ARM * over, -STOP_ARM * sense * view.v[joint])
        view.joint_force[joint] += sense * STOP_ARM * force
        row[law] = force


@numba.njit(cache=True)
def damper(view, u, felt, row):
    """The damper over the key's end and on its seat."""
    last = len(view.q) - 1
    lift, rate = view.q[last], view.v[last]
    x, y = at(view, REAR, u.damper_x, u.damper_y)
    _, up = moves(view, REAR, x, y)
    force = squeezed(felt[KEY_DAMPER], y - u.damper_y - u.damper_gap - lift, up - rate)
    push(view, REAR, x, y, 0.0, -force)
    row[KEY_DAMPER] = force
    row[DAMPER_SEAT] = squeezed(felt[DAMPER_SEAT], -lift, -rate)
    view.joint_force[last] += force + row[DAMPER_SEAT]


@numba.njit(cache=True)
def come_back(waves, line, done, steps, part):
    """What was sent to an end so long ago (a ring, between two steps)."""
    size = waves.shape[1]
    newer, older = waves[line, (done - steps) % size], waves[line, (done - steps - 1) % size]
    return (1.0 - part) * newer + part * older


@numba.njit(cache=True)
def string(view, u, felt, memory, x, y, rise):
    """Crown against string; what leaves for an end is the string's speed less what comes from there.

    The felt's squeeze rate holds the string's own answer, F / 2Z, which is solved for.
    """
    done = memory.done[0]
    near = -come_back(memory.waves, 0, done, u.near_steps, u.near_part)
    far = -u.far_end * come_back(memory.waves, 1, done, u.far_steps, u.far_part)
    depth, force = y - u.string_y - memory.string[0], 0.0
    if depth > 0.0:
        still = felt[0] * depth ** felt[1]
        force = max(0.0, still * (1.0 + felt[2] * (rise - near - far)) / (1.0 + still * felt[2] * u.half_admittance))
        push(view, HEAD, x, y, 0.0, -force)
    speed = u.half_admittance * force + near + far
    memory.waves[0, done % memory.waves.shape[1]] = speed - near
    memory.waves[1, done % memory.waves.shape[1]] = speed - far
    memory.string[0] += u.dt * speed
    return force


@numba.njit(cache=True)
def act(view, table, felt, unit, rod, memory, lead, key, key_speed, row):
    """Lay all forces of this step on the engine's bodies and write them down; ``lead``: the key is led."""
    u = unit[0]
    view.body_force[:] = 0.0
    view.joint_force[:] = 0.0
    for i in range(len(table)):
        c = table[i]
        row[FORCES + c.law] = touch(view, c, felt[c.law])
    stops(view, u, felt, row[FORCES:])
    if u.damper:
        damper(view, u, felt, row[FORCES:])
    sine, cosine = np.sin(view.q[5]), np.cos(view.q[5])
    for i in range(len(rod)):
        weight, x, lift_e, lift_r = rod[i]
        over = lift_e * view.q[6] + lift_r * view.q[7]
        view.joint_force[5] -= weight * (cosine * x - sine * over)
        view.joint_force[6] -= weight * cosine * lift_e
        view.joint_force[7] -= weight * cosine * lift_r
    x, y = at(view, HEAD, u.strike_x, u.strike_y)
    _, rise = moves(view, HEAD, x, y)
    row[3], row[4], row[5] = u.string_y - y, rise, memory.string[0]
    row[FORCES + STRING] = string(view, u, felt[STRING], memory, x, y, rise)
    torque = 0.0
    if lead:
        torque = u.turn_spring * (key - view.q[0]) + u.turn_drag * (key_speed - view.v[0])
        view.joint_force[0] += torque
    row[0], row[1] = view.q[0], torque
    row[2] = u.touch_y - at(view, FRONT, u.touch_x, u.touch_y)[1]
    memory.done[0] += 1
