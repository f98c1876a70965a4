"""A unit's bodies for a general-purpose engine (MuJoCo's XML), from the frozen unit alone.

Joints: kf, kr (key halves), w, j, l (jack and lever against the wippen), h, and for a
bending shank b1 ... bN: rigid links joined by springs, the stiffness of the joints such
that the tip gives as the shank was measured to.  Nothing of sim.physics is used.

Source of the engine: Todorov, Erez & Tassa, MuJoCo, IROS 2012.
"""

from __future__ import annotations

import math

from sim.unit.model import GRAVITY, ActionUnit, Vec

LINKS = 6
"""Rigid links of a bending shank."""
HELD = 1e4
"""Inertia that keeps the key's front to its prescribed motion, kg·m²."""
FAR = 0.1
"""Length of the tendons that stand for sliding, m."""
STEADY = "0.9999 0.9999 0.001"
"""Impedance of the engine's dry friction: as hard as it goes; a time constant of two steps lets it stop in one."""
RUBBING = ("capstan", "jack_knuckle", "lever_knuckle", "toe_button", "drop_screw", "backcheck")
"""Contacts that rub."""


def link_of(u: ActionUnit, x: float) -> tuple[str, float]:
    """The link of the shank that carries a place x from the centre, and where that link begins."""
    if not u.hammer.shank_bends:
        return "h", 0.0
    length = u.hammer.shank_length / LINKS
    number = min(LINKS, max(0, math.floor(x / length + 0.5)))
    return ("h", 0.0) if number == 0 else (f"b{number}", (number - 0.5) * length)


def xml(u: ActionUnit, step: float, *, stock: bool = False, held: float = HELD) -> str:
    """The whole model, the key's front with an inertia of ``held`` more (kg·m²).

    ``stock``: with the engine's own contacts (stock.py) instead of tendons for sliding.
    """
    from tests.twin import stock as own

    geoms = own.shapes(u) if stock else {}
    dry = f'solimpfriction="{STEADY}" solreffriction="{2 * step!r} 1"'
    slides = "" if stock else "".join(_slide(name) for name in RUBBING)
    return f"""<mujoco>
  <compiler angle="radian" inertiafromgeom="false" boundmass="0" boundinertia="0"/>
  <option timestep="{step!r}" gravity="0 {-GRAVITY!r} 0" integrator="implicitfast" cone="elliptic"
          iterations="100" tolerance="1e-12" jacobian="dense"/>
  <default><default class="dry"><joint {dry}/><tendon {dry}/></default></default>
  <worldbody>{geoms.get("world", "")}{"" if stock else _sites(("drop_screw", "a"), ("toe_button", "b"))}
    {_key(u, geoms, stock, held)}
    {_stack(u, geoms, stock)}
    {_hammer(u, geoms, stock)}
  </worldbody>
  <tendon>{slides}</tendon>
  <contact>{own.pairs(u) if stock else ""}</contact>
</mujoco>"""


def _slide(name: str) -> str:
    return (
        f'<spatial name="{name}" class="dry" frictionloss="1e-9">'
        f'<site site="{name}_a"/><site site="{name}_b"/></spatial>'
    )


def _site(name: str, end: str) -> str:
    """One end of a sliding tendon; it is moved at every step (off the body's origin, which the engine would keep)."""
    return f'<site name="{name}_{end}" pos="0.0{1 + (end == "b")}1 0.013 0"/>'


def _sites(*ends: tuple[str, str]) -> str:
    return "".join(_site(*e) for e in ends)


def _hinge(name: str, friction: float = 0.0, extra: str = "") -> str:
    rub = f'class="dry" frictionloss="{friction!r}"' if friction > 0 else ""
    return f'<joint name="{name}" type="hinge" axis="0 0 1" {rub} {extra}/>'


def _mass(mass: float, at: Vec, own: float) -> str:
    m, i = max(mass, 1e-12), max(own, 1e-12)
    return f'<inertial mass="{m!r}" pos="{at[0]!r} {at[1]!r} 0" diaginertia="{i!r} {i!r} {i!r}"/>'


def _key(u: ActionUnit, geoms: dict[str, str], stock: bool, held: float) -> str:
    rear = "" if stock else _sites(("capstan", "a"), ("backcheck", "b"))
    pin = _hinge("kf", 0.0 if held else u.friction["key"], f'armature="{held!r}"')
    return f"""<body name="kf">{pin}{_mass(0.0, (0.0, 0.0), u.key.inertia_front)}
      {geoms.get("kf", "")}</body>
    <body name="kr">{_hinge("kr")}{_mass(0.0, (0.0, 0.0), u.key.inertia_rear)}{rear}{geoms.get("kr", "")}</body>"""


