"""Write `kernel.py`: the mechanism of `mechanism.py` as straight-line compiled code.

Run ``python -m sim.physics.generate_step`` after changing an entry; a test holds
the committed kernel to this text.  A loop over contact records would cost about
four times as much per step.

Scheme (one step): positions live at mid-steps, speeds at whole steps; smooth
forces are taken at the mid-step position with speeds extrapolated to it; the loss
of a felt is held steady against its own last force (linearly implicit:
N (1 + k) = f (1 + c d') + k N_last, k = f c dt / mass, which changes nothing to
second order); the crown-string force is solved together with the string's own
motion; then dry friction is solved as a set-valued law by projected Gauss-Seidel
on the new speed, started from the last step's impulses (Moreau 1988; Jean, Comput.
Methods Appl. Mech. Eng. 177 (1999) 235).

Order: 2 for smooth motion, 1 where friction changes between sticking and sliding,
with small constants (tests/physics/test_convergence.py).
"""

from __future__ import annotations

import builtins
import difflib
import re
import symtable
from functools import cache
from pathlib import Path

from sim.physics.mechanism import DOFS, FRICTION_ROWS, HAMMER, compute_parameters
from sim.physics.shank import BENDING
from sim.scenario.load import load
from sim.scenario.shipped import list_shipped_scenarios
from sim.unit.contacts import CONTACTS, CircleOnCorner, CircleOnLine, Contact, Crown, OnPlane, Point, Tip, TurnStop

KERNEL = Path(__file__).with_name("kernel.py")

ANGLES = ("kf", "kr", "w", "j", "l", "h")
CHAIN = ("w", "j", "l")
INDENT = "    "

RUN_FIELDS = {
    "dt": "step, s",
    "steps": "number of steps",
    "every": "steps between trace rows",
    "mode": "what leads the finger (DriveMode)",
    "inv_f": "1 / finger mass, 1/kg",
    "muscle_damping": "N s/m",
    "viscous": "artificial damping of all speeds, 1/s (settling only)",
    "rub": "factor on all dry friction",
    "sweeps": "largest number of friction sweeps",
    "stop": "largest change of an impulse over its bound at which sweeping ends",
    "t0": "time at the start, s",
    "begun": "1 when the state comes from the run before, 0 when this run is a new one",
}
STATE_EXTRA = ("ys", "vs")


class Code:
    def __init__(self) -> None:
        self.lines: list[str] = []
        self.depth = 0

    def __call__(self, *lines: str) -> None:
        self.lines += [INDENT * self.depth + x if x else "" for x in lines]

    def indent(self) -> None:
        self.depth += 1

    def dedent(self) -> None:
        self.depth -= 1


def name_pair(a: str, b: str) -> str:
    """Name of a pair of the hammer's coordinates, as ``mechanism.compute_parameters`` has it."""
    return a + b if HAMMER.index(a) <= HAMMER.index(b) else b + a


def join_terms(pairs: list[tuple[str, str]]) -> str:
    return " + ".join(f"{a} * {b}" for a, b in pairs) or "0.0"


def emit_position(code: Code, p: Point, name: str) -> None:
    """World coordinates of a point as name_x, name_y."""
    x, y = p.x, p.y
    if p.body == "":
        code(f"{name}_x = {x}", f"{name}_y = {y}")
        return
    if p.body == "h":
        turn = " + ".join(f"turn_{q}_{p.station} * {q}" for q in BENDING)
        lift = " + ".join(f"lift_{q}_{p.station} * {q}" for q in BENDING)
        code(f"hx_ = {x} - ({turn}) * {y}", f"hy_ = {y} + {lift}")
        x, y = "hx_", "hy_"
    origin = {"kf": None, "kr": None, "w": "w", "j": "J", "l": "L", "h": "h"}[p.body]
    ox, oy = {"w": ("wx", "wy"), "J": ("Jx", "Jy"), "L": ("Lx", "Ly"), "h": ("hx", "hy")}.get(origin or "", ("", ""))
    px = f"c_{p.body} * {x} - s_{p.body} * {y}"
    py = f"s_{p.body} * {x} + c_{p.body} * {y}"
    code(f"{name}_x = {ox + ' + ' if ox else ''}{px}", f"{name}_y = {oy + ' + ' if oy else ''}{py}")


