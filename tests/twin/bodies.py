"""The parts of a unit as bodies of MuJoCo (written against 4.0; any from 3.3.7 will do).

Source: Todorov, Erez & Tassa, MuJoCo, IROS 2012; its documentation, chapters
Computation and XML reference.  Lengths, masses and stiffnesses go over as they are (SI).
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from sim.unit.model import GRAVITY, ActionUnit, Hammer
from tests.lazily import Lazily

mujoco = Lazily("mujoco")

Array = Any

FRONT, REAR, WIPPEN, JACK, LEVER, SHANK, HEAD, DAMPER = range(1, 9)
"""Numbers of the bodies, the frame being 0; the damper comes last, where there is one."""

LUMP = 0.1
"""Mass that stands for a key half, kg: only its inertia and its moment matter."""
LIGHT = 100.0
"""What the engine's softness of rubbing is a ten thousandth of, 1/kg: below what a surface really gives way
(some 1000), so that what sticks creeps the less."""
SURFACES = 6
"""Pairs of surfaces that rub."""
SPECK = 'mass="1e-9" pos="0 0 0" diaginertia="1e-13 1e-13 1e-13"'
"""The mass of a body whose inertia is given otherwise."""


def format_world(
    bodies: str,
    tendons: str = "",
    step: float = 1e-5,
    options: str = 'integrator="RK4"',
    more: Callable[[mujoco.MjSpec], None] | None = None,
) -> mujoco.MjModel:
    """A model of bodies and tendons; ``more`` puts on what is easier said in Python."""
    spec = mujoco.MjSpec.from_string(
        f"""<mujoco>
  <compiler angle="radian" inertiafromgeom="false" boundmass="0" boundinertia="0"/>
  <option timestep="{step}" gravity="0 {-GRAVITY} 0" {options}/>
  <worldbody>{bodies}</worldbody>
  <tendon>{tendons}</tendon>
</mujoco>"""
    )
    if more:
        more(spec)
    return spec.compile()


def format_lump(mass: float, x: float, y: float, inertia: float) -> str:
    """A mass with its inertia about its own centre (only the turn in the plane matters)."""
    return f'<inertial mass="{mass!r}" pos="{x!r} {y!r} 0" diaginertia="{inertia!r} {inertia!r} {inertia!r}"/>'


def format_hinge(name: str, extra: str = "") -> str:
    return f'<joint name="{name}" type="hinge" axis="0 0 1" {extra}/>'


def format_rubbing(bound: float, step: float) -> str:
    """Dry friction of a joint (N·m or N), as hard as the engine makes it: a slip dies within two steps."""
    return f'frictionloss="{bound!r}" solimpfriction="0.9999 0.9999 1e-3" solreffriction="{2 * step!r} 1"'


def format_lump_about(about: float, mass: float, x: float, y: float) -> str:
    """A lump whose inertia ``about`` the joint is known."""
    return format_lump(mass, x, y, about - mass * (x * x + y * y))


def format_chain(u: ActionUnit, step: float | None = None) -> str:
    """Wippen with jack and lever riding on it; with ``step`` their centres rub."""
    w, j, lv, s = u.wippen, u.jack, u.lever, u.springs

    def rubs(name: str) -> str:
        return "" if step is None else format_rubbing(u.friction[name], step)

    def ridden(name: str, part, at: tuple[float, float], torque: float, rate: float, rub: str) -> str:  # type: ignore[no-untyped-def]
        spring = f'stiffness="{rate!r}" springref="{-torque / rate!r}" {rub}'
        inside = format_hinge(name, spring) + format_lump_about(part.inertia, part.mass, *part.mass_centre)
        return f'<body pos="{at[0]!r} {at[1]!r} 0">{inside}</body>'

    return f"""<body pos="{w.centre[0]!r} {w.centre[1]!r} 0">{format_hinge("w", rubs("wippen"))}
  {format_lump_about(w.inertia, w.mass, *w.mass_centre)}
  {ridden("j", j, w.jack_centre, s.jack, s.jack_rate, rubs("jack"))}
  {ridden("l", lv, w.lever_centre, s.repetition, s.repetition_rate, rubs("lever"))}
</body>"""


def format_head(hm: Hammer, origin: float = 0.0) -> str:
    """The head, ``origin`` along the shank from the hammer centre."""
    x, y = hm.head_mass_centre
    return format_lump(hm.head_mass, x - origin, y, hm.head_mass * hm.head_gyration**2)


def format_rigid_hammer(u: ActionUnit, extra: str = "") -> str:
    """Shank and head as one stiff piece turning about the hammer centre."""
    hm = u.hammer
    shank = 2 * hm.shank_mass_moment / hm.shank_length
    return f"""<body name="shank" pos="{hm.centre[0]!r} {hm.centre[1]!r} 0">{format_hinge("h", extra)}
  {format_lump_about(hm.shank_inertia, shank, hm.shank_length / 2, 0.0)}
  <site name="cushion" pos="{hm.cushion_point[0]!r} {hm.cushion_point[1]!r} 0"/>
  <body name="head" pos="{hm.shank_length!r} 0 0">{format_head(hm, hm.shank_length)}</body>
