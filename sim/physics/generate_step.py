"""The text of the compiled functions (second half of `generate.py`)."""

from __future__ import annotations

import re
from itertools import combinations_with_replacement

from sim.physics import generate as g
from sim.physics.generate import LOG_COLUMNS, RESULTS, STATE, TRACE_COLUMNS, Code, join_terms
from sim.physics.mechanism import DOFS, FRICTION_ROWS, HAMMER, JOINTS
from sim.physics.modes import DriveMode, End
from sim.physics.shank import BENDING
from sim.unit.contacts import CONTACTS, Contact, Crown, Tip

KEY_MOTION, KEY_FORCE, DRIVEN_MASS, FINGER_MOTION = (f"mode == {mode:d}" for mode in tuple(DriveMode)[1:])

HEAD = '''"""Compiled stepper, energies and gaps of the action unit.

Written by `sim/physics/generate_step.py` from the entries of `mechanism.py`: do
not edit; run ``python -m sim.physics.generate_step``.

Symbols: q of each coordinate by its short name (kf, kr key halves; w wippen; j
jack; l lever; h hammer; e, r deflection and turn of the shank's tip; d damper; f finger); v_ new speed, o_
speed before the step, u_ speed extrapolated to the mid-step; g_ gap, N_ normal
force, a_ gradient of the gap, b_ gradient of the sliding, B_ its mass-weighted
twin, L_ friction impulse; s_, c_ sine and cosine of a coordinate; K_, p_, c_, limit_, mu_ stiffness, exponent, loss,
thickness and friction of a contact.  Other names are parameters of `mechanism.py`.
"""

# ruff: noqa
# fmt: off
import math

import numba

FAST = {"contract", "arcp", "nsz", "reassoc"}


@numba.njit(error_model="numpy", fastmath=FAST)
def sine_cosine(x):
    """Sine and cosine by series to x**11 and x**12: error below 1e-13 at 0.5 rad, 2e-10 at 1 rad."""
    z = x * x
    s = x * (1.0 + z * (-1/6 + z * (1/120 + z * (-1/5040 + z * (1/362880 - z / 39916800)))))
    c = 1.0 + z * (-1/2 + z * (1/24 + z * (-1/720 + z * (1/40320 + z * (-1/3628800 + z / 479001600)))))
    return s, c


@numba.njit(error_model="numpy", fastmath=FAST)
def look_up(table, t, k):
    """Value and index of the piecewise cubic (columns: time, value, slope) at t; flat beyond its ends."""
    n = table.shape[0]
    while k + 2 < n and table[k + 1, 0] <= t:
        k += 1
    if t <= table[0, 0]:
        return table[0, 1], k
    if t >= table[n - 1, 0]:
        return table[n - 1, 1], k
    w = table[k + 1, 0] - table[k, 0]
    x = (t - table[k, 0]) / w
    y = 1.0 - x
    return (y * y * (1.0 + 2.0 * x) * table[k, 1] + x * x * (3.0 - 2.0 * x) * table[k + 1, 1]
            + w * x * y * (y * table[k, 2] - x * table[k + 1, 2])), k


@numba.njit(error_model="numpy", fastmath=FAST)
def note(log, row, t, dt, contact, gap, was, crown_y, crown_v, crown_a, travel, travel_v):
    """Write one making or breaking of a contact, placed within the step where its gap goes through zero."""
    if row < log.shape[0]:
        back = dt * gap / (gap - was)
        log[row, 0] = t - back
        log[row, 1] = contact
        log[row, 2] = 1.0 if gap < 0.0 else 0.0
        log[row, 3] = crown_y - back * crown_v
        log[row, 4] = crown_v - back * crown_a
        log[row, 5] = travel - back * travel_v
        log[row, 6] = (gap - was) / dt
    return row + 1


'''


def make_names_private(code: Code, start: int, tag: str) -> None:
    """Give the short-lived names (they end in _) of the lines from ``start`` on a tag of their own.

    A name that is written in one place only costs the compiler far less.
    """
    code.lines[start:] = [re.sub(r"\b([a-z]\w*_)\b(?!\()", rf"\g<1>{tag}", line) for line in code.lines[start:]]


