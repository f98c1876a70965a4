"""What the bench reads: every reading's name, unit, definition, in one entry each.

Values are SI; ``unit`` names the unit in which a technician reads and the JSON
writes it (``blow`` becomes ``blow_mm``).  A reading that could not be taken is
None, and the prediction's ``outcome`` says why.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sim.bench.outcomes import Outcome
from sim.bench.reading_text import NAME_WIDTH, PrintableRecord, format_line
from sim.display_units import UNITS, convert_si, format_number
from sim.value_records import value_record

Array = NDArray[np.float64]


def reading(unit: str, title: str, definition: str, accuracy: float | None = None) -> Any:
    """One reading: its unit, its title, its definition and how finely a bench reads it (in ``unit``).

    Raises ValueError for a unit that is none of ``sim.display_units.UNITS``.
    """
    if unit not in UNITS:
        raise ValueError(f"{title}: no such unit as {unit!r}; it needs a line in UNITS of sim/display_units.py")
    return field(default=None, metadata={"unit": unit, "title": title, "definition": definition, "accuracy": accuracy})


@dataclass(frozen=True)
class Settings(PrintableRecord):
    """What screws and papers have set, as it comes out (m)."""

    blow: float | None = reading(
        "mm", "blow", "crown at rest to the underside of the string, along the line of strike", 0.5
    )
    dip: float | None = reading(
        "mm", "dip", "travel of the key's front edge from rest to firm contact with the punching under 300 gf", 0.25
    )
    let_off: float | None = reading(
        "mm", "let-off", "smallest distance of crown and string when the key is pressed very slowly", 0.2
    )
    drop: float | None = reading(
        "mm", "drop past escape", "fall of the crown below its let-off height, key held just past escape", 0.3
    )
    drop_at_bottom: float | None = reading(
        "mm", "drop at bottom", "the same with the key at the bottom: smaller, the lever being lifted at its screw", 0.3
    )
    aftertouch: float | None = reading(
        "mm", "aftertouch", "front-edge travel from the crown's highest point to firm contact under 300 gf", 0.2
    )
    lever_height: float | None = reading(
        "mm",
        "jack below lever",
        "at rest: top of the jack below (+) or above (-) the lever's surface at the knuckle",
        0.1,
    )
    jack_address: float | None = reading(
        "mm",
        "jack address",
        "at rest: rear edge of the jack's top to the rear of the knuckle's core, + to the player",
        0.2,
    )
    spread: float | None = reading("mm", "spread", "hammer-flange centre to wippen-flange centre", 0.25)
    damper_start: float | None = reading(
        "mm", "damper start", "front-edge travel at which the damper begins to rise", 0.3
    )
    wink: float | None = reading(
        "mm",
        "wink",
        "fall of the crown when the jack is tripped by its toe at rest (0: jack at or under the lever)",
        0.1,
    )


@value_record
@dataclass(frozen=True)
class SlowPress:
    """Force at the touch point against its travel, pressing and returning (m, N)."""

    travel: Array
    pressing: Array
    returning: Array
    crown: Array
    """Crown to string while pressing, m."""
    leverage: Array
    """Crown travel over front-edge travel, local."""
    area: float
    """Between the branches: work lost in one slow stroke, J."""


@dataclass(frozen=True)
class TouchWeight(PrintableRecord):
    """Static touch at the touch point (N)."""

    down_weight: float | None = reading("gf", "down weight", "mean force of the slow press over 2-5 mm of travel", 1.0)
    up_weight: float | None = reading("gf", "up weight", "the same over 5-2 mm on the slow return", 1.0)
    balance_weight: float | None = reading("gf", "balance weight", "half the sum of down and up weight", 1.0)
    friction: float | None = reading("gf", "friction at the key", "half the difference of down and up weight", 1.0)
    break_away: float | None = reading(
        "gf", "break-away weight", "largest force in the first millimetre of travel", 1.0
    )
    let_off_hump: float | None = reading(
        "gf", "let-off resistance", "largest force of the slow press before escape, above the down weight", 5.0
    )
    leverage_mean: float | None = reading(
        "", "leverage", "crown travel over front-edge travel, mean up to let-off", 0.1
    )
    leverage_6mm: float | None = reading(
        "", "leverage, first 6 mm", "crown rise over the first 6 mm of key travel", 0.1
    )


@value_record
@dataclass(frozen=True)
class Strike(PrintableRecord):
    """One blow of one finger (m, s, N)."""

    touch: str
    pressed: bool
    outcome: str
    hammer_speed: float | None = reading("m_s", "hammer speed", "crown speed at first string contact", None)
    key_speed_max: float | None = reading("m_s", "key speed, greatest", "of the touch point before the key lands", None)
    travel_time: float | None = reading("ms", "travel time", "key leaves rest (10 um) to crown on string", None)
    free_flight: float | None = reading("ms", "free flight", "last push of jack or lever to crown on string", None)
    free_flight_distance: float | None = reading("mm", "free flight", "crown to string at the last push", None)
    contact_time: float | None = reading(
        "ms", "string contact", "first touch to last parting of crown and string", None
    )
    peak_force: float | None = reading("N", "peak force", "greatest force between crown and string", None)
    key_bottom_after_contact: float | None = reading(
        "ms", "key bottom after contact", "firm landing of the key (300 gf on the punching) minus crown on string", None
    )
    checking_distance: float | None = reading(
        "mm", "checking distance", "crown to string, key held down, hammer at rest in the backcheck", 1.0
    )
    caught: bool = False
    contacts_with_string: int = 0
    events: Mapping[str, float | None] = field(default_factory=dict)
    """Event name (EVENTS) to time in s; None where it did not happen."""
    ledger_remainder: float | None = None
    losses: Mapping[str, float] = field(default_factory=dict)
    """Where the finger's work went, J."""

    def lines(self, indent: str = "") -> Iterator[str]:
        yield f"{indent}{self.touch} blow ({'pressed' if self.pressed else 'struck'}): {self.outcome}"
        yield from super().lines(f"{indent}  ")
        if self.ledger_remainder is not None:
            yield format_line(f"{indent}  ", "ledger remainder", f"{self.ledger_remainder * 100:.3f}", "%")


