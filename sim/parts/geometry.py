"""Do parts go together on paper: lines, arms and reaches of a unit before anything of it moves.

Limits are conventions of ours round what the invented healthy unit has, unless a
source is named; a technician who knows better may read the numbers alone.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from sim.errors import Fault
from sim.scenario.composite import wippen_centre
from sim.scenario.geometry_checks import striking_angle
from sim.unit.model import ActionUnit
from sim.unit.plane import dot, minus, plus, turned
from sim.units import deg, mm

HEEL_ARM = 0.51
"""Heel arm over spread of geometries that were found to play (feasibility.md: spreads of 109 to 127 mm)."""
SPREAD_SLACK = 1.5e-3
"""m; less than 2 mm of spread decided whether an action regulated (association forum, July 2022)."""
SPREAD_REACH = 3e-3
"""... and beyond this, m, the engine finds no setting that plays (our convention, from the invented unit)."""
LINE_SLACK = 2e-3
"""Capstan off the heel's line, m."""
LINE_REACH = 6e-3
"""... and beyond this, m, it bears on the heel's edge (half of a usual heel; our convention)."""
FLANGE_SLACK = 0.3e-3
"""Wippen centre off its height before, m."""
LEAN_SLACK = math.radians(1.5)
"""Turn of the jack to its address against the base's, rad: 1.3 mm at its top."""
LEAN_REACH = math.radians(4)
"""... and beyond this, rad, it stands under the knuckle's side (our convention)."""
REACH = 3e-3
"""Jack and knuckle off the height they had, m: near 2 mm of capstan screw (our convention)."""
EDGE = 3e-3
"""Knuckle from the ends of the lever's surface, m."""
SHANK_SLACK = math.radians(1.5)
"""Shank off the string at the strike, rad."""


@dataclass(frozen=True)
class Clash:
    """What does not go together: the number found, what it should be, and what would have to change."""

    name: str
    title: str
    found: str
    wanted: str
    change: str
    grave: bool = True
    """False: a warning; the parts may still be used."""
    off: float = 0.0
    """How far off, as a multiple of what is let pass."""

    def __str__(self) -> str:
        return f"{self.title}: {self.found} (wanted: {self.wanted}); {self.change}"


TITLES = {
    "key.balance_to_capstan": "heel against capstan line",
    "settings.capstan_height": "heel against capstan height",
    "settings.jack_address": "jack against knuckle",
    "jack.length": "jack and lever against knuckle",
    "jack.toe_to_top": "jack",
    "lever.front_reach": "lever against knuckle",
    "rails.spread": "spread against the heights of the rails",
    "rails.string_height": "hammer against string",
    "rails.strike_line": "hammer against strike line",
    "rails.balance_to_drop_screw": "lever against drop screw",
    "settings.drop_screw_height": "lever against drop screw",
    "settings.backcheck_place": "tail against backcheck",
    "wippen.heel_to_jack": "wippen",
    "wippen.jack_to_lever": "wippen",
    "wippen.weight": "wippen with this jack and lever",
    "hammer.weight": "head and shank",
}
"""What a contradiction of the derivation means between parts."""


def from_fault(fault: Fault) -> Clash:
    """A contradiction of the derivation as a clash."""
    title = TITLES.get(fault.field, fault.field)
    return Clash(fault.field, title, f"{fault.field} = {fault.value}", fault.allowed, fault.remedy, off=math.inf)


@dataclass(frozen=True)
class Geometry:
    """Numbers of one unit in its design pose (m, rad)."""

    heel_arm: float
    """Wippen centre to the capstan's line, level: where a flat heel is borne."""
    spread: float
    capstan_off: float
    """Capstan's line behind (+) the heel's."""
    heel_height: float
    """Heel's flat over the key bed."""
    jack_lean: float
    """Jack at its address against upright, + leaning to the player."""
    knuckle_from_front: float
    """Knuckle's contact from the front end of the lever's surface."""
    knuckle_from_rear: float
    shank_angle: float | None
    """At the strike."""
    fitting_bore: float


