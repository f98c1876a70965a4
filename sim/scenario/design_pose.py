"""From the measures of wippen, jack, lever and hammer to where they stand in the design pose.

Design pose: the heel's underside level, on the capstan's line; jack and lever
on their stops; the knuckle on the lever's surface.  The jack's turn follows
from its address under the knuckle, the lever's from its height over the jack,
the hammer's from the knuckle lying on the lever.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from sim.fields.derivation_sheet import Sheet, UnworkableError
from sim.unit.model import Vec
from sim.unit.plane import (
    add_vectors,
    dot_product,
    find_third_corner,
    is_triangle,
    offset_point,
    rotate_quarter_turn,
    rotate_vector,
    subtract_vectors,
    unit_vector,
)
from sim.units import format_mm

POSE_FIELDS = ("wippen", "rails", "jack", "lever", "hammer", "settings", "key.balance_rail_height")
"""Sections and fields on which the pose hangs."""


@dataclass(frozen=True, slots=True)
class Pose:
    """Centres (absolute, m) and angles (rad) in the design pose."""

    wippen: Vec
    heel: Vec
    jack: Vec
    lever: Vec
    hammer: Vec
    jack_angle: float
    """Direction of the jack's upright."""
    lever_angle: float
    """Direction of the lever's surface, pointing rearward."""
    hammer_angle: float


def compute_bed_level(sheet: Sheet) -> float:
    """y of the key bed."""
    return -sheet["key.balance_rail_height"]


def derive_pose(sheet: Sheet) -> Pose:
    """The design pose; contradictions are noted in the sheet, UnworkableError raised when no pose exists."""
    wippen = _wippen_centre(sheet)
    hammer = _hammer_centre(sheet, wippen)
    heel = _heel(sheet, wippen)
    jack = _triangle(sheet, wippen, heel, "wippen.centre_to_jack", "wippen.heel_to_jack", "wippen.centre_to_heel", -1)
    lever = None
    if jack is not None:
        names = ("wippen.centre_to_lever", "wippen.jack_to_lever", "wippen.centre_to_jack")
        lever = _triangle(sheet, wippen, jack, *names, -1)
    if hammer is None or jack is None or lever is None:
        raise UnworkableError
    jack_angle = _jack_angle(sheet, jack, lever, hammer)
    lever_angle, hammer_angle = _lever_and_hammer(sheet, jack_angle, jack, lever, hammer)
    return Pose(wippen, heel, jack, lever, hammer, jack_angle, lever_angle, hammer_angle)


def _wippen_centre(sheet: Sheet) -> Vec:
    if "rails.balance_to_wippen_screw" in sheet:
        x = sheet["rails.balance_to_wippen_screw"] - sheet["wippen.flange_offset"]
    else:
        x = sheet["rails.balance_to_wippen_centre"]
    if "rails.wippen_rail_height" in sheet:
        height = sheet["rails.wippen_rail_height"] + sheet["wippen.flange_height"]
    else:
        height = sheet["rails.wippen_centre_height"]
    return x, height + compute_bed_level(sheet)


def _hammer_centre(sheet: Sheet, wippen: Vec) -> Vec | None:
    y = sheet["rails.hammer_centre_height"] + compute_bed_level(sheet)
    rise = y - wippen[1]
    spread = sheet["rails.spread"]
    involved = (
        "rails.hammer_centre_height",
        "rails.wippen_centre_height",
        "rails.wippen_rail_height",
        "wippen.flange_height",
    )
    remedy = "a triangle that does not close: the centres are farther apart in height than the spread; measure again"
    if not sheet.ask(spread > abs(rise), "rails.spread", involved, f"more than {format_mm(abs(rise))}", remedy):
        return None
    return wippen[0] - math.sqrt(spread**2 - rise**2), y


def _heel(sheet: Sheet, wippen: Vec) -> Vec:
    straight, drop = sheet["wippen.centre_to_heel"], sheet["wippen.heel_drop"]
    remedy = "a triangle that does not close: the heel hangs lower than its distance from the centre; measure again"
    below = f"less than {format_mm(straight)}, the distance centre to heel"
    if not sheet.ask(drop < straight, "wippen.heel_drop", ("wippen.centre_to_heel",), below, remedy):
        raise UnworkableError
    return wippen[0] - math.sqrt(straight**2 - drop**2), wippen[1] - drop


