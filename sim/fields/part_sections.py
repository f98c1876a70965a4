"""The sections of a scenario that describe wood, wire and rails: what rule, gauge and scale can tell of them.

Heights "over the key bed" are taken from the surface the key frame stands on.
"Design pose" is the key level, the heel level over the capstan, jack and lever
on their stops, the knuckle on the lever.
"""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from sim.fields.section_base import Measured, Quantity, Section, quantity, required


class Lead(Section):
    """A weight let into the key."""

    mass: Quantity = required("g", 0.1, 60, "mass of the lead")
    place: Quantity = required("mm", -300, 330, "distance from the balance pin, + toward the player")


class KeySection(Section):
    """Key lever on its balance pin, with capstan and backcheck."""

    front_to_balance: Measured = quantity("mm", 120, 330, "front edge of the key to the balance pin")
    touch_from_edge: Measured = quantity(
        "mm", 2, 60, "place where the key is weighed and played, behind its front edge"
    )
    height: Measured = quantity("mm", 10, 60, "underside at the balance pin to the top at the touch point")
    balance_rail_height: Measured = quantity("mm", 10, 80, "underside of the key at the balance pin over the key bed")
    balance_to_capstan: Measured = quantity("mm", 60, 220, "balance pin to the capstan's line")
    balance_to_back_cloth: Measured = quantity("mm", 100, 330, "balance pin to the back-rail cloth")
    balance_to_punching: Measured = quantity("mm", 100, 330, "balance pin to the front punching")
    capstan_radius: Measured = quantity("mm", 1, 40, "radius of the capstan's domed top")
    backcheck_length: Measured = quantity("mm", 5, 40, "length of the backcheck's leather face")
    rear_length: Measured = quantity("mm", 120, 350, "balance pin to the rear end of the key")
    thickness: Measured = quantity("mm", 10, 40, "underside to top of the stick behind the balance pin")
    mass: Measured = quantity("g", 20, 300, "mass of the stick without leads, capstan and backcheck")
    capstan_mass: Measured = quantity("g", 0, 30, "mass of the capstan")
    backcheck_mass: Measured = quantity("g", 0, 40, "mass of the backcheck with its wire")
    leads: Annotated[list[Lead] | None, Field(default=None, max_length=12, description="leads, by mass and place")] = (
        None
    )
    front_weight: Measured = quantity(
        "g", -60, 120, "scale reading at the touch point, key alone on its pin; wins over leads and mass"
    )
    inertia_front: Measured = quantity("kg·m²", 1e-4, 2e-2, "inertia of the front half about the balance pin")
    inertia_rear: Measured = quantity("kg·m²", 1e-4, 2e-2, "inertia of the rear half about the balance pin")
    bending_stiffness: Measured = quantity(
        "N·m/rad", 50, 1e5, "bending of front against rear half over the balance pin"
    )
    bending_damping: Measured = quantity("N·m·s/rad", 0, 10, "damping of that bending")
    sharp: Annotated[bool | None, Field(description="whether this is a sharp")] = None


class WippenSection(Section):
    """Wippen with heel, its flange, and the places of jack and lever."""

    flange_height: Measured = quantity(
        "mm", -20, 60, "centre over the top of the wippen rail; with rails.wippen_rail_height"
    )
    flange_offset: Measured = quantity(
        "mm", -60, 60, "flange screw to the centre, + toward the player; with rails.balance_to_wippen_screw"
    )
    centre_to_heel: Measured = quantity("mm", 20, 130, "centre to the middle of the heel's underside, straight")
    heel_drop: Measured = quantity("mm", 0, 60, "heel's underside below the centre, heel held level")
    centre_to_jack: Measured = quantity("mm", 30, 140, "centre to the jack centre")
    heel_to_jack: Measured = quantity("mm", 5, 120, "middle of the heel's underside to the jack centre")
    centre_to_lever: Measured = quantity("mm", 20, 120, "centre to the lever centre")
    jack_to_lever: Measured = quantity("mm", 15, 120, "jack centre to the lever centre")
    weight: Measured = quantity("g", 3, 60, "wippen with jack and lever, flange held, tipped on a scale under the heel")
    mass: Measured = quantity("g", 2, 60, "bare wippen, if weighed apart; instead of the tipped weight")
    balance_distance: Measured = quantity("mm", 5, 120, "bare wippen: centre to its balance point, along")
    balance_height: Measured = quantity("mm", -30, 60, "bare wippen: balance point over the centre, heel level")
    inertia: Measured = quantity("kg·m²", 1e-6, 5e-4, "bare wippen about its centre")


class JackSection(Section):
    """Jack: an upright with a toe."""

    length: Measured = quantity("mm", 20, 90, "centre to the middle of the top")
    toe_length: Measured = quantity("mm", 8, 60, "centre to the middle of the toe's rounded end")
    toe_to_top: Measured = quantity("mm", 15, 120, "middle of the toe's rounded end to the middle of the top")
    toe_radius: Measured = quantity("mm", 0.5, 10, "radius of the toe's rounded end")
    top_width: Measured = quantity("mm", 0.5, 12, "flat of the top, between its rounded edges")
    top_edge_radius: Measured = quantity("mm", 0.05, 2, "rounding of the top's edges")
    rear_face_length: Measured = quantity("mm", 1, 40, "straight rear face below the top")
    largest_turn: Measured = quantity("deg", 5, 60, "turn from the stop to the cushion in the lever's window")
    mass: Measured = quantity("g", 0.5, 12, "mass of the jack")
    balance_length: Measured = quantity("mm", 0, 60, "centre to the balance point, along the upright")
    balance_toward_toe: Measured = quantity("mm", -10, 30, "balance point off the upright, + on the toe's side")
    inertia: Measured = quantity("kg·m²", 1e-7, 5e-5, "jack about its centre")


