"""From the measures of a scenario to the coordinates of its parts (SI, frames of ``model.py``)."""

from __future__ import annotations

import math

from sim.fields.derivation_sheet import Sheet
from sim.scenario.design_pose import Pose, compute_bed_level, locate_jack_top, locate_knuckle
from sim.unit.model import Hammer, Jack, Lever, Rails, Vec, Wippen
from sim.unit.plane import (
    add_vectors,
    dot_product,
    is_triangle,
    offset_point,
    rotate_quarter_turn,
    rotate_vector,
    subtract_vectors,
    unit_vector,
)
from sim.units import format_mm


def derive_wippen(sheet: Sheet, pose: Pose) -> Wippen:
    """Wippen, its bare mass from the weight that the assembly tips."""
    place = -sheet["wippen.balance_distance"], sheet["wippen.balance_height"]
    return Wippen(
        centre=pose.wippen,
        heel_point=subtract_vectors(pose.heel, pose.wippen),
        heel_angle=0.0,
        jack_centre=subtract_vectors(pose.jack, pose.wippen),
        lever_centre=subtract_vectors(pose.lever, pose.wippen),
        mass=_bare_wippen(sheet, pose),
        mass_centre=place,
        inertia=sheet["wippen.inertia"],
    )


def _bare_wippen(sheet: Sheet, pose: Pose) -> float:
    if "wippen.mass" in sheet:
        return sheet["wippen.mass"]
    arm = pose.wippen[0] - pose.heel[0]
    moment = sheet["wippen.weight"] * arm
    for centre, part in ((pose.jack, derive_jack(sheet, pose)), (pose.lever, derive_lever(sheet, pose))):
        moment -= part.mass * (pose.wippen[0] - centre[0] - part.mass_centre[0])
    mass = moment / sheet["wippen.balance_distance"]
    lightest = (sheet["wippen.weight"] * arm - moment) / arm
    involved = ("jack.mass", "lever.mass", "wippen.balance_distance", "wippen.centre_to_heel")
    remedy = "jack and lever alone tip more than this; weigh the assembly again under its heel, flange held"
    sheet.ask(mass > 1e-3, "wippen.weight", involved, f"more than {1e3 * lightest + 1:.1f} g", remedy)
    return mass


def derive_jack(sheet: Sheet, pose: Pose) -> Jack:
    """Jack in its design pose."""
    up = unit_vector(pose.jack_angle)
    top, front, rear = (subtract_vectors(p, pose.jack) for p in locate_jack_top(sheet, pose.jack, pose.jack_angle))
    back, out = sheet["jack.balance_length"], sheet["jack.balance_toward_toe"]
    return Jack(
        top_front=front,
        top_rear=rear,
        top_edge_radius=sheet["jack.top_edge_radius"],
        rear_face_down_to=offset_point(rear, up, -sheet["jack.rear_face_length"]),
        toe_centre=_toe(sheet, top, up),
        toe_radius=sheet["jack.toe_radius"],
        largest_turn=sheet["jack.largest_turn"],
        mass=sheet["jack.mass"],
        mass_centre=offset_point((up[0] * back, up[1] * back), rotate_quarter_turn(up), out),
        inertia=sheet["jack.inertia"],
        stop_angle=0.0,
    )


def _toe(sheet: Sheet, top: Vec, up: Vec) -> Vec:
    """The toe's middle, on the player's side, from its distances to the jack centre and to the top."""
    length, toe, across = (sheet[f"jack.{n}"] for n in ("length", "toe_length", "toe_to_top"))
    if not is_triangle(length, toe, across):
        return top
    ahead = (length**2 + toe**2 - across**2) / (2 * length)
    return offset_point((up[0] * ahead, up[1] * ahead), rotate_quarter_turn(up), math.sqrt(toe**2 - ahead**2))


def derive_lever(sheet: Sheet, pose: Pose) -> Lever:
    """Repetition lever in its design pose."""
    rearward = unit_vector(pose.lever_angle)
    normal = rotate_quarter_turn(rearward)
    foot = offset_point((0.0, 0.0), normal, sheet["lever.surface_height"])
    balance = offset_point((0.0, 0.0), rearward, -sheet["lever.balance_distance"])
    part = Lever(
        surface_from=offset_point(foot, rearward, -sheet["lever.front_reach"]),
        surface_to=offset_point(foot, rearward, sheet["lever.rear_reach"]),
        mass=sheet["lever.mass"],
        mass_centre=offset_point(balance, normal, sheet["lever.balance_height"]),
        inertia=sheet["lever.inertia"],
        stop_angle=0.0,
    )
    _knuckle_on_surface(sheet, pose, rearward)
    return part


def _knuckle_on_surface(sheet: Sheet, pose: Pose, rearward: Vec) -> None:
    place = dot_product(subtract_vectors(_knuckle_place(sheet, pose), pose.lever), rearward)
    involved = (
        "lever.rear_reach",
        "rails.spread",
        "hammer.knuckle_set",
        "wippen.centre_to_lever",
        "wippen.jack_to_lever",
    )
    remedy = "the knuckle stands off the lever's surface: compare reach, spread and knuckle set"
    if not any(c.field == "lever.front_reach" for c in sheet.contradictions):
        on_it = -sheet["lever.front_reach"] < place < sheet["lever.rear_reach"]
        sheet.ask(
            on_it, "lever.front_reach", involved, f"more than {format_mm(-place)}, where the knuckle stands", remedy
        )


def _knuckle_place(sheet: Sheet, pose: Pose) -> Vec:
    return add_vectors(pose.hammer, rotate_vector(locate_knuckle(sheet), pose.hammer_angle))


