"""From a filled sheet to one action unit."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import fields as dataclass_fields
from dataclasses import is_dataclass, replace
from typing import Any

from sim.fields.coordinates import PARTS, SUPERSEDED_MEASURES
from sim.fields.derivation_sheet import Sheet, UnworkableError
from sim.fields.field_paths import index_fields
from sim.fields.quantity_field import QuantityField
from sim.scenario import derive, derive_key, geometry_checks
from sim.scenario.design_pose import POSE_FIELDS, derive_pose
from sim.unit.centres import compute_gravity_stiffness, convert_swings_to_torque
from sim.unit.contacts import CONTACT_NAMES, CONTACTS, Lift
from sim.unit.model import CENTRES, ActionUnit, ContactLaw, Source, Springs, Vec
from sim.unit.plane import add_vectors


def build_unit(sheet: Sheet, name: str, note: str, key_number: int, path: str) -> ActionUnit | None:
    """The unit, or None with contradictions noted in the sheet."""
    geometry_checks.check_measures(sheet)
    try:
        parts = _parts(sheet)
    except UnworkableError:
        return None
    parts = {part: _with_coordinates(part, made, sheet) for part, made in parts.items()}
    hang = _gravity_stiffnesses(parts)
    unit = ActionUnit(
        name=name, note=note, key_number=key_number, path=path, friction=_frictions(sheet, hang),
        **parts, springs=_springs(sheet), contacts=_contacts(sheet), string=derive_key.derive_string(sheet),
        finger=derive_key.derive_finger(sheet), damper=derive_key.derive_damper(sheet), sources=_sources(sheet),
        nominal={p: g.value for p, g in sheet.values.items()}, targets=_targets(sheet),
    )  # fmt: skip
    geometry_checks.check_pose(sheet, unit, raw=bool(_raw_paths(sheet)))
    return None if sheet.contradictions else unit


def _parts(sheet: Sheet) -> dict[str, Any]:
    """The parts as far as they can be worked out, so that one fault does not hide the next."""
    where = derive_pose(sheet)
    makers: dict[str, Callable[[], object]] = {
        "key": lambda: derive_key.derive_key_parts(sheet),
        "wippen": lambda: derive.derive_wippen(sheet, where),
        "jack": lambda: derive.derive_jack(sheet, where),
        "lever": lambda: derive.derive_lever(sheet, where),
        "hammer": lambda: derive.derive_hammer(sheet, where),
        "rails": lambda: derive.derive_rails(sheet, where),
    }
    before = len(sheet.contradictions)
    with sheet.resting_on(POSE_FIELDS):
        made = {part: make() for part, make in makers.items()}
    missing = any(c.value == "missing" for c in sheet.contradictions)
    if missing or len(sheet.contradictions) > before:
        _drop_repeated(sheet)
        raise UnworkableError
    return made


def _drop_repeated(sheet: Sheet) -> None:
    """A contradiction found on two ways is told once."""
    sheet.contradictions[:] = list(dict.fromkeys(sheet.contradictions))


def _raw_paths(sheet: Sheet) -> list[str]:
    return [p for p in (*sheet.values, *sheet.points) if p.startswith("coordinates.")]


def _with_coordinates(part: str, made: Any, sheet: Sheet) -> Any:
    """A part with the raw coordinates of the scenario in place of the derived ones."""
    if part not in PARTS or not is_dataclass(made) or isinstance(made, type):
        return made
    raw: dict[str, float | Vec] = {}
    for field in dataclass_fields(made):
        path = f"coordinates.{part}.{field.name}"
        if path in sheet.points:
            x, y = sheet.points[path]
            raw[field.name] = x.value, y.value
        elif path in sheet:
            raw[field.name] = sheet[path]
    return replace(made, **raw) if raw else made


def _gravity_stiffnesses(parts: Mapping[str, Any]) -> dict[str, float]:
    """Gravity stiffness (N·m/rad) of each freed part hanging from its centre; the wippen with jack and lever."""
    jack, lever, hammer, wippen = parts["jack"], parts["lever"], parts["hammer"], parts["wippen"]
    moment = [wippen.mass * c for c in wippen.mass_centre]
    for part, centre in ((jack, wippen.jack_centre), (lever, wippen.lever_centre)):
        place = add_vectors(centre, part.mass_centre)
        moment = [m + part.mass * c for m, c in zip(moment, place, strict=True)]
    head = [hammer.head_mass * c for c in hammer.head_mass_centre]
    return {
        "jack": compute_gravity_stiffness(jack.mass, jack.mass_centre),
        "lever": compute_gravity_stiffness(lever.mass, lever.mass_centre),
        "wippen": compute_gravity_stiffness(1.0, (moment[0], moment[1])),
        "hammer": compute_gravity_stiffness(1.0, (head[0] + hammer.shank_mass_moment, head[1])),
    }


def _frictions(sheet: Sheet, hanging: Mapping[str, float]) -> dict[str, float]:
    """Torques of the centres, those told by swings or by a force at the key worked out."""
    for centre in CENTRES:
        path = f"friction.{centre}"
        given = sheet.values[path]
        if given.si is None:
            sheet.values[path] = _settled(given, hanging.get(centre, 0.0), derive_key.derive_touch_arm(sheet))
            _within_range(sheet, path)
    return {centre: sheet[f"friction.{centre}"] for centre in CENTRES}


def _settled(given: QuantityField, stiffness: float, arm: float) -> QuantityField:
    if given.touch_force is not None:
        return given.with_si(given.touch_force * arm)
    count, start = given.swings or (1.0, 0.0)
    return given.with_si(convert_swings_to_torque(count, start, stiffness))


def _within_range(sheet: Sheet, path: str) -> None:
    kind = index_fields()[path].kind
    if kind is not None:
        torque = 1e3 * sheet[path]
        remedy = f"this makes {torque:.2f} N·mm, more than a joint can have: count or weigh again"
        sheet.ask(kind.holds(sheet[path]), path, (), kind.allowed, remedy)


def _springs(sheet: Sheet) -> Springs:
    repetition, rate = sheet["springs.repetition"], sheet["springs.repetition_rate"]
    if sheet.choice("springs.arrangement", "two") == "one":
        return Springs(
            repetition, rate, repetition * (sheet.get("springs.jack_share") or 0.0), sheet["springs.jack_rate"]
        )
    return Springs(repetition, rate, sheet.get("springs.jack") or 0.0, sheet["springs.jack_rate"])


def _contacts(sheet: Sheet) -> dict[str, ContactLaw]:
    names = ("stiffness", "exponent", "loss", "friction", "thickness")
    return {contact: ContactLaw(*(sheet[f"contacts.{contact}.{n}"] for n in names)) for contact in CONTACT_NAMES}


def _targets(sheet: Sheet) -> dict[str, float]:
    """Targets by name; a drop to be read at the bottom of the key is ``drop_at_bottom``."""
    named = {p.removeprefix("targets."): g.value for p, g in sheet.values.items() if p.startswith("targets.")}
    if sheet.choice("targets.drop_at", None) == "bottom" and "drop" in named:
        named["drop_at_bottom"] = named.pop("drop")
    return named


def _sources(sheet: Sheet) -> dict[str, Source]:
    """Source of every value that has an effect."""
    sources = {path: given.source for path, given in sheet.values.items()}
    sources |= {path: pair[0].source for path, pair in sheet.points.items()}
    idle = {p for raw in _raw_paths(sheet) for p in SUPERSEDED_MEASURES.get(raw.removeprefix("coordinates."), ())}
    damper = tuple(f"contacts.{c.name}." for c in CONTACTS if isinstance(c.shape, Lift))
    unused = damper if "damper.mass" not in sheet else ()
    return {
        path: source
        for path, source in sources.items()
        if source.kind != "assumed" or (path not in idle and not (unused and path.startswith(unused)))
    }
