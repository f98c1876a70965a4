"""Contradictions between fields: what the ranges of single fields cannot see."""

from __future__ import annotations

import math

from sim.fields.derivation_sheet import Sheet
from sim.scenario.design_pose import POSE_FIELDS
from sim.unit.contacts import CONTACT_NAMES
from sim.unit.model import ActionUnit, Vec
from sim.unit.plane import add_vectors, is_triangle, rotate_vector
from sim.units import format_mm

STRIKE_LINE_SLACK = 3e-3
"""m; the rule is held to a bent wooden thing."""

SHORTEST_KEY_ARM = 30e-3
"""m; a key is played at least so far in front of its balance pin."""

SHORTEST_FACE = 0.1e-3
"""m; a face between two points has a direction."""

HEEL_REACH = 12e-3
"""m; half of the heel's underside, and what a capstan may stand off its middle."""


def check_measures(sheet: Sheet) -> None:
    """What can be told from the measures alone."""
    for check in (_key_lengths, _leads, _hammer_lengths, _lever_and_jack, _contacts, _targets, _springs):
        check(sheet)


def _shorter(sheet: Sheet, name: str, other: str, remedy: str, margin: float = 0.0) -> None:
    if name in sheet and other in sheet:
        limit = sheet[other] - margin
        sheet.ask(sheet[name] < limit, name, (other,), f"less than {format_mm(limit)}", remedy)


def _key_lengths(sheet: Sheet) -> None:
    front, capstan, check = "key.front_to_balance", "key.balance_to_capstan", "settings.backcheck_place"
    _shorter(sheet, "key.balance_to_punching", front, "the punching lies under the key; measure both again")
    _shorter(
        sheet, "key.touch_from_edge", front, "the place of weighing lies in front of the balance pin", SHORTEST_KEY_ARM
    )
    _shorter(sheet, "touch.point", front, "the finger plays in front of the balance pin", SHORTEST_KEY_ARM)
    _shorter(sheet, capstan, check, "the capstan stands in front of the backcheck; measure both again")
    _shorter(sheet, capstan, "key.rear_length", "the capstan stands on the key; measure both again")
    _shorter(sheet, "key.balance_to_back_cloth", "key.rear_length", "the cloth lies under the key; measure both again")


def _leads(sheet: Sheet) -> None:
    for k, (mass, place) in enumerate(sheet.leads or ()):
        low, high = -sheet["key.rear_length"] if "key.rear_length" in sheet else -0.3, sheet["key.front_to_balance"]
        if not low < place < high:
            shown = f"{1e3 * mass:g} g at {format_mm(place)}"
            remedy = "the lead lies in the key; + is toward the player"
            sheet.refuse(f"key.leads[{k}].place", ("key.front_to_balance", "key.rear_length", "key.leads"), shown,
                         f"{format_mm(low)} to {format_mm(high)}", remedy)  # fmt: skip


def _hammer_lengths(sheet: Sheet) -> None:
    hanging = "hammer.hanging_distance"
    _shorter(sheet, "hammer.knuckle_set", "hammer.cushion_place", "the knuckle lies between centre and cushion")
    _shorter(sheet, "hammer.cushion_place", hanging, "the cushion meets the shank before the head; measure both again")
    _shorter(sheet, "hammer.tail_radius", "hammer.tail_length", "the rounding is part of the tail; measure both again")
    _shorter(sheet, "hammer.head_balance_height", "hammer.bore", "the head balances below its crown")


def _lever_and_jack(sheet: Sheet) -> None:
    length, toe, across = (sheet[f"jack.{n}"] for n in ("length", "toe_length", "toe_to_top"))
    sides = f"{format_mm(length)}, {format_mm(toe)} and {format_mm(across)}"
    remedy = f"a triangle that does not close ({sides}): measure jack.length, jack.toe_length and jack.toe_to_top again"
    allowed = f"between {format_mm(abs(length - toe))} and {format_mm(length + toe)}"
    sheet.ask(is_triangle(length, toe, across), "jack.toe_to_top", ("jack.length", "jack.toe_length"), allowed, remedy)
    _shorter(sheet, "jack.rear_face_length", "jack.length", "the rear face is part of the upright; measure both again")
    _shorter(sheet, "jack.balance_length", "jack.length", "the jack balances between centre and top")