def geometry(u: ActionUnit) -> Geometry:
    """The numbers."""
    heel = plus(u.wippen.centre, u.wippen.heel_point)
    lever = plus(u.wippen.centre, u.wippen.lever_centre)
    knuckle = plus(u.hammer.centre, turned(u.hammer.knuckle_centre, u.hammer.rest_angle))
    surface = minus(u.lever.surface_to, u.lever.surface_from)
    length = math.hypot(*surface)
    place = dot(minus(knuckle, plus(lever, u.lever.surface_from)), surface) / length
    across = u.hammer.strike_point[1]
    strike = striking_angle(u)
    upright = across / u.nominal.get("hammer.bore", across)
    return Geometry(
        heel_arm=u.wippen.centre[0] - u.key.capstan_centre[0],
        spread=u.rails.spread,
        capstan_off=u.key.capstan_centre[0] - heel[0],
        heel_height=heel[1] + u.nominal.get("key.balance_rail_height", 0.0),
        jack_lean=_lean(u),
        knuckle_from_front=place,
        knuckle_from_rear=length - place,
        shank_angle=strike,
        fitting_bore=(u.rails.string_y - u.hammer.centre[1]) / upright,
    )


def _lean(u: ActionUnit) -> float:
    front, rear = u.jack.top_front, u.jack.top_rear
    return math.atan2(front[1] + rear[1], front[0] + rear[0]) - math.pi / 2


def clashes(u: ActionUnit, base: ActionUnit) -> tuple[Clash, ...]:
    """What does not go together on paper, the base's own numbers as a measure."""
    mine, theirs = geometry(u), geometry(base)
    found = [
        *_lines(mine),
        *reach(u.nominal, base.nominal),
        *_heights(mine, theirs, u, base),
        *_jack(mine, theirs, u),
        *_strike(mine, u),
    ]
    return tuple(sorted(found, key=lambda c: (not c.grave, -c.off)))


def _lines(g: Geometry) -> Iterator[Clash]:
    return _capstan_and_spread(g.heel_arm, g.heel_arm + g.capstan_off, g.spread)


def by_measures(m: Mapping[str, float]) -> tuple[Clash, ...]:
    """Capstan line and spread from a few measures (SI), before any geometry: where mixed parts fail first."""
    straight, drop = m["wippen.centre_to_heel"], m["wippen.heel_drop"]
    if drop >= straight:
        return ()
    borne = wippen_centre(m)["balance_to_wippen_centre"] - m["key.balance_to_capstan"]
    return tuple(_capstan_and_spread(borne, math.sqrt(straight**2 - drop**2), m["rails.spread"]))


def reach(m: Mapping[str, float], before: Mapping[str, float]) -> tuple[Clash, ...]:
    """Jack and knuckle against the height of the hammer centre, by measures (SI) here and in the base."""
    up = sum(
        share * (m[path] - before[path])
        for path, share in (("jack.length", 1.0), ("hammer.knuckle_drop", 1.0), ("hammer.knuckle_diameter", 0.5),
                            ("rails.hammer_centre_height", -1.0))
    ) + wippen_centre(m)["wippen_centre_height"] - wippen_centre(before)["wippen_centre_height"]  # fmt: skip
    if abs(up) <= REACH:
        return ()
    clash = Clash(
        "stack_height", "jack and knuckle against hammer centre",
        f"jack and knuckle together reach {mm(abs(up))} {'higher' if up > 0 else 'less high'} than in the base",
        f"within {mm(REACH)}, what the capstan makes good",
        f"take a jack of {mm(m['jack.length'] - up)} instead of {mm(m['jack.length'])}, or set the hammer rail "
        f"{mm(abs(up))} {'up' if up > 0 else 'down'}",
        grave=False, off=abs(up) / REACH,
    )  # fmt: skip
    return (clash,)


def _capstan_and_spread(borne: float, own: float, spread: float) -> Iterator[Clash]:
    """Where the heel is borne, its own middle (from the wippen centre, level) and the spread, m."""
    off = own - borne
    if abs(off) > LINE_SLACK:
        yield Clash(
            "capstan_line", "heel against capstan line",
            f"the capstan stands {mm(abs(off))} {'behind' if off > 0 else 'in front of'} the heel's middle",
            f"within {mm(LINE_SLACK)}",
            f"move the capstan line {mm(abs(off))} {'forward' if off > 0 else 'rearward'} (or the rails the other "
            f"way), or take wippens whose heel stands {mm(borne)} from the centre instead of {mm(own)}",
            grave=abs(off) > LINE_REACH, off=abs(off) / LINE_SLACK,
        )  # fmt: skip
    over = spread - borne / HEEL_ARM
    if abs(over) > SPREAD_SLACK:
        yield Clash(
            "spread", "heel arm against spread",
            f"spread {mm(spread)}, and the heel is borne {mm(borne)} from its centre ({borne / spread:.3f} of it)",
            f"about {HEEL_ARM} of the spread",
            f"set the rails to a spread of about {mm(borne / HEEL_ARM)} ({mm(abs(over))} "
            f"{'less' if over > 0 else 'more'}), or bear the heel {mm(HEEL_ARM * spread)} from its centre",
            grave=abs(over) > SPREAD_REACH, off=abs(over) / SPREAD_SLACK,
        )  # fmt: skip


