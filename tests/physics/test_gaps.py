"""Gaps and their gradients: against finite differences, against the reference's geometry, and as contacts.

Five-point differences with step h are off by h⁴/30 of the fifth derivative: at
h = 1e-5 rad, arms below 0.3 m and a circle's centre no nearer than 1 mm to a
corner, less than 1e-12 m/rad; round-off of the gap (5e-17 m) over h adds 1e-11.
So gradients by an angle, arms of up to 0.3 m, must agree to 3e-11 m/rad, those by
a length (h = 2e-6 m) to 1e-9.  Source: Abramowitz & Stegun, table 25.2 (five-point
formula); own geometry in geometry.py.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sim.physics import kernel
from sim.physics.mechanism import DOFS, compute_parameters
from sim.physics.modes import DriveMode
from sim.physics.run import Drive, pack_parameters, run
from sim.unit.contacts import CONTACT_INDEX as INDEX
from sim.unit.contacts import CONTACT_NAMES as NAMES
from sim.unit.contacts import CONTACTS, RUBBING, CircleOnCorner, CircleOnLine, moving_body
from tests.physics.design_unit import load_design_unit
from tests.physics.geometry import (
    AT,
    find_contact_place,
    measure_corner_gap,
    measure_gap,
    measure_line_gap,
    place_particle,
)
from tests.physics.rig import Array, fit_damper, load_rest, make_state, read_vector, remove_contacts
from tests.tiers import try_each

UNIT = fit_damper(load_design_unit())
P = pack_parameters(UNIT)
VALUES = compute_parameters(UNIT)
H = np.array([1e-5 if x not in "edf" else 2e-6 for x in DOFS])
TOLERANCE = np.array([3e-11 if x not in "edf" else 1e-9 for x in DOFS])
REGIONS = {
    "jack_knuckle": {"A", "top", "B", "rear face", "C"},
    "lever_knuckle": {"start", "inside", "end"},
    "drop_screw": {"start", "inside", "end"},
    "backcheck": {"start", "inside", "end"},
}


def kernel_gaps(q: Array, ys: float = 0.0, p: Array = P) -> tuple[Array, Array, Array]:
    s = make_state(ys=ys, **dict(zip(DOFS, q, strict=True)))
    g, normal, sliding = (np.zeros((len(NAMES), *more)) for more in ((), (len(DOFS),), (len(DOFS),)))
    kernel.gaps(p[0], s[0], g, normal, sliding)
    return g, normal, sliding


def region(name: str, q: Array) -> str:
    shape = CONTACTS[INDEX[name]].shape
    if isinstance(shape, CircleOnCorner):
        return measure_corner_gap(shape, q, VALUES)[2]
    if isinstance(shape, CircleOnLine):
        return measure_line_gap(shape, q, VALUES)[2]
    return "only"


def near_a_change_of_region(name: str, q: Array) -> bool:
    """A difference quotient that straddles two regions means nothing (the gap's second derivative jumps)."""
    here = region(name, q)
    return any(region(name, q + way * d) != here for d in np.diag(3 * H) for way in (-1, 1))


def too_deep(name: str, q: Array) -> bool:
    """A circle whose centre comes near the face it touches has no smooth gap there."""
    shape = CONTACTS[INDEX[name]].shape
    if isinstance(shape, CircleOnCorner | CircleOnLine) and region(name, q) != "inside":
        return kernel_gaps(q)[0][INDEX[name]] < 1e-3 - VALUES[shape.radius]
    return False


def random_pose(rng: np.random.Generator, reach: float = 0.0) -> Array:
    """Anywhere in a stroke and well beyond it; with ``reach``, all angles within it."""
    if reach:
        return np.where([x in "edf" for x in DOFS], 1e-3, reach) * rng.uniform(-1, 1, len(DOFS))
    low = {
        "kf": -0.02,
        "kr": -0.02,
        "w": -0.05,
        "j": -0.15,
        "l": -0.25,
        "h": -0.6,
        "e": -2e-3,
        "r": -0.03,
        "d": 0.0,
        "f": -0.02,
    }
    high = {
        "kf": 0.06,
        "kr": 0.06,
        "w": 0.25,
        "j": 0.5,
        "l": 0.35,
        "h": 0.2,
        "e": 2e-3,
        "r": 0.03,
        "d": 0.01,
        "f": 0.02,
    }
    return np.array([rng.uniform(low[x], high[x]) for x in DOFS])


def poses() -> list[Array]:
    rng = np.random.default_rng(20)
    return [random_pose(rng) for _ in range(300)] + [read_vector(load_rest())]


def pose_in(name: str, wanted: str) -> Array:
    """A pose whose contact lies in the wanted region, not within a difference step of another."""
    rng = np.random.default_rng(hash_of(name, wanted))
    for _ in range(20000):
        q = random_pose(rng, reach=0.9)
        if region(name, q) == wanted and not near_a_change_of_region(name, q) and not too_deep(name, q):
            return q
    raise AssertionError(f"{name} never touches in region {wanted}")


def hash_of(*words: str) -> int:
    return sum(ord(c) * 31**i for i, c in enumerate("".join(words))) % 2**31


def difference(q: Array) -> Array:
    out = np.zeros((len(NAMES), len(DOFS)))
    for i, step in enumerate(np.diag(H)):
        near = kernel_gaps(q + step)[0] - kernel_gaps(q - step)[0]
        far = kernel_gaps(q + 2 * step)[0] - kernel_gaps(q - 2 * step)[0]
        out[:, i] = (8 * near - far) / (12 * H[i])
    return out


def assert_gradient(name: str, q: Array, analytic: Array, numeric: Array) -> None:
    i = INDEX[name]
    miss = np.abs(analytic[i] - numeric[i])
    shown = dict(zip(DOFS, zip(analytic[i].tolist(), numeric[i].tolist(), strict=True), strict=True))
    assert np.all(miss < TOLERANCE), f"{name} in region {region(name, q)}: {shown}"


def test_gradients_match_differences() -> None:
    """Source: five-point differences of the kernel's own gap."""
    for q in poses()[::10]:
        analytic, numeric = kernel_gaps(q)[1], difference(q)
        for name in NAMES:
            if not near_a_change_of_region(name, q) and not too_deep(name, q):
                assert_gradient(name, q, analytic, numeric)


@pytest.mark.parametrize(("name", "wanted"), [(n, r) for n, rs in REGIONS.items() for r in sorted(rs)])
def test_gradients_match_in_every_region_of_contact(name: str, wanted: str) -> None:
    """Faces, corner and ends of jack top, lever, screw and check; source: five-point differences."""
    q = pose_in(name, wanted)
    assert_gradient(name, q, kernel_gaps(q)[1], difference(q))


def test_gaps_match_the_reference_geometry() -> None:
    """The kernel's sines are series, right to 2e-13 at the 0.6 rad reached here; arms are below 0.3 m.

    Source: geometry.py (rotation matrices, nearest points).
    """
    for q in poses():
        g = kernel_gaps(q, ys=1e-4)[0]
        for c in CONTACTS:
            own = float(measure_gap(c, q, VALUES, 1e-4))
            assert abs(g[INDEX[c.name]] - own) < 1e-13, f"{c.name}: kernel {g[INDEX[c.name]]}, own {own}, at {q}"


@try_each("angle", [-0.1, 0.07])
def test_a_heel_cut_at_an_angle_is_a_level_one_turned_by_it(angle: float) -> None:
    """The same face from two sides: its angle on the wippen, or the wippen's turn with its heel's point turned back."""
    w, (cx, cy) = UNIT.wippen, UNIT.key.capstan_centre
    unit = replace(UNIT, key=replace(UNIT.key, capstan_centre=(cx + 5e-3, cy)))  # not where both faces meet
    cut = pack_parameters(replace(unit, wippen=replace(w, heel_angle=angle)))
    x, y = w.heel_point
    back = (np.cos(angle) * x + np.sin(angle) * y, np.cos(angle) * y - np.sin(angle) * x)
    level = pack_parameters(replace(unit, wippen=replace(w, heel_point=back)))
    turned = read_vector(load_rest())
    turned[AT["w"]] += angle
    i = INDEX["capstan"]
    own, other = kernel_gaps(read_vector(load_rest()), p=cut)[0][i], kernel_gaps(turned, p=level)[0][i]
    assert own == pytest.approx(other, abs=1e-13)
    assert abs(own - kernel_gaps(read_vector(load_rest()), p=pack_parameters(unit))[0][i]) > 1e-4  # the cut matters


def test_string_gap_follows_the_string() -> None:
    """A string that moved up by 1 mm is 1 mm further from the crown."""
    q = read_vector(load_rest())
    i = INDEX["string"]
    assert kernel_gaps(q, ys=1e-3)[0][i] - kernel_gaps(q)[0][i] == pytest.approx(1e-3, abs=1e-15)


@pytest.mark.parametrize("name", RUBBING)
def test_sliding_matches_material_points(name: str) -> None:
    """Speed of one body's particle past the other's at the place of contact; source: geometry.py, complex step."""
    c = CONTACTS[INDEX[name]]
    rng = np.random.default_rng(3)
    for _ in range(60):
        q = random_pose(rng)
        at, n, first, second = find_contact_place(c, q, VALUES)
        along = np.array([n[1], -n[0]])
        own = np.zeros(len(DOFS))
        for i in range(len(DOFS)):
            z = q.astype(complex)
            z[i] += 1e-30j
            own[i] = np.imag(along @ place_particle(first, at, q, VALUES)(z)) / 1e-30
            if second is not None:
                own[i] -= np.imag(along @ place_particle(second, at, q, VALUES)(z)) / 1e-30
        miss = np.abs(kernel_gaps(q)[2][INDEX[name]] - own)
        assert miss.max() < 1e-12, f"{name} in region {region(name, q)}: kernel {kernel_gaps(q)[2][INDEX[name]]}, {own}"


def mover(name: str) -> tuple[str, int]:
    """A coordinate, and the way to turn it, that closes the contact (the key is lifted to the check)."""
    x = "kr" if name == "backcheck" else moving_body(CONTACTS[INDEX[name]].shape)
    return x, -int(np.sign(kernel_gaps(read_vector(load_rest()))[1][INDEX[name], AT[x]]))


def touching_pose(name: str) -> Array:
    """A pose near rest (knuckle lifted, hammer up for the check) in which the contact's gap is just nil."""
    x, way = mover(name)
    q = read_vector(load_rest())
    q[AT["f"]], q[AT["d"]] = 0.05, 0.01
    if name == "backcheck":
        q[AT["h"]] = -0.05
    i, top = INDEX[name], 0.6
    direction = np.zeros(len(DOFS))
    direction[AT[x]] = way
    offsets = np.linspace(-top, top, 4001)
    signs = [kernel_gaps(q + o * direction)[0][i] > 0 for o in offsets]
    crossings = [k for k in range(4000) if signs[k] and not signs[k + 1]]
    assert crossings, f"{name} never closes"
    a, b = offsets[crossings[0]], offsets[crossings[0] + 1]
    for _ in range(60):
        mid = 0.5 * (a + b)
        a, b = (mid, b) if kernel_gaps(q + mid * direction)[0][i] > 0 else (a, mid)
    return q + a * direction


@pytest.mark.parametrize("name", NAMES)
def test_contact_found_missed_and_overlapping(name: str) -> None:
    """No force short of touching; the law's force where parts overlap; a contact made is logged once, at its time.

    Source: F = K d**p (Hunt & Crossley, J. Appl. Mech. 42 (1975) 440) at rest.
    """
    x, way = mover(name)
    q0 = touching_pose(name)
    arm = abs(kernel_gaps(q0)[1][INDEX[name], AT[x]])
    law = UNIT.contacts[name]
    only = remove_contacts(P, but=(name,))
    only["key_bending_stiffness"] = only["key_bending_damping"] = 0.0  # the pose bends the key out of all measure

    def pushed(depth: float, speed: float = 0.0, dt: float = 1e-7, steps: int = 1) -> tuple[float, Array, Array]:
        q = q0.copy()
        q[AT[x]] += way * depth / arm
        s = make_state(**dict(zip(DOFS, q, strict=True)), **{"v_" + x: way * speed / arm})
        r = run(only, Drive(DriveMode.DRIVEN_MASS, mass=1e6), steps * dt, s, step=dt, every=dt, keep_finger=True)
        return kernel_gaps(q)[0][INDEX[name]], r.trace[f"N_{name}"], r.log.data

    gap_now, missed, _ = pushed(-1e-5)
    assert gap_now > 5e-6
    assert missed[0] == 0.0, f"{name}: {missed[0]} N at a gap of {gap_now} m"

    gap_now, overlapping, log = pushed(1e-4)
    assert gap_now == pytest.approx(-1e-4, rel=0.05)
    expected = law.stiffness * (-gap_now) ** law.exponent
    if name == "string":  # gives way at once with the speed F / 2Z, against the felt's loss
        expected /= 1 + expected * law.loss / (2 * UNIT.string.impedance)
    assert overlapping[0] == pytest.approx(expected, rel=2e-3), f"{name}: {overlapping[0]} N, law {expected} N"
    assert len(log) == 0, f"{name}: a contact that was there from the start was logged as made"

    gap_now, found, log = pushed(-2e-6, speed=0.5, dt=1e-6, steps=10)
    makes = log[(log[:, 1] == INDEX[name]) & (log[:, 2] == 1.0)]
    assert found[0] == 0.0, f"{name}: {found}"
    assert found[-1] > 0.0, f"{name}: {found}"
    assert len(makes) == 1, f"{name}: {makes}"
    assert makes[0, 0] == pytest.approx(gap_now / 0.5, rel=0.02), f"{name}: made at {makes[0, 0]}"
