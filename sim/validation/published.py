"""Published figures that the model is held to (shared/published.toml): rows, their gates, and the verdict on a row.

A verdict is computed from what units read, never written down: *pass* when nine of
ten healthy units lie inside the gate of every check, *miss* when not, *not comparable*
where nothing is held to the row.
"""

from __future__ import annotations

import inspect
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from typing import Annotated, Any, Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import ConfigDict, model_validator

from sim.bench.usual_ranges import find_usual_range
from sim.display_units import UNITS
from sim.fields.catalogue import Entry, known, load_catalogue
from sim.validation.published_measures import PLAYED
from sim.validation.published_trade import TRADE
from sim.value_records import value_record

Array = NDArray[np.float64]
Verdict = Literal["pass", "miss", "not comparable"]

INSIDE_SHARE = 0.9
"""Share of the healthy units that has to lie inside a gate.  Our convention."""
COMPARED_KEY = 40
"""The note that the figures are of: usual ranges are taken there."""
MEASURES = {**PLAYED, **TRADE}
"""How each figure is read, by the name that a check gives."""

PARTS: Mapping[str, str] = {
    "timing": "Timing of key and hammer",
    "speed": "Speeds of key and hammer",
    "flight": "Free flight, shank and head",
    "string": "Felt and string",
    "repetition": "Repetition",
    "parts": "Facts of parts",
    "weights": "Touch weights and leverage (trade)",
    "changes": "What a change does (trade)",
}
"""Parts of the report, in its order."""


@value_record
@dataclass(frozen=True)
class PublishedCheck:
    """One number of a row: how it is read (``measure`` with ``options``), its edge unit and its gate in that unit."""

    what: str
    measure: str
    options: Mapping[str, Any]
    unit: str
    gate: tuple[float, float] | None
    miss: str = ""
    """Why it misses, should it."""

    def inside(self, value: float | None) -> bool:
        """Whether a value (edge unit) lies inside; what could not be read does not."""
        return self.gate is not None and value is not None and self.gate[0] <= value <= self.gate[1]


@dataclass(frozen=True)
class PublishedRow:
    """One published figure: where it comes from, and what is held to it."""

    number: str
    part: str
    title: str
    plain: str
    published: str
    conditions: str
    sources: tuple[str, ...]
    tag: str
    why: str
    incomparable: str
    checks: tuple[PublishedCheck, ...]


class PublishedCurve(Entry):
    """What is drawn over hammer speed: a blow's quantity against power laws, points (v, value, source) and gates."""

    name: str
    title: str
    quantity: str
    unit: Annotated[str, known(UNITS)]
    speeds: tuple[float, ...]
    struck: bool = False
    law: str = ""
    widened: float = 0.0
    memory: str = ""
    points: tuple[tuple[float, float, str], ...] = ()
    gates: tuple[tuple[float, float, float, float], ...] = ()


@dataclass(frozen=True)
class CheckResult:
    """What the units read of one check (edge unit; None where a unit could not be read)."""

    check: PublishedCheck
    values: tuple[float | None, ...]

    @property
    def read(self) -> Array:
        return np.array([v for v in self.values if v is not None], dtype=float)

    @property
    def middle(self) -> float | None:
        """Median of the units that could be read."""
        return float(np.median(self.read)) if len(self.read) else None

    @property
    def ends(self) -> tuple[float, float] | None:
        """From 5 to 95 % of them."""
        return (float(np.percentile(self.read, 5)), float(np.percentile(self.read, 95))) if len(self.read) else None

    @property
    def share(self) -> float | None:
        """Share of all units inside the gate."""
        if self.check.gate is None:
            return None
        return sum(map(self.check.inside, self.values)) / len(self.values)

    @property
    def verdict(self) -> Verdict:
        if self.share is None:
            return "not comparable"
        return "pass" if self.share >= INSIDE_SHARE else "miss"

    @property
    def stale(self) -> bool:
        """A reason of a miss that is no miss."""
        return bool(self.check.miss) and self.verdict != "miss"

    @property
    def unexplained(self) -> bool:
        """A miss without a reason."""
        return self.verdict == "miss" and not self.check.miss


