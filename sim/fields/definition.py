"""The scenario file as a whole, and what must not be given twice."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from sim.fields.coordinates import CoordinatesSection
from sim.fields.part_sections import HammerSection, JackSection, KeySection, LeverSection, RailsSection, WippenSection
from sim.fields.quantity_field import SourceKind
from sim.fields.section_base import Name, Section
from sim.fields.working_sections import (
    ContactsSection,
    DamperSection,
    FrictionSection,
    SettingsSection,
    SpringsSection,
    StringSection,
    TargetsSection,
    TouchSection,
)


class Scenario(Section):
    """One note's action as measured on the bench."""

    name: Annotated[Name, Field(description="what the bench calls it")]
    note: Annotated[str, Field(max_length=4000, description="anything worth knowing")] = ""
    invented: Annotated[bool, Field(description="true: no such unit exists")] = False
    key_number: Annotated[int, Field(ge=1, le=88, description="1 the lowest key, 88 the highest")]
    based_on: Annotated[str | None, Field(description="another file of this folder; this one holds what differs")] = (
        None
    )
    default_source: Annotated[SourceKind | None, Field(description="source of values that name none")] = None
    key: KeySection | None = None
    wippen: WippenSection | None = None
    jack: JackSection | None = None
    lever: LeverSection | None = None
    hammer: HammerSection | None = None
    rails: RailsSection | None = None
    springs: SpringsSection | None = None
    friction: FrictionSection | None = None
    contacts: ContactsSection | None = None
    string: StringSection | None = None
    settings: SettingsSection | None = None
    targets: TargetsSection | None = None
    touch: TouchSection | None = None
    damper: DamperSection | None = None
    coordinates: CoordinatesSection | None = None  # type: ignore[valid-type]


ALTERNATIVES: tuple[tuple[tuple[str, ...], ...], ...] = (
    (("settings.punching",), ("settings.punching_height",)),
    (("settings.let_off_button",), ("settings.let_off_button_height",)),
    (("settings.drop_screw",), ("settings.drop_screw_height",)),
    (("settings.rest_cushion",), ("settings.rest_cushion_height",)),
    (("rails.balance_to_wippen_centre",), ("rails.balance_to_wippen_screw", "wippen.flange_offset")),
    (("rails.wippen_centre_height",), ("rails.wippen_rail_height", "wippen.flange_height")),
    (("wippen.weight",), ("wippen.mass",)),
    (("string.impedance", "string.near_end_delay"), ("string.length", "string.tension", "string.mass")),
    (("springs.jack",), ("springs.jack_share",)),
)
"""Ways of giving one thing: a file uses one of each row, and a file based on another replaces the other's way."""

SUPERSEDED_WHEN: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("key.mass", ("key.inertia_front", "key.inertia_rear", "key.front_weight")),
    ("key.rear_length", ("key.inertia_front", "key.inertia_rear", "key.front_weight")),
    ("key.capstan_mass", ("key.inertia_front", "key.inertia_rear", "key.front_weight")),
    ("key.backcheck_mass", ("key.inertia_front", "key.inertia_rear", "key.front_weight")),
    ("key.front_weight", ("key.leads",)),
    ("hammer.shank_weight", ("hammer.weight", "hammer.head_mass")),
    ("hammer.weight", ("hammer.head_mass",)),
)
"""A value that needs no default once all of the others are given."""
