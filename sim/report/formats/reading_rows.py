"""A prediction as rows: every reading with its unit, its usual range and, outside it, where to look first."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, is_dataclass, replace
from typing import Any

from sim.bench.readings import Prediction, Repetition, Strike, list_reading_fields
from sim.bench.repetition import LIMIT_FRACTION
from sim.bench.usual_ranges import Side, UsualRange, find_usual_range
from sim.display_units import convert_si, format_column_name, format_number, format_unit
from sim.unit.model import ActionUnit
from sim.units import format_inches


@dataclass(frozen=True, slots=True)
class KeyPosition:
    """Where on the keyboard a note lies: usual ranges depend on it."""

    key_number: int
    sharp: bool

    @classmethod
    def of(cls, unit: ActionUnit) -> KeyPosition:
        """Place of a unit."""
        return cls(unit.key_number, unit.key.sharp)


@dataclass(frozen=True, slots=True)
class ReadingRow:
    """One reading, in the unit a technician reads in."""

    group: str
    of: str
    """The touch of a strike or the name of a centre; else empty."""
    name: str
    title: str
    unit: str
    value: float | None
    accuracy: float | None
    definition: str
    usual: UsualRange | None = None

    @property
    def key(self) -> str:
        """Name in files, with its unit."""
        return format_column_name(self.name, self.unit)

    @property
    def shown(self) -> str:
        """Number as text."""
        return format_number(self.value, self.unit, self.accuracy)

    @property
    def label(self) -> str:
        """Unit as it is written."""
        return "per s" if self.name.endswith("_hz") else format_unit(self.unit)

    @property
    def inches(self) -> str:
        """A length in inches, decimal and in 64ths; else empty."""
        if self.unit != "mm" or self.value is None:
            return ""
        text = format_inches(self.value * 1e-3).removesuffix(" (0)")
        return text.removeprefix("-") if text.startswith("-0.000") else text

    @property
    def side(self) -> Side | None:
        """Low or high against the usual range, judged on the number as it is shown."""
        return self.usual.side(float(self.shown)) if self.usual and self.value is not None else None

    @property
    def advice(self) -> tuple[str, str] | None:
        """What an unusual value may mean, and what to look at first."""
        return self.usual.advice.get(self.side) if self.usual and self.side else None


@dataclass(frozen=True, slots=True)
class Remark:
    """One thing out of its usual range, in words."""

    title: str
    found: str
    means: str
    look: str

    def __str__(self) -> str:
        return f"{self.title}: {self.found}; {self.means}. Look first at: {self.look}."


def list_rows(
    record: Any, group: str, place: KeyPosition | None = None, of: str = "", prefix: str = ""
) -> tuple[ReadingRow, ...]:
    """The readings of one record; ``prefix`` leads to its usual ranges (``pinning.hammer``)."""
    if not is_dataclass(record):
        raise TypeError(f"no record of readings: {type(record).__name__}")
    found = []
    for name, meta in list_reading_fields(type(record)).items():
        value = convert_si(getattr(record, name), meta["unit"])
        span = find_usual_range(f"{prefix}{name}", place.key_number, place.sharp) if place else None
        found.append(
            ReadingRow(group, of, name, meta["title"], meta["unit"], value, meta["accuracy"], meta["definition"], span)
        )
    return tuple(found)


def list_setting_rows(prediction: Prediction, place: KeyPosition | None = None) -> tuple[ReadingRow, ...]:
    """What screws and papers set, the checking distance of the moderate blow among them."""
    found = list_rows(prediction.settings, "settings", place)
    at = 1 + next(i for i, row in enumerate(found) if row.name == "aftertouch")
    return (*found[:at], find_checking_row(prediction, place), *found[at:])


def find_checking_row(prediction: Prediction, place: KeyPosition | None = None) -> ReadingRow:
    """Checking distance after the moderate blow."""
    meta = list_reading_fields(Strike)["checking_distance"]
    value = convert_si(prediction.checking_distance, meta["unit"])
    span = find_usual_range("checking_distance", place.key_number, place.sharp) if place else None
    title = f"{meta['title']}, moderate blow"
    return ReadingRow(
        "settings", "", "checking_distance", title, meta["unit"], value, meta["accuracy"], meta["definition"], span
    )


def list_strike_rows(strike: Strike) -> tuple[ReadingRow, ...]:
    """One blow, its ledger among the readings (per cent of the finger's work)."""
    remainder = convert_si(strike.ledger_remainder, "")
    ledger = ReadingRow(
        "strike", strike.touch, "ledger_remainder", "ledger remainder", "", remainder, None,
        "unexplained share of the finger's work: the run's own error reading",
    )  # fmt: skip
    return (*list_rows(strike, "strike", of=strike.touch), ledger)


def list_centre_rows(prediction: Prediction, place: KeyPosition | None = None) -> tuple[ReadingRow, ...]:
    """Friction of each centre; pinning force and swings with their usual ranges."""
    found: list[ReadingRow] = []
    for name, centre in prediction.centres.items():
        for row in list_rows(centre, "centre", of=name):
            path = {"pinning_force": f"pinning.{name}", "swings": f"swings.{name}"}.get(row.name)
            span = find_usual_range(path, place.key_number, place.sharp) if place and path else None
            found.append(replace(row, usual=span))
    return tuple(found)


def list_all_rows(prediction: Prediction, place: KeyPosition | None = None) -> tuple[ReadingRow, ...]:
    """Every reading of a prediction, in the order of the table."""
    strikes = [row for strike in prediction.strikes for row in list_strike_rows(strike)]
    return (
        *list_setting_rows(prediction, place),
        *list_rows(prediction.touch, "touch", place),
        *strikes,
        *list_rows(prediction.repetition, "repetition", place),
        *list_centre_rows(prediction, place),
    )


def list_remarks(prediction: Prediction, place: KeyPosition) -> tuple[Remark, ...]:
    """What is out of its usual range, with the part to look at first."""
    found = [_mark(row) for row in list_all_rows(prediction, place) if row.advice]
    repetition = prediction.repetition
    look = LIMITING.get(repetition.limiting_part or "")
    found = [replace(mark, look=look) if look and mark.title == LIMIT else mark for mark in found]
    rates = sorted(repetition.sounded_fraction)
    if repetition.limit_hz is None and rates and repetition.sounded_fraction[rates[0]] < LIMIT_FRACTION:
        found.append(_remark_limit(repetition, place))
    if repetition.kicks:
        found.append(KICK)
    return tuple(found)


LIMIT = "repetition limit"
LIMITING = {
    "check release": "backcheck and tail (the check lets go late), then the spring",
    "hammer fall": "hammer centre (tight?), checking distance",
    "lever lift": "repetition spring (weak?), lever centre (tight?), drop screw (too low?)",
    "jack return": "jack centre (tight?), its spring, lever height over the jack",
    "key return": "key bushings and balance hole, key leads, dip",
}
"""What limits repetition to the part to look at first."""

KICK = Remark(
    "kick",
    "the hammer leaves the lever while rising, or a soft blow sounds twice",
    "the spring is too strong for its lever",
    "repetition spring: weaken it; then the lever centre (loose?)",
)


def _remark_limit(repetition: Repetition, place: KeyPosition) -> Remark:
    """Too few strokes sound already at the lowest rate."""
    span = find_usual_range("limit_hz", place.key_number, place.sharp)
    found = f"below {min(repetition.sounded_fraction):g} per s, low (usual {span} per s)"
    part = repetition.limiting_part or ""
    return Remark(LIMIT, found, f"the note does not come back in time ({part})", LIMITING.get(part, part))


def _mark(row: ReadingRow) -> Remark:
    means, look = row.advice or ("", "")
    unit = f" {row.label}" if row.label else ""
    title = f"{row.of} {row.title}" if row.of else row.title
    return Remark(title, f"{row.shown}{unit}, {row.side} (usual {row.usual}{unit})", means, look)


def list_curve_rows(repetition: Repetition) -> Iterator[tuple[str, float, float | None]]:
    """Rate in 1/s, sounded and reset fraction."""
    for rate, share in sorted(repetition.sounded_fraction.items()):
        yield f"{rate:g}", share, repetition.reset_fraction.get(rate)