class LeverSection(Section):
    """Repetition lever."""

    surface_height: Measured = quantity("mm", 0, 40, "surface under the knuckle, square over the lever centre")
    front_reach: Measured = quantity("mm", 20, 100, "lever centre to the front end of the surface, along it")
    rear_reach: Measured = quantity("mm", -20, 60, "lever centre to the rear end of the surface, along it")
    mass: Measured = quantity("g", 0.5, 15, "mass of the lever")
    balance_distance: Measured = quantity("mm", -30, 60, "lever centre to the balance point, + toward the player")
    balance_height: Measured = quantity("mm", -20, 30, "balance point over the lever centre, square to the surface")
    inertia: Measured = quantity("kg·m²", 1e-7, 5e-5, "lever about its centre")


class HammerSection(Section):
    """Hammer: shank, knuckle, head and tail."""

    hanging_distance: Measured = quantity("mm", 90, 170, "hammer centre to the line of strike, along the shank")
    bore: Measured = quantity("mm", 25, 80, "axis of the shank to the crown, along the moulding")
    rake: Measured = quantity("deg", -12, 12, "moulding off the square to the shank, + crown away from the centre")
    knuckle_set: Measured = quantity("mm", 10, 25, "hammer centre to the knuckle's core, along the shank")
    knuckle_drop: Measured = quantity("mm", 0, 15, "middle of the knuckle below the axis of the shank")
    knuckle_diameter: Measured = quantity("mm", 5, 16, "diameter of the knuckle")
    tail_length: Measured = quantity("mm", 10, 50, "axis of the shank to the lower end of the tail, along the moulding")
    tail_offset: Measured = quantity(
        "mm", -15, 25, "middle of the tail's end beyond the line of strike, away from the centre"
    )
    tail_radius: Measured = quantity("mm", 1, 100, "rounding of the tail where it meets the check")
    cushion_place: Measured = quantity("mm", 20, 140, "hammer centre to where the shank may meet the rest cushion")
    shank_diameter: Measured = quantity("mm", 3, 12, "thickness of the shank at the cushion")
    weight: Measured = quantity("g", 2, 25, "hammer with shank, weighed at the strike radius, shank level")
    shank_weight: Measured = quantity("g", 0.3, 6, "shank with knuckle, without the head, weighed at the strike radius")
    head_mass: Measured = quantity("g", 1, 20, "mass of the head alone")
    head_balance_height: Measured = quantity("mm", 0, 50, "balance point of the head over the axis of the shank")
    head_gyration: Measured = quantity("mm", 3, 40, "radius of gyration of the head about its own balance point")
    shank_inertia: Measured = quantity("kg·m²", 2e-6, 2e-4, "shank with knuckle about the hammer centre")
    shank_stiffness: Measured = quantity("N/m", 100, 1e5, "force at the head over its deflection, root held")
    shank_damping: Measured = quantity("", 0, 0.5, "damping ratio of the shank's first bending mode")
    shank_bends: Annotated[bool | None, Field(description="false: the shank is taken as rigid")] = None


class RailsSection(Section):
    """Where the rails hold the centres, and the string over them."""

    spread: Measured = quantity("mm", 80, 150, "wippen centre to hammer centre")
    wippen_centre_height: Measured = quantity("mm", 50, 200, "wippen centre over the key bed")
    wippen_rail_height: Measured = quantity(
        "mm", 40, 200, "top of the wippen rail over the key bed; with wippen.flange_height"
    )
    hammer_centre_height: Measured = quantity("mm", 80, 300, "hammer centre over the key bed")
    string_height: Measured = quantity("mm", 120, 380, "underside of the string at the strike line over the key bed")
    balance_to_wippen_centre: Measured = quantity("mm", 80, 300, "balance pin to the wippen centre, level")
    balance_to_wippen_screw: Measured = quantity(
        "mm", 80, 330, "balance pin to the line of the wippen flange screws; with wippen.flange_offset"
    )
    strike_line: Measured = quantity("mm", 120, 380, "balance pin to the strike line, level; a cross-check only")
    balance_to_drop_screw: Measured = quantity("mm", 30, 250, "balance pin to the drop screw, level")
    drop_screw_radius: Measured = quantity("mm", 0.5, 10, "radius of the drop screw's rounded end")
    wippen_rail_front: Measured = quantity(
        "mm", -30, 60, "wippen centre back to the front face of its rail; for clearances only"
    )
    wippen_rail_rear: Measured = quantity("mm", 5, 120, "wippen centre back to the rear face of its rail")
    wippen_rail_below: Measured = quantity("mm", -30, 60, "wippen centre down to the underside of its rail")
    damper_blocking: Measured = quantity("mm", 150, 450, "balance pin to the damper blocking, level")