def express_motion(p: Point, at: str, centre: str, ux: str, uy: str) -> dict[str, str]:
    """Speed along (ux, uy) of the body's material point at ``at`` per unit rate of each coordinate."""

    def turn(ox: str, oy: str) -> str:
        dx = f"({at}_x - {ox})" if ox else f"{at}_x"
        dy = f"({at}_y - {oy})" if oy else f"{at}_y"
        out = []
        if uy != "0":
            out.append(f"{uy} * {dx}")
        if ux != "0":
            out.append(f"-{ux} * {dy}")
        return " ".join(o if i == 0 or o.startswith("-") else "+ " + o for i, o in enumerate(out))

    def arm(ox: str, oy: str) -> str:
        return f"({turn(ox, oy)})"

    if p.body == "":
        return {}
    if p.body in ("kf", "kr"):
        return {p.body: arm("", "")}
    if p.body == "w":
        return {"w": arm("wx", "wy")}
    if p.body in ("j", "l"):
        pivot = "J" if p.body == "j" else "L"
        carry = []
        if uy != "0":
            carry.append(f"{uy} * ({pivot}x - wx)")
        if ux != "0":
            carry.append(f"- {ux} * ({pivot}y - wy)")
        return {"w": f"({' '.join(carry)})", p.body: arm(f"{pivot}x", f"{pivot}y")}
    # hammer: rigid turn, and each bending with the turn of the section around the circle's centre
    out = {"h": arm("hx", "hy")}
    for q in BENDING:
        lift, turned, y = f"lift_{q}_{p.station}", f"turn_{q}_{p.station}", p.y
        bend = []
        if ux != "0":
            bend.append(f"{ux} * (-c_h * {turned} * {y} - s_h * {lift} - {turned} * ({at}_y - {centre}_y))")
        if uy != "0":
            bend.append(f"{uy} * (-s_h * {turned} * {y} + c_h * {lift} + {turned} * ({at}_x - {centre}_x))")
        out[q] = f"({' + '.join(bend)})"
    return out


def subtract_rates(a: dict[str, str], b: dict[str, str]) -> dict[str, str]:
    """Rates of a minus rates of b."""
    out = dict(a)
    for k, v in b.items():
        out[k] = f"{out[k]} - {v}" if k in out else f"-{v}"
    return out


def emit_gap(code: Code, c: Contact) -> None:
    """Lines that work out g_<name> and what its gradient needs."""
    s, n = c.shape, c.name
    if isinstance(s, OnPlane):
        emit_position(code, s.point, f"P_{n}")
        code(f"g_{n} = P_{n}_y - {s.plane} - {s.radius}" if s.side > 0 else f"g_{n} = {s.plane} - P_{n}_y - {s.radius}")
    elif isinstance(s, CircleOnLine):
        emit_position(code, s.centre, f"P_{n}")
        emit_position(code, s.start, f"S_{n}")
        body = s.start.body
        tx, ty = s.direction
        code(f"x_ = c_{body} * {tx} - s_{body} * {ty}", f"y_ = s_{body} * {tx} + c_{body} * {ty}")
        code(f"dx_ = P_{n}_x - S_{n}_x", f"dy_ = P_{n}_y - S_{n}_y")
        code(f"n_{n}_x = -y_", f"n_{n}_y = x_", f"g_{n} = dy_ * x_ - dx_ * y_ - {s.radius}")
        if s.length:
            code("s_ = dx_ * x_ + dy_ * y_", f"if s_ < 0.0 or s_ > {s.length}:")
            code.indent()
            code(f"s_ = 0.0 if s_ < 0.0 else {s.length}")
            code("dx_ -= s_ * x_", "dy_ -= s_ * y_", "r_ = math.sqrt(dx_ * dx_ + dy_ * dy_)")
            code(f"n_{n}_x = dx_ / r_", f"n_{n}_y = dy_ / r_", f"g_{n} = r_ - {s.radius}")
            code.dedent()
    elif isinstance(s, CircleOnCorner):
        emit_position(code, s.centre, f"P_{n}")
        for tag, p in (("A", s.a), ("B", s.b), ("C", s.c)):
            emit_position(code, p, f"{tag}_{n}")
        code("best_ = 1.0e9")
        for a, b in (("A", "B"), ("B", "C")):
            code(f"x_ = {b}_{n}_x - {a}_{n}_x", f"y_ = {b}_{n}_y - {a}_{n}_y")
            code(f"dx_ = P_{n}_x - {a}_{n}_x", f"dy_ = P_{n}_y - {a}_{n}_y")
            code("s_ = (dx_ * x_ + dy_ * y_) / (x_ * x_ + y_ * y_)", "s_ = min(1.0, max(0.0, s_))")
            code("dx_ -= s_ * x_", "dy_ -= s_ * y_", "r_ = dx_ * dx_ + dy_ * dy_", "if r_ < best_:")
            code.indent()
            code("best_ = r_", f"n_{n}_x = dx_", f"n_{n}_y = dy_")
            code.dedent()
        code("r_ = math.sqrt(best_)", f"n_{n}_x /= r_", f"n_{n}_y /= r_", f"g_{n} = r_ - {s.radius}")
    elif isinstance(s, TurnStop):
        sense = "" if s.sense > 0 else "-"
        code(f"g_{n} = {s.arm} * ({sense}({s.body} - {s.against} - {s.limit}))")
    elif isinstance(s, Crown):
        emit_position(code, s.point, f"P_{n}")
        code(f"g_{n} = string_y + ys - P_{n}_y")
    elif isinstance(s, Tip):
        emit_position(code, s.point, f"P_{n}")
        code(f"g_{n} = f - (P_{n}_y - {s.point.y})")
    elif s.point is None:
        code(f"g_{n} = d")
    else:
        emit_position(code, s.point, f"P_{n}")
        code(f"g_{n} = {s.gap} + d - (P_{n}_y - {s.point.y})")


