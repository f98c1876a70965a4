"""The design unit: one invented grand-action unit in raw coordinates, fixture of the physics tests.

Invented; no real action was measured.  Proportions are the trade's, the hammer's
inertia lies near Hirschkorn's (thesis, Waterloo 2004, App. A), screws were set up
on a compliant model.  Points are in mm from the balance rail, x rearward, y up,
in the design pose; masses in g; the rest SI.
"""

from __future__ import annotations

import math
from functools import cache

import sim
from sim.unit.model import ActionUnit, ContactLaw, Finger, Hammer, Jack, Key, Lever, Rails, Springs, String, Vec, Wippen

WIPPEN = (188.44, 64.84)
JACK = (113.36, 75.71)
LEVER = (155.33, 111.99)
HAMMER = (107.42, 142.88)

LAWS: dict[str, tuple[float, float, float, float]] = {
    "finger": (2.5e5, 1.0, 0.3, 0.0),
    "back_cloth": (5e7, 2.0, 2.5, 0.0),
    "punching": (2.5e8, 2.0, 1.5, 0.0),
    "capstan": (6e8, 2.0, 0.8, 0.35),
    "jack_knuckle": (5e8, 2.0, 0.8, 0.35),
    "lever_knuckle": (4e8, 2.0, 0.8, 0.35),
    "toe_button": (6e8, 2.0, 1.0, 0.25),
    "drop_screw": (6e8, 2.0, 1.0, 0.25),
    "jack_stop": (3e8, 2.0, 1.5, 0.0),
    "jack_window": (3e8, 2.0, 1.5, 0.0),
    "lever_stop": (3e8, 2.0, 1.5, 0.0),
    "rest_cushion": (2e7, 2.0, 3.0, 0.0),
    "backcheck": (6e4, 1.2, 1.5, 0.55),
    "string": (4e9, 2.5, 0.25, 0.0),
    "key_damper": (5e7, 2.0, 2.0, 0.0),
    "damper_seat": (5e7, 2.0, 2.0, 0.0),
}
"""K (N/m**p), p, c (s/m), friction coefficient; a contact that is not among them has its default law."""


def point_mm(x: float, y: float, origin: Vec = (0.0, 0.0)) -> Vec:
    return (x - origin[0]) * 1e-3, (y - origin[1]) * 1e-3


@cache
def load_design_unit() -> ActionUnit:
    return ActionUnit(
        name="design unit",
        note="invented",
        key_number=40,
        key=Key(
            touch_point=point_mm(-250.0, 22.0),
            front_edge_x=-0.263,
            punching_x=-0.250,
            punching_plane_y=-9.42e-3,
            back_cloth_x=0.225,
            back_cloth_plane_y=0.0,
            capstan_centre=point_mm(131.02, 33.14),
            capstan_radius=0.010,
            backcheck_foot=point_mm(242.69, 85.03),
            backcheck_angle=math.radians(68.0),
            backcheck_length=0.022,
            inertia_front=1.7e-3,
            inertia_rear=1.9e-3,
            front_moment=24.4e-3 * 0.25,
            bending_stiffness=1600.0,
            bending_damping=0.15,
        ),
        wippen=Wippen(
            centre=point_mm(*WIPPEN),
            heel_point=point_mm(131.02, 43.04, WIPPEN),
            heel_angle=0.0,
            jack_centre=point_mm(*JACK, WIPPEN),
            lever_centre=point_mm(*LEVER, WIPPEN),
            mass=12.45e-3,
            mass_centre=point_mm(-43.0, 10.0),
            inertia=3.11e-5,
        ),
        jack=Jack(
            top_front=point_mm(117.69, 126.16, JACK),
            top_rear=point_mm(121.46, 125.70, JACK),
            top_edge_radius=0.4e-3,
            rear_face_down_to=point_mm(120.11, 114.78, JACK),
            toe_centre=point_mm(88.36, 81.71, JACK),
            toe_radius=3e-3,
            largest_turn=0.42,
            mass=3.5e-3,
            mass_centre=point_mm(-4.0, 22.0),
            inertia=3.6e-6,
        ),
        lever=Lever(
            surface_from=point_mm(100.98, 128.78, LEVER),
            surface_to=point_mm(164.50, 120.93, LEVER),
            mass=4.5e-3,
            mass_centre=point_mm(-16.0, 6.0),
            inertia=3.2e-6,
        ),
        hammer=Hammer(
            centre=point_mm(*HAMMER),
            rest_angle=math.radians(-18.64),
            knuckle_centre=point_mm(17.0, -6.5),
            knuckle_radius=5e-3,
            strike_point=point_mm(131.0, 50.0),
            tail_centre=point_mm(134.0, -19.4),
            tail_radius=6e-3,
            cushion_point=point_mm(80.0, -3.0),
            head_mass=7.5e-3,
            head_mass_centre=point_mm(131.0, 20.0),
            head_gyration=18e-3,
            shank_inertia=2.36e-5,
            shank_mass_moment=2.7e-4,
            shank_bending_stiffness=1300.0,
            shank_damping_ratio=0.02,
            shank_length=0.131,
        ),
        rails=Rails(
            let_off_button_plane_y=89.98e-3,
            drop_screw_tip=point_mm(107.93, 136.78),
            drop_screw_radius=3e-3,
            rest_cushion_plane_y=110.47e-3,
            string_y=192.88e-3,
            spread=0.1125,
        ),
        springs=Springs(repetition=0.033, repetition_rate=0.06, jack=0.0025, jack_rate=0.004),
        friction={"key": 14.2e-3, "wippen": 0.8e-3, "jack": 0.3e-3, "lever": 1.2e-3, "hammer": 1.1e-3},
        contacts=sim.load("concert-grand-natural").contacts
        | {n: ContactLaw(*law, thickness=6e-3) for n, law in LAWS.items()},
        string=String(impedance=6.2, near_end_delay=0.46e-3, far_end_delay=3.36e-3, far_end_reflection=0.0),
        finger=Finger(mass=0.1, rise_time=0.03, muscle_damping=2.0, struck_height=0.02),
    )
