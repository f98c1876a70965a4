"""Do parts go together on paper: lines, arms and reaches of a unit before anything of it moves.

Limits are conventions of ours round what the invented healthy unit has, unless a
source is named; a technician who knows better may read the numbers alone.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from sim.errors import Fault
from sim.scenario.composite import locate_wippen_centre
from sim.scenario.geometry_checks import find_striking_angle
from sim.unit.model import ActionUnit
from sim.unit.plane import add_vectors, dot_product, rotate_vector, subtract_vectors
from sim.units import format_degrees, format_mm

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
HEIGHT_SLACK = 3e-3
"""Jack and knuckle off the height they had, m: near 2 mm of capstan screw (our convention)."""
KNUCKLE_MARGIN = 3e-3
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


def clash_from_fault(fault: Fault) -> Clash:
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


def compute_geometry(u: ActionUnit) -> Geometry:
    """The numbers."""
    heel = add_vectors(u.wippen.centre, u.wippen.heel_point)
    lever = add_vectors(u.wippen.centre, u.wippen.lever_centre)
    knuckle = add_vectors(u.hammer.centre, rotate_vector(u.hammer.knuckle_centre, u.hammer.rest_angle))
    surface = subtract_vectors(u.lever.surface_to, u.lever.surface_from)
    length = math.hypot(*surface)
    place = dot_product(subtract_vectors(knuckle, add_vectors(lever, u.lever.surface_from)), surface) / length
    across = u.hammer.strike_point[1]
    strike = find_striking_angle(u)
    upright = across / u.nominal.get("hammer.bore", across)
    return Geometry(
        heel_arm=u.wippen.centre[0] - u.key.capstan_centre[0],
        spread=u.rails.spread,
        capstan_off=u.key.capstan_centre[0] - heel[0],
        heel_height=heel[1] + u.nominal.get("key.balance_rail_height", 0.0),
        jack_lean=_measure_jack_lean(u),
        knuckle_from_front=place,
        knuckle_from_rear=length - place,
        shank_angle=strike,
        fitting_bore=(u.rails.string_y - u.hammer.centre[1]) / upright,
    )


def _measure_jack_lean(u: ActionUnit) -> float:
    front, rear = u.jack.top_front, u.jack.top_rear
    return math.atan2(front[1] + rear[1], front[0] + rear[0]) - math.pi / 2


def find_clashes(u: ActionUnit, base: ActionUnit) -> tuple[Clash, ...]:
    """What does not go together on paper, the base's own numbers as a measure."""
    mine, theirs = compute_geometry(u), compute_geometry(base)
    found = [
        *_check_unit_lines(mine),
        *check_jack_reach(u.nominal, base.nominal),
        *_check_heights(mine, theirs, u, base),
        *_check_jack_lean(mine, theirs, u),
        *_check_strike(mine, u),
    ]
    return tuple(sorted(found, key=lambda c: (not c.grave, -c.off)))


def _check_unit_lines(g: Geometry) -> Iterator[Clash]:
    return _compare_lines(g.heel_arm, g.heel_arm + g.capstan_off, g.spread)


def check_lines(m: Mapping[str, float]) -> tuple[Clash, ...]:
    """Capstan line and spread from a few measures (SI), before any geometry: where mixed parts fail first."""
    straight, drop = m["wippen.centre_to_heel"], m["wippen.heel_drop"]
    if drop >= straight:
        return ()
    borne = locate_wippen_centre(m)["balance_to_wippen_centre"] - m["key.balance_to_capstan"]
    return tuple(_compare_lines(borne, math.sqrt(straight**2 - drop**2), m["rails.spread"]))


def check_jack_reach(m: Mapping[str, float], before: Mapping[str, float]) -> tuple[Clash, ...]:
    """Jack and knuckle against the height of the hammer centre, by measures (SI) here and in the base."""
    up = (
        sum(
            share * (m[path] - before[path])
            for path, share in (
                ("jack.length", 1.0),
                ("hammer.knuckle_drop", 1.0),
                ("hammer.knuckle_diameter", 0.5),
                ("rails.hammer_centre_height", -1.0),
            )
        )
        + locate_wippen_centre(m)["wippen_centre_height"]
        - locate_wippen_centre(before)["wippen_centre_height"]
    )
    if abs(up) <= HEIGHT_SLACK:
        return ()
    clash = Clash(
        "stack_height",
        "jack and knuckle against hammer centre",
        f"jack and knuckle together reach {format_mm(abs(up))} {'higher' if up > 0 else 'less high'} than in the base",
        f"within {format_mm(HEIGHT_SLACK)}, what the capstan makes good",
        f"take a jack of {format_mm(m['jack.length'] - up)} instead of {format_mm(m['jack.length'])}, or set "
        f"the hammer rail "
        f"{format_mm(abs(up))} {'up' if up > 0 else 'down'}",
        grave=False,
        off=abs(up) / HEIGHT_SLACK,
    )
    return (clash,)