def _heights(g: Geometry, before: Geometry, u: ActionUnit, base: ActionUnit) -> Iterator[Clash]:
    up = u.wippen.centre[1] - base.wippen.centre[1] + _bed(u) - _bed(base)
    if abs(up) > FLANGE_SLACK and "wippen.flange_height" in u.nominal:
        yield Clash(
            "flange_height", "flange height against rail",
            f"the wippen centre comes {mm(abs(up))} {'higher' if up > 0 else 'lower'} on this flange",
            f"within {mm(FLANGE_SLACK)}",
            f"{'lower' if up > 0 else 'shim up'} the wippen rail by {mm(abs(up))}, or take a flange of "
            f"{mm(u.nominal['wippen.flange_height'] - up)}",
            off=abs(up) / FLANGE_SLACK,
        )  # fmt: skip
    down = before.heel_height - g.heel_height
    if abs(down) > 3e-3:
        yield Clash(
            "heel_height", "heel against capstan height",
            f"the heel stands {mm(abs(down))} {'lower' if down > 0 else 'higher'} than the base's",
            "within 3 mm, what a capstan's thread gives", f"turn the capstan {'down' if down > 0 else 'up'} by "
            f"{mm(abs(down))}, if its thread allows, or take a heel of another height",
            grave=False, off=abs(down) / 3e-3,
        )  # fmt: skip


def _bed(u: ActionUnit) -> float:
    return u.nominal.get("key.balance_rail_height", 0.0)


def _jack(g: Geometry, before: Geometry, u: ActionUnit) -> Iterator[Clash]:
    lean = g.jack_lean - before.jack_lean
    if abs(lean) > LEAN_SLACK:
        off = u.jack.top_rear[1] * math.tan(abs(lean))
        where = "toward the player" if lean > 0 else "rearward"
        yield Clash(
            "jack_lean", "knuckle set against spread",
            f"to stand under the knuckle the jack leans {deg(abs(lean))} farther {where} than in the base",
            f"within {deg(LEAN_SLACK)}",
            f"bring the knuckle {mm(off)} {'rearward' if lean > 0 else 'forward'} over the jack: spread "
            f"{'less' if lean > 0 else 'more'}, or a knuckle set of about "
            f"{mm(u.hammer.knuckle_centre[0] + math.copysign(off, lean))} instead of "
            f"{mm(u.hammer.knuckle_centre[0])}",
            grave=abs(lean) > LEAN_REACH,
            off=abs(lean) / LEAN_SLACK,
        )  # fmt: skip
    least = min(g.knuckle_from_front, g.knuckle_from_rear)
    if least < EDGE:
        end = "front" if g.knuckle_from_front < g.knuckle_from_rear else "rear"
        yield Clash(
            "lever_reach", "lever against knuckle", f"the knuckle stands {mm(least)} from the lever's {end} end",
            f"at least {mm(EDGE)}", f"take a lever that reaches {mm(EDGE - least)} farther to the {end}",
            off=EDGE / max(least, 1e-4),
        )  # fmt: skip


def _strike(g: Geometry, u: ActionUnit) -> Iterator[Clash]:
    bore = u.nominal.get("hammer.bore", u.hammer.strike_point[1])
    if g.shank_angle is not None and abs(g.shank_angle) > SHANK_SLACK:
        yield Clash(
            "bore", "hammer bore against string height",
            f"the shank stands {deg(g.shank_angle)} off the string at the strike with a bore of {mm(bore)}",
            f"within {deg(SHANK_SLACK)}", f"bore at {mm(g.fitting_bore)} for a shank parallel to the string",
            off=abs(g.shank_angle) / SHANK_SLACK,
        )  # fmt: skip