def express_looseness(n: str, coordinates: list[str]) -> str:
    """Speed along the normal per impulse, the coupling of the wippen's parts left out, as an expression (1/kg)."""
    own = {"kf": "i_kf", "kr": "inv_rear", "w": "inv_w", "j": "inv_j", "l": "inv_l", "d": "inv_d", "f": "i_f"}
    out = [f"a_{n}_{x} * a_{n}_{x} * {own[x]}" for x in coordinates if x in own]
    if "h" in coordinates:
        out += [
            f"{'' if x == y else '2.0 * '}a_{n}_{x} * a_{n}_{y} * inv_{x}{y}"
            for x, y in combinations_with_replacement(HAMMER, 2)
        ]
    return " + ".join(out)


def emit_contact(code: Code, c: Contact, index: int) -> tuple[list[str], list[str]]:
    """Gap, force and friction row of one contact; returns the coordinates of its normal and its sliding."""
    start = len(code.lines)
    normal, along = _contact_lines(code, c, index)
    make_names_private(code, start, c.name)
    return normal, along


def _contact_lines(code: Code, c: Contact, index: int) -> tuple[list[str], list[str]]:
    n = c.name
    code("", f"# {n}")
    g.emit_gap(code, c)
    if isinstance(c.shape, Crown):
        return emit_string(code, c, index), []
    probe = Code()
    normal, along = g.emit_gradients(probe, c)
    if c.rubs:
        code(f"bound_{n} = 0.0")
    code(f"if g_{n} < 0.0:")
    code.indent()
    code(*probe.lines)
    code(*(f"a_{n}_{x} = {expr}" for x, expr in normal.items()))
    code(f"d_ = -g_{n}", f"if d_ > limit_{n}:")
    code(f"    status = {End.TOO_DEEP.number}", f"    where = {index}")
    code(f"rate_ = -({join_terms([(f'a_{n}_{x}', f'u_{x}') for x in normal])})")
    code(f"f0_{n} = K_{n} * ({g.express_power(n)})")
    code(f"calm_ = f0_{n} * c_{n} * dt * ({express_looseness(n, list(normal))})")
    code(f"last_ = N_{n} if n > 0 or begun else f0_{n}")
    code(f"N_{n} = max(0.0, (f0_{n} * (1.0 + c_{n} * rate_) + calm_ * last_) / (1.0 + calm_))")
    code(*(f"Q_{x} += a_{n}_{x} * N_{n}" for x in normal))
    if c.rubs:
        code(*(f"b_{n}_{x} = {expr}" for x, expr in along.items()))
        code(f"bound_{n} = mu_{n} * N_{n} * rub_dt")
    code.dedent()
    code("else:", f"    N_{n} = 0.0")
    emit_log_change(code, n, index)
    return list(normal), list(along)


def emit_log_change(code: Code, n: str, index: int) -> None:
    code(f"if (n > 0 or begun) and (g_{n} < 0.0) != (was_{n} < 0.0):")
    code.indent()
    code(f"logged = note(log, logged, t, dt, {index}.0, g_{n}, was_{n}, crown_y, crown_v, crown_a, travel, travel_v)")
    code.dedent()
    code(f"was_{n} = g_{n}")


