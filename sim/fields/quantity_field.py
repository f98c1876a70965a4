"""A value as the scenario gives it: plain text, or a table with where it comes from."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, Literal

from pydantic_core import PydanticCustomError

from sim.errors import QuantityError
from sim.unit.model import Source
from sim.units import (
    ANGLE,
    FORCE,
    LENGTH,
    NUMBER,
    TORQUE,
    Dimension,
    format_quantity,
    parse_contact_stiffness,
    parse_quantity,
)

SourceKind = Literal["measured", "estimated", "published", "common practice", "from memory", "set up", "assumed"]
SOURCE_KINDS = ("measured", "estimated", "published", "common practice", "from memory", "set up", "assumed")

Form = Literal["plain", "torque", "key torque", "swings", "contact stiffness"]
"""How a field may be written besides "number unit".

``torque``: also as a force at a radius; ``swings``: also by counting free
swings; ``key torque``: also as a force at the touch point.
"""

CONTROL_CHARACTERS = re.compile(r"[\x00-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069]")
"""Characters that steer a terminal, break a line or turn the direction of writing."""

PROVENANCE = ("source", "note", "uncertainty")


@dataclass(frozen=True, slots=True)
class Kind:
    """What one field accepts: dimension, usual unit, range in that unit, and the forms it may take."""

    dimension: Dimension
    unit: str
    minimum: float
    maximum: float
    form: Form = "plain"

    @property
    def allowed(self) -> str:
        """The range as a person reads it."""
        unit = f" {self.unit}" if self.unit else ""
        return f"{self.minimum:g} to {self.maximum:g}{unit}"

    @property
    def example(self) -> str:
        """A text that would be accepted."""
        middle = self.minimum + 0.5 * (self.maximum - self.minimum)
        return f"{float(f'{middle:.2g}'):g}{' ' + self.unit if self.unit else ''}"

    def holds(self, si: float) -> bool:
        """Whether an SI value lies within the range (a hair's breadth of rounding is let pass)."""
        factor = 1.0 if self.form == "contact stiffness" else self.dimension.factor(self.unit)
        slack = 1e-9 * max(abs(self.minimum), abs(self.maximum)) * factor
        return self.minimum * factor - slack <= si <= self.maximum * factor + slack


@dataclass(frozen=True, slots=True)
class QuantityField:
    """One value in SI with its source; ``si`` waits (None) while it is a count of swings or a force at the key."""

    si: float | None
    source: Source
    text: str
    swings: tuple[float, float] | None = None
    """Count of half swings, and the angle they start from in rad."""
    touch_force: float | None = None
    """Friction force felt at the touch point, N."""
    power: float | None = None
    """The exponent in the unit of a contact stiffness."""

    @property
    def value(self) -> float:
        """The SI value, once known."""
        if self.si is None:
            raise ValueError(f"{self.text} waits for the part's own weight")
        return self.si

    def with_si(self, si: float) -> QuantityField:
        """The same with its SI value worked out; its uncertainty, a share until now, becomes an SI value."""
        share = self.source.uncertainty
        uncertainty = None if share is None else share * abs(si)
        return replace(self, si=si, source=replace(self.source, uncertainty=uncertainty))


def make_field_error(problem: str, value: object, allowed: str, remedy: str) -> PydanticCustomError:
    """An error that carries the four things a message must name."""
    return PydanticCustomError(
        "scenario",
        "{problem}",
        {"problem": problem, "value": shorten_value(value), "allowed": allowed, "remedy": remedy},
    )


def shorten_value(value: object, longest: int = 60) -> str:
    """A value as it stands in the file, on one line and not too long."""
    try:
        text = _as_in_file(value)
    except (RecursionError, ValueError):
        return "a value beyond writing down"
    return fit_on_line(text, longest)


def _as_in_file(value: object) -> str:
    if isinstance(value, str):
        return f'"{value}"'
    if isinstance(value, Mapping):
        inner = ", ".join(f"{name} = {_as_in_file(part)}" for name, part in value.items())
        return f"{{ {inner} }}"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, list):
        return f"[{', '.join(_as_in_file(part) for part in value)}]"
    return str(value)