def _triangle(sheet: Sheet, a: Vec, b: Vec, from_a: str, from_b: str, base: str, side: int) -> Vec | None:
    lengths = sheet[from_a], sheet[from_b], math.dist(a, b)
    low, high = abs(lengths[0] - lengths[2]), lengths[0] + lengths[2]
    if not is_triangle(*lengths):
        sides = f"{format_mm(lengths[0])}, {format_mm(lengths[1])} and {format_mm(lengths[2])}"
        remedy = f"a triangle that does not close ({sides}): measure {from_a}, {from_b} and {base} again"
        sheet.refuse(
            from_b, (from_a, base), sheet.values[from_b].text, f"between {format_mm(low)} and {format_mm(high)}", remedy
        )
        return None
    return find_third_corner(a, b, lengths[0], lengths[1], side)


def locate_jack_top(sheet: Sheet, centre: Vec, angle: float) -> tuple[Vec, Vec, Vec]:
    """Middle of the jack's top surface, and the middles of its front and rear edges' roundings."""
    up = unit_vector(angle)
    rearward = -rotate_quarter_turn(up)[0], -rotate_quarter_turn(up)[1]
    under = offset_point(centre, up, sheet["jack.length"] - sheet["jack.top_edge_radius"])
    half = 0.5 * sheet["jack.top_width"]
    return (
        offset_point(centre, up, sheet["jack.length"]),
        offset_point(under, rearward, -half),
        offset_point(under, rearward, half),
    )


def locate_knuckle(sheet: Sheet) -> Vec:
    """Middle of the knuckle, along and across the shank."""
    return sheet["hammer.knuckle_set"], -sheet["hammer.knuckle_drop"]


def _lever_and_hammer(sheet: Sheet, jack_angle: float, jack: Vec, lever: Vec, hammer: Vec) -> tuple[float, float]:
    """Angles of lever and hammer that go with a turn of the jack; NaN where the parts do not reach each other."""
    top = locate_jack_top(sheet, jack, jack_angle)[0]
    surface = sheet["lever.surface_height"]
    ahead = subtract_vectors(top, lever)
    sine = (surface - sheet["settings.lever_height"]) / math.hypot(*ahead)
    if abs(sine) >= 1:
        return math.nan, math.nan
    lever_angle = math.atan2(ahead[1], ahead[0]) - math.pi + math.asin(sine)
    normal = rotate_quarter_turn(unit_vector(lever_angle))
    local = locate_knuckle(sheet)
    rise = surface + 0.5 * sheet["hammer.knuckle_diameter"] - dot_product(subtract_vectors(hammer, lever), normal)
    sine = rise / math.hypot(*local)
    if abs(sine) >= 1:
        return lever_angle, math.nan
    return lever_angle, lever_angle + math.asin(sine) - math.atan2(local[1], local[0])


def _address_error(sheet: Sheet, jack_angle: float, jack: Vec, lever: Vec, hammer: Vec) -> float:
    """Address that a turn of the jack gives, less the one asked for, m."""
    hammer_angle = _lever_and_hammer(sheet, jack_angle, jack, lever, hammer)[1]
    core = add_vectors(hammer, rotate_vector(locate_knuckle(sheet), hammer_angle))
    rear = locate_jack_top(sheet, jack, jack_angle)[2]
    return core[0] - rear[0] - sheet["settings.jack_address"]


def _jack_angle(sheet: Sheet, jack: Vec, lever: Vec, hammer: Vec) -> float:
    """Turn of the jack at which its rear edge stands where the address asks."""
    steps = [math.radians(50 + 0.5 * i) for i in range(161)]
    errors = [_address_error(sheet, angle, jack, lever, hammer) for angle in steps]
    for k in range(len(steps) - 1):
        if errors[k] <= 0 < errors[k + 1]:
            return _bisect(sheet, steps[k], steps[k + 1], jack, lever, hammer)
    _out_of_reach(sheet, jack, hammer, any(math.isfinite(e) for e in errors))
    raise UnworkableError


def _bisect(sheet: Sheet, low: float, high: float, jack: Vec, lever: Vec, hammer: Vec) -> float:
    for _ in range(60):
        middle = 0.5 * (low + high)
        if _address_error(sheet, middle, jack, lever, hammer) <= 0:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


def _out_of_reach(sheet: Sheet, jack: Vec, hammer: Vec, touching: bool) -> None:
    if touching:
        name, allowed = "settings.jack_address", "an address the jack can take between 40 deg forward and 40 deg back"
        remedy = "the jack's top cannot come under the knuckle"
        compare = "rails.spread, hammer.knuckle_set and wippen.centre_to_jack"
    else:
        name = "jack.length"
        allowed = f"about the {format_mm(hammer[1] - jack[1])} from jack centre up to hammer centre, less the knuckle"
        remedy = "the knuckle does not reach the lever over this jack"
        compare = "rails.hammer_centre_height, rails.wippen_centre_height and hammer.knuckle_drop"
    sheet.refuse(name, POSE_FIELDS, sheet.values[name].text, allowed, f"{remedy}: compare {compare}")