def _contacts(sheet: Sheet) -> None:
    for name in CONTACT_NAMES:
        stiffness, exponent = f"contacts.{name}.stiffness", f"contacts.{name}.exponent"
        if stiffness not in sheet or exponent not in sheet:
            continue
        power = sheet.values[stiffness].power
        if power is not None and not math.isclose(power, sheet[exponent]):
            remedy = f"the unit of the stiffness carries another exponent, N/m^{power:g}: give both together"
            sheet.ask(False, exponent, (stiffness,), f"{power:g}, as in the stiffness", remedy)
        law = sheet.values[stiffness]
        ordinary = 1 <= sheet[exponent] <= 5
        remedy = f"the exponent is the power of the unit: write it as in 5e7 N/m^2, not {law.text}"
        sheet.ask(ordinary, stiffness, (exponent,), "a unit of N/m^1 to N/m^5", remedy)


def _targets(sheet: Sheet) -> None:
    pairs = (
        ("let_off", "blow", "the hammer is let off before it reaches the string, after it left its rest"),
        ("checking_distance", "blow", "the check catches the hammer between string and rest"),
        ("aftertouch", "dip", "aftertouch is the last part of the dip"),
        ("spring_rise", "checking_distance", "the hammer rises from the check and may not reach the string"),
    )
    for name, other, remedy in pairs:
        _shorter(sheet, f"targets.{name}", f"targets.{other}", remedy)
    at = sheet.choice("targets.drop_at", None)
    if at is not None and "targets.drop" not in sheet:
        remedy = "says where a drop is read that is not asked for: give targets.drop, or leave this out"
        sheet.refuse("targets.drop_at", ("targets.drop",), str(at), "only together with targets.drop", remedy)


def _springs(sheet: Sheet) -> None:
    one = sheet.choice("springs.arrangement", "two") == "one"
    if one and "springs.jack" in sheet:
        remedy = 'one spring serves lever and jack: give springs.jack_share, or write arrangement = "two"'
        sheet.ask(
            False, "springs.jack", ("springs.arrangement", "springs.repetition"), "nothing, with one spring", remedy
        )
    if not one and "springs.jack_share" in sheet:
        remedy = 'the jack has a spring of its own: give springs.jack, or write arrangement = "one"'
        given = f"{sheet['springs.jack_share']:g}"
        sheet.refuse("springs.jack_share", ("springs.arrangement",), given, "nothing, with two springs", remedy)
    parts = [f"string.{n}" for n in ("length", "tension", "mass")]
    for name in parts:
        if any(part in sheet for part in parts) and name not in sheet:
            remedy = "length, tension and mass go together: give all three, or string.impedance and near_end_delay"
            sheet.refuse(name, parts, "missing", "given, where the others are", remedy)


def check_pose(sheet: Sheet, unit: ActionUnit, raw: bool) -> None:
    """What needs the pose; with ``raw`` coordinates only what must hold for any unit."""
    with sheet.resting_on(("key", *POSE_FIELDS, "coordinates")):
        if not _points(sheet, unit):
            return
        _blow(sheet, unit)
        if raw:
            return
        for check in (_heel_over_capstan, _strike_line, _button, _screw, _hammer_over_check):
            check(sheet, unit)


def _points(sheet: Sheet, unit: ActionUnit) -> bool:
    """Whether raw points leave the key an arm, and each face and the hammer a length."""
    jack, lever, crown = unit.jack, unit.lever, unit.hammer.strike_point
    remedy = "the finger plays in front of the balance pin, and + is toward the string"
    place = "coordinates.key.touch_point"
    good = _point(
        sheet,
        place,
        -unit.key.touch_point[0] >= SHORTEST_KEY_ARM,
        f"{format_mm(-SHORTEST_KEY_ARM)} or less along the key",
        remedy,
    )
    remedy = "two ends in one place make no face: measure both again"
    for name, a, b in (
        ("jack.top_front", jack.top_front, jack.top_rear),
        ("jack.rear_face_down_to", jack.rear_face_down_to, jack.top_rear),
        ("lever.surface_to", lever.surface_to, lever.surface_from),
    ):
        far = math.dist(a, b) >= SHORTEST_FACE
        good &= _point(
            sheet, f"coordinates.{name}", far, f"{format_mm(SHORTEST_FACE)} or more from the other end", remedy
        )
    remedy = "the crown does not turn with the hammer: measure along and across the shank again"
    far = math.hypot(*crown) >= SHORTEST_FACE
    return good & _point(sheet, "coordinates.hammer.strike_point", far, "a place off the hammer centre", remedy)