def emit_string(code: Code, c: Contact, index: int) -> list[str]:
    n = c.name
    normal, _ = g.emit_gradients(Code(), c)
    code("# waves coming back from the ends (inverted), then the force that fits felt and string at once")
    for row, end in enumerate(("near", "far")):
        late = f"(head - {end}_whole"
        sent = f"(1.0 - {end}_part) * waves[{row}, {late}) & mask] + {end}_part * waves[{row}, {late} - 1) & mask]"
        if end == "near":
            code(f"from_near = -({sent})", "from_far = 0.0", "if far_reflection > 0.0:")
        else:
            code(f"    from_far = -far_reflection * ({sent})")
    code("wave = from_near + from_far", "still_ = ys + 0.5 * dt * (vs + wave)", f"N_{n} = 0.0", f"f0_{n} = 0.0")
    code(f"open_ = P_{n}_y - string_y - still_", "if open_ > 0.0:")
    code.indent()
    code(*(f"a_{n}_{x} = {expr}" for x, expr in normal.items()))
    code(f"up_ = -({join_terms([(f'a_{n}_{x}', f'u_{x}') for x in normal])}) - wave")
    code("force_ = force_before", "soft_ = 0.5 * dt * half_admittance", "for _ in range(20):")
    code.indent()
    code("d_ = max(0.0, open_ - soft_ * force_)", f"e1_ = K_{n} * d_ ** (p_{n} - 1.0)")
    code(f"damp_ = 1.0 + c_{n} * (up_ - half_admittance * force_)")
    code("miss_ = force_ - e1_ * d_ * damp_")
    code(f"step_ = miss_ / (1.0 + e1_ * (p_{n} * soft_ * max(0.0, damp_) + d_ * c_{n} * half_admittance))")
    code("force_ = max(0.0, force_ - step_)", "if abs(step_) < 1e-9 * (1.0 + force_):", "    break")
    code.dedent()
    code("d_ = max(0.0, open_ - soft_ * force_)", f"f0_{n} = K_{n} * d_ ** p_{n}", f"N_{n} = force_")
    code(f"if d_ > limit_{n}:", f"    status = {End.TOO_DEEP.number}", f"    where = {index}")
    code(*(f"Q_{x} += a_{n}_{x} * N_{n}" for x in normal))
    code.dedent()
    code(
        f"force_before = N_{n}",
        f"vs_new = half_admittance * N_{n} + wave",
        "ys += 0.5 * dt * (vs + vs_new)",
        "vs = vs_new",
    )
    code(f"waves[0, head & mask] = half_admittance * N_{n} + from_far")
    code(f"waves[1, head & mask] = half_admittance * N_{n} + from_near", "head += 1")
    code(f"string_work += dt * N_{n} * vs", f"g_{n} = -max(0.0, open_ - soft_ * N_{n}) if open_ > 0.0 else -open_")
    code(f"g_{n} = 1e-12 if open_ > 0.0 and N_{n} == 0.0 else g_{n}")
    emit_log_change(code, n, index)
    return list(normal)


def emit_free_speed(code: Code) -> None:
    code("", "# speed without friction")
    code("gj = D * inv_j", "gl = E * inv_l", "inv_s = 1.0 / (inertia_w - D * gj - E * gl)")
    code("slow_ = 1.0 - dt * viscous")
    g.emit_mass_solve(code, {x: f"Q_{x}" for x in DOFS}, "acc")
    code(*(f"v_{x} = slow_ * o_{x} + dt * acc_{x}" for x in DOFS))
    code(f"if {KEY_MOTION}:", "    aim_, seg = look_up(finger, t + dt, seg)", "    v_kf = (aim_ - kf) / dt")
    code(f"elif {FINGER_MOTION}:", "    aim_, seg = look_up(finger, t + dt, seg)", "    v_f = (aim_ - f) / dt")


def emit_clamp(code: Code, out: str, value: str, bound: str) -> None:
    """Hold a value between plus and minus its bound (a select, cheaper here than min and max)."""
    code(f"{out} = {bound} if {value} > {bound} else (-{bound} if {value} < -{bound} else {value})")


def emit_friction_rows(code: Code, slides: dict[str, list[str]]) -> None:
    code("", "# dry friction: rows, then projected Gauss-Seidel from the last impulses")
    rows: list[tuple[str, dict[str, str], list[str]]] = []
    for name, body, against in JOINTS:
        b = {body: "1.0"} | ({against: "-1.0"} if against else {})
        touched = g.emit_mass_solve(code, b, f"B_{name}")
        code(f"iW_{name} = 1.0 / ({' + '.join(f'B_{name}_{x} * {v}' for x, v in b.items())} + 1e-300)")
        code(f"bound_{name} = friction_{name} * rub_dt")
        rows.append((name, b, touched))
    for name, along in slides.items():
        b = {x: f"b_{name}_{x}" for x in along}
        code(f"if bound_{name} > 0.0:")
        code.indent()
        touched = g.emit_mass_solve(code, b, f"B_{name}")
        code(f"iW_{name} = 1.0 / ({' + '.join(f'B_{name}_{x} * {v}' for x, v in b.items())})")
        code.dedent()
        rows.append((name, b, touched))
    for name, _, touched in rows:
        emit_clamp(code, f"L_{name}", f"L_{name}", f"bound_{name}")
        code(f"if L_{name} != 0.0:")
        code(*(f"    v_{x} += B_{name}_{x} * L_{name}" for x in touched))
    code("for _ in range(sweeps):")
    code.indent()
    code("change = 0.0")
    for name, b, touched in rows:
        start = len(code.lines)
        code(f"if bound_{name} > 0.0:")
        code.indent()
        code(f"sum_ = {join_terms([(v, f'v_{x}') for x, v in b.items()])}")
        code(f"new_ = L_{name} - sum_ * iW_{name}")
        emit_clamp(code, "new_", "new_", f"bound_{name}")
        code(f"d_ = new_ - L_{name}")
        code("if d_ != 0.0:")
        code.indent()
        code(f"L_{name} = new_")
        code(*(f"v_{x} += B_{name}_{x} * d_" for x in touched))
        code(f"change = max(change, abs(d_) / (bound_{name}))")
        code.dedent()
        code.dedent()
        make_names_private(code, start, name)
    code("if change < stop:", "    break")
    code.dedent()


