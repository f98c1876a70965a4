"""A slow and plain stepper of the same mechanism, to hold the compiled one against.

It reads the declarations of ``mechanism.py`` (which point lies on which body,
which contact has which shape, which joints rub) and the unit's masses, and works
everything else out in its own way: places by rotation matrices, gradients by the
complex step (Squire & Trapp, SIAM Rev. 40 (1998) 110), sliding directions by
fixing a material point to each body, the mass matrix from Jacobians of mass
centres, the string's force by bracketing, friction by projected Gauss-Seidel on
the dense problem to round-off (Jean, CMAME 177 (1999) 235).

Scheme, as claimed by the kernel: positions at mid-steps, speeds at whole steps,
speeds of smooth forces extrapolated to the mid-step; small deflection of the
shank (inertia taken unbent).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np

from sim.physics.mechanism import DOFS, FRICTION_ROWS, HAMMER, JOINTS, compute_parameters
from sim.unit.contacts import CONTACTS, TOUCH, Contact, Crown, Point
from sim.unit.model import GRAVITY, ActionUnit
from tests.lazily import Lazily
from tests.physics.geometry import (
    build_rotation,
    find_contact_place,
    measure_gap,
    place_particle,
    place_reference_point,
)

Array = Any
Rows = dict[str, tuple[Array, float]]
interpolate, linalg, optimize = Lazily("scipy.interpolate"), Lazily("scipy.linalg"), Lazily("scipy.optimize")

AT = {x: i for i, x in enumerate(DOFS)}
N = len(DOFS)
TINY = 1e-30
NOTHING: Mapping[str, float] = {}


@dataclass
class Reference:
    """One unit and one finger."""

    unit: ActionUnit
    dt: float
    finger_mass: float = 0.0
    muscle_damping: float = 0.0
    rub: float = 1.0
    p: dict[str, float] = field(init=False)
    outgoing: list[tuple[float, float]] = field(default_factory=list)
    """Waves sent to the near and the far end, a pair a step."""

    def __post_init__(self) -> None:
        self.p = compute_parameters(self.unit)

    # -- masses ------------------------------------------------------------

    def bodies(self) -> list[tuple[float, float, dict[str, float], Point]]:
        """Mass, inertia about the mass centre, turning coordinate and mass centre of the rigid parts of the chain."""
        w, j, lv = self.unit.wippen, self.unit.jack, self.unit.lever
        self.p |= {"wm_x": w.mass_centre[0], "wm_y": w.mass_centre[1]}
        self.p |= {"jm_x": j.mass_centre[0], "jm_y": j.mass_centre[1]}
        self.p |= {"lm_x": lv.mass_centre[0], "lm_y": lv.mass_centre[1]}
        out = []
        for body, part in (("w", w), ("j", j), ("l", lv)):
            steiner = part.mass * (part.mass_centre[0] ** 2 + part.mass_centre[1] ** 2)
            out.append((part.mass, part.inertia - steiner, {body: 1.0}, Point(body, f"{body}m_x", f"{body}m_y")))
        return out

    def jacobian(self, where: Callable[[Array], Any], q: Array) -> Array:
        """Columns: derivative of a place (2) or a length (1) by each coordinate, by the complex step."""
        columns = []
        for i in range(len(DOFS)):
            z = q.astype(complex)
            z[i] += 1j * TINY
            columns.append(np.imag(where(z)) / TINY)
        return np.array(columns).T

    def inertia_and_weight(self, q: Array, u: Array) -> tuple[Array, Array]:
        """Mass matrix, and weights with the centripetal terms as generalised forces."""
        mass, force = np.zeros((N, N)), np.zeros(N)
        down = np.array([0.0, -GRAVITY])
        for kg, about_centre, turns, centre in self.bodies():
            jac = self.jacobian(lambda z, c=centre: place_reference_point(c, z, self.p), q)
            mass += kg * jac.T @ jac
            for x, share in turns.items():
                mass[AT[x], AT[x]] += share * about_centre
            force += kg * jac.T @ (down - self.centripetal(centre, q, u))
        k = self.unit.key
        mass[0, 0], mass[1, 1] = k.inertia_front, k.inertia_rear
        force[0] += k.front_moment * GRAVITY * np.cos(q[0])
        self.add_hammer(mass, force, q)
        if self.unit.damper:
            mass[AT["d"], AT["d"]] = self.unit.damper.mass
            force[AT["d"]] -= self.unit.damper.mass * GRAVITY
        mass[AT["f"], AT["f"]] = self.finger_mass
        return mass, force

    def centripetal(self, centre: Point, q: Array, u: Array) -> Array:
        """Acceleration of a mass centre with all angular accelerations zero: -speed² times each turning arm."""
        at = place_reference_point(centre, q, self.p)
        wippen = np.array([self.p["wx"], self.p["wy"]])
        if centre.body == "w":
            return -(u[AT["w"]] ** 2) * (at - wippen)
        x, y = ("jx", "jy") if centre.body == "j" else ("lx", "ly")
        pivot = place_reference_point(Point("w", x, y), q, self.p)
        return -(u[AT["w"]] ** 2) * (pivot - wippen) - u[AT[centre.body]] ** 2 * (at - pivot)

    def add_hammer(self, mass: Array, force: Array, q: Array) -> None:
        """Head as a rigid body, shank as a rod of even density shaped as a cubic by its tip's deflection and turn.

        Its mass is told by its inertia where it moves, by its weighed moment where it hangs.
        """
        hm, h = self.unit.hammer, AT["h"]
        length, (cx, cy) = hm.shank_length, hm.head_mass_centre
        density, weighed = 3 * hm.shank_inertia / length**3, 2 * hm.shank_mass_moment / length**2
        x, dx, shapes = self.shank()
        down = build_rotation(q[h]).T @ np.array([0.0, -GRAVITY])
        bends = [AT["e"], AT["r"]] if hm.shank_bends else []
        to_head = np.array([[-cy, cx], [0.0, 1.0], [-cy, cx - length]])[: 1 + len(bends)]
        turns = np.array([1.0, 0.0, 1.0])[: 1 + len(bends)]
        across = np.array([x, *(shape(x) for shape in shapes)])[: 1 + len(bends)]
        block = hm.head_mass * (to_head @ to_head.T + hm.head_gyration**2 * np.outer(turns, turns))
        block += density * (across * dx) @ across.T
        mass[np.ix_([h, *bends], [h, *bends])] = block
        now = q[bends]
        force[bends] += hm.head_mass * to_head[1:] @ down + weighed * (across[1:] @ dx) * down[1]
        arm = np.array([-cy, cx]) + now @ np.column_stack([-to_head[1:, 1], to_head[1:, 0]])
        force[h] += hm.head_mass * arm @ down
        force[h] += hm.shank_mass_moment * down[1] - weighed * (now @ (across[1:] @ dx)) * down[0]

    def shank(self) -> tuple[Array, Array, tuple[Any, Any]]:
        """Places and weights of a quadrature along it, and the shapes of unit deflection and turn of its tip."""
        length = self.unit.hammer.shank_length
        nodes, weights = np.polynomial.legendre.leggauss(12)
        cubic = interpolate.CubicHermiteSpline
        shapes = (cubic([0, length], [0, 1], [0, 0]), cubic([0, length], [0, 0], [0, 1]))
        return 0.5 * length * (nodes + 1), 0.5 * length * weights, shapes

    @cached_property
    def bending(self) -> tuple[Array, Array]:
        """Stiffness by curvature, damping by the same ratio in both modes of the shank held at its root."""
        hm, (x, dx, shapes) = self.unit.hammer, self.shank()
        curved = np.array([shape(x, 2) for shape in shapes])
        stiff = hm.shank_bending_stiffness * hm.shank_length**3 / 3 * (curved * dx) @ curved.T
        mass = np.zeros((N, N))
        self.add_hammer(mass, np.zeros(N), np.zeros(N))
        held = mass[np.ix_([AT["e"], AT["r"]], [AT["e"], AT["r"]])]
        squares, modes = linalg.eigh(stiff, held)
        return stiff, held @ modes @ np.diag(2 * hm.shank_damping_ratio * np.sqrt(squares)) @ modes.T @ held

    def springs(self, q: Array, u: Array) -> Array:
        un = self.unit
        out = np.zeros(N)

        def couple(a: str, b: str, torque: float) -> None:
            out[AT[a]] += torque
            out[AT[b]] -= torque

        k, s = un.key, un.springs
        couple("kf", "kr", k.bending_stiffness * (q[1] - q[0]) + k.bending_damping * (u[1] - u[0]))
        couple("j", "w", -(s.jack + s.jack_rate * (q[AT["j"]] - q[AT["w"]])))
        couple("l", "w", -(s.repetition + s.repetition_rate * (q[AT["l"]] - q[AT["w"]])))
        if un.hammer.shank_bends:
            tip = [AT["e"], AT["r"]]
            stiff, drag = self.bending
            out[tip] -= stiff @ q[tip] + drag @ u[tip]
        return out

    # -- contacts ----------------------------------------------------------

    def normal(self, c: Contact, q: Array, ys: float) -> tuple[float, Array]:
        """Gap and its gradient."""
        g = float(np.real(measure_gap(c, q, self.p, ys)))
        return g, self.jacobian(lambda z: measure_gap(c, z, self.p, ys), q)

    def sliding(self, c: Contact, q: Array) -> Array:
        """Gradient of the sliding speed: material points of both bodies at the place of contact, along the face."""
        at, n, first, second = find_contact_place(c, q, self.p)
        along = np.array([n[1], -n[0]])
        a = self.jacobian(place_particle(first, at, q, self.p), q)
        b = self.jacobian(place_particle(second, at, q, self.p), q) if second else np.zeros_like(a)
        return along @ (a - b)

    def felt(self, c: Contact, squeeze: float, rate: float, last: float | None, loose: float) -> float:
        """Force of a felt; ``last`` its force a step ago, ``loose`` its speed per impulse (1/kg)."""
        law = self.unit.contacts[c.name]
        spring = law.stiffness * squeeze**law.exponent
        calm = spring * law.loss * self.dt * loose
        return max(0.0, (spring * (1 + law.loss * rate) + calm * (spring if last is None else last)) / (1 + calm))

    def looseness(self, a: Array, mass: Array, hold: Mapping[str, float]) -> float:
        """Speed along a gradient per impulse along it, each part of the chain taken alone."""
        block = [AT[x] for x in HAMMER if mass[AT[x], AT[x]] > 0]
        out = float(a[block] @ np.linalg.solve(mass[np.ix_(block, block)], a[block]))
        alone = [i for i, x in enumerate(DOFS) if x not in HAMMER and x not in hold and mass[i, i] > 0]
        return out + float(sum(a[i] ** 2 / mass[i, i] for i in alone))

    def returning(self) -> tuple[float, float]:
        """Waves coming back from near and far end now: what was sent, delayed, turned over."""

        def sent(which: int, delay: float) -> float:
            back = delay / self.dt
            i = len(self.outgoing) - int(back)
            part = back - int(back)
            a = self.outgoing[i][which] if 0 <= i < len(self.outgoing) else 0.0
            b = self.outgoing[i - 1][which] if 0 < i <= len(self.outgoing) else 0.0
            return (1 - part) * a + part * b

        s = self.unit.string
        return -sent(0, s.near_end_delay), -s.far_end_reflection * sent(1, s.far_end_delay)

    def string(self, q: Array, u: Array, ys: float, vs: float) -> tuple[float, Array, float, float]:
        """Force, gradient, and the string's new place and speed: felt and string move together within the step."""
        c = next(x for x in CONTACTS if isinstance(x.shape, Crown))
        law, z = self.unit.contacts[c.name], self.unit.string.impedance
        near, far = self.returning()
        dt = self.dt
        g, a = self.normal(c, q, ys)

        def string_after(force: float) -> tuple[float, float]:
            v = force / (2 * z) + near + far
            return v, ys + 0.5 * dt * (vs + v)

        def miss(force: float) -> float:
            v, y = string_after(force)
            squeeze = max(0.0, -(g + y - ys))
            return force - law.stiffness * squeeze**law.exponent * (1 + law.loss * (-(a @ u) - v))

        force = 0.0
        if -(g + string_after(0.0)[1] - ys) > 0 and miss(0.0) < 0:
            top = 1.0
            while miss(top) < 0:
                top *= 2
            force = float(optimize.brentq(miss, 0.0, top, xtol=1e-15, rtol=1e-14))
        v, y = string_after(force)
        self.outgoing.append((v - near, v - far))
        return force, a, y, v

    # -- a step --------------------------------------------------------------

    def step(
        self, s: dict[str, Any], *, pull: float = 0.0, push: float = 0.0, hold: Mapping[str, float] = NOTHING
    ) -> None:
        """One step of the state (q at mid-step, v, old v, ys, vs, impulses by row), in place.

        ``pull`` is the muscle force on the finger, ``push`` a force on the key; ``hold`` sets speeds.
        """
        q, v, old = s["q"], s["v"], s["o"]
        u = 1.5 * v - 0.5 * old
        mass, force = self.inertia_and_weight(q, u)
        force += self.springs(q, u)
        force += push * self.jacobian(lambda z: -place_reference_point(TOUCH, z, self.p)[1], q)
        force[AT["f"]] -= pull + self.muscle_damping * u[AT["f"]]
        rows: Rows = {}
        for name, body, against in JOINTS:
            b = np.zeros(N)
            b[AT[body]] = 1.0
            if against:
                b[AT[against]] = -1.0
            rows[name] = b, self.p[f"friction_{name}"] * self.rub * self.dt
        last = s.setdefault("forces", {})
        for c in CONTACTS:
            if isinstance(c.shape, Crown):
                n, a, s["ys"], s["vs"] = self.string(q, u, s["ys"], s["vs"])
                force += a * n
                continue
            if measure_gap(c, q, self.p, 0.0) >= 0:
                last[c.name] = 0.0
                continue
            g, a = self.normal(c, q, 0.0)
            n = self.felt(c, -g, -(a @ u), last.get(c.name), self.looseness(a, mass, hold))
            last[c.name] = n
            force += a * n
            if c.rubs and n > 0:
                rows[c.name] = self.sliding(c, q), self.unit.contacts[c.name].friction * n * self.rub * self.dt
        inverse = np.zeros((N, N))
        free = [i for i, x in enumerate(DOFS) if mass[i, i] > 0 and x not in hold]
        inverse[np.ix_(free, free)] = np.linalg.inv(mass[np.ix_(free, free)])
        s["o"] = v.copy()
        for x, speed in hold.items():
            v[AT[x]] = speed
        s["v"] = self.rubbed(v + self.dt * inverse @ force, inverse, rows, s["impulse"])
        s["q"] = q + self.dt * s["v"]

    def rubbed(self, v: Array, inverse: Array, rows: Rows, impulse: dict[str, float]) -> Array:
        """Speed after dry friction: |impulse| <= bound, and sticking wherever the bound is not reached."""
        names = [r for r in FRICTION_ROWS if r in rows]
        b = np.array([rows[r][0] for r in names])
        bound = np.array([rows[r][1] for r in names])
        w = b @ inverse @ b.T
        slip = b @ v
        x = np.clip([impulse.get(r, 0.0) for r in names], -bound, bound)
        for _ in range(20000):
            before = x.copy()
            for i in range(len(names)):
                if w[i, i] > 0:
                    x[i] = np.clip(x[i] - (slip[i] + w[i] @ x) / w[i, i], -bound[i], bound[i])
            if np.all(np.abs(x - before) <= 1e-13 * bound):
                break
        else:
            raise ArithmeticError("the reference's friction does not converge")
        impulse.clear()
        impulse.update(zip(names, x.tolist(), strict=True))
        return v + inverse @ b.T @ x