def emit_gradients(code: Code, c: Contact) -> tuple[dict[str, str], dict[str, str]]:
    """Emit the contact point; return the gap's gradient and the sliding speed's, as expressions by coordinate."""
    s, n = c.shape, c.name
    if isinstance(s, OnPlane):
        sign = "" if s.side > 0 else "-"
        code(f"C_{n}_x = P_{n}_x", f"C_{n}_y = P_{n}_y {'-' if s.side > 0 else '+'} {s.radius}")
        up = express_motion(s.point, f"C_{n}", f"P_{n}", "0", f"{sign}1.0")
        along = express_motion(s.point, f"C_{n}", f"P_{n}", f"{sign}1.0", "0") if c.rubs else {}
        return up, along
    if isinstance(s, CircleOnLine | CircleOnCorner):
        face = s.start if isinstance(s, CircleOnLine) else s.a
        code(f"C_{n}_x = P_{n}_x - {s.radius} * n_{n}_x", f"C_{n}_y = P_{n}_y - {s.radius} * n_{n}_y")
        nx, ny = f"n_{n}_x", f"n_{n}_y"
        out = []
        for ux, uy in ((nx, ny), (ny, f"(-{nx})")):
            on_circle = express_motion(s.centre, f"C_{n}", f"P_{n}", ux, uy)
            on_face = express_motion(face, f"C_{n}", f"P_{n}", ux, uy)
            out.append(subtract_rates(on_circle, on_face))
        return out[0], out[1]
    if isinstance(s, TurnStop):
        sign = "" if s.sense > 0 else "-"
        return {s.body: f"{sign}{s.arm}", s.against: f"{'-' if s.sense > 0 else ''}{s.arm}"}, {}
    if isinstance(s, Crown):
        return express_motion(s.point, f"P_{n}", f"P_{n}", "0", "-1.0"), {}
    if isinstance(s, Tip):
        return {"f": "1.0", "kf": f"-P_{n}_x"}, {}
    if s.point is None:
        return {"d": "1.0"}, {}
    return {"d": "1.0", "kr": f"-P_{n}_x"}, {}


def express_power(n: str) -> str:
    return f"d_ * d_ if p_{n} == 2.0 else d_ ** p_{n}"


def emit_pose(code: Code) -> None:
    """Sines, cosines and moving centres from the angles."""
    for a in ANGLES:
        code(f"s_{a}, c_{a} = sine_cosine({a})")
    for pivot, x, y in (("J", "jx", "jy"), ("L", "lx", "ly")):
        code(f"{pivot}x = wx + c_w * {x} - s_w * {y}", f"{pivot}y = wy + s_w * {x} + c_w * {y}")


def emit_weights_and_springs(code: Code) -> None:
    code("# weights, springs and the gyroscopic terms of jack and lever on the wippen")
    code("turn_ = kr - kf", "spin_ = u_kr - u_kf")
    code("m_ = key_bending_stiffness * turn_ + key_bending_damping * spin_")
    code("Q_kf = key_front_moment * g * c_kf + m_", "Q_kr = -m_")
    code("jmx_ = c_j * jack_mx - s_j * jack_my", "jmy_ = s_j * jack_mx + c_j * jack_my")
    code("lmx_ = c_l * lever_mx - s_l * lever_my", "lmy_ = s_l * lever_mx + c_l * lever_my")
    code("arm_jx = Jx - wx", "arm_jy = Jy - wy", "arm_lx = Lx - wx", "arm_ly = Ly - wy")
    code("D = arm_jx * jmx_ + arm_jy * jmy_", "E = arm_lx * lmx_ + arm_ly * lmy_")
    code("D1 = arm_jy * jmx_ - arm_jx * jmy_", "E1 = arm_ly * lmx_ - arm_lx * lmy_")
    code("t_j = -(springs_jack + springs_jack_rate * (j - w))")
    code("t_l = -(springs_repetition + springs_repetition_rate * (l - w))")
    code(
        "Q_w = -g * (c_w * wippen_mx - s_w * wippen_my) - t_j - t_l - D1 * u_j * u_j - E1 * u_l * u_l",
        "Q_j = -g * jmx_ + t_j + D1 * u_w * u_w",
        "Q_l = -g * lmx_ + t_l + E1 * u_w * u_w",
        "bend_x_ = e * bend_e_x + r * bend_r_x",
        "bend_y_ = e * bend_e_y + r * bend_r_y",
        "Q_h = -g * (c_h * hammer_mx - s_h * hammer_my - s_h * bend_x_ - c_h * bend_y_)",
        *(
            f"Q_{a} = -g * (c_h * bend_{a}_x - s_h * bend_{a}_y) - "
            + " - ".join(f"spring_{name_pair(a, b)} * {b} - damping_{name_pair(a, b)} * u_{b}" for b in BENDING)
            for a in BENDING
        ),
        "Q_d = -damper_weight",
        "Q_f = 0.0",
    )