@dataclass(frozen=True)
class JudgedRow:
    """One row with what was found."""

    row: PublishedRow
    found: tuple[CheckResult, ...] = field(default=())

    @property
    def verdict(self) -> Verdict:
        verdicts = {f.verdict for f in self.found} - {"not comparable"}
        if self.row.incomparable or not verdicts:
            return "not comparable"
        return "miss" if "miss" in verdicts else "pass"

    @property
    def reasons(self) -> tuple[str, ...]:
        """Why it misses, each reason once; why nothing is held to it."""
        if self.row.incomparable:
            return (self.row.incomparable,)
        missed = [f.check.miss or "no reason is known yet" for f in self.found if f.verdict == "miss"]
        return tuple(dict.fromkeys(missed))


class _CheckRow(Entry):
    """A check as the file has it; its other keys are options of its measure."""

    model_config = ConfigDict(extra="allow")

    what: str
    measure: Annotated[str, known(MEASURES)]
    unit: Annotated[str, known(UNITS)]
    gate: tuple[float, float] | None = None
    law: str | None = None
    widened: float = 0.0
    usual: str | None = None
    miss: str = ""

    @property
    def options(self) -> Mapping[str, Any]:
        return self.model_extra or {}

    @model_validator(mode="after")
    def _measured(self) -> _CheckRow:
        if unknown := self.options.keys() - inspect.signature(MEASURES[self.measure]).parameters:
            raise ValueError(f"no {', '.join(sorted(unknown))}: {self.measure} takes no such option")
        return self


class _RowEntry(Entry):
    number: str
    part: Annotated[str, known(PARTS)]
    title: str
    plain: str
    published: str
    conditions: str
    source: tuple[str, ...]
    tag: str
    why: str
    checks: tuple[_CheckRow, ...]
    incomparable: str = ""


class _File(Entry):
    tags: dict[str, str]
    sources: dict[str, str]
    power_laws: dict[str, tuple[tuple[float, float, float], ...]]
    curve: tuple[PublishedCurve, ...]
    row: tuple[_RowEntry, ...]


@cache
def _load_file() -> _File:
    return load_catalogue("published.toml", _File)


def load_tags() -> Mapping[str, str]:
    """How far a figure was read, by its tag."""
    return _load_file().tags


def load_laws(name: str) -> tuple[tuple[float, float, float], ...]:
    """The power laws a v**b + c of one name, an instrument each (v in m/s, value in ms)."""
    return _load_file().power_laws[name]


def evaluate_laws(name: str, v: float) -> list[float]:
    """What each instrument's law gives at hammer speed v (m/s), ms."""
    return [a * v**b + c for a, b, c in load_laws(name)]


def compute_law_band(name: str, v: float, widened: float = 0.0) -> tuple[float, float]:
    """From the least to the most of the laws at hammer speed v (m/s), widened by a share, ms."""
    values = evaluate_laws(name, v)
    return min(values) * (1 - widened), max(values) * (1 + widened)


def describe_source(name: str) -> str:
    """A source in words."""
    return _load_file().sources.get(name, name)


@cache
def load_rows() -> tuple[PublishedRow, ...]:
    """All rows, in the order of the report's parts."""
    found = [_parse_row(raw) for raw in _load_file().row]
    order = list(PARTS)
    return tuple(sorted(found, key=lambda row: order.index(row.part)))


@cache
def load_curves() -> tuple[PublishedCurve, ...]:
    """All curves, in the file's order, with their sources in words."""
    return tuple(
        curve.model_copy(update={"points": tuple((v, value, describe_source(name)) for v, value, name in curve.points)})
        for curve in _load_file().curve
    )


def _parse_row(raw: _RowEntry) -> PublishedRow:
    told = raw.model_dump(exclude={"source", "checks"})
    return PublishedRow(
        **told, sources=tuple(map(describe_source, raw.source)), checks=tuple(map(_parse_check, raw.checks))
    )


def _parse_check(raw: _CheckRow) -> PublishedCheck:
    return PublishedCheck(raw.what, raw.measure, raw.options, raw.unit, _parse_gate(raw), raw.miss)


def _parse_gate(raw: _CheckRow) -> tuple[float, float] | None:
    if raw.law is not None:
        return compute_law_band(raw.law, raw.options["v"], raw.widened)
    if raw.usual is not None:
        found = find_usual_range(raw.usual, COMPARED_KEY)
        if found is None or found.unit != raw.unit:
            raise ValueError(f"shared/published.toml: {raw.what}: no usual range of {raw.usual} in that unit")
        return found.low, found.high
    return raw.gate
