"""What leads the finger, and how a run ends: by the numbers that the kernel knows, written into it by the generator."""

from __future__ import annotations

from enum import IntEnum, StrEnum


class DriveMode(IntEnum):
    """What leads the finger."""

    NO_FINGER = 0
    KEY_MOTION = 1
    KEY_FORCE = 2
    DRIVEN_MASS = 3
    FINGER_MOTION = 4


class End(StrEnum):
    """How a run ends, in the words a person reads; the last is found by its ledger, all others by the kernel."""

    FINE = "fine"
    NOT_FINITE = "a state is not finite"
    TOO_DEEP = "contact deeper than its felt"
    OUT_OF_RANGE = "part past its range"
    NOT_ACCOUNTED = "energy not accounted for"

    @property
    def number(self) -> int:
        """What the kernel knows it by."""
        return tuple(End).index(self)
