"""One unit from parts of several scenarios: key, wippen, flange, jack, lever, hammer and shank, all else from a base.

A flange comes with its wippen and a shank with its hammer, unless they are told
apart: then head and moulding are the hammer's.  What is counted from a part is
taken over with it (the check's place on the key); screws keep the gaps they had in
the base and follow the parts; the capstan's screw is brought to the heel.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from sim.errors import Fault, InputError
from sim.fields.overrides import apply_overrides
from sim.fields.scenario_files import Leaf, Leaves, read_with_bases
from sim.scenario import load
from sim.unit.model import ActionUnit
from sim.unit.plane import rotate_vector
from sim.units import MASS, format_mm, format_quantity


@dataclass(frozen=True)
class Part:
    """A part that may come from elsewhere: its section of a scenario, and the fields that are its own there."""

    section: str
    fields: tuple[str, ...] = ()
    """Empty: the whole section."""

    def holds(self, path: tuple[str, ...]) -> bool:
        """Whether a field belongs to it."""
        return path[0] == self.section and (not self.fields or path[1] in self.fields)


PARTS: Mapping[str, Part] = {
    "key": Part("key"),
    "wippen": Part("wippen"),
    "flange": Part("wippen", ("flange_height", "flange_offset")),
    "jack": Part("jack"),
    "lever": Part("lever"),
    "hammer": Part("hammer"),
    "shank": Part("hammer", (
        "hanging_distance", "knuckle_set", "knuckle_drop", "knuckle_diameter", "cushion_place", "shank_diameter",
        "shank_weight", "shank_inertia", "shank_stiffness", "shank_damping", "shank_bends",
    )),
}  # fmt: skip
"""Parts by name, a part of a section after the whole of it."""

HAMMER_WEIGHTS = ("weight", "head_mass", "shank_weight")
"""Ways of weighing a hammer, of which two tell the third."""

KEY_SETTINGS = ("backcheck_place", "backcheck_height", "backcheck_angle")
"""Settings that are counted from the key."""

FLANGE_MEASURES = {
    "flange_height": ("wippen_rail_height", "wippen_centre_height"),
    "flange_offset": ("balance_to_wippen_screw", "balance_to_wippen_centre"),
}
"""Measures of the wippen's flange, with the rail's measure they need and the one that says it without a flange."""


@dataclass(frozen=True)
class Source:
    """A scenario that parts are taken from."""

    name: str
    path: str
    leaves: Leaves = field(repr=False, hash=False, compare=False)

    def section(self, part: str) -> Leaves:
        """What it says of one part."""
        settings = KEY_SETTINGS if part == "key" else ()
        return {
            p: leaf for p, leaf in self.leaves.items()
            if PARTS[part].holds(p) or (p[0] == "settings" and p[1] in settings)
        }  # fmt: skip


@dataclass(frozen=True)
class Base:
    """What rails, springs, friction, felts, string and screws are taken from."""

    source: Source
    unit: ActionUnit
    measures: Mapping[str, float] = field(repr=False)

    @property
    def gaps(self) -> dict[str, float]:
        """Gaps of the screws in the design pose, m."""
        u = self.unit
        toe = u.wippen.centre[1] + u.wippen.jack_centre[1] + u.jack.toe_centre[1] + u.jack.toe_radius
        (x0, y0), (x1, y1) = u.lever.surface_from, u.lever.surface_to
        lean = (y1 - y0) / (x1 - x0)
        base = [a + b for a, b in zip(u.wippen.centre, u.wippen.lever_centre, strict=True)]
        x, y = u.rails.drop_screw_tip
        over = y - (base[1] + y0 + (x - base[0] - x0) * lean)
        shank = u.hammer.centre[1] + rotate_vector(u.hammer.cushion_point, u.hammer.rest_angle)[1]
        return {
            "let_off_button": u.rails.let_off_button_plane_y - toe,
            "drop_screw": over / (1 + lean**2) ** 0.5 - u.rails.drop_screw_radius,
            "rest_cushion": shank - u.rails.rest_cushion_plane_y,
        }

    @property
    def capstan_gap(self) -> float:
        """Capstan's top over the heel's flat in the design pose, m."""
        u = self.unit
        top = u.key.capstan_centre[1] + u.key.capstan_radius
        return top - u.wippen.centre[1] - u.wippen.heel_point[1]


def load_source(path: str | Path) -> Source:
    """A scenario to take parts from; raw coordinates are no parts, and refused."""
    leaves = read_with_bases(Path(path))
    raw = next((leaf for p, leaf in leaves.items() if p[0] == "coordinates"), None)
    if raw is not None:
        remedy = "parts are exchanged by their measures: give key, wippen, jack, lever and hammer as measured"
        raise InputError([Fault(raw.file, raw.line, "coordinates", "given", "no raw coordinates", remedy)])
    named = leaves.get(("name",))
    return Source(str(named.raw) if named else Path(path).stem, str(path), leaves)


def load_part_source(path: str | Path, part: str) -> Source:
    """As ``load_source``, for one part; a scenario that tells nothing of it is an InputError."""
    found = load_source(path)
    if found.section(part):
        return found
    wanted = PARTS[part]
    allowed = f"a [{wanted.section}] section" + (f" with {', '.join(wanted.fields[:4])} ..." if wanted.fields else "")
    remedy = f"name a scenario that tells of the {part}, or leave --{part} out"
    raise InputError([Fault(found.path, None, part, "not told", allowed, remedy)])


def load_base(path: str | Path, overrides: Mapping[str, str] | None = None) -> Base:
    """A scenario to build on, with inputs changed for this once; it has to be sound itself."""
    plain = load_source(path)
    found = Source(plain.name, plain.path, apply_overrides(plain.leaves, plain.path, overrides or {}))
    unit = load.build_from_leaves(found.leaves, found.path)
    return Base(found, unit, load.collect_measures(found.leaves, found.path))


@dataclass(frozen=True)
class Composite:
    """A unit on paper: leaves ready to be made a unit, measures (SI), what was settled on the way."""

    leaves: Leaves = field(repr=False)
    measures: Mapping[str, float] = field(repr=False)
    remarks: tuple[str, ...] = ()

    def build(self) -> ActionUnit:
        """The unit; what does not go together at all is an InputError."""
        return load.build_from_leaves(self.leaves, "these parts")


def compose_unit(on: Base, parts: Mapping[str, Source]) -> Composite:
    """The parts on the base; an InputError where a measure is out of its range."""
    whole = {part: s for part, s in parts.items() if not PARTS[part].fields and s.path != on.source.path}
    given = {p: s for part, source in whole.items() for p, s in source.section(part).items()}
    gone = ("targets", *whole)
    leaves = {p: leaf for p, leaf in on.source.leaves.items() if p[0] not in gone and p not in given}
    if "key" in whole:
        leaves = {p: leaf for p, leaf in leaves.items() if not (p[0] == "settings" and p[1] in KEY_SETTINGS)}
    leaves |= given
    for top in ("based_on", "default_source"):
        leaves.pop((top,), None)
    apart = {part: s for part, s in parts.items() if PARTS[part].fields and s.path != _with(part, on, whole).path}
    for part, origin in apart.items():
        leaves = _exchanged(leaves, part, origin)
    remarks = _flange(leaves, on, {**whole, **apart})
    for name, gap in on.gaps.items():
        leaves.pop(("settings", f"{name}_height"), None)
        leaves["settings", name] = _leaf(gap)
    leaves["settings", "capstan_height"] = _leaf(0.04)
    found = load.collect_measures(leaves, "these parts")
    height = compute_capstan_height(found) + on.capstan_gap
    leaves["settings", "capstan_height"] = _leaf(height)
    return Composite(leaves, found | {"settings.capstan_height": height}, tuple(remarks))


def _with(part: str, on: Base, whole: Mapping[str, Source]) -> Source:
    """Where a part of a section comes from as long as nobody tells it apart."""
    return whole.get(PARTS[part].section, on.source)


def _exchanged(leaves: Leaves, part: str, origin: Source) -> Leaves:
    """A part of a section from elsewhere; the weight of a hammer is put together again from head and shank."""
    own = PARTS[part]
    kept = {p: leaf for p, leaf in leaves.items() if not own.holds(p)}
    exchanged = kept | origin.section(part)
    if own.section != "hammer":
        return exchanged
    theirs = {p: leaf for p, leaf in leaves.items() if p[0] != "hammer"} | origin.section("hammer")
    head, shank = (
        load.compute_hammer_weights(leaves, "these parts")[0],
        load.compute_hammer_weights(theirs, origin.path)[1],
    )
    for name in HAMMER_WEIGHTS:
        exchanged.pop(("hammer", name), None)
    return exchanged | {("hammer", "head_mass"): _weighed(head), ("hammer", "shank_weight"): _weighed(shank)}


def _flange(leaves: Leaves, on: Base, foreign: Mapping[str, Source]) -> list[str]:
    """Flange and rail say one thing together: where one of the two is not known, the centre stays where it was."""
    remarks = []
    for name, (rail, centre) in FLANGE_MEASURES.items():
        own, rails = ("wippen", name), ("rails", rail)
        title = name.replace("_", " ")
        if own in leaves and rails not in leaves:
            del leaves[own]
            remarks.append(f"{title} of the wippen cannot be compared: rails.{rail} of the base is not known")
        elif rails in leaves and own not in leaves and foreign.keys() & {"wippen", "flange"}:
            del leaves[rails]
            leaves["rails", centre] = _leaf(locate_wippen_centre(on.measures)[centre])
            remarks.append(f"{title} of the wippen is not known: its centre is taken to stand where the base's does")
    return remarks


def locate_wippen_centre(measures: Mapping[str, float]) -> dict[str, float]:
    """Height of the wippen centre over the bed, and its distance from the balance pins, m."""
    height = measures.get("rails.wippen_centre_height")
    if "rails.wippen_rail_height" in measures:
        height = measures["rails.wippen_rail_height"] + measures["wippen.flange_height"]
    place = measures.get("rails.balance_to_wippen_centre")
    if "rails.balance_to_wippen_screw" in measures:
        place = measures["rails.balance_to_wippen_screw"] - measures["wippen.flange_offset"]
    return {"wippen_centre_height": height or 0.0, "balance_to_wippen_centre": place or 0.0}


def compute_capstan_height(measures: Mapping[str, float]) -> float:
    """Height of the capstan's top at which it meets a level heel, over the level of the key's underside, m."""
    centre = locate_wippen_centre(measures)["wippen_centre_height"]
    return centre - measures["wippen.heel_drop"] - measures["key.balance_rail_height"]


def _leaf(value: float) -> Leaf:
    return _following(format_mm(value, 6))


def _weighed(mass: float) -> Leaf:
    return _following(format_quantity(mass, "g", MASS, 6))


def _following(text: str) -> Leaf:
    return Leaf({"value": text, "source": "estimated", "note": "follows the parts"}, "these parts", None)
