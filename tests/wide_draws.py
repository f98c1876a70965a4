"""Units and touches drawn over everything that the fields allow; the ranges are read from the fields.

Manners: one input anywhere in its range; a few; all measures or all raw coordinates
a little (each goes the same share of the way from its own value to some place in
its range); and all of them anywhere, which nearly always contradicts itself.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any, get_args

import numpy as np
from pydantic import BaseModel

from sim.bench.predict import list_touches
from sim.fields.coordinates import _POINT as POINT
from sim.fields.coordinates import PARTS
from sim.fields.definition import ALTERNATIVES, Scenario
from sim.fields.field_paths import index_fields, list_fields
from sim.fields.part_sections import Lead
from sim.fields.quantity_field import Kind
from sim.fields.scenario_files import Leaf, Leaves
from sim.fields.section_base import get_field_kind
from sim.physics.finger import TOUCH_KINDS, Touch
from sim.scenario.load import build_from_leaves, collect_measures, read_leaves
from sim.unit.contacts import CONTACT_NAMES
from sim.unit.model import ActionUnit

SCENARIOS = Path(__file__).resolve().parents[1] / "scenarios"
UNITS = ("concert-grand-natural", "concert-grand-sharp", "bass-heavy-hammer", "treble", "damped")
COUNTS = {"one": (1, 1), "some": (2, 6), "all": (10_000, 10_000)}
"""How many inputs are drawn anew."""
SHARE = {"one": 0.55, "some": 0.27, "all measures a little": 0.1, "all coordinates a little": 0.07, "all": 0.01}
TEXTS = ("name", "note", "invented", "based_on", "default_source")
"""Fields that say nothing about the unit."""
LEADS = "key.leads"
TOGETHER = {"springs.jack_share": {"springs.arrangement": "one"}}
"""What an input needs beside it."""
SQUEEZE = 0.3e-3
"""m; a contact whose exponent is moved keeps about its force at this squeeze."""


@dataclass(frozen=True)
class DrawnUnit:
    """How a unit departs from a shipped one: overrides by path, and the leads where they were drawn."""

    manner: str
    scenario: str
    over: Mapping[str, str]
    leads: list[dict[str, str]] | None = field(default=None)

    def unit(self) -> ActionUnit:
        """Raises InputError where the inputs are refused."""
        leaves = _leaves(self.scenario)
        if self.leads is not None:
            leaves = {k: v for k, v in leaves.items() if k[:2] != ("key", "leads")}
            leaves["key", "leads"] = Leaf(self.leads, "drawn", None)
        return build_from_leaves(leaves, self.scenario, self.over)

    def __str__(self) -> str:
        told = dict(self.over) if len(self.over) < 8 else f"{len(self.over)} inputs"
        return f"{self.manner} {self.scenario} {told}{f' leads {self.leads}' if self.leads is not None else ''}"


@cache
def _leaves(scenario: str) -> Leaves:
    return read_leaves(SCENARIOS / f"{scenario}.toml")


@cache
def list_inputs() -> tuple[str, ...]:
    """Paths of all inputs."""
    return tuple(f.path for f in list_fields() if f.path not in TEXTS)


def draw_unit(manner: str, random: np.random.Generator) -> DrawnUnit:
    """One unit."""
    scenario = str(random.choice(UNITS))
    if manner not in COUNTS:
        a_little = _vary_measures if "measures" in manner else _vary_coordinates
        return DrawnUnit(manner, scenario, a_little(scenario, _share(random), random))
    least, most = COUNTS[manner]
    count = min(len(list_inputs()), int(random.integers(least, most + 1)))
    paths = [list_inputs()[i] for i in random.permutation(len(list_inputs()))[:count]]
    over = {p: text for p in paths if p != LEADS for p, text in _draw_input(p, scenario, random).items()}
    return DrawnUnit(manner, scenario, over, _leads(random) if LEADS in paths else None)


def _draw_input(path: str, scenario: str, random: np.random.Generator) -> dict[str, str]:
    """Overrides that put one input somewhere; what can only be given together comes along."""
    kind = index_fields()[path].kind
    if path.endswith((".stiffness", ".exponent")) and path.startswith("contacts."):
        return _contact(path, scenario, random)
    for way in next((row for row in ALTERNATIVES if any(path in w and len(w) > 1 for w in row)), ()):
        if path in way and len(way) > 1:
            kinds = {p: index_fields()[p].kind for p in way}
            return {p: _text(draw_value(k, random), k) for p, k in kinds.items() if k}
    if kind is not None:
        return {path: _text(draw_value(kind, random), kind)} | TOGETHER.get(path, {})
    if path.startswith("coordinates."):
        return {path: ", ".join(_text(draw_value(POINT, random), POINT) for _ in range(2))}
    return {path: str(random.choice(list_answers(path)))}


def _contact(path: str, scenario: str, random: np.random.Generator) -> dict[str, str]:
    """A stiffness over its whole range, in the unit that the contact's exponent (drawn, or its own) gives it."""
    law = path.rpartition(".")[0]
    stiffness, power = index_fields()[f"{law}.stiffness"].kind, index_fields()[f"{law}.exponent"].kind
    assert stiffness and power
    p = draw_value(power, random) if path.endswith("exponent") else _measures(scenario)[f"{law}.exponent"]
    over = {f"{law}.stiffness": f"{draw_value(stiffness, random)!r} N/m^{p:.6f}"}
    return over | ({path: f"{p:.6f}"} if path.endswith("exponent") else {})


