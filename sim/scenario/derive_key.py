"""The key's coordinates, weight and inertia from its measures; string, damper and finger."""

from __future__ import annotations

import math

from sim.fields.derivation_sheet import Sheet
from sim.scenario.design_pose import compute_bed_level
from sim.unit.model import Damper, Finger, Key, String

ROD_INERTIA_FACTOR = 1 / 3
"""Inertia of a uniform rod about its end over m L²."""
LEAD_PLACE_SHARE = 0.6
"""Share of the arm at which lead whose place nobody told is taken to lie (our convention)."""


def derive_key_parts(sheet: Sheet) -> Key:
    """The key with capstan, backcheck and leads."""
    front = sheet["key.front_to_balance"]
    played = sheet["touch.point"] if "touch.point" in sheet else sheet["key.touch_from_edge"]
    moment = _front_moment(sheet)
    inertia_front, inertia_rear = _inertias(sheet, moment)
    radius = sheet["key.capstan_radius"]
    return Key(
        touch_point=(played - front, sheet["key.height"]),
        front_edge_x=-front,
        punching_x=-sheet["key.balance_to_punching"],
        punching_plane_y=_punching(sheet),
        back_cloth_x=sheet["key.balance_to_back_cloth"],
        back_cloth_plane_y=sheet["settings.back_cloth"],
        capstan_centre=(sheet["key.balance_to_capstan"], sheet["settings.capstan_height"] - radius),
        capstan_radius=radius,
        backcheck_foot=(sheet["settings.backcheck_place"], sheet["settings.backcheck_height"]),
        backcheck_angle=sheet["settings.backcheck_angle"],
        backcheck_length=sheet["key.backcheck_length"],
        inertia_front=inertia_front,
        inertia_rear=inertia_rear,
        front_moment=moment,
        bending_stiffness=sheet["key.bending_stiffness"],
        bending_damping=sheet["key.bending_damping"],
        sharp=bool(sheet.choice("key.sharp", False)),
        lead_place=_lead_place(sheet),
        lead_moment=sum(mass * place for mass, place in sheet.leads) if sheet.leads is not None else None,
    )


def derive_touch_arm(sheet: Sheet) -> float:
    """Balance pin to the place where the key is weighed, m."""
    return sheet["key.front_to_balance"] - sheet["key.touch_from_edge"]


def _punching(sheet: Sheet) -> float:
    if "settings.punching_height" in sheet:
        return sheet["settings.punching_height"] + compute_bed_level(sheet)
    return -sheet["settings.punching"]


def _front_moment(sheet: Sheet) -> float:
    """Gravity moment in kg·m: the scale's word where there is one, else stick, fittings and leads."""
    if "key.front_weight" in sheet:
        return sheet["key.front_weight"] * derive_touch_arm(sheet)
    leads = sum(mass * place for mass, place in sheet.leads or ())
    return _bare_moment(sheet) + leads


def _halves(sheet: Sheet) -> tuple[float, float]:
    """Mass of the stick's front and rear half, taken as uniform, kg."""
    front, rear = sheet["key.front_to_balance"], sheet["key.rear_length"]
    share = front / (front + rear)
    return sheet["key.mass"] * share, sheet["key.mass"] * (1 - share)


def _bare_moment(sheet: Sheet) -> float:
    front, rear = _halves(sheet)
    stick = 0.5 * (front * sheet["key.front_to_balance"] - rear * sheet["key.rear_length"])
    fittings = sheet["key.capstan_mass"] * sheet["key.balance_to_capstan"]
    fittings += sheet["key.backcheck_mass"] * sheet["settings.backcheck_place"]
    return stick - fittings


def _inertias(sheet: Sheet, moment: float) -> tuple[float, float]:
    """Inertia of the two halves about the balance pin; what is not given follows from the masses."""
    given = [sheet.get(n) for n in ("key.inertia_front", "key.inertia_rear")]
    if given[0] is not None and given[1] is not None:
        return given[0], given[1]
    masses = _halves(sheet)
    front = ROD_INERTIA_FACTOR * masses[0] * sheet["key.front_to_balance"] ** 2
    rear = ROD_INERTIA_FACTOR * masses[1] * sheet["key.rear_length"] ** 2
    rear += sheet["key.capstan_mass"] * sheet["key.balance_to_capstan"] ** 2
    rear += sheet["key.backcheck_mass"] * sheet["settings.backcheck_place"] ** 2
    for mass, place in sheet.leads if sheet.leads is not None else _lead_for(sheet, moment):
        front += mass * place**2 if place > 0 else 0.0
        rear += mass * place**2 if place < 0 else 0.0
    return given[0] or front, given[1] or rear


def _lead_place(sheet: Sheet) -> float:
    """The middle of the leads in front of the pin, by mass; without any, ``LEAD_PLACE_SHARE`` of its length."""
    front = [(mass, place) for mass, place in sheet.leads or () if place > 0]
    if not front:
        return LEAD_PLACE_SHARE * sheet["key.front_to_balance"]
    return sum(mass * place for mass, place in front) / sum(mass for mass, _ in front)


def _lead_for(sheet: Sheet, moment: float) -> tuple[tuple[float, float], ...]:
    """The lump of lead, at ``LEAD_PLACE_SHARE`` of the arm, that would give the weighed front weight."""
    missing = moment - _bare_moment(sheet)
    arm = LEAD_PLACE_SHARE * math.copysign(
        sheet["key.front_to_balance"] if missing > 0 else sheet["key.rear_length"], missing
    )
    return ((missing / arm, arm),)


def derive_string(sheet: Sheet) -> String:
    """Impedance and echoes; from length, tension and mass of one string where these are given.

    Wave speed sqrt(T L / m), impedance sqrt(T m / L) a string (textbook
    relations of the ideal string).
    """
    ratio, reflection = sheet["string.strike_ratio"], sheet["string.far_end_reflection"]
    if "string.tension" in sheet:
        length, tension, mass = (sheet[f"string.{n}"] for n in ("length", "tension", "mass"))
        count = sheet.choice("string.count", 1)
        impedance = math.sqrt(tension * mass / length) * float(str(count))
        near = 2 * ratio * length / math.sqrt(tension * length / mass)
    else:
        impedance, near = sheet["string.impedance"], sheet["string.near_end_delay"]
    return String(impedance, near, near * (1 - ratio) / ratio, reflection)


def derive_damper(sheet: Sheet) -> Damper | None:
    """The damper, where one is fitted."""
    if "damper.mass" not in sheet:
        return None
    place = sheet["damper.place"], sheet["damper.height"]
    return Damper(place, sheet["settings.damper"], sheet["damper.mass"], sheet["damper.friction"])


def derive_finger(sheet: Sheet) -> Finger:
    """The finger."""
    names = ("mass", "rise_time", "muscle_damping", "struck_height")
    return Finger(*(sheet[f"touch.{n}"] for n in names))