def fit_on_line(text: str, longest: int) -> str:
    """A text without what cannot be printed, cut to a length."""
    plain = "".join(c if c.isprintable() else "?" for c in text[: 4 * longest])
    return plain if len(plain) <= longest else f"{plain[: longest - 1]}…"


def read_quantity(raw: object, kind: Kind, default_source: SourceKind) -> QuantityField:
    """Read one field; a PydanticCustomError names what is wrong."""
    if isinstance(raw, QuantityField):
        return raw
    if isinstance(raw, str):
        return _with_range(_plain(raw, kind, Source(default_source)), kind, raw)
    if isinstance(raw, Mapping):
        return _table(raw, kind, default_source)
    if kind.dimension is NUMBER and isinstance(raw, int | float) and not isinstance(raw, bool):
        return _number(float(raw), kind, Source(default_source), raw)
    raise make_field_error(*_not_text(raw, kind))


def _not_text(raw: object, kind: Kind) -> tuple[str, object, str, str]:
    if isinstance(raw, int | float) and not isinstance(raw, bool):
        if not math.isfinite(raw):
            return "not a finite number", raw, kind.allowed, f'write a number with its unit: "{kind.example}"'
        unit = "N/m^2" if kind.form == "contact stiffness" else kind.unit
        return "a number without a unit", raw, kind.allowed, f'write it with its unit, in quotes: "{raw} {unit}"'
    return "not a quantity", raw, kind.allowed, f'write a text such as "{kind.example}"'


def _number(value: float, kind: Kind, source: Source, raw: object) -> QuantityField:
    if not math.isfinite(value):
        raise make_field_error("not a finite number", raw, kind.allowed, f"write a number such as {kind.example}")
    return _with_range(QuantityField(value, source, str(raw)), kind, raw)


def _plain(text: str, kind: Kind, source: Source) -> QuantityField:
    try:
        if kind.form == "contact stiffness":
            si, power = parse_contact_stiffness(text)
            return QuantityField(si, source, text, power=power)
        if kind.form == "key torque" and _is_force(text):
            return QuantityField(None, source, text, touch_force=parse_quantity(text, FORCE))
        return QuantityField(parse_quantity(text, kind.dimension), source, text)
    except QuantityError as error:
        if kind.form in ("torque", "swings") and _is_force(text):
            remedy = f'say at which radius: {{ force = "{text}", radius = "23 mm" }}'
            raise make_field_error("a force without its radius", text, kind.allowed, remedy) from None
        raise make_field_error(error.problem, text, kind.allowed, error.remedy) from None


def _is_force(text: str) -> bool:
    try:
        parse_quantity(text, FORCE)
    except QuantityError:
        return False
    return True


def _with_range(given: QuantityField, kind: Kind, raw: object) -> QuantityField:
    if given.touch_force is not None and not 0 <= given.touch_force <= parse_quantity("60 gf", FORCE):
        raise make_field_error(
            "out of range", raw, "0 to 60 gf at the touch point", "weigh the key again, or give the torque"
        )
    if given.si is not None and not kind.holds(given.si):
        raise make_field_error("out of range", raw, kind.allowed, "check the reading and its unit")
    return given


def _table(raw: Mapping[str, Any], kind: Kind, default_source: SourceKind) -> QuantityField:
    allowed = {"value": ("value",), "torque": ("value", "force", "radius"), "key torque": ("value", "force", "radius")}
    names = allowed.get(kind.form, ("value",)) + (
        ("force", "radius", "swings", "from") if kind.form == "swings" else ()
    )
    for name in raw:
        if name not in names + PROVENANCE:
            keys = ", ".join(names + PROVENANCE)
            raise make_field_error(
                f"unknown key {shorten_value(name)}",
                dict(raw),
                f"the keys {keys}",
                f'give {{ value = "{kind.example}" }}',
            )
    source = _source(raw, kind, default_source)
    given = _form(raw, kind, source, names)
    return _with_uncertainty(_with_range(given, kind, dict(raw)), raw, kind)


