"""What is told and clicked of a photograph, and what it gives: plain data."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from sim.unit.model import Vec
from sim.workshop import photograph_points as points
from sim.workshop.perspective import View

TURN = "hammer.rest_angle"
"""The one field that is an angle."""


@dataclass(frozen=True)
class Picture:
    """The photograph that was clicked on: name, size in pixels as it is looked at, bytes and SHA-256 of its file."""

    name: str
    width: int
    height: int
    bytes: int
    sha256: str


@dataclass(frozen=True)
class Marks:
    """All that was clicked and told (m, pixels; x to the right, y down): what results follow from, and nothing else."""

    picture: Picture
    clicks: Mapping[str, Vec] = field(default_factory=dict)
    card: Vec = (0.240, 0.160)
    """Width and height between the corner crosses."""
    rule: tuple[float, ...] = (0.0, 0.15, 0.3)
    """Places of the second scale's marks along it."""
    origin: str = points.PIN
    """Click that the frame is hung on, and where that is in it."""
    origin_at: Vec = (0.0, 0.0)
    level_line: bool = True
    """Level is a line that was clicked; else the card's long side."""
    click: float = 0.7
    """Standard uncertainty of a click, pixels."""
    depth: float = 0.5e-3
    """How unevenly the clicked places and the second scale lie in depth, standard deviation, m."""
    distance: float = 1.0
    """From camera to card, m; roughly."""
    most: float = 0.5e-3
    """A place more uncertain than this (m) is not given."""

    @property
    def asked(self) -> tuple[points.Asked, ...]:
        """Everything to click, in order."""
        return points.asked(len(self.rule), self.level_line, self.origin)

    @property
    def missing(self) -> tuple[points.Asked, ...]:
        """What is needed and was not clicked."""
        return tuple(a for a in self.asked if a.needed and a.name not in self.clicks)


@dataclass(frozen=True)
class Found:
    """One field of ``[coordinates]``: value (SI; one or two numbers) with its standard uncertainty (the larger)."""

    path: str
    value: tuple[float, ...]
    uncertainty: float
    place: Vec
    """Where the click lies in the action's frame, m."""
    place_uncertainty: float
    given: bool
    """Certain enough to be handed on."""


@dataclass(frozen=True)
class Photographed:
    """What a picture gives."""

    marks: Marks
    view: View
    found: tuple[Found, ...]
    waiting: tuple[str, ...]
    """Clicked, but another click that its frame needs is missing."""

    @property
    def given(self) -> tuple[Found, ...]:
        return tuple(f for f in self.found if f.given)
