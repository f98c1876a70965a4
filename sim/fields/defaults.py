"""Defaults over the compass: what a scenario leaves out, by key number, each marked as assumed."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache

from sim.fields.catalogue import Entry, load_entries, one_of
from sim.fields.definition import SUPERSEDED_WHEN
from sim.fields.field_paths import index_fields
from sim.fields.quantity_field import Kind, QuantityField, read_quantity
from sim.fields.scenario_files import find_alternatives
from sim.unit.model import Source

SHARP_KEYS = frozenset({1, 4, 6, 9, 11})
"""Places of the sharps in an octave counted from A, the lowest key."""


@dataclass(frozen=True, slots=True)
class Default:
    """One default: points of key number and SI value, for naturals and sharps."""

    natural: tuple[tuple[int, float], ...]
    sharp: tuple[tuple[int, float], ...]
    note: str
    power: float | None

    def at(self, key_number: int, sharp: bool) -> float:
        """SI value at a key number, by straight lines between the points."""
        points = self.sharp if sharp else self.natural
        below = [p for p in points if p[0] <= key_number] or [points[0]]
        above = [p for p in points if p[0] >= key_number] or [points[-1]]
        (k0, v0), (k1, v1) = below[-1], above[0]
        return v0 if k0 == k1 else v0 + (v1 - v0) * (key_number - k0) / (k1 - k0)


DAMPER, ONE_SPRING = "damper", "springs.arrangement = one"
"""Marks among the given paths: a damper is fitted, one spring serves lever and jack."""


def is_sharp(key_number: int) -> bool:
    """Whether a key of the compass (1 to 88) is a sharp."""
    return (key_number - 1) % 12 in SHARP_KEYS


class _Row(Entry):
    value: str | None = None
    at: tuple[tuple[int, str], ...] | None = None
    sharp: str | None = None
    sharp_at: tuple[tuple[int, str], ...] | None = None
    source: str
    note: str = ""
    _either = one_of("value", "at")


@cache
def load_defaults() -> Mapping[str, Default]:
    """All defaults by path, from ``shared/defaults.toml``."""
    kinds = {field.path: field.kind for field in index_fields().values() if field.kind}
    listed = load_entries("defaults.toml", _Row)
    return {path: _default(row, kinds[path]) for path, row in listed.items() if path in kinds or _unknown(path)}


def _unknown(path: str) -> bool:
    raise ValueError(f"shared/defaults.toml: {path} is no field of a scenario")


def _default(row: _Row, kind: Kind) -> Default:
    natural = _points(row.at or ((1, row.value or ""),), kind)
    sharp = row.sharp_at or (row.sharp and ((1, row.sharp),))
    note = f"{row.source}: {row.note}" if row.note else row.source
    power = _read(row.value or "", kind).power if kind.form == "contact stiffness" else None
    return Default(natural, _points(sharp, kind) if sharp else natural, f"default, {note}", power)


def _points(listed: Iterable[tuple[int, str]], kind: Kind) -> tuple[tuple[int, float], ...]:
    return tuple((number, _read(text, kind).value) for number, text in listed)


def _read(text: str, kind: Kind) -> QuantityField:
    return read_quantity(text, kind, "assumed")


def find_default(path: str, key_number: int, sharp: bool) -> QuantityField | None:
    """The default of one field, or None where there is none."""
    default = load_defaults().get(path)
    if default is None:
        return None
    kind = index_fields()[path].kind
    si = default.at(key_number, sharp)
    unit = kind.unit if kind else ""
    shown = si / kind.dimension.factor(unit) if kind and default.power is None else si
    unit = f"N/m^{default.power:g}" if default.power is not None else unit
    return QuantityField(si, Source("assumed", default.note), f"{shown:.6g} {unit}".strip(), power=default.power)


def fill_defaults(
    values: Mapping[str, QuantityField], skip: set[str], key_number: int, sharp: bool
) -> dict[str, QuantityField]:
    """``values`` with a default for all that is needed and not given; ``skip``: given in some other form."""
    given = set(values) | skip
    idle = (
        {path for path, others in SUPERSEDED_WHEN if given >= set(others)}
        | find_alternatives(given)
        | _only_with(given)
    )
    filled = dict(values) | _exponents(values)
    for path in load_defaults():
        if path in filled or path in given or path in idle:
            continue
        default = find_default(path, key_number, sharp)
        if default is not None:
            filled[path] = default
    return filled


def _exponents(values: Mapping[str, QuantityField]) -> dict[str, QuantityField]:
    """The exponent of each contact that is told only by the unit of its stiffness."""
    found = {}
    for path, given in values.items():
        exponent = path.replace(".stiffness", ".exponent")
        if given.power is not None and exponent not in values:
            found[exponent] = QuantityField(given.power, given.source, f"{given.power:g}")
    return found


def _only_with(given: set[str]) -> set[str]:
    """Fields that nothing asks for: the second way of giving a thing, a damper not fitted, one spring's share."""
    idle = set()
    if not given & {"rails.balance_to_wippen_screw", "wippen.flange_offset"}:
        idle |= {"rails.balance_to_wippen_screw", "wippen.flange_offset"}
    if not given & {"rails.wippen_rail_height", "wippen.flange_height"}:
        idle |= {"rails.wippen_rail_height", "wippen.flange_height"}
    if DAMPER not in given:
        idle |= {path for path in load_defaults() if path.startswith("damper.")} | {"settings.damper"}
    return idle | ({"springs.jack"} if ONE_SPRING in given else {"springs.jack_share"})