def _point(sheet: Sheet, name: str, holds: bool, allowed: str, remedy: str) -> bool:
    if not holds:
        shown = ", ".join(part.text for part in sheet.points.get(name, ())) or "not given"
        sheet.refuse(name, (), shown, allowed, remedy)
    return holds


def locate_crown(unit: ActionUnit, angle: float) -> Vec:
    """The crown at an angle of the shank."""
    return add_vectors(unit.hammer.centre, rotate_vector(unit.hammer.strike_point, angle))


def find_striking_angle(unit: ActionUnit) -> float | None:
    """Angle of the shank at which the crown meets the string; None where it cannot."""
    along, across = unit.hammer.strike_point
    sine = (unit.rails.string_y - unit.hammer.centre[1]) / math.hypot(along, across)
    return math.asin(sine) - math.atan2(across, along) if abs(sine) < 1 else None


_HEIGHTS = ("rails.string_height", "rails.hammer_centre_height", "hammer.bore", "hammer.hanging_distance",
            "key.balance_rail_height", "rails.wippen_centre_height")  # fmt: skip
_RAW_HEIGHTS = tuple(f"coordinates.{n}" for n in ("rails.string_y", "hammer.centre", "hammer.strike_point"))


def _blow(sheet: Sheet, unit: ActionUnit) -> None:
    name = "coordinates.rails.string_y" if "coordinates.rails.string_y" in sheet else "rails.string_height"
    bed = 0.0 if name.startswith("coord") else -sheet["key.balance_rail_height"]
    involved = _RAW_HEIGHTS + _HEIGHTS
    top = locate_crown(unit, unit.hammer.rest_angle)[1]
    if find_striking_angle(unit) is None:
        highest = unit.hammer.centre[1] + math.hypot(*unit.hammer.strike_point) - bed
        remedy = "the hammer cannot reach the string: compare string height, hammer centre and bore"
        sheet.ask(False, name, involved, f"less than {format_mm(highest)}", remedy)
    else:
        remedy = "the crown at rest stands at the string or through it: compare string height, hammer centre and bore"
        sheet.ask(unit.rails.string_y > top + 5e-3, name, involved, f"more than {format_mm(top + 5e-3 - bed)}", remedy)


def _heel_over_capstan(sheet: Sheet, unit: ActionUnit) -> None:
    heel = unit.wippen.centre[0] + unit.wippen.heel_point[0]
    off = unit.key.capstan_centre[0] - heel
    low, high = format_mm(heel - HEEL_REACH), format_mm(heel + HEEL_REACH)
    involved = ("wippen.centre_to_heel", "wippen.heel_drop", "rails.balance_to_wippen_centre",
                "rails.balance_to_wippen_screw", "wippen.flange_offset")  # fmt: skip
    remedy = "the capstan misses the heel: compare the capstan's line, the rail's place and the heel"
    sheet.ask(abs(off) < HEEL_REACH, "key.balance_to_capstan", involved, f"{low} to {high}", remedy)
    _capstan_height(sheet, unit)


def _capstan_height(sheet: Sheet, unit: ActionUnit) -> None:
    gap = unit.key.capstan_centre[1] + unit.key.capstan_radius - unit.wippen.centre[1] - unit.wippen.heel_point[1]
    level = sheet["settings.capstan_height"] - gap
    involved = ("rails.wippen_centre_height", "rails.wippen_rail_height", "wippen.heel_drop", "key.balance_rail_height")
    remedy = "the capstan's top stands far from the heel's underside: compare the heights of capstan, rail and heel"
    allowed = f"{format_mm(level - 6e-3)} to {format_mm(level + 6e-3)}"
    sheet.ask(abs(gap) < 6e-3, "settings.capstan_height", involved, allowed, remedy)


