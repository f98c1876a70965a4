"""Readings as JSON: names carry units, null where nothing could be read, never NaN."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from typing import Any

from sim.bench.readings import Centre, Prediction, Repetition, Settings, Strike, TouchWeight, readings_of
from sim.display_units import column_name, convert_si

Document = dict[str, Any]


def of_prediction(prediction: Prediction) -> Document:
    """The whole prediction, settings and touch weights at the top."""
    return clean(
        {
            "unit": prediction.unit,
            "outcome": prediction.outcome,
            "reason": prediction.reason,
            **record(prediction.settings),
            "checking_distance_mm": convert_si(prediction.checking_distance, "mm"),
            **record(prediction.touch),
            "strikes": [of_strike(strike) for strike in prediction.strikes],
            "repetition": of_repetition(prediction.repetition),
            **of_centres(prediction.centres),
            "set_up": dict(prediction.set_up),
            "assumed": list(prediction.assumed),
        }
    )


def record(readings: Settings | TouchWeight | Strike | Repetition | Centre) -> Document:
    """The readings of one record by name and unit."""
    return {
        column_name(name, meta["unit"]): convert_si(getattr(readings, name), meta["unit"])
        for name, meta in readings_of(type(readings)).items()
    }


def of_strike(strike: Strike) -> Document:
    """One blow with its events (ms) and where the work went (mJ)."""
    return clean(
        {
            "touch": strike.touch,
            "pressed": strike.pressed,
            "outcome": strike.outcome,
            **record(strike),
            "caught": strike.caught,
            "contacts_with_string": strike.contacts_with_string,
            "ledger_remainder": strike.ledger_remainder,
            "events_ms": {name: convert_si(time, "ms") for name, time in strike.events.items()},
            "losses_mJ": {name: joule * 1e3 for name, joule in strike.losses.items()},
        }
    )


def of_repetition(repetition: Repetition) -> Document:
    """Repetition; fractions by rate in strokes a second."""
    return clean(
        {
            **record(repetition),
            "limiting_part": repetition.limiting_part,
            "kicks": repetition.kicks,
            "sounded_fraction": _by_rate(repetition.sounded_fraction),
            "reset_fraction": _by_rate(repetition.reset_fraction),
        }
    )


def of_centres(centres: Mapping[str, Centre]) -> Document:
    """Swings, and pinning force in gf, by centre; the whole of each centre beside them."""
    return {
        "swings": {name: convert_si(centre.swings, "") for name, centre in centres.items()},
        "pinning": {name: convert_si(centre.pinning_force, "gf") for name, centre in centres.items()},
        "centres": {name: record(centre) for name, centre in centres.items()},
    }


def _by_rate(fractions: Mapping[float, float]) -> Document:
    return {f"{rate:g}": share for rate, share in sorted(fractions.items())}


def clean(document: Mapping[str, Any]) -> Document:
    """The same with plain numbers, and None where a number is not finite."""
    return {str(name): _plain(item) for name, item in document.items()}


def _plain(value: Any) -> Any:
    if isinstance(value, Mapping):
        return clean(value)
    if isinstance(value, Sequence) and not isinstance(value, str):
        return [_plain(item) for item in value]
    if isinstance(value, bool) or value is None or isinstance(value, str | int):
        return value
    number = float(value)
    return number if math.isfinite(number) else None


def text(document: Document) -> str:
    """JSON text, without NaN."""
    return json.dumps(document, indent=2, allow_nan=False)