def emit_ledger(code: Code, normals: dict[str, list[str]], slides: dict[str, list[str]]) -> None:
    code("", "# ledger, with the mean speed over the step")
    code(*(f"m_{x} = 0.5 * (o_{x} + v_{x})" for x in DOFS))
    for n, normal in normals.items():
        if n == "string":
            code("if open_string > 0.0:")
            rate = f"-({join_terms([(f'a_{n}_{x}', f'm_{x}') for x in normal])}) - vs"
        else:
            code(f"if g_{n} < 0.0:")
            rate = f"-({join_terms([(f'a_{n}_{x}', f'm_{x}') for x in normal])})"
        code(f"    loss_{n} += dt * (N_{n} - f0_{n}) * ({rate})")
    for name, body, against in JOINTS:
        code(f"rub_{name} -= L_{name} * (m_{body}{f' - m_{against}' if against else ''})")
    for name, along in slides.items():
        code(f"if L_{name} != 0.0:")
        code(f"    rub_{name} -= L_{name} * ({join_terms([(f'b_{name}_{x}', f'm_{x}') for x in along])})")
    code("spin_ = m_kr - m_kf", "loss_key_bending += dt * key_bending_damping * (u_kr - u_kf) * spin_")
    for a in BENDING:
        drag = join_terms([(f"damping_{g.name_pair(a, b)}", f"u_{b}") for b in BENDING])
        code(f"loss_shank_bending += dt * ({drag}) * m_{a}")
    code(f"if {KEY_MOTION}:")
    code("    impulse_ = (v_kf - o_kf) / inv_front - dt * Q_kf - L_key", "    finger_work += impulse_ * m_kf")
    code("    push = -impulse_ / (dt * P_finger_x)")
    code(f"elif {KEY_FORCE}:", "    finger_work += dt * push * (-P_finger_x) * m_kf")
    code(f"elif mode >= {DriveMode.DRIVEN_MASS:d}:", "    push = N_finger", "    if N_finger > 0.0:")
    code("        finger_work += dt * N_finger * a_finger_kf * m_kf")


def emit_stroke(code: Code) -> None:
    code('@numba.njit(nogil=True, cache=True, error_model="numpy", fastmath=FAST)')
    code("def stroke(p, run, finger, state, waves, trace, log, out):")
    code.indent()
    code('"""Advance ``state`` in place by ``run.steps`` steps; fill trace, log and out (see physics/run.py)."""')
    body = Code()
    body.depth = code.depth
    emit_step(body)
    params = g.list_names_used("\n".join(body.lines) + " near_delay far_delay inv_front")
    code(*(f"{p} = p.{p}" for p in params))
    code(*(f"{r} = run.{r}" for r in ("dt", "viscous", "muscle_damping", "stop")))
    code("mode = int(run.mode)", "sweeps = int(run.sweeps)", "steps = int(run.steps)", "every = int(run.every)")
    code(
        "rub_dt = run.rub * dt",
        f"i_kf = 0.0 if {KEY_MOTION} else inv_front",
        f"i_f = run.inv_f if {DRIVEN_MASS} else 0.0",
        "inv_w = 1.0 / inertia_w",
    )
    code("mask = waves.shape[1] - 1", "near_whole = int(near_delay / dt)", "near_part = near_delay / dt - near_whole")
    code("far_whole = int(far_delay / dt)", "far_part = far_delay / dt - far_whole", "head = int(out.head)")
    code(*(f"{x} = state.{x}" for x in STATE))
    for n in RESULTS:
        if n.startswith(("loss_", "rub_")):
            code(f"{n} = out.{n}")
    code("finger_work = out.finger_work", "string_work = out.string_work")
    code(
        f"status = {End.FINE.number}",
        "where = -1",
        "logged = int(out.logged)",
        "traced = 0",
        "due = 0 if trace.shape[0] > 0 else -1",
        "seg = 0",
        "push = 0.0",
        "force_before = N_string",
        "begun = run.begun > 0.0",
        "crown_v = 0.0",
    )
    code("t = run.t0 + 0.5 * dt")
    code("# positions: from the whole step to the first mid-step")
    code(*(f"{x} += 0.5 * dt * v_{x}" for x in DOFS))
    code("for n in range(steps):")
    code.lines += body.lines
    code("", "# back to the whole step", *(f"{x} -= 0.5 * dt * v_{x}" for x in DOFS))
    code(*(f"state.{x} = {x}" for x in STATE))
    for n in RESULTS:
        if n in ("time",):
            code("out.time = t - 0.5 * dt")
        else:
            code(f"out.{n} = {n}")
    code.dedent()