# D1 is d(arm . mc)/d(theta of the part): arm . perp(mc) = arm_x * (-mcy) + arm_y * mcx.


def emit_chain_solve(code: Code, b: dict[str, str], out: str) -> None:
    """M^-1 b for wippen, jack and lever (jack and lever meet only at the wippen)."""
    bw, bj, bl = (b.get(x, "") for x in CHAIN)
    rest = (f" - gj * {bj}" if bj else "") + (f" - gl * {bl}" if bl else "")
    code(f"{out}_w = ({bw or '0.0'}{rest}) * inv_s")
    code(f"{out}_j = {f'{bj} * inv_j ' if bj else ''}- gj * {out}_w")
    code(f"{out}_l = {f'{bl} * inv_l ' if bl else ''}- gl * {out}_w")


def emit_mass_solve(code: Code, b: dict[str, str], out: str) -> list[str]:
    """Emit out_<dof> = (M^-1 b)_<dof>; returns the coordinates that are not zero."""
    touched: list[str] = []
    for x, inv in (("kf", "i_kf"), ("kr", "inv_rear"), ("d", "inv_d"), ("f", "i_f")):
        if x in b:
            code(f"{out}_{x} = {b[x]} * {inv}")
            touched.append(x)
    if any(x in b for x in CHAIN):
        emit_chain_solve(code, b, out)
        touched += CHAIN
    if any(x in b for x in HAMMER):
        for x in HAMMER:
            code(f"{out}_{x} = " + join_terms([(b[y], f"inv_{name_pair(x, y)}") for y in HAMMER if y in b]))
        touched += HAMMER
    return touched


def list_names_used(body: str) -> list[str]:
    """The parameters that a text uses, by the alphabet."""
    found = set(re.findall(r"[A-Za-z_][A-Za-z_0-9]*", body))
    return sorted(found.intersection(list_parameter_names()))


@cache
def list_parameter_names() -> tuple[str, ...]:
    """Names of all parameters: those that ``mechanism.compute_parameters`` gives any unit."""
    return tuple(compute_parameters(load(next(iter(list_shipped_scenarios().values())))))


def refuse_unknown_names(source: str) -> None:
    """NameError at a name in the kernel that is nobody's: no parameter, nothing that its function works out itself.

    Names come from the rows of the contacts and from the texts of both generators.
    """
    table = symtable.symtable(source, KERNEL.name, "exec")
    known = {*table.get_identifiers(), *dir(builtins)}
    for function in table.get_children():
        for name in sorted(s.get_name() for s in function.get_symbols() if s.is_global()):
            if name not in known:
                near = difflib.get_close_matches(name, list_parameter_names(), 3)
                told = f"; nearest: {', '.join(near)}" if near else ""
                raise NameError(f"{function.get_name()}: {name} is no parameter (mechanism.parameters){told}")


TRACE_COLUMNS = (
    ("t",)
    + DOFS
    + tuple(f"v_{x}" for x in DOFS)
    + ("string", "finger_force")
    + tuple(f"N_{c.name}" for c in CONTACTS)
    + tuple(f"T_{r}" for r in FRICTION_ROWS)
)
LOG_COLUMNS = ("t", "contact", "make", "crown_height", "crown_speed", "key_travel", "gap_rate")
STATE = (
    tuple(DOFS)
    + tuple(f"v_{x}" for x in DOFS)
    + tuple(f"o_{x}" for x in DOFS)
    + STATE_EXTRA
    + tuple(f"L_{r}" for r in FRICTION_ROWS)
    + tuple(f"{a}_{c.name}" for a in ("was", "N") for c in CONTACTS)
)
RESULTS = (
    ("status", "where", "time", "logged", "traced", "finger_work", "string_work", "head")
    + tuple(f"loss_{c.name}" for c in CONTACTS)
    + tuple(f"rub_{r}" for r in FRICTION_ROWS)
    + ("loss_key_bending", "loss_shank_bending")
)