EVENTS: Mapping[str, str] = {
    "key_leaves_rest": "key leaves rest",
    "damper_starts": "damper starts",
    "toe_meets_button": "jack toe meets the let-off button",
    "lever_meets_drop_screw": "lever meets the drop screw",
    "escape": "jack leaves the knuckle (escape)",
    "free_flight": "nothing pushes the knuckle any more",
    "string_contact": "crown touches string",
    "string_release": "crown leaves string",
    "key_meets_punching": "key meets punching",
    "key_bottom": "key bottom (300 gf on the punching)",
    "tail_meets_backcheck": "tail meets backcheck",
    "caught": "hammer at rest in the check",
}


@value_record
@dataclass(frozen=True)
class Repetition(PrintableRecord):
    """How the note comes back and how fast it can be played again."""

    limit_hz: float | None = reading(
        "", "repetition limit", "rate at which the sounded fraction falls through 0.9", 0.5
    )
    limit_spread_hz: float | None = reading(
        "", "spread of the limit", "half the range of limits over the finger depths (16-84 %)", None
    )
    limiting_part: str | None = None
    sounded_fraction: Mapping[float, float] = field(default_factory=dict)
    """Strokes that sound once, at half speed or more, carried by the jack; by rate in 1/s."""
    reset_fraction: Mapping[float, float] = field(default_factory=dict)
    """Strokes begun with the jack home; by rate in 1/s."""
    reset_point: float | None = reading(
        "mm", "reset point", "front-edge depth on a slow return at which the jack is home under the knuckle", 0.5
    )
    return_time: float | None = reading("ms", "return to jack reset", "key released from the bottom to jack home", 10.0)
    rest_time: float | None = reading("ms", "return to rest", "key released from the bottom to all parts at rest", 20.0)
    spring_rise: float | None = reading(
        "mm", "spring rise", "height the lever lifts the hammer when the check lets go after a moderate blow", 0.5
    )
    spring_rise_speed: float | None = reading("mm_s", "speed of the rise", "peak upward crown speed of that rise", None)
    kicks: bool | None = None
    """The hammer leaves the lever while rising, or a soft blow sounds twice."""

    def lines(self, indent: str = "") -> Iterator[str]:
        yield from super().lines(indent)
        if self.limiting_part:
            yield f"{indent}{'limiting part':<{NAME_WIDTH}}  {self.limiting_part}"
        if self.kicks is not None:
            yield f"{indent}{'kicks':<{NAME_WIDTH}}  {'yes' if self.kicks else 'no'}"
        for rate, share in sorted(self.sounded_fraction.items()):
            yield format_line(indent, f"sounded at {rate:g} a second", f"{share:.2f}")


@dataclass(frozen=True)
class Centre(PrintableRecord):
    """One centre: torque, and how the bench would find it."""

    torque: float = reading("Nmm", "friction torque", "dry friction of the centre", None)
    pinning_force: float | None = reading(
        "gf", "pinning force", "force at the usual radius that keeps the freed part turning, weight balanced out", 0.5
    )
    radius: float | None = reading("mm", "at radius", "where the gauge pulls", None)
    swings: float | None = reading("", "swings", "full swings of the freed part, hanging, from the stated angle", 2.0)
    swing_from: float | None = reading("deg", "swing from", "angle at which the part is let go", None)


@value_record
@dataclass(frozen=True)
class Prediction(PrintableRecord):
    """All readings of one unit: what the note will do."""

    unit: str
    outcome: str
    """Of ``Outcome``: plays, or the failure by name."""
    reason: str
    settings: Settings
    touch: TouchWeight
    strikes: tuple[Strike, ...]
    repetition: Repetition
    centres: Mapping[str, Centre]
    assumed: tuple[str, ...]
    set_up: Mapping[str, float] = field(default_factory=dict)
    """Settings that were found for the targets, by scenario path (SI)."""
    slow_press: SlowPress | None = None

    @property
    def plays(self) -> bool:
        return self.outcome == Outcome.PLAYS

    @property
    def checking_distance(self) -> float | None:
        """After the moderate blow, m."""
        return next((s.checking_distance for s in self.strikes if s.touch == "moderate"), None)

    def lines(self, indent: str = "") -> Iterator[str]:
        yield f"{self.unit}: {self.outcome}"
        if self.reason:
            yield f"  {self.reason}"
        for title, record in (("settings", self.settings), ("touch", self.touch)):
            yield title
            yield from record.lines("  ")
        for strike in self.strikes:
            yield from strike.lines()
        yield "repetition"
        yield from self.repetition.lines("  ")
        yield "centres"
        for name, centre in self.centres.items():
            torque = format_number(convert_si(centre.torque, "Nmm"), "Nmm")
            force = format_number(convert_si(centre.pinning_force, "gf"), "gf")
            yield f"{format_line('  ', name, torque, 'N·mm')} {force:>6} gf"
        yield f"assumed, not measured: {len(self.assumed)} inputs (see .assumed)"


def list_reading_fields(cls: type) -> dict[str, dict[str, Any]]:
    """Name to metadata of the readings a record holds, in order."""
    return {f.name: dict(f.metadata) for f in fields(cls) if f.metadata}