def _form(raw: Mapping[str, Any], kind: Kind, source: Source, names: tuple[str, ...]) -> QuantityField:
    ways = [way for way in (("value",), ("force", "radius"), ("swings", "from")) if any(name in raw for name in way)]
    if len(ways) > 1:
        raise make_field_error(
            "more than one way of giving it", dict(raw), kind.allowed, "keep one: value, force with radius, or swings"
        )
    if not ways:
        raise make_field_error(
            "a table without a value", dict(raw), kind.allowed, f'give {{ value = "{kind.example}" }}'
        )
    if ways[0] == ("force", "radius"):
        return _force_at_radius(raw, kind, source)
    if ways[0] == ("swings", "from"):
        return _swings(raw, kind, source)
    value = raw["value"]
    if isinstance(value, str):
        return _plain(value, kind, source)
    if kind.dimension is NUMBER and isinstance(value, int | float) and not isinstance(value, bool):
        return _number(float(value), kind, source, value)
    raise make_field_error(*_not_text(value, kind))


def _force_at_radius(raw: Mapping[str, Any], kind: Kind, source: Source) -> QuantityField:
    remedy = 'give both: { force = "3 gf", radius = "23 mm" }'
    force = _part(raw, "force", Kind(FORCE, "gf", 0, 1000), remedy)
    if "radius" not in raw and kind.form == "key torque":
        return QuantityField(None, source, str(raw["force"]), touch_force=force)
    radius = _part(raw, "radius", Kind(LENGTH, "mm", 1, 400), remedy)
    return QuantityField(force * radius, source, f"{raw['force']} at {raw['radius']}")


def _swings(raw: Mapping[str, Any], kind: Kind, source: Source) -> QuantityField:
    remedy = 'give both: { swings = 6, from = "40 deg" }'
    count = raw.get("swings")
    if isinstance(count, bool) or not isinstance(count, int | float) or not 0.5 <= count <= 200:
        raise make_field_error("not a count of swings", dict(raw), "0.5 to 200 half swings", remedy)
    angle = _part(raw, "from", Kind(ANGLE, "deg", 2, 90), remedy)
    return QuantityField(None, source, f"{count} swings from {raw['from']}", swings=(float(count), angle))


def _part(raw: Mapping[str, Any], name: str, kind: Kind, remedy: str) -> float:
    text = raw.get(name)
    if not isinstance(text, str):
        raise make_field_error(f"{name} is missing or no text", dict(raw), kind.allowed, remedy)
    return _with_range(_plain(text, kind, Source("measured")), kind, dict(raw)).value


def _source(raw: Mapping[str, Any], kind: Kind, default_source: SourceKind) -> Source:
    named, note = raw.get("source", default_source), raw.get("note", "")
    if named not in SOURCE_KINDS:
        remedy = 'name where it comes from, such as source = "measured"'
        raise make_field_error("unknown source", named, f"one of {', '.join(SOURCE_KINDS)}", remedy)
    if not isinstance(note, str):
        raise make_field_error("the note is no text", note, "a text", 'write note = "…"')
    return Source(named, note)


def _with_uncertainty(given: QuantityField, raw: Mapping[str, Any], kind: Kind) -> QuantityField:
    text = raw.get("uncertainty")
    if text is None:
        return given
    remedy = 'write it like the value or as a share, such as "0.2 mm" or "5 %"'
    if not isinstance(text, str):
        raise make_field_error("the uncertainty is no text", text, "0 or more", remedy)
    try:
        size = _size(text, given, kind)
    except QuantityError as error:
        raise make_field_error(f"uncertainty: {error.problem}", text, "0 or more", remedy) from None
    if size < 0:
        raise make_field_error("a negative uncertainty", text, "0 or more", remedy)
    return replace(given, source=replace(given.source, uncertainty=size))


def _size(text: str, given: QuantityField, kind: Kind) -> float:
    if text.strip().endswith("%"):
        return parse_quantity(text, NUMBER) * abs(given.si if given.si is not None else 1.0)
    if given.touch_force is not None:
        return parse_quantity(text, FORCE) / max(abs(given.touch_force), 1e-9)
    if given.swings is not None:
        return parse_quantity(text, NUMBER) / given.swings[0]
    if kind.form == "contact stiffness":
        return parse_contact_stiffness(text)[0]
    return parse_quantity(text, TORQUE if kind.form in ("torque", "key torque", "swings") else kind.dimension)


def write_quantity(si: float, kind: Kind, power: float | None = None) -> str:
    """An SI value as text that reads back the same."""
    if kind.form == "contact stiffness":
        return f"{si!r} N/m^{power:g}"
    return format_quantity(si, kind.unit, kind.dimension)
