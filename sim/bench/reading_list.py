"""All readings of one unit as one flat list, and the few ways of taking only some of them."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from functools import cache
from typing import Any

from sim.bench import slow_press
from sim.bench import strike as blows
from sim.bench.outcomes import Outcome
from sim.bench.predict import list_touches, make_empty_prediction, predict
from sim.bench.readings import Prediction, Repetition, Settings, Strike, TouchWeight, list_reading_fields
from sim.bench.repetition import RATES
from sim.bench.rest_pose import settle_at_rest
from sim.display_units import format_column_name, format_unit
from sim.errors import Fault, InputError, UnitError
from sim.fields.field_paths import suggest_name
from sim.unit.model import ActionUnit

READING_KINDS = ("weigh", "strike", "predict", "repeat")
"""What may be read: one slow press; the blows; everything but repetition; everything."""


@dataclass(frozen=True, slots=True)
class NamedReading:
    """One reading (SI): its name among all of a prediction, and what is known of it."""

    name: str
    """``down_weight``; of a blow ``moderate_hammer_speed``; a share of strokes ``sounded_at_8``."""
    value: float | None
    unit: str
    title: str
    accuracy: float | None
    """How finely a bench reads it, in ``unit``."""

    @property
    def key(self) -> str:
        """Name in files, with its unit."""
        return format_column_name(self.name, self.unit)

    @property
    def shown_unit(self) -> str:
        """The unit as it is written."""
        return "per s" if self.name.endswith("_hz") else format_unit(self.unit)


def list_readings(p: Prediction) -> dict[str, NamedReading]:
    """Every reading by name, in the order of the tables."""
    found = [*_of(p.settings), _checking(p), *_of(p.touch)]
    for strike in p.strikes:
        found += _of(strike, strike.touch)
    found += [*_of(p.repetition), *_shares(p)]
    return {taken.name: taken for taken in found}


def _of(record: Any, touch: str = "") -> Iterator[NamedReading]:
    for name, meta in list_reading_fields(type(record)).items():
        whole = f"{touch}_{name}" if touch else name
        title = f"{meta['title']}, {touch}" if touch else meta["title"]
        if name == "free_flight_distance":
            title = f"way of the free flight, {touch}"
        yield NamedReading(whole, _finite(getattr(record, name)), meta["unit"], title, meta["accuracy"])


def _finite(value: float | None) -> float | None:
    return None if value is None or not math.isfinite(value) else float(value)


def _checking(p: Prediction) -> NamedReading:
    meta = list_reading_fields(Strike)["checking_distance"]
    return NamedReading("checking_distance", p.checking_distance, meta["unit"], meta["title"], meta["accuracy"])


def _shares(p: Prediction) -> Iterator[NamedReading]:
    for name, title, shares in (
        ("sounded", "sound", p.repetition.sounded_fraction),
        ("home", "jack home", p.repetition.reset_fraction),
    ):
        for rate in sorted(shares.keys() & set(RATES)):
            yield NamedReading(f"{name}_at_{rate:g}", shares[rate], "", f"{title} at {rate:g} per s", None)


def take_readings(unit: ActionUnit, kind: str = "predict") -> Prediction:
    """Take one kind of reading; what was not asked for stays empty.  Nothing is raised for a unit that fails."""
    if kind in ("predict", "repeat"):
        return predict(unit, repetition=kind == "repeat")
    empty = make_empty_prediction(unit, Outcome.PLAYS, "", {})
    try:
        rest = settle_at_rest(unit)
    except UnitError as error:
        return replace(empty, outcome=Outcome.DOES_NOT_REST, reason=str(error))
    if kind == "weigh":
        pressed = slow_press.press_slowly(rest)
        weight, curve = slow_press.read_touch_weight(pressed)
        settings = slow_press.read_settings(pressed)
        return replace(
            empty, outcome=pressed.outcome, reason=pressed.reason, settings=settings, touch=weight, slow_press=curve
        )
    played = tuple(blows.play_touch(rest, touch)[0] for touch in list_touches())
    sounds = any(blow.hammer_speed is not None for blow in played)
    return replace(empty, strikes=played, outcome=Outcome.PLAYS if sounds else played[-1].outcome)


@cache
def list_reading_names(kind: str) -> tuple[str, ...]:
    """Names of the readings that a kind of reading gives."""
    weighed = [*list_reading_fields(Settings), *list_reading_fields(TouchWeight)]
    played = ["checking_distance", *(f"{t.name}_{n}" for t in list_touches() for n in list_reading_fields(Strike))]
    back = [n for n in list_reading_fields(Repetition) if not n.startswith("limit_")]
    shares = [f"{share}_at_{rate:g}" for share in ("sounded", "home") for rate in RATES]
    everything = [*weighed, *played, *back]
    by_kind = {
        "weigh": weighed,
        "strike": played,
        "predict": everything,
        "repeat": [*everything, "limit_hz", "limit_spread_hz", *shares],
    }
    return tuple(by_kind[kind])


def find_reading_kind(wanted: Iterable[str]) -> str:
    """The least that has to be read for these readings; a name that is none is an InputError."""
    asked = tuple(wanted)
    known = list_reading_names("repeat")
    wrong = [name for name in asked if name not in known]
    if wrong:
        hints = [(name, suggest_name(name, known)) for name in wrong]
        raise InputError(
            [Fault("--readings", None, name, "no such reading", hint.allowed, hint.remedy) for name, hint in hints]
        )
    return next(kind for kind in READING_KINDS if set(asked) <= set(list_reading_names(kind))) if asked else "predict"