def derive_hammer(sheet: Sheet, pose: Pose) -> Hammer:
    """Hammer, its shank's share found from the weights."""
    foot, up = _moulding(sheet)
    beyond = up[1], -up[0]
    tail = offset_point(foot, up, sheet["hammer.tail_radius"] - sheet["hammer.tail_length"])
    head = offset_point(foot, up, sheet["hammer.head_balance_height"])
    head_mass, moment = derive_head_and_shank(sheet)
    return Hammer(
        centre=pose.hammer,
        rest_angle=pose.hammer_angle,
        knuckle_centre=locate_knuckle(sheet),
        knuckle_radius=0.5 * sheet["hammer.knuckle_diameter"],
        strike_point=(sheet["hammer.hanging_distance"], sheet["hammer.bore"] * up[1]),
        tail_centre=offset_point(tail, beyond, sheet["hammer.tail_offset"]),
        tail_radius=sheet["hammer.tail_radius"],
        cushion_point=(sheet["hammer.cushion_place"], -0.5 * sheet["hammer.shank_diameter"]),
        head_mass=head_mass,
        head_mass_centre=head,
        head_gyration=sheet["hammer.head_gyration"],
        shank_inertia=sheet["hammer.shank_inertia"],
        shank_mass_moment=moment,
        shank_bending_stiffness=sheet["hammer.shank_stiffness"],
        shank_damping_ratio=sheet["hammer.shank_damping"],
        shank_length=foot[0],
        shank_bends=bool(sheet.choice("hammer.shank_bends", True)),
    )


def _moulding(sheet: Sheet) -> tuple[Vec, Vec]:
    """Where the moulding's line meets the shank's axis, and its direction to the crown."""
    up = math.sin(sheet["hammer.rake"]), math.cos(sheet["hammer.rake"])
    return (sheet["hammer.hanging_distance"] - sheet["hammer.bore"] * up[0], 0.0), up


def derive_head_and_shank(sheet: Sheet) -> tuple[float, float]:
    """Mass of the head (kg) and mass moment of the shank (kg·m) from two of the three weights."""
    hanging, head_arm = (
        sheet["hammer.hanging_distance"],
        offset_point(*_moulding(sheet), sheet["hammer.head_balance_height"])[0],
    )
    names = "hammer.weight", "hammer.head_mass", "hammer.shank_weight"
    weight, head, shank = (sheet.get(n) for n in names)
    if weight is not None and head is not None:
        moment = weight * hanging - head * head_arm
        remedy = "the head alone weighs as much as head and shank together; weigh both again"
        least = f"more than {1e3 * head * head_arm / hanging:.2f} g, which the head alone tips"
        sheet.ask(moment > 0, "hammer.weight", ("hammer.head_mass",), least, remedy)
        if shank is not None:
            agree = abs(moment - shank * hanging) < 0.25e-3 * hanging
            wanted = f"{1e3 * moment / hanging:.2f} g within 0.25 g, the weight less the head"
            remedy = "three weights that do not add up; weigh again, or leave one out"
            sheet.ask(agree, "hammer.shank_weight", names, wanted, remedy)
        return head, moment
    if shank is None:
        raise KeyError("hammer.shank_weight")
    if head is not None:
        return head, shank * hanging
    if weight is None:
        raise KeyError("hammer.weight")
    remedy = "the shank alone weighs as much as head and shank together; weigh both again"
    sheet.ask(weight > shank, "hammer.weight", ("hammer.shank_weight",), f"more than {1e3 * shank:.2f} g", remedy)
    return (weight - shank) * hanging / head_arm, shank * hanging


def derive_rails(sheet: Sheet, pose: Pose) -> Rails:
    """Button, drop screw, cushion and string."""
    return Rails(
        let_off_button_plane_y=_button(sheet, pose),
        drop_screw_tip=_drop_screw(sheet, pose),
        drop_screw_radius=sheet["rails.drop_screw_radius"],
        rest_cushion_plane_y=_cushion(sheet, pose),
        string_y=sheet["rails.string_height"] + compute_bed_level(sheet),
        spread=sheet["rails.spread"],
    )


def _button(sheet: Sheet, pose: Pose) -> float:
    if "settings.let_off_button_height" in sheet:
        return sheet["settings.let_off_button_height"] + compute_bed_level(sheet)
    part = derive_jack(sheet, pose)
    return pose.jack[1] + part.toe_centre[1] + part.toe_radius + sheet["settings.let_off_button"]


def _drop_screw(sheet: Sheet, pose: Pose) -> Vec:
    """Middle of the screw's rounded end."""
    x, radius = sheet["rails.balance_to_drop_screw"], sheet["rails.drop_screw_radius"]
    if "settings.drop_screw_height" in sheet:
        return x, sheet["settings.drop_screw_height"] + compute_bed_level(sheet) + radius
    rearward = unit_vector(pose.lever_angle)
    foot = offset_point(pose.lever, rotate_quarter_turn(rearward), sheet["lever.surface_height"])
    surface = foot[1] + (x - foot[0]) * math.tan(pose.lever_angle)
    return x, surface + (radius + sheet["settings.drop_screw"]) / rearward[0]


def _cushion(sheet: Sheet, pose: Pose) -> float:
    if "settings.rest_cushion_height" in sheet:
        return sheet["settings.rest_cushion_height"] + compute_bed_level(sheet)
    shank = sheet["hammer.cushion_place"], -0.5 * sheet["hammer.shank_diameter"]
    return pose.hammer[1] + rotate_vector(shank, pose.hammer_angle)[1] - sheet["settings.rest_cushion"]
