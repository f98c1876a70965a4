"""What one action unit is: frozen data in SI units, in the plane of the unit.

Frame: x rearward (away from the player), y up, origin where the key's
underside meets the balance rail; angles counter-clockwise.  Every coordinate
is given in the *design pose* (key level on its back-rail cloth, heel level on
its capstan); the pose at rest follows from it by settling the felts.

Part coordinates are relative to the part's own centre; the key's are relative
to the origin.  The hammer's are (along, across) the shank.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

Vec = tuple[float, float]

GRAVITY = 9.80665
"""Standard acceleration of free fall, m/s² (CGPM 1901)."""

CENTRES = ("key", "wippen", "jack", "lever", "hammer")
"""Names of the joints that carry dry friction."""


@dataclass(frozen=True, slots=True)
class ContactLaw:
    """F = K d**p (1 + c d'), never tensile (Hunt & Crossley, J. Appl. Mech. 42 (1975) 440).

    ``stiffness`` K in N/m**p, ``exponent`` p, ``loss`` c in s/m, ``friction``
    the Coulomb coefficient, ``thickness`` the squeeze in m beyond which the
    law has no meaning (the felt or leather would be through).
    """

    stiffness: float
    exponent: float
    loss: float
    friction: float
    thickness: float


@dataclass(frozen=True, slots=True)
class Key:
    """Two rigid halves joined by a bending spring over the balance rail."""

    touch_point: Vec
    front_edge_x: float
    punching_x: float
    punching_plane_y: float
    back_cloth_x: float
    back_cloth_plane_y: float
    capstan_centre: Vec
    capstan_radius: float
    backcheck_foot: Vec
    backcheck_angle: float
    backcheck_length: float
    inertia_front: float
    inertia_rear: float
    front_moment: float
    """Gravity moment of the whole key in kg·m, positive when the front is heavy."""
    bending_stiffness: float
    bending_damping: float
    sharp: bool = False
    lead_place: float = 0.0
    """Where lead is put in or taken out, m from the balance pin, + toward the player; 0: not known."""
    lead_moment: float | None = None
    """What the leads in the key weigh about the pin, kg·m; None: not known."""


@dataclass(frozen=True, slots=True)
class Wippen:
    centre: Vec
    """Absolute, m."""
    heel_point: Vec
    """A point of the heel's flat underside, from the wippen centre."""
    heel_angle: float
    jack_centre: Vec
    lever_centre: Vec
    mass: float
    mass_centre: Vec
    inertia: float
    """About the wippen centre, without jack and lever, kg·m²."""


@dataclass(frozen=True, slots=True)
class Jack:
    """Coordinates from the jack centre, in the design pose.

    ``top_front``, ``top_rear`` and ``rear_face_down_to`` run through the centres
    of the rounded edges: the wood (or leather) begins ``top_edge_radius`` outside
    the line through them.
    """

    top_front: Vec
    top_rear: Vec
    top_edge_radius: float
    rear_face_down_to: Vec
    toe_centre: Vec
    toe_radius: float
    largest_turn: float
    mass: float
    mass_centre: Vec
    inertia: float
    """About the jack centre, kg·m²."""
    stop_angle: float = 0.0
    """Turn of the jack against the wippen (rad) at which its stop stands; + toward the player."""


@dataclass(frozen=True, slots=True)
class Lever:
    """Repetition lever; coordinates from the lever centre, in the design pose."""

    surface_from: Vec
    surface_to: Vec
    mass: float
    mass_centre: Vec
    inertia: float
    """About the lever centre, kg·m²."""
    stop_angle: float = 0.0
    """Turn of the lever against the wippen (rad) at which its height stop stands."""


@dataclass(frozen=True, slots=True)
class Hammer:
    """Shank, knuckle, head and tail; coordinates (along, across) the shank."""

    centre: Vec
    """Absolute, m."""
    rest_angle: float
    """Design angle of the shank against x, rad; only where the settling starts."""
    knuckle_centre: Vec
    knuckle_radius: float
    strike_point: Vec
    tail_centre: Vec
    tail_radius: float
    cushion_point: Vec
    head_mass: float
    head_mass_centre: Vec
    head_gyration: float
    """Radius of gyration of the head about its own mass centre, m."""
    shank_inertia: float
    shank_mass_moment: float
    shank_bending_stiffness: float
    """Force at the head over its deflection, root clamped, N/m."""
    shank_damping_ratio: float
    shank_length: float
    """From the hammer centre to the head's line, m."""
    shank_bends: bool = True


@dataclass(frozen=True, slots=True)
class Rails:
    let_off_button_plane_y: float
    drop_screw_tip: Vec
    drop_screw_radius: float
    rest_cushion_plane_y: float
    string_y: float
    spread: float


@dataclass(frozen=True, slots=True)
class Springs:
    """Torques on lever and jack against the wippen: T = T0 + k * turn from the design pose."""

    repetition: float
    repetition_rate: float
    jack: float
    jack_rate: float


@dataclass(frozen=True, slots=True)
class String:
    """Travelling waves at the strike point; impedance of all strings of the note together."""

    impedance: float
    near_end_delay: float
    """Time to the near termination and back, s."""
    far_end_delay: float
    far_end_reflection: float
    """0: the far end sends nothing back; 1: all of it."""


@dataclass(frozen=True, slots=True)
class Damper:
    """A damper carried by its underlever, reduced to a mass over the key's end."""

    key_end: Vec
    gap: float
    """Height of the underlever's felt over the key's end in the design pose, m."""
    mass: float
    friction: float
    """Dry friction of damper wire and underlever, N at the key's end."""


@dataclass(frozen=True, slots=True)
class Finger:
    """A finger: mass, pad, and a muscle whose force rises in a set time and gives way to speed.

    F(t, u) = F0 (1 - (1 + t/rise_time) exp(-t/rise_time)) - muscle_damping * u at
    the key: a critically damped second-order activation (usual form for muscle;
    from memory, no source read) and a linear fall of force with speed.
    """

    mass: float
    rise_time: float
    muscle_damping: float
    struck_height: float


@dataclass(frozen=True, slots=True)
class Source:
    """Where a value comes from.

    ``kind`` is one of measured, estimated, published, common practice, from
    memory, set up (found by the computation) or assumed (a default of this part
    of the compass).
    """

    kind: str
    note: str = ""
    uncertainty: float | None = None
    """Standard uncertainty in SI units, where the value was measured."""


@dataclass(frozen=True, slots=True)
class ActionUnit:
    """One note's action, complete: what the physics needs and where it comes from."""

    name: str
    note: str
    key_number: int
    key: Key
    wippen: Wippen
    jack: Jack
    lever: Lever
    hammer: Hammer
    rails: Rails
    springs: Springs
    friction: Mapping[str, float]
    """Dry-friction torque per centre (names of CENTRES), N·m."""
    contacts: Mapping[str, ContactLaw]
    string: String
    finger: Finger
    damper: Damper | None = None
    sources: Mapping[str, Source] = field(default_factory=dict)
    """Scenario path (``hammer.bore``) to its source."""
    nominal: Mapping[str, float] = field(default_factory=dict)
    """Values of the scenario as read, SI, by path: what was asked, before anything settles."""
    targets: Mapping[str, float] = field(default_factory=dict)
    """What the set-up shall bring about (``blow``, ``let_off`` ...), SI; empty when every screw is given as it is."""
    path: str = ""

    @property
    def assumed(self) -> tuple[str, ...]:
        """Paths of the inputs that nobody measured."""
        return tuple(sorted(p for p, s in self.sources.items() if s.kind == "assumed"))