def draw_value(kind: Kind, random: np.random.Generator) -> float:
    """A value within the field's range, in its own unit: its ends and nought now and then, decades evenly."""
    low, high = kind.minimum, kind.maximum
    way = random.uniform()
    if way < 0.1:
        return low if way < 0.05 else high
    if way < 0.13 and low <= 0 <= high:
        return 0.0
    if _count_decades(kind):
        return math.exp(random.uniform(math.log(low), math.log(high)))
    return random.uniform(low, high)


def _count_decades(kind: Kind) -> bool:
    return kind.minimum > 0 and kind.maximum / kind.minimum > 50


def _text(value: float, kind: Kind) -> str:
    return f"{float(value)!r} {kind.unit}".strip()


@cache
def list_answers(path: str) -> tuple[str, ...]:
    """What may be said in a field that is no quantity: yes or no, a word, a whole number."""
    section: type[BaseModel] = Scenario
    *tables, name = path.split(".")
    for table in tables:
        annotation = section.model_fields[table].annotation
        section = next(a for a in (annotation, *get_args(annotation)) if isinstance(a, type) and a is not type(None))
    entry = section.model_json_schema()["properties"][name]
    found: list[Any] = []
    for way in entry.get("anyOf", [entry]):
        found += ["true", "false"] if way.get("type") == "boolean" else way.get("enum", [])
        found += range(way["minimum"], way["maximum"] + 1) if way.get("type") == "integer" else []
    return tuple(map(str, found))


def _leads(random: np.random.Generator) -> list[dict[str, str]]:
    kinds = {name: get_field_kind(info) for name, info in Lead.model_fields.items()}
    return [
        {name: _text(draw_value(kind, random), kind) for name, kind in kinds.items() if kind}
        for _ in range(int(random.integers(0, 5)))
    ]


@cache
def _measures(scenario: str) -> Mapping[str, float]:
    return collect_measures(_leaves(scenario), scenario)


def _share(random: np.random.Generator) -> float:
    """How far all inputs go toward their places."""
    return math.exp(random.uniform(math.log(3e-4), math.log(0.3)))


def _vary_measures(scenario: str, share: float, random: np.random.Generator) -> dict[str, str]:
    """Every measure of the unit moved."""
    over, own = {}, _measures(scenario)
    for path, value in own.items():
        kind = index_fields()[path].kind
        if kind is not None and not path.startswith(tuple(f"contacts.{c}.{n}" for c in CONTACT_NAMES for n in _LAW)):
            over[path] = _move_value(value, kind, share, random)
    for contact in CONTACT_NAMES:
        stiffness, exponent = (f"contacts.{contact}.{n}" for n in _LAW)
        kinds = index_fields()[stiffness].kind, index_fields()[exponent].kind
        if stiffness in own and kinds[0] and kinds[1]:
            p = round(_move_toward(own[exponent], kinds[1], share, random), 6)
            k = own[stiffness] * SQUEEZE ** (own[exponent] - p)
            k = min(max(k, kinds[0].minimum), kinds[0].maximum)
            over[stiffness] = f"{_move_toward(k, kinds[0], share, random)!r} N/m^{p:.6f}"
    return over


def _vary_coordinates(scenario: str, share: float, random: np.random.Generator) -> dict[str, str]:
    """Every raw coordinate moved from where the unit's own measures put it."""
    over, own = {}, DrawnUnit("", scenario, {}).unit()
    for part in PARTS:
        for name in (p.rpartition(".")[2] for p in list_inputs() if p.startswith(f"coordinates.{part}.")):
            path, value = f"coordinates.{part}.{name}", getattr(getattr(own, part), name)
            kind = index_fields()[path].kind
            if isinstance(value, tuple):
                over[path] = ", ".join(_move_value(v, POINT, share, random) for v in value)
            elif kind is not None and value is not None:
                over[path] = _move_value(value, kind, share, random)
    return over


def _move_value(si: float, kind: Kind, share: float, random: np.random.Generator) -> str:
    return _text(_move_toward(si / kind.dimension.factor(kind.unit), kind, share, random), kind)


_LAW = ("stiffness", "exponent")


def _move_toward(own: float, kind: Kind, share: float, random: np.random.Generator) -> float:
    place = draw_value(kind, random)
    if _count_decades(kind) and own > 0:
        return float(own * (place / own) ** share)
    return float(own + share * (place - own))


def draw_touch(random: np.random.Generator) -> Touch:
    """Some way of driving, from softer than the softest to louder than the loudest standard touch."""
    kind, struck = str(random.choice(TOUCH_KINDS)), bool(random.integers(2))
    known = sorted(t.strength for t in list_touches(kind, struck))
    strength = math.exp(random.uniform(math.log(0.5 * known[0]), math.log(2 * known[-1])))
    return Touch("fuzz", strength, struck, kind)


__all__ = ["SHARE", "DrawnUnit", "draw_touch", "draw_unit", "list_inputs"]
