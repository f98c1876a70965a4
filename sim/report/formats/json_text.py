"""Readings as JSON: names carry units, null where nothing could be read, never NaN."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from typing import Any

from sim.bench.readings import Centre, Prediction, Repetition, Settings, Strike, TouchWeight, list_reading_fields
from sim.display_units import convert_si, format_column_name

Document = dict[str, Any]


def build_prediction_document(prediction: Prediction) -> Document:
    """The whole prediction, settings and touch weights at the top."""
    return clean_document(
        {
            "unit": prediction.unit,
            "outcome": prediction.outcome,
            "reason": prediction.reason,
            **build_record_document(prediction.settings),
            "checking_distance_mm": convert_si(prediction.checking_distance, "mm"),
            **build_record_document(prediction.touch),
            "strikes": [build_strike_document(strike) for strike in prediction.strikes],
            "repetition": build_repetition_document(prediction.repetition),
            **build_centres_document(prediction.centres),
            "set_up": dict(prediction.set_up),
            "assumed": list(prediction.assumed),
        }
    )


def build_record_document(readings: Settings | TouchWeight | Strike | Repetition | Centre) -> Document:
    """The readings of one record by name and unit."""
    return {
        format_column_name(name, meta["unit"]): convert_si(getattr(readings, name), meta["unit"])
        for name, meta in list_reading_fields(type(readings)).items()
    }


def build_strike_document(strike: Strike) -> Document:
    """One blow with its events (ms) and where the work went (mJ)."""
    return clean_document(
        {
            "touch": strike.touch,
            "pressed": strike.pressed,
            "outcome": strike.outcome,
            **build_record_document(strike),
            "caught": strike.caught,
            "contacts_with_string": strike.contacts_with_string,
            "ledger_remainder": strike.ledger_remainder,
            "events_ms": {name: convert_si(time, "ms") for name, time in strike.events.items()},
            "losses_mJ": {name: joule * 1e3 for name, joule in strike.losses.items()},
        }
    )


def build_repetition_document(repetition: Repetition) -> Document:
    """Repetition; fractions by rate in strokes a second."""
    return clean_document(
        {
            **build_record_document(repetition),
            "limiting_part": repetition.limiting_part,
            "kicks": repetition.kicks,
            "sounded_fraction": _by_rate(repetition.sounded_fraction),
            "reset_fraction": _by_rate(repetition.reset_fraction),
        }
    )


def build_centres_document(centres: Mapping[str, Centre]) -> Document:
    """Swings, and pinning force in gf, by centre; the whole of each centre beside them."""
    return {
        "swings": {name: convert_si(centre.swings, "") for name, centre in centres.items()},
        "pinning": {name: convert_si(centre.pinning_force, "gf") for name, centre in centres.items()},
        "centres": {name: build_record_document(centre) for name, centre in centres.items()},
    }


def _by_rate(fractions: Mapping[float, float]) -> Document:
    return {f"{rate:g}": share for rate, share in sorted(fractions.items())}


def clean_document(document: Mapping[str, Any]) -> Document:
    """The same with plain numbers, and None where a number is not finite."""
    return {str(name): _clean_value(item) for name, item in document.items()}


def _clean_value(value: Any) -> Any:
    if isinstance(value, Mapping):
        return clean_document(value)
    if isinstance(value, Sequence) and not isinstance(value, str):
        return [_clean_value(item) for item in value]
    if isinstance(value, bool) or value is None or isinstance(value, str | int):
        return value
    number = float(value)
    return number if math.isfinite(number) else None


def format_json(document: Document) -> str:
    """JSON text, without NaN."""
    return json.dumps(document, indent=2, allow_nan=False)
