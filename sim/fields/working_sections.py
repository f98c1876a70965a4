"""The sections of a scenario that describe springs, friction, felts, string, screws, wishes and the finger."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, create_model

from sim.fields.section_base import Measured, Section, quantity
from sim.unit.contacts import CONTACT_NAMES


class SpringsSection(Section):
    """Torques on repetition lever and jack, on their stops, against the wippen."""

    repetition: Measured = quantity("N·mm", 0, 200, "on the lever; or { force, radius }", "torque")
    repetition_rate: Measured = quantity("N·mm/rad", 0, 1000, "growth of that torque with the turn")
    jack: Measured = quantity("N·mm", 0, 30, "on the jack; or { force, radius }", "torque")
    jack_rate: Measured = quantity("N·mm/rad", 0, 200, "growth of that torque with the turn")
    arrangement: Annotated[
        Literal["one", "two"] | None, Field(description="one spring serving lever and jack, or a spring for each")
    ] = None
    jack_share: Measured = quantity("", 0, 0.5, "one spring: its torque on the jack over that on the lever")


class FrictionSection(Section):
    """Dry friction of the centres: a torque, { force, radius }, or { swings, from }."""

    key: Measured = quantity(
        "N·mm", 0, 200, "bushings and balance hole; also as a force at the touch point", "key torque"
    )
    wippen: Measured = quantity("N·mm", 0, 15, "wippen flange", "swings")
    jack: Measured = quantity("N·mm", 0, 15, "jack centre", "swings")
    lever: Measured = quantity("N·mm", 0, 15, "lever centre", "swings")
    hammer: Measured = quantity("N·mm", 0, 15, "hammer flange", "swings")


class ContactSection(Section):
    """F = K d**p (1 + c d'), with Coulomb friction, good to a squeeze of ``thickness``."""

    stiffness: Measured = quantity(
        "N/m", 1e2, 1e15, "K, its unit carrying the exponent: 5e7 N/m^2", "contact stiffness"
    )
    exponent: Measured = quantity("", 1, 5, "p")
    loss: Measured = quantity("s/m", 0, 20, "c")
    friction: Measured = quantity("", 0, 1.5, "coefficient of friction")
    thickness: Measured = quantity("mm", 0.1, 30, "felt or leather that can be squeezed")


ContactsSection = create_model(
    "ContactsSection",
    __base__=Section,
    __doc__="Felts, cloths and leathers, by name; each value given replaces the default of that contact.",
    **dict.fromkeys(CONTACT_NAMES, (ContactSection | None, None)),  # type: ignore[call-overload]
)


class StringSection(Section):
    """What the hammer meets: an impedance with its echo, or the string they follow from."""

    impedance: Measured = quantity("kg/s", 0.2, 60, "all strings of the note together")
    near_end_delay: Measured = quantity("ms", 0.005, 10, "strike point to the near termination and back")
    length: Measured = quantity("mm", 30, 2500, "speaking length")
    tension: Measured = quantity("N", 150, 2500, "tension of one string")
    mass: Measured = quantity("g", 0.05, 400, "mass of one string's speaking length")
    strike_ratio: Measured = quantity("", 0.03, 0.3, "near end to strike point over the speaking length")
    count: Annotated[int | None, Field(ge=1, le=3, description="strings of the note")] = None
    far_end_reflection: Measured = quantity("", 0, 1, "share of the wave that the far end sends back")


class SettingsSection(Section):
    """The screws and papers as they are; gaps and heights in the design pose."""

    capstan_height: Measured = quantity("mm", 15, 90, "top of the capstan over the level of the key's underside")
    back_cloth: Measured = quantity("mm", -8, 8, "surface of the back-rail cloth over the level of the balance point")
    punching: Measured = quantity("mm", 3, 20, "key's underside to the front punching, key level")
    punching_height: Measured = quantity("mm", 2, 75, "top of the front punching over the key bed; instead of the gap")
    let_off_button: Measured = quantity("mm", -2, 20, "jack's toe to the let-off button")
    let_off_button_height: Measured = quantity("mm", 40, 260, "let-off button over the key bed; instead of the gap")
    drop_screw: Measured = quantity("mm", -2, 20, "drop screw to the lever's surface")
    drop_screw_height: Measured = quantity(
        "mm", 60, 330, "lower end of the drop screw over the key bed; instead of the gap"
    )
    jack_address: Measured = quantity(
        "mm", -6, 6, "rear edge of the jack's top to that of the knuckle's core, + jack toward the player"
    )
    lever_height: Measured = quantity("mm", -2, 3, "top of the jack below the lever's surface under the knuckle")
    backcheck_place: Measured = quantity("mm", 120, 350, "balance pin to the foot of the check's leather face")
    backcheck_height: Measured = quantity("mm", 20, 160, "that foot over the level of the key's underside")
    backcheck_angle: Measured = quantity("deg", 40, 110, "leather face against the key's level, seen from the bass")
    rest_cushion: Measured = quantity("mm", -4, 30, "shank to the rest cushion below it")
    rest_cushion_height: Measured = quantity("mm", 60, 300, "rest cushion over the key bed; instead of the gap")
    damper: Measured = quantity("mm", -2, 15, "key's end to the underlever")
    capstan_pitch: Measured = quantity("mm", 0.2, 4, "rise of the capstan per turn, for moves told in turns")
    button_pitch: Measured = quantity("mm", 0.2, 4, "rise of the let-off button per turn")
    drop_screw_pitch: Measured = quantity("mm", 0.2, 4, "way of the drop screw per turn")


class TargetsSection(Section):
    """What the set-up shall bring about; a target wins over the settings that make it."""

    blow: Measured = quantity("mm", 25, 65, "crown at rest to the string")
    dip: Measured = quantity("mm", 5, 16, "front edge from rest to the punching, under 300 gf")
    let_off: Measured = quantity("mm", 0.2, 10, "crown to string at let-off, slow press")
    drop: Measured = quantity("mm", 0, 12, "fall of the crown below its let-off height")
    drop_at: Annotated[Literal["escape", "bottom"] | None, Field(description="where the drop is read")] = None
    aftertouch: Measured = quantity("mm", 0.1, 6, "key travel from the end of let-off to the punching")
    checking_distance: Measured = quantity("mm", 4, 40, "crown to string, hammer in check after a moderate blow")
    spring_rise: Measured = quantity("mm", 0.2, 20, "lift of the hammer by its lever when the check lets go")
    lever_height: Measured = quantity("mm", -2, 3, "top of the jack below the lever's surface, at rest")
    jack_address: Measured = quantity(
        "mm", -6, 6, "rear edge of jack to that of the core, at rest, + toward the player"
    )
    balance_weight: Measured = quantity("gf", 5, 90, "mean of down and up weight")
    rest_cushion_gap: Measured = quantity("mm", 0, 20, "shank over its rest cushion, at rest")
    damper_start: Measured = quantity("mm", 0.5, 12, "front-edge travel at which the damper begins to rise")
    key_height: Measured = quantity("mm", 35, 110, "top of the key at its front edge over the key bed, at rest")
    check_angle: Measured = quantity("deg", 40, 110, "leather face of the check against the key's level")
    inertia: Measured = quantity("g", 100, 600, "apparent mass at the touch point, by hammer weight and key leads")


class TouchSection(Section):
    """The finger, and where it plays."""

    mass: Measured = quantity("g", 1, 3000, "mass that moves with the finger")
    rise_time: Measured = quantity("ms", 0.1, 500, "time constant of the muscle's force")
    muscle_damping: Measured = quantity("N·s/m", 0, 200, "force given way per speed of the finger")
    struck_height: Measured = quantity("mm", 0, 100, "height over the key from which a struck touch starts")
    point: Measured = quantity("mm", 0, 150, "place of the finger behind the key's front edge")


class DamperSection(Section):
    """Damper with its underlever, where one is fitted."""

    place: Measured = quantity("mm", 120, 360, "balance pin to where the key lifts the underlever")
    height: Measured = quantity("mm", 5, 60, "that place over the level of the key's underside")
    mass: Measured = quantity("g", 2, 200, "damper and underlever, weighed at the key's end")
    friction: Measured = quantity("gf", 0, 60, "friction of wire and underlever at the key's end")
