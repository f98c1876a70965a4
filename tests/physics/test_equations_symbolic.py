"""Equations of motion in free flight of all parts, against Lagrange's equations worked out symbolically.

Source: Lagrange's equations of the second kind by sympy.physics.mechanics
(LagrangesMethod), from kinetic and potential energy of bodies placed by their
dimensions: two halves of the key joined by a spring, jack and lever riding on the
wippen, a damper, a finger with its muscle, the hammer with its head as a rigid body on a shank of even density
that bends as a cubic by the deflection and the turn of its tip.

Bending is taken as small, as in textbooks on vibration (Meirovitch, Fundamentals
of Vibrations, 2001, ch. 8): kinetic energy of the unbent shank, weight to first order.

The kernel takes smooth forces at the mid-step; one step from equal old and new
speeds has no extrapolation error, so its acceleration is that of the mid-step
pose to the round-off of (v1 - v0) / dt: 1e-15 * 10 rad/s / 1e-5 s = 1e-9 rad/s²,
against accelerations of 10 to 1e5 rad/s².
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import cache

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.physics.modes import DriveMode
from sim.physics.run import Drive, pack_parameters, run
from sim.unit.model import GRAVITY, ActionUnit
from tests.lazily import Lazily
from tests.physics.design_unit import load_design_unit
from tests.physics.rig import Array, fit_damper, make_rigid, make_state, read_vector, remove_contacts, remove_friction
from tests.tiers import FULL

sp, mechanics = Lazily("sympy"), Lazily("sympy.physics.mechanics")

COORDINATES = ("kf", "kr", "w", "j", "l", "h", "e", "r", "d", "f")
NAMES = (
    "g i_kf i_kr key_moment key_k key_c "
    "m_w i_w w_x w_y jc_x jc_y lc_x lc_y m_j i_j j_x j_y m_l i_l l_x l_y "
    "t_j k_j t_l k_l m_head head_x head_y gyration shank_i shank_moment length k_e c_ee c_er c_rr m_d m_f pull c_f"
)
FINGER = Drive(DriveMode.DRIVEN_MASS, np.array([[0.0, 3.0, 0.0]]), mass=0.4, muscle_damping=2.0)
"""A finger whose muscle pulls with 3 N and gives way to speed: its weight is part of the pull."""


def arm(angle: sp.Expr, x: sp.Expr, y: sp.Expr) -> sp.Matrix:
    return sp.Matrix([sp.cos(angle) * x - sp.sin(angle) * y, sp.sin(angle) * x + sp.cos(angle) * y])


@cache
def equations() -> Callable[..., tuple[Array, Array]]:
    """(mass matrix, generalised forces) of coordinates, speeds and symbols, compiled to numpy."""
    S = {s.name: s for s in sp.symbols(NAMES, real=True)}
    t = mechanics.dynamicsymbols._t
    q = dict(zip(COORDINATES, mechanics.dynamicsymbols(" ".join(COORDINATES)), strict=True))
    v = {n: x.diff(t) for n, x in q.items()}
    half = sp.Rational(1, 2)

    def speed2(place: sp.Matrix) -> sp.Expr:
        return (place.diff(t).T * place.diff(t))[0]

    kinetic = half * (S["i_kf"] * v["kf"] ** 2 + S["i_kr"] * v["kr"] ** 2 + S["m_d"] * v["d"] ** 2)
    kinetic += half * S["m_f"] * v["f"] ** 2
    potential = -S["key_moment"] * S["g"] * sp.sin(q["kf"]) + half * S["key_k"] * (q["kr"] - q["kf"]) ** 2
    potential += S["m_d"] * S["g"] * q["d"] + S["pull"] * q["f"]

    jack_centre, lever_centre = arm(q["w"], S["jc_x"], S["jc_y"]), arm(q["w"], S["lc_x"], S["lc_y"])
    places = {
        "w": arm(q["w"], S["w_x"], S["w_y"]),
        "j": jack_centre + arm(q["j"], S["j_x"], S["j_y"]),
        "l": lever_centre + arm(q["l"], S["l_x"], S["l_y"]),
    }
    for part, place in places.items():
        m = S[f"m_{part}"]
        about_mass_centre = S[f"i_{part}"] - m * (S[f"{part}_x"] ** 2 + S[f"{part}_y"] ** 2)
        kinetic += half * m * speed2(place) + half * about_mass_centre * v[part] ** 2
        potential += m * S["g"] * place[1]
    for part in "jl":
        turn = q[part] - q["w"]
        potential += S[f"t_{part}"] * turn + half * S[f"k_{part}"] * turn**2

    x, length, e, r = sp.symbols("x"), S["length"], q["e"], q["r"]
    c2, c3 = sp.symbols("c2 c3")
    ends = sp.solve([c2 * length**2 + c3 * length**3 - e, 2 * c2 * length + 3 * c3 * length**2 - r], [c2, c3])
    shape = ends[c2] * x**2 + ends[c3] * x**3
    moving = shape.diff(t)
    head = arm(q["h"], S["head_x"] - r * S["head_y"], S["head_y"] + e + r * (S["head_x"] - length))
    density, weighed = 3 * S["shank_i"] / length**3, 2 * S["shank_moment"] / length**2
    rates = dict(zip((v["e"], v["r"]), sp.symbols("e_t r_t"), strict=True))
    unbent = speed2(head).subs(rates).subs({e: 0, r: 0}).subs({b: a for a, b in rates.items()})
    kinetic += half * S["m_head"] * (unbent + S["gyration"] ** 2 * (v["h"] + v["r"]) ** 2)
    # a rod of even density with the measured inertia, weighed apart from it; bending adds integrals over its shape
    kinetic += half * S["shank_i"] * v["h"] ** 2
    kinetic += v["h"] * density * sp.integrate(sp.expand(x * moving), (x, 0, length))
    kinetic += half * density * sp.integrate(sp.expand(moving**2), (x, 0, length))
    potential += S["g"] * (S["m_head"] * head[1] + S["shank_moment"] * sp.sin(q["h"]))
    potential += S["g"] * weighed * sp.integrate(sp.expand(shape), (x, 0, length)) * sp.cos(q["h"])
    rigidity = S["k_e"] * length**3 / 3
    potential += half * rigidity * sp.integrate(sp.expand(shape.diff(x, 2) ** 2), (x, 0, length))

    damping = half * S["key_c"] * (v["kr"] - v["kf"]) ** 2 + half * S["c_ee"] * v["e"] ** 2
    damping += half * S["c_f"] * v["f"] ** 2 + S["c_er"] * v["e"] * v["r"] + half * S["c_rr"] * v["r"] ** 2
    method = mechanics.LagrangesMethod(kinetic - potential, [q[n] for n in COORDINATES])
    method.form_lagranges_equations()
    losses = sp.Matrix([damping.diff(v[n]) for n in COORDINATES])
    plain = {v[n]: sp.Symbol(f"v_{n}") for n in COORDINATES} | {q[n]: sp.Symbol(f"q_{n}") for n in COORDINATES}

    def bare(m: sp.Matrix) -> sp.Matrix:
        return m.xreplace({k: plain[k] for k in v.values()}).xreplace({q[n]: plain[q[n]] for n in COORDINATES})

    inputs = [plain[q[n]] for n in COORDINATES] + [plain[v[n]] for n in COORDINATES] + list(S.values())
    matrices = [bare(method.mass_matrix), bare(method.forcing - losses)]
    return sp.lambdify(inputs, matrices, modules="numpy", cse=True)  # type: ignore[no-any-return]


def numbers(u: ActionUnit) -> list[float]:
    k, w, j, lv, hm = u.key, u.wippen, u.jack, u.lever, u.hammer
    assert u.damper is not None
    modal = pack_parameters(u)
    return [
        GRAVITY, k.inertia_front, k.inertia_rear, k.front_moment, k.bending_stiffness, k.bending_damping,
        w.mass, w.inertia, *w.mass_centre, *w.jack_centre, *w.lever_centre,
        j.mass, j.inertia, *j.mass_centre, lv.mass, lv.inertia, *lv.mass_centre,
        u.springs.jack, u.springs.jack_rate, u.springs.repetition, u.springs.repetition_rate,
        hm.head_mass, *hm.head_mass_centre, hm.head_gyration, hm.shank_inertia, hm.shank_mass_moment, hm.shank_length,
        hm.shank_bending_stiffness, *(float(modal[f"damping_{x}"][0]) for x in ("ee", "er", "rr")), u.damper.mass,
        FINGER.mass, float(FINGER.table[0, 1]), FINGER.muscle_damping,
    ]  # fmt: skip


def accelerations(u: ActionUnit, q: Array, v: Array) -> Array:
    mass, force = equations()(*q, *v, *numbers(u))
    if not u.hammer.shank_bends:
        keep = [i for i, n in enumerate(COORDINATES) if n not in ("e", "r")]
        out = np.zeros(len(COORDINATES))
        out[keep] = np.linalg.solve(mass[np.ix_(keep, keep)], force[keep].ravel())
        return out
    return np.linalg.solve(mass, force.ravel())


def kernel_accelerations(u: ActionUnit, q: Array, v: Array, dt: float) -> tuple[Array, Array]:
    """Accelerations over one step and the mid-step pose they belong to."""
    p = remove_friction(remove_contacts(pack_parameters(u)))
    s = make_state(
        **dict(zip(COORDINATES, q, strict=True)), **{f"v_{n}": x for n, x in zip(COORDINATES, v, strict=True)}
    )
    r = run(p, FINGER, dt, s, step=dt, every=None, keep_finger=True).require()
    return (read_vector(r.state, "v_")[: len(COORDINATES)] - v) / dt, q + 0.5 * dt * v


def compare(u: ActionUnit, q: Array, v: Array) -> None:
    own, middle = kernel_accelerations(u, q, v, 1e-5)
    expected = accelerations(u, middle, v)
    scale = np.maximum(np.abs(expected), 1.0)
    shown = dict(zip(COORDINATES, zip(own.tolist(), expected.tolist(), strict=True), strict=True))
    assert np.all(np.abs(own - expected) < 1e-8 * scale), f"kernel, Lagrange: {shown}"


ANGLE, SPEED = st.floats(-0.9, 0.9), st.floats(-40.0, 40.0)


@st.composite
def motions(draw: st.DrawFn) -> tuple[Array, Array]:
    q = [draw(ANGLE) for _ in range(6)] + [
        draw(st.floats(-2e-3, 2e-3)),
        draw(st.floats(-0.03, 0.03)),
        draw(st.floats(0.0, 0.01)),
        draw(st.floats(-0.01, 0.05)),
    ]
    v = [draw(SPEED) for _ in range(6)] + [
        draw(st.floats(-1.0, 1.0)),
        draw(st.floats(-20.0, 20.0)),
        draw(st.floats(-0.5, 0.5)),
        draw(st.floats(-2.0, 2.0)),
    ]
    return np.array(q), np.array(v)


@settings(max_examples=60, deadline=None)
@given(motions())
def test_free_flight_follows_lagrange(motion: tuple[Array, Array]) -> None:
    """Source: module docstring (Lagrange's equations by sympy.physics.mechanics)."""
    compare(fit_damper(load_design_unit()), *motion)


@settings(max_examples=30, deadline=None)
@given(motions())
def test_free_flight_with_a_rigid_shank_follows_lagrange(motion: tuple[Array, Array]) -> None:
    """The bending coordinate struck out. Source: module docstring."""
    q, v = motion
    q[6:8] = v[6:8] = 0.0
    compare(make_rigid(fit_damper(load_design_unit())), q, v)


@FULL
@settings(max_examples=30, deadline=None)
@given(motions(), st.lists(st.floats(0.5, 2.0), min_size=12, max_size=12))
def test_free_flight_follows_lagrange_with_other_parts(motion: tuple[Array, Array], by: list[float]) -> None:
    """Masses, springs and centres changed at random. Source: module docstring."""
    u = fit_damper(load_design_unit())
    w, j, lv, hm = u.wippen, u.jack, u.lever, u.hammer
    other = replace(
        u,
        key=replace(u.key, front_moment=u.key.front_moment * (by[0] - 1), bending_stiffness=1600 * by[1]),
        wippen=replace(w, mass=w.mass * by[2], inertia=w.inertia * 4, mass_centre=(-0.043 * by[3], 0.01 * (by[4] - 1))),
        jack=replace(j, mass=j.mass * by[5], inertia=j.inertia * 2.5, mass_centre=(0.01 * (by[6] - 1), 0.022)),
        lever=replace(lv, mass_centre=(-0.016, 0.006 * (by[7] - 1))),
        hammer=replace(hm, head_mass=hm.head_mass * by[8], head_mass_centre=(0.131 * by[9] ** 0.1, 0.02 * by[10])),
        springs=replace(u.springs, jack_rate=0.01 * by[11]),
    )
    compare(other, *motion)