def emit_step(code: Code) -> None:
    code.indent()
    code(*(f"u_{x} = 1.5 * v_{x} - 0.5 * o_{x}" for x in DOFS), *(f"o_{x} = v_{x}" for x in DOFS))
    g.emit_pose(code)
    g.emit_weights_and_springs(code)
    touch = next(c for c in CONTACTS if c.name == "finger").shape
    crown = next(c for c in CONTACTS if c.name == "string").shape
    assert isinstance(touch, Tip) and isinstance(crown, Crown)
    code("", "# what the log needs")
    g.emit_position(code, touch.point, "P_finger")
    g.emit_position(code, crown.point, "P_string")
    rising = g.express_motion(crown.point, "P_string", "P_string", "0", "1.0")
    code("crown_y = P_string_y", "travel = touch_y - P_finger_y", "travel_v = -P_finger_x * u_kf")
    code("crown_before = crown_v", "crown_v = " + join_terms([(rate, f"u_{x}") for x, rate in rising.items()]))
    code("crown_a = (crown_v - crown_before) / dt if n > 0 else 0.0")
    code(f"if {KEY_FORCE}:", "    push, seg = look_up(finger, t, seg)", "    Q_kf -= push * P_finger_x")
    code(f"elif {DRIVEN_MASS}:", "    pull_, seg = look_up(finger, t, seg)", "    Q_f -= pull_ + muscle_damping * u_f")
    normals: dict[str, list[str]] = {}
    slides: dict[str, list[str]] = {}
    for i, c in enumerate(CONTACTS):
        normals[c.name], along = emit_contact(code, c, i)
        if c.rubs:
            slides[c.name] = along
    emit_free_speed(code)
    emit_friction_rows(code, slides)
    emit_ledger(code, normals, slides)
    code("", "if n == due:")
    code.indent()
    code("due += every")
    values = {"string": "ys", "finger_force": "push"} | {f"v_{x}": f"m_{x}" for x in DOFS}
    values |= {f"T_{r}": f"L_{r} / dt" for r in FRICTION_ROWS}
    code(*(f"trace[traced, {i}] = {values.get(c, c)}" for i, c in enumerate(TRACE_COLUMNS)))
    code("traced += 1")
    code.dedent()
    code("check_ = " + " + ".join(f"v_{x}" for x in DOFS), "if not check_ * 0.0 == 0.0:")
    code(f"    status = {End.NOT_FINITE.number}")
    for i, x in enumerate(g.ANGLES):
        code(
            f"if abs({x}) > 1.0 and status == {End.FINE.number}:",
            f"    status = {End.OUT_OF_RANGE.number}",
            f"    where = {i}",
        )
    code(f"if status != {End.FINE.number}:", "    break")
    code(*(f"{x} += dt * v_{x}" for x in DOFS), "t += dt")
    code.dedent()