def _compare_lines(borne: float, own: float, spread: float) -> Iterator[Clash]:
    """Where the heel is borne, its own middle (from the wippen centre, level) and the spread, m."""
    off = own - borne
    if abs(off) > LINE_SLACK:
        yield Clash(
            "capstan_line",
            "heel against capstan line",
            f"the capstan stands {format_mm(abs(off))} {'behind' if off > 0 else 'in front of'} the heel's middle",
            f"within {format_mm(LINE_SLACK)}",
            f"move the capstan line {format_mm(abs(off))} {'forward' if off > 0 else 'rearward'} (or the rails "
            f"the other "
            f"way), or take wippens whose heel stands {format_mm(borne)} from the centre instead of {format_mm(own)}",
            grave=abs(off) > LINE_REACH,
            off=abs(off) / LINE_SLACK,
        )
    over = spread - borne / HEEL_ARM
    if abs(over) > SPREAD_SLACK:
        yield Clash(
            "spread",
            "heel arm against spread",
            f"spread {format_mm(spread)}, and the heel is borne {format_mm(borne)} from its centre "
            f"({borne / spread:.3f} of it)",
            f"about {HEEL_ARM} of the spread",
            f"set the rails to a spread of about {format_mm(borne / HEEL_ARM)} ({format_mm(abs(over))} "
            f"{'less' if over > 0 else 'more'}), or bear the heel {format_mm(HEEL_ARM * spread)} from its centre",
            grave=abs(over) > SPREAD_REACH,
            off=abs(over) / SPREAD_SLACK,
        )


def _check_heights(g: Geometry, before: Geometry, u: ActionUnit, base: ActionUnit) -> Iterator[Clash]:
    up = u.wippen.centre[1] - base.wippen.centre[1] + _check_lever_bed(u) - _check_lever_bed(base)
    if abs(up) > FLANGE_SLACK and "wippen.flange_height" in u.nominal:
        yield Clash(
            "flange_height", "flange height against rail",
            f"the wippen centre comes {format_mm(abs(up))} {'higher' if up > 0 else 'lower'} on this flange",
            f"within {format_mm(FLANGE_SLACK)}",
            f"{'lower' if up > 0 else 'shim up'} the wippen rail by {format_mm(abs(up))}, or take a flange of "
            f"{format_mm(u.nominal['wippen.flange_height'] - up)}",
            off=abs(up) / FLANGE_SLACK,
        )  # fmt: skip
    down = before.heel_height - g.heel_height
    if abs(down) > 3e-3:
        yield Clash(
            "heel_height", "heel against capstan height",
            f"the heel stands {format_mm(abs(down))} {'lower' if down > 0 else 'higher'} than the base's",
            "within 3 mm, what a capstan's thread gives", f"turn the capstan {'down' if down > 0 else 'up'} by "
            f"{format_mm(abs(down))}, if its thread allows, or take a heel of another height",
            grave=False, off=abs(down) / 3e-3,
        )  # fmt: skip


def _check_lever_bed(u: ActionUnit) -> float:
    return u.nominal.get("key.balance_rail_height", 0.0)


def _check_jack_lean(g: Geometry, before: Geometry, u: ActionUnit) -> Iterator[Clash]:
    lean = g.jack_lean - before.jack_lean
    if abs(lean) > LEAN_SLACK:
        off = u.jack.top_rear[1] * math.tan(abs(lean))
        where = "toward the player" if lean > 0 else "rearward"
        yield Clash(
            "jack_lean", "knuckle set against spread",
            f"to stand under the knuckle the jack leans {format_degrees(abs(lean))} farther {where} than in the base",
            f"within {format_degrees(LEAN_SLACK)}",
            f"bring the knuckle {format_mm(off)} {'rearward' if lean > 0 else 'forward'} over the jack: spread "
            f"{'less' if lean > 0 else 'more'}, or a knuckle set of about "
            f"{format_mm(u.hammer.knuckle_centre[0] + math.copysign(off, lean))} instead of "
            f"{format_mm(u.hammer.knuckle_centre[0])}",
            grave=abs(lean) > LEAN_REACH,
            off=abs(lean) / LEAN_SLACK,
        )  # fmt: skip
    least = min(g.knuckle_from_front, g.knuckle_from_rear)
    if least < KNUCKLE_MARGIN:
        end = "front" if g.knuckle_from_front < g.knuckle_from_rear else "rear"
        yield Clash(
            "lever_reach",
            "lever against knuckle",
            f"the knuckle stands {format_mm(least)} from the lever's {end} end",
            f"at least {format_mm(KNUCKLE_MARGIN)}",
            f"take a lever that reaches {format_mm(KNUCKLE_MARGIN - least)} farther to the {end}",
            off=KNUCKLE_MARGIN / max(least, 1e-4),
        )


def _check_strike(g: Geometry, u: ActionUnit) -> Iterator[Clash]:
    bore = u.nominal.get("hammer.bore", u.hammer.strike_point[1])
    if g.shank_angle is not None and abs(g.shank_angle) > SHANK_SLACK:
        yield Clash(
            "bore",
            "hammer bore against string height",
            f"the shank stands {format_degrees(g.shank_angle)} off the string at the strike with a bore of "
            f"{format_mm(bore)}",
            f"within {format_degrees(SHANK_SLACK)}",
            f"bore at {format_mm(g.fitting_bore)} for a shank parallel to the string",
            off=abs(g.shank_angle) / SHANK_SLACK,
        )
