"""Key ends and wippen rail against the damper blocking: what clears, by how much, and why not.

Read at the piano, read again at the bench, or reckoned from the places of blocking
and stop and the scenario's key and rail.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from sim.bench.usual_ranges import find_usual_range
from sim.fields.defaults import is_sharp
from sim.piano.sheet import PianoSection
from sim.regulation.clearances import CLEARANCES
from sim.unit.model import ActionUnit
from sim.units import format_mm

LEAST_KEY_CLEARANCE = CLEARANCES["key_to_blocking"].least
"""Least clearance, m."""
AGREEMENT_TOLERANCE = 2e-3
"""Readings of one thing taken in two ways agree within this, m (a rule held in a dark case; our convention)."""


@dataclass(frozen=True)
class KeyEnd:
    """One key's end and the damper blocking behind it (m); None: not read, and not to be reckoned."""

    read: float | None = None
    """At the piano, level."""
    again: float | None = None
    """At the bench, to what stands for the blocking there."""
    carried: float | None = None
    """The reading at the bench, carried over to the piano by the places of blocking and stop at both."""
    reckoned: float | None = None
    """From the blocking's place, the stop and the scenario's key."""
    under: float | None = None
    """Underside of the blocking over the key's end, key as deep as is usual."""
    rail: float | None = None
    """Rear face of the wippen rail to the blocking, level."""

    @property
    def level(self) -> float | None:
        """Key's end to blocking: as read at the piano, else as at the bench, else as reckoned."""
        return next((v for v in (self.read, self.carried, self.reckoned) if v is not None), None)

    @property
    def in_the_way(self) -> tuple[str, ...]:
        """What does not clear, by how much, and what would have to change."""
        return tuple(self._describe())

    def _describe(self) -> Iterator[str]:
        level = self.level
        if (
            level is not None
            and level < LEAST_KEY_CLEARANCE
            and (self.under is None or self.under < LEAST_KEY_CLEARANCE)
        ):
            over = (
                "how high it hangs was not read, so that nothing is taken to pass under it" if self.under is None
                else f"key down, its underside is {format_mm(self.under)} over the key's end"
            )  # fmt: skip
            by = format_mm(LEAST_KEY_CLEARANCE - level)
            yield (
                f"the key's end stands {format_mm(level)} from the damper blocking (wanted: at least "
                f"{format_mm(LEAST_KEY_CLEARANCE)}), and "
                f"{over}; key ends {by} shorter, or the stop {by} farther to the player, and the strike line with it"
            )
        if self.rail is not None and self.rail < LEAST_KEY_CLEARANCE:
            yield (
                f"the wippen rail stands {format_mm(self.rail)} from the damper blocking (wanted: at least "
                f"{format_mm(LEAST_KEY_CLEARANCE)}); "
                f"a rail {format_mm(LEAST_KEY_CLEARANCE - self.rail)} narrower behind, or the stop as much "
                f"farther to the player"
            )

    @property
    def clears(self) -> bool | None:
        """Whether everything told of clears; None where nothing is told of the key's end."""
        return None if self.level is None else not self.in_the_way

    @property
    def verdict(self) -> str:
        """In a few words: by how much it clears, and how."""
        if self.level is None:
            return "not read"
        if self.in_the_way:
            return "DOES NOT CLEAR"
        if self.level < LEAST_KEY_CLEARANCE and self.under is not None:
            return f"passes under by {format_mm(self.under)}"
        return f"clears by {format_mm(self.level)}"

    @property
    def contradictions(self) -> tuple[str, ...]:
        """Readings of one clearance that do not agree."""
        ways = (
            (self.carried, "from the reading at the bench"),
            (self.reckoned, "reckoned from blocking, stop and key length"),
        )
        if self.read is None:
            return ()
        return tuple(
            f"key's end read {format_mm(self.read)} from the blocking, {format_mm(other)} {how}: read both again"
            for other, how in ways
            if other is not None and abs(other - self.read) > AGREEMENT_TOLERANCE
        )


def assess_key_end(section: PianoSection, key: int, unit: ActionUnit) -> KeyEnd:
    """What was read at one key, and what follows from it with the scenario's key and rail."""
    here, there = (section.from_pins(key, "damper_blocking", place) for place in ("piano", "bench"))
    again = section.at(key, "key_end_clearance", "bench")
    given = unit.nominal.get
    length, rail = given("key.rear_length"), given("rails.wippen_rail_rear")
    known = None not in (again, here, there)
    return KeyEnd(
        read=section.at(key, "key_end_clearance"),
        again=again,
        carried=(again or 0.0) + (here or 0.0) - (there or 0.0) if known else None,
        reckoned=None if here is None or length is None else here - length,
        under=_reckon_room_under(section, key, unit),
        rail=None if here is None or rail is None else here - unit.wippen.centre[0] - rail,
    )


def _reckon_room_under(section: PianoSection, key: int, unit: ActionUnit) -> float | None:
    """Room over the key's end at the deepest usual dip, by the key's level arms, m."""
    given = unit.nominal.get
    blocking, top = section.at(key, "damper_blocking_height"), section.at(key, "key_end_height")
    front, rear, dip = (
        given("key.front_to_balance"),
        given("key.rear_length"),
        find_usual_range("dip", key, is_sharp(key)),
    )
    if top is None:
        rail, stick = given("key.balance_rail_height"), given("key.thickness")
        top = None if rail is None or stick is None else rail + stick
    if blocking is None or top is None or front is None or rear is None or dip is None:
        return None
    return blocking - top - dip.high * 1e-3 * rear / front