def emit_energy(code: Code) -> None:
    code('@numba.njit(nogil=True, cache=True, error_model="numpy")', "def energy(p, state, squeeze):")
    code.indent()
    code('"""Kinetic energy, potential of weights and springs; ``squeeze`` gets what each contact stores (J)."""')
    body = Code()
    body.depth = code.depth
    g.emit_pose(body)
    body("jmx_ = c_j * jack_mx - s_j * jack_my", "jmy_ = s_j * jack_mx + c_j * jack_my")
    body("lmx_ = c_l * lever_mx - s_l * lever_my", "lmy_ = s_l * lever_mx + c_l * lever_my")
    body("D = (Jx - wx) * jmx_ + (Jy - wy) * jmy_", "E = (Lx - wx) * lmx_ + (Ly - wy) * lmy_")
    body("kinetic = 0.5 * (v_kf * v_kf / inv_front + v_kr * v_kr / inv_rear + inertia_w * v_w * v_w)")
    body("kinetic += 0.5 * (v_j * v_j / inv_j + v_l * v_l / inv_l) + D * v_w * v_j + E * v_w * v_l")
    for x, y in combinations_with_replacement(HAMMER, 2):
        body(f"kinetic += {'0.5 * ' if x == y else ''}mass_{x}{y} * v_{x} * v_{y}")
    body("if inv_d > 0.0:", "    kinetic += 0.5 * v_d * v_d / inv_d")
    body("potential = -key_front_moment * g * s_kf + 0.5 * key_bending_stiffness * (kr - kf) ** 2 + damper_weight * d")
    body("potential += g * (s_w * wippen_mx + c_w * wippen_my + jmy_ + lmy_)")
    body("potential += springs_jack * (j - w) + 0.5 * springs_jack_rate * (j - w) ** 2")
    body("potential += springs_repetition * (l - w) + 0.5 * springs_repetition_rate * (l - w) ** 2")
    body("potential += g * (s_h * hammer_mx + c_h * hammer_my)")
    for x in BENDING:
        body(f"potential += g * {x} * (c_h * bend_{x}_x - s_h * bend_{x}_y)")
    for x, y in combinations_with_replacement(BENDING, 2):
        body(f"potential += {'0.5 * ' if x == y else ''}spring_{x}{y} * {x} * {y}")
    for i, c in enumerate(CONTACTS):
        g.emit_gap(body, c)
        n = c.name
        body(f"squeeze[{i}] = K_{n} * max(0.0, -g_{n}) ** (p_{n} + 1.0) / (p_{n} + 1.0)")
    body("return kinetic, potential")
    text = "\n".join(body.lines)
    code(*(f"{p} = p.{p}" for p in g.list_names_used(text)))
    code(*(f"{x} = state.{x}" for x in STATE if x in DOFS or x == "ys" or (x.startswith("v_") and x in text)))
    code.lines += body.lines
    code.dedent()


def emit_gaps(code: Code) -> None:
    code('@numba.njit(nogil=True, cache=True, error_model="numpy")', "def gaps(p, state, gap, normal, sliding):")
    code.indent()
    code('"""Gap of every contact (m) with its gradient, and the gradient of the sliding speed of those that rub."""')
    body = Code()
    body.depth = code.depth
    g.emit_pose(body)
    for i, c in enumerate(CONTACTS):
        g.emit_gap(body, c)
        body(f"gap[{i}] = g_{c.name}")
        n_expr, t_expr = g.emit_gradients(body, c)
        for x, expr in n_expr.items():
            body(f"normal[{i}, {DOFS.index(x)}] = {expr}")
        for x, expr in t_expr.items():
            body(f"sliding[{i}, {DOFS.index(x)}] = {expr}")
    text = "\n".join(body.lines)
    code(*(f"{p} = p.{p}" for p in g.list_names_used(text)))
    code(*(f"{x} = state.{x}" for x in (*DOFS, "ys")))
    code.lines += body.lines
    code.dedent()


def render_kernel() -> str:
    """The kernel's source.  NameError where it would use a name that nobody gives a value."""
    code = Code()
    emit_stroke(code)
    code("", "")
    emit_energy(code)
    code("", "")
    emit_gaps(code)
    tuples = {
        "PARAMETERS": g.list_parameter_names(),
        "RUN": tuple(g.RUN_FIELDS),
        "STATE": STATE,
        "RESULTS": RESULTS,
        "TRACE": TRACE_COLUMNS,
        "LOG": LOG_COLUMNS,
    }
    names = "\n".join(f"{k} = (\n" + "".join(f"    {n!r},\n" for n in v) + ")" for k, v in tuples.items())
    source = HEAD + names + "\n\n\n" + "\n".join(x.rstrip() for x in code.lines) + "\n"
    g.refuse_unknown_names(source)
    return source


if __name__ == "__main__":
    g.KERNEL.write_text(render_kernel(), encoding="utf-8")