def _strike_line(sheet: Sheet, unit: ActionUnit) -> None:
    angle = find_striking_angle(unit)
    if "rails.strike_line" not in sheet or angle is None:
        return
    x = locate_crown(unit, angle)[0]
    involved = ("rails.spread", "rails.balance_to_wippen_centre", "hammer.hanging_distance", "hammer.bore")
    remedy = "the crown comes up elsewhere than the strike line: measure spread, hanging distance and the line again"
    allowed = f"{format_mm(x - STRIKE_LINE_SLACK)} to {format_mm(x + STRIKE_LINE_SLACK)}"
    sheet.ask(abs(sheet["rails.strike_line"] - x) < STRIKE_LINE_SLACK, "rails.strike_line", involved, allowed, remedy)


def _button(sheet: Sheet, unit: ActionUnit) -> None:
    if "settings.let_off_button_height" not in sheet:
        return
    centre = add_vectors(unit.wippen.centre, unit.wippen.jack_centre)
    toe = centre[1] + unit.jack.toe_centre[1] + unit.jack.toe_radius + sheet["key.balance_rail_height"]
    involved = ("jack.toe_length", "jack.toe_to_top", "key.balance_rail_height", "rails.wippen_centre_height")
    remedy = "the button stands below the jack's toe at rest, or far over it: measure it again, over the key bed"
    holds = -2e-3 < sheet["settings.let_off_button_height"] - toe < 20e-3
    allowed = f"{format_mm(toe - 2e-3)} to {format_mm(toe + 20e-3)}"
    sheet.ask(holds, "settings.let_off_button_height", involved, allowed, remedy)


def _screw(sheet: Sheet, unit: ActionUnit) -> None:
    x = unit.rails.drop_screw_tip[0] - unit.wippen.centre[0] - unit.wippen.lever_centre[0]
    low, high = unit.lever.surface_from, unit.lever.surface_to
    base = unit.wippen.centre[0] + unit.wippen.lever_centre[0]
    involved = ("lever.front_reach", "rails.spread", "rails.balance_to_wippen_centre", "wippen.centre_to_lever")
    remedy = "the drop screw stands off the lever: compare its line with the lever's reach"
    allowed = f"{format_mm(base + low[0])} to {format_mm(base + high[0])}"
    if not sheet.ask(low[0] < x < high[0], "rails.balance_to_drop_screw", involved, allowed, remedy):
        return
    if "settings.drop_screw_height" in sheet:
        surface = low[1] + (x - low[0]) * (high[1] - low[1]) / (high[0] - low[0])
        bed = unit.wippen.centre[1] + unit.wippen.lever_centre[1] + surface + sheet["key.balance_rail_height"]
        holds = -2e-3 < sheet["settings.drop_screw_height"] - bed < 20e-3
        remedy = (
            "the drop screw stands in the lever at rest, or far over it: measure its lower end again, over the key bed"
        )
        allowed = f"{format_mm(bed - 2e-3)} to {format_mm(bed + 20e-3)}"
        sheet.ask(holds, "settings.drop_screw_height", (*involved, "key.balance_rail_height"), allowed, remedy)


def _hammer_over_check(sheet: Sheet, unit: ActionUnit) -> None:
    tail = add_vectors(unit.hammer.centre, rotate_vector(unit.hammer.tail_centre, unit.hammer.rest_angle))
    top = add_vectors(
        unit.key.backcheck_foot, rotate_vector((unit.key.backcheck_length, 0.0), unit.key.backcheck_angle)
    )
    involved = ("hammer.hanging_distance", "hammer.tail_offset", "rails.spread", "rails.balance_to_wippen_centre")
    remedy = "the check stands in front of the hammer's tail, where it cannot catch it: measure its place again"
    least = tail[0] - (top[0] - unit.key.backcheck_foot[0])
    sheet.ask(
        top[0] > tail[0] - 5e-3, "settings.backcheck_place", involved, f"more than {format_mm(least - 5e-3)}", remedy
    )