</body>"""


def format_tendon(coefficients: dict[str, float], what: str) -> str:
    """A tendon whose length is so much of each joint."""
    joints = "".join(f'<joint joint="{name}" coef="{c!r}"/>' for name, c in coefficients.items())
    return f'<fixed springlength="0" {what}>{joints}</fixed>'


def solve_beam(x: float, length: float) -> Array:
    """Lift of the rod at ``x`` per turn of the root, deflection and turn of the tip; second row its slope.

    The cubic that is level at the root and has the tip's place and slope
    (interpolation of Hermite).
    """
    s = x / length
    lift = (x, 3 * s**2 - 2 * s**3, length * (s**3 - s**2))
    slope = (1.0, 6 * (s - s**2) / length, 3 * s**2 - 2 * s)
    return np.array([lift, slope])


def place_rod_points(hm: Hammer) -> tuple[Array, Array]:
    """Places (m) along the rod and shares of its mass: Gauss's four points, exact for what cubics need."""
    at, weight = np.polynomial.legendre.leggauss(4)
    return 0.5 * hm.shank_length * (1 + at), 0.5 * weight


def format_bending_hammer(u: ActionUnit, extra: str = "") -> tuple[str, str]:
    """The head on a slide and a hinge at the tip of a beam; bodies and tendons.

    The rod's inertia sits in tendons, a point mass each; its weight is laid on by
    ``laws.py``.  Stiffness: strain energy EI/2 ∫ w''² of the cubic, as the sum
    6 EI/L³ (e - L r/2)² + EI/(2 L) r² of two tendons.  The damping is modal, the
    same ratio for both shapes of the rod held at its root.
    """
    hm, length = u.hammer, u.hammer.shank_length
    x, y = hm.centre
    bodies = f"""<body name="shank" pos="{x!r} {y!r} 0">{format_hinge("h", extra)}<inertial {SPECK}/>
  <body name="head" pos="{length!r} 0 0"><joint name="e" type="slide" axis="0 1 0"/>{format_hinge("r")}
    {format_head(hm, length)}</body>
</body>"""
    mass = 3 * hm.shank_inertia / length**2
    stiff = hm.shank_bending_stiffness * length**3 / 3
    tendons = [
        format_tendon(
            dict(zip("her", map(float, solve_beam(x, length)[0]), strict=True)), f'armature="{float(part) * mass!r}"'
        )
        for x, part in zip(*place_rod_points(hm), strict=True)
    ]
    tendons.append(format_tendon({"e": 1.0, "r": -0.5 * length}, f'stiffness="{12 * stiff / length**3!r}"'))
    tendons.append(format_tendon({"r": 1.0}, f'stiffness="{stiff / length!r}"'))
    heavy = read_inertia(format_world(bodies, "".join(tendons)))[1:, 1:]
    spring = stiff / length**3 * np.array([[12.0, -6 * length], [-6 * length, 4 * length**2]])
    squares, shapes = np.linalg.eig(np.linalg.solve(heavy, spring))
    for square, shape in zip(squares, shapes.T, strict=True):
        drag = heavy @ shape / np.sqrt(shape @ heavy @ shape)
        damping = 2 * hm.shank_damping_ratio * float(np.sqrt(square))
        tendons.append(format_tendon(dict(zip("er", map(float, drag), strict=True)), f'damping="{damping!r}"'))
    return bodies, "".join(tendons)


def read_inertia(model: mujoco.MjModel) -> Array:
    """The engine's mass matrix in its first pose."""
    data = mujoco.MjData(model)
    mujoco.mj_forward(model, data)
    out = np.zeros((model.nv, model.nv))
    for row, one in zip(out, np.eye(model.nv), strict=True):
        mujoco.mj_mulM(model, data, row, one)
    return out


def build_model(u: ActionUnit, step: float, more: Callable[[mujoco.MjSpec], None] | None = None) -> mujoco.MjModel:
    """All parts in the design pose, joints in the order kf, kr, w, j, l, h(, e, r)(, d).

    The first tendons are the rubbing surfaces, to be laid anew at every step.
    """
    k = u.key
    rub = format_rubbing(u.friction["hammer"], step)
    hammer, tendons = format_bending_hammer(u, rub) if u.hammer.shank_bends else (format_rigid_hammer(u, rub), "")
    front = format_hinge("kf", format_rubbing(u.friction["key"], step))
    front += format_lump_about(k.inertia_front, LUMP, -k.front_moment / LUMP, 0.0)
    bodies = f"<body>{front}</body><body>{format_hinge('kr')}{format_lump(LUMP, 0.0, 0.0, k.inertia_rear)}</body>"
    bodies += format_chain(u, step) + hammer
    if u.damper:
        slide = f'<joint name="d" type="slide" axis="0 1 0" {format_rubbing(u.damper.friction, step)}/>'
        bodies += f"<body>{slide}{format_lump(u.damper.mass, 0.0, 0.0, 1e-6)}</body>"
    joints = ["kf", "kr", "w", "j", "l", "h"] + ["e", "r"] * u.hammer.shank_bends + ["d"] * (u.damper is not None)
    surface = format_tendon(dict.fromkeys(joints, 1.0), format_rubbing(1.0, step))
    tendons = SURFACES * surface + tendons
    tendons += format_tendon(
        {"kr": 1.0, "kf": -1.0}, f'stiffness="{k.bending_stiffness!r}" damping="{k.bending_damping!r}"'
    )
    model = format_world(bodies, tendons, step, 'integrator="implicitfast" tolerance="1e-12"', more)
    model.tendon_frictionloss[:SURFACES] = 0.0
    model.tendon_invweight0[:SURFACES] = LIGHT
    return model