def _stack(u: ActionUnit, geoms: dict[str, str], stock: bool) -> str:
    w, parts = u.wippen, []
    for name, part, at, sites in (
        ("j", u.jack, w.jack_centre, _sites(("jack_knuckle", "b"), ("toe_button", "a"))),
        ("l", u.lever, w.lever_centre, _sites(("lever_knuckle", "b"), ("drop_screw", "b"))),
    ):
        own = part.inertia - part.mass * math.hypot(*part.mass_centre) ** 2
        limits = ""
        if stock:
            low, high = (u.jack.stop_angle, u.jack.largest_turn) if name == "j" else (u.lever.stop_angle, 1.0)
            limits = f'limited="true" range="{low!r} {high!r}" solreflimit="0.0004 1"'
        pin = _hinge(name, u.friction["jack" if name == "j" else "lever"], limits)
        inside = pin + _mass(part.mass, part.mass_centre, own) + ("" if stock else sites) + geoms.get(name, "")
        parts.append(f'<body name="{name}" pos="{at[0]!r} {at[1]!r} 0">{inside}</body>')
    own = w.inertia - w.mass * math.hypot(*w.mass_centre) ** 2
    carried = ("" if stock else _site("capstan", "b")) + geoms.get("w", "") + "".join(parts)
    return f"""<body name="w" pos="{w.centre[0]!r} {w.centre[1]!r} 0">{_hinge("w", u.friction["wippen"])}
      {_mass(w.mass, w.mass_centre, own)}{carried}</body>"""


def rod(u: ActionUnit) -> float:
    """Mass of the even rod that swings as the shank, kg."""
    return 3 * u.hammer.shank_inertia / u.hammer.shank_length**2


def _hammer(u: ActionUnit, geoms: dict[str, str], stock: bool) -> str:
    hm = u.hammer
    carried = {"knuckle": link_of(u, hm.knuckle_centre[0]), "head": link_of(u, hm.shank_length)}
    on_knuckle = "" if stock else _sites(("jack_knuckle", "a"), ("lever_knuckle", "a"))
    on_head = "" if stock else _site("backcheck", "a")

    def held_by(body: str, start: float) -> str:
        out = ""
        if body == carried["knuckle"][0]:
            out += f'<body name="knuckle" pos="{-start!r} 0 0">{on_knuckle}{geoms.get("knuckle", "")}</body>'
        if body == carried["head"][0]:
            own = _mass(hm.head_mass, hm.head_mass_centre, hm.head_mass * hm.head_gyration**2)
            out += f'<body name="head" pos="{-start!r} 0 0">{own}{on_head}{geoms.get("head", "")}</body>'
        return out

    m, length = rod(u), hm.shank_length
    begin = f'<body name="h" pos="{hm.centre[0]!r} {hm.centre[1]!r} 0">{_hinge("h", u.friction["hammer"])}'
    if not hm.shank_bends:
        own = hm.shank_inertia - m * (length / 2) ** 2
        return f"{begin}{_mass(m, (length / 2, 0.0), own)}{held_by('h', 0.0)}{geoms.get('h', '')}</body>"
    part = length / LINKS
    places = [(k + 0.5) * part for k in range(LINKS)]
    stiffness = hm.shank_bending_stiffness * sum((length - x) ** 2 for x in places)
    damping = stiffness * 2 * hm.shank_damping_ratio / _middle_mode(u)
    bend = f'stiffness="{stiffness!r}" damping="{damping!r}"'
    inner, before = "", length
    for k in range(LINKS, 0, -1):
        start, span = places[k - 1], before - places[k - 1]
        mass = m * span / length
        shift = start - (places[k - 2] if k > 1 else 0.0)
        own = _mass(mass, (span / 2, 0.0), mass * span**2 / 12)
        carried_here = own + held_by(f"b{k}", start) + geoms.get(f"b{k}", "") + inner
        inner = f'<body name="b{k}" pos="{shift!r} 0 0">{_hinge(f"b{k}", 0.0, bend)}{carried_here}</body>'
        before = start
    root = m * before / length
    return f"{begin}{_mass(root, (before / 2, 0.0), root * before**2 / 12)}{held_by('h', 0.0)}{inner}</body>"


def _middle_mode(u: ActionUnit) -> float:
    """Circular frequency at which the joints' damping is the measured ratio: some 2.4 times the first mode's."""
    hm = u.hammer
    return 2.4 * math.sqrt(hm.shank_bending_stiffness / (hm.head_mass + 0.236 * rod(u)))
