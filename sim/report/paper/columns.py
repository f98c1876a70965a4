"""How wide the columns of a table are on paper, and how large its letters, so that all of it fits side by side.

Measured in the font that comes with matplotlib, so that – · ’ × and the units come out everywhere; it is among the
widest, so that what fits in it fits in others.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from matplotlib import get_data_path
from reportlab.pdfbase.pdfmetrics import registerFont, registerFontFamily, stringWidth
from reportlab.pdfbase.ttfonts import TTFont

from sim.report.paper.blocks import Cell, Mark, Table

BODY, BOLD = "Body", "BodyBold"
FONTS = {BODY: "DejaVuSans.ttf", BOLD: "DejaVuSans-Bold.ttf"}
LETTERS = (9.0, 8.0, 7.0, 6.0)
"""Of letters (points), the largest first; smaller ones are not read at a bench."""
PADDING = 3.0
TICK_SIZE = 9.0
WRITING_WIDTH, LEAST_WRITING_WIDTH = 74.0, 40.0
"""Room to write (points): as wanted, and the least that a figure is written into."""
LONGEST_WORD = 85.0
"""A word longer than this (points) may be broken, rather than set the whole table smaller."""


@dataclass(frozen=True)
class ColumnWidths:
    """Size of the letters and widths of the columns, in points."""

    letters: float
    widths: tuple[float, ...]


def fit_columns(table: Table, width: float) -> ColumnWidths:
    """Each column as wide as it needs; where that is too much heads over numbers are broken, then texts, between words.

    ``width`` in points.  Where the words do not fit either, the letters are set smaller, and at last words are broken.
    """
    least: list[float] = []
    for letters in LETTERS:
        needs = [_measure_column(table, i, letters) for i in range(len(table.heads))]
        least, wanted = [few for few, _ in needs], [most for _, most in needs]
        if sum(least) <= width:
            close = [few if i in table.numbers else most for i, (few, most) in enumerate(needs)]
            ends = (close, wanted) if sum(close) <= width else (least, close)
            return ColumnWidths(letters, _share_width(*ends, width))
    return ColumnWidths(LETTERS[-1], _share_width([0.0] * len(least), least, width))


def _share_width(least: Sequence[float], wanted: Sequence[float], width: float) -> tuple[float, ...]:
    """What each column gets, no less than its least: all it wants, or up to the one cap that fills the width."""
    if sum(wanted) <= width:
        return tuple(wanted)
    low, high = 0.0, width
    for _ in range(50):
        cap = (low + high) / 2
        low, high = (cap, high) if sum(_cap_widths(least, wanted, cap)) <= width else (low, cap)
    return tuple(_cap_widths(least, wanted, low))


def _cap_widths(least: Sequence[float], wanted: Sequence[float], cap: float) -> list[float]:
    return [max(few, min(most, cap)) for few, most in zip(least, wanted, strict=True)]


def _measure_column(table: Table, column: int, letters: float) -> tuple[float, float]:
    """Least and wanted width of a column; a number is never broken, a text between its words."""
    register_fonts()
    head, cells = table.heads[column], [row[column] for row in table.rows]
    whole = [_measure_cell(cell, BODY, letters) for cell in cells] or [0.0]
    wanted = max(_measure_cell(head, BOLD, letters), *whole)
    words = [_measure_cell(word, BOLD, letters) for word in head.split()]
    if column in table.numbers:
        words += whole
    else:
        words += [
            _measure_cell(word, BODY, letters) for cell in cells if isinstance(cell, str) for word in cell.split()
        ]
    kept = [min(word, LONGEST_WORD) for word in words] + [
        _measure_mark(cell) for cell in cells if isinstance(cell, Mark)
    ]
    around = 2 * PADDING + 1
    return max(kept, default=0.0) + around, wanted + around


def _measure_cell(cell: Cell, font: str, letters: float) -> float:
    if isinstance(cell, Mark):
        return TICK_SIZE if cell is Mark.TICK else WRITING_WIDTH
    return float(stringWidth(cell, font, letters))


def _measure_mark(cell: Mark) -> float:
    return TICK_SIZE if cell is Mark.TICK else LEAST_WRITING_WIDTH


@cache
def register_fonts() -> None:
    """Make the fonts known, once."""
    folder = Path(get_data_path()) / "fonts" / "ttf"
    for name, file in FONTS.items():
        registerFont(TTFont(name, str(folder / file)))
    registerFontFamily(BODY, normal=BODY, bold=BOLD, italic=BODY, boldItalic=BOLD)
