"""What a sheet of paper is made of: a short list of blocks.

``pdf.py`` makes a PDF of them, ``print_page.py`` a page to print.  Texts are set as they
stand: nothing in them is taken for markup.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum, auto
from itertools import groupby
from typing import Literal, TypeAlias

from sim.report.formats.tables import CAUTIONS

Size = Literal["A4", "letter"]
INVENTED = "Invented demo data"


class Mark(Enum):
    """A cell to be filled in by hand: a box to tick, or room to write."""

    TICK = auto()
    ROOM = auto()


Cell = str | Mark


@dataclass(frozen=True)
class Heading:
    text: str


@dataclass(frozen=True)
class Text:
    text: str
    shaded: bool = False
    """Set off on a shade and smaller, as a caution is."""


@dataclass(frozen=True)
class Table:
    """Rows under heads; those of ``numbers`` (columns from 0) are set to the right and never broken."""

    heads: Sequence[str]
    rows: Sequence[Sequence[Cell]]
    numbers: Sequence[int] = ()


@dataclass(frozen=True)
class Picture:
    """A PNG with what is in it told under it; ``width`` is a share of the text's."""

    png: bytes
    told: str
    width: float = 1.0


@dataclass(frozen=True)
class Ticks:
    """Lines with a box before each."""

    lines: Sequence[str]


@dataclass(frozen=True)
class Lines:
    """Ruled lines to write on."""

    count: int


@dataclass(frozen=True)
class Together:
    """Blocks on one page, where they fit on one."""

    blocks: Sequence[Block]


@dataclass(frozen=True)
class Sideways:
    """Blocks on pages of their own that lie on their long side, as wide tables need; not inside another block."""

    blocks: Sequence[Block]


Block: TypeAlias = "Heading | Text | Table | Picture | Ticks | Lines | Together | Sideways"


@dataclass(frozen=True)
class Part:
    """Pages of one direction."""

    sideways: bool
    blocks: Sequence[Block]


def split_parts(blocks: Sequence[Block], caution: bool) -> list[Part]:
    """The blocks by the direction of their pages, at least one part; the caution ends the last one."""
    found: list[Part] = []
    for sideways, run in groupby(blocks, lambda block: isinstance(block, Sideways)):
        inner = [part for block in run for part in (block.blocks if isinstance(block, Sideways) else [block])]
        found.append(Part(sideways, inner))
    last = found.pop() if found else Part(False, [])
    return [*found, Part(last.sideways, [*last.blocks, Text(CAUTIONS, shaded=True)] if caution else last.blocks)]
