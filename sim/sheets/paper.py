"""Documents on paper: the one place where a PDF is made.  A short list of blocks goes in, bytes come out.

The same blocks give the same bytes: no date, unless one is given to be printed.  Set in
the font that comes with matplotlib, so that – · ’ × and the units come out everywhere.
Texts are set as they stand: nothing in them is taken for markup.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import Enum, auto
from functools import cache, partial
from pathlib import Path
from typing import Any, Literal, TypeAlias
from xml.sax.saxutils import escape

from matplotlib import get_data_path
from reportlab.graphics.shapes import Drawing, Rect
from reportlab.lib.colors import HexColor
from reportlab.lib.pagesizes import A4, letter
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.lib.utils import ImageReader
from reportlab.pdfbase.pdfmetrics import registerFont, registerFontFamily, stringWidth
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.platypus import Image, KeepTogether, Paragraph, SimpleDocTemplate, Spacer
from reportlab.platypus import Table as Rows

from sim.sheets.tables import CAUTIONS

Size = Literal["A4", "letter"]
SIZES = {"A4": A4, "letter": letter}
MARGIN = 18 * mm
OWN = 6.0
"""Padding of a page's frame, that of the library."""
FOOT = 9 * mm
"""Height over the lower edge at which a page says what it is."""
INK, FAINT, SHADE = HexColor("#22282d"), HexColor("#8a949c"), HexColor("#eef1f3")
BODY, BOLD = "Body", "BodyBold"
FONTS = {BODY: "DejaVuSans.ttf", BOLD: "DejaVuSans-Bold.ttf"}
POINTS, LEADING, PADDING, SMALL = 9.0, 12.0, 3.0, 7.5
TICK_SIZE, ROOM_WIDTH, LINE_HEIGHT = 9.0, 26 * mm, 9 * mm
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
    """Rows under heads; those of ``numbers`` (columns from 0) are set to the right."""

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


Block: TypeAlias = "Heading | Text | Table | Picture | Ticks | Lines | Together"


def pdf(
    title: str,
    blocks: Sequence[Block],
    *,
    size: Size = "A4",
    invented: bool = True,
    caution: bool = True,
    date: str = "",
) -> bytes:
    """A document of these blocks; ``invented`` says on every page that its data are."""
    _fonts()
    count = _build(title, blocks, size, invented, caution, date, None)[1]
    return _build(title, blocks, size, invented, caution, date, count)[0]


def _build(
    title: str, blocks: Sequence[Block], size: Size, invented: bool, caution: bool, date: str, count: int | None
) -> tuple[bytes, int]:
    """Bytes and number of pages; ``count`` of all pages is known the second time."""
    out = io.BytesIO()
    document = SimpleDocTemplate(
        out, pagesize=SIZES[size], leftMargin=MARGIN - OWN, rightMargin=MARGIN - OWN, topMargin=MARGIN - OWN,
        bottomMargin=MARGIN - OWN, title=title, author="", subject=INVENTED if invented else "",
        creator="action-unit-sim", lang="en-GB", invariant=1,
    )  # fmt: skip
    width = document.width - 2 * OWN
    flow: list[Any] = [Paragraph(escape(title), _style(16, 20, bold=True, after=6))]
    if date:
        flow.append(_paragraph(date))
    flow += _flow([*blocks, Text(CAUTIONS, shaded=True)] if caution else blocks, width)
    foot = partial(_foot, title=title, invented=invented, count=count)
    document.build(flow, onFirstPage=foot, onLaterPages=foot)
    return out.getvalue(), document.page


def _flow(blocks: Sequence[Block], width: float) -> list[Any]:
    return [part for block in blocks for part in _FLOWS[type(block)](block, width)]


def _foot(canvas: Any, document: Any, *, title: str, invented: bool, count: int | None) -> None:
    width = document.pagesize[0]
    canvas.setFont(BODY, SMALL)
    canvas.setFillColor(FAINT)
    place = f"page {canvas.getPageNumber()} of {count or 1}"
    canvas.drawRightString(width - MARGIN, FOOT, place)
    left = f"{INVENTED} – {title}" if invented else title
    room = width - 2 * MARGIN - stringWidth(place, BODY, SMALL) - 12
    while stringWidth(left, BODY, SMALL) > room:
        left = f"{left[:-2]}…"
    canvas.drawString(MARGIN, FOOT, left)


def _heading(block: Heading, width: float) -> list[Any]:
    return [Paragraph(escape(block.text), _style(11.5, 15, bold=True, before=9, after=3, keep=True))]


def _text(block: Text, width: float) -> list[Any]:
    if not block.shaded:
        return [_paragraph(block.text, after=4)]
    style = [("BACKGROUND", (0, 0), (-1, -1), SHADE), *_padded(6)]
    words = Paragraph(escape(block.text), _style(SMALL, 1.3 * SMALL))
    return [Spacer(1, 6), Rows([[words]], colWidths=[width], style=style), Spacer(1, 6)]


def _table(block: Table, width: float) -> list[Any]:
    widths = _widths([list(block.heads), *block.rows], width)
    rows = [[Paragraph(escape(h), _style(bold=True, right=i in block.numbers)) for i, h in enumerate(block.heads)]]
    rows += [[_cell(c, i in block.numbers) for i, c in enumerate(row)] for row in block.rows]
    style = [
        ("LINEBELOW", (0, 0), (-1, 0), 0.8, INK), ("LINEBELOW", (0, 1), (-1, -1), 0.3, FAINT),
        ("VALIGN", (0, 0), (-1, -1), "TOP"), *_padded(PADDING),
    ]  # fmt: skip
    by_hand = [i for row in block.rows for i, c in enumerate(row) if c is Mark.ROOM]
    style += [("BOX", (i, 1), (i, -1), 0.3, FAINT) for i in sorted(set(by_hand))]
    return [Rows(rows, colWidths=widths, repeatRows=1, hAlign="LEFT", style=style), Spacer(1, 6)]


def _cell(cell: Cell, right: bool) -> Any:
    if cell is Mark.TICK:
        return _tick()
    return Paragraph(escape(cell) if isinstance(cell, str) else "", _style(right=right))


def _picture(block: Picture, width: float) -> list[Any]:
    across, high = ImageReader(io.BytesIO(block.png)).getSize()
    wide = block.width * width
    image = Image(io.BytesIO(block.png), width=wide, height=wide * high / across, hAlign="LEFT")
    return [KeepTogether([image, _paragraph(block.told, after=6)])]


def _ticks(block: Ticks, width: float) -> list[Any]:
    rows = [[_tick(), _paragraph(line)] for line in block.lines]
    if not rows:
        return []
    style = [("VALIGN", (0, 0), (-1, -1), "TOP"), *_padded(2)]
    return [Rows(rows, colWidths=[TICK_SIZE + 8, width - TICK_SIZE - 8], hAlign="LEFT", style=style), Spacer(1, 6)]


def _lines(block: Lines, width: float) -> list[Any]:
    style = [("LINEBELOW", (0, 0), (-1, -1), 0.3, FAINT)]
    return [
        Rows([[""]] * block.count, colWidths=[width], rowHeights=[LINE_HEIGHT] * block.count, style=style),
        Spacer(1, 8),
    ]


def _together(block: Together, width: float) -> list[Any]:
    return [KeepTogether(_flow(block.blocks, width))]


_FLOWS: dict[type, Callable[[Any, float], list[Any]]] = {
    Heading: _heading, Text: _text, Table: _table, Picture: _picture, Ticks: _ticks, Lines: _lines,
    Together: _together,
}  # fmt: skip


def _tick() -> Any:
    box = Rect(0, 0, TICK_SIZE, TICK_SIZE, strokeColor=INK, strokeWidth=0.7, fillColor=None)
    return Drawing(TICK_SIZE, TICK_SIZE, box)


def _widths(rows: Sequence[Sequence[Cell]], width: float) -> list[float]:
    """Each column as wide as it needs; where that is too much, the widest are cut to one width."""
    wanted = [max(_wide(row[i], BOLD if row is rows[0] else BODY) for row in rows) for i in range(len(rows[0]))]
    left, over = width, sorted(wanted)
    cap = width
    for i, wide in enumerate(over):
        cap = left / (len(over) - i)
        if wide > cap:
            break
        left -= wide
    return [min(w, cap) if sum(wanted) > width else w for w in wanted]


def _wide(cell: Cell, font: str) -> float:
    inner = {Mark.TICK: TICK_SIZE, Mark.ROOM: ROOM_WIDTH}
    return 2 * PADDING + 1 + (float(stringWidth(cell, font, POINTS)) if isinstance(cell, str) else inner[cell])


def _padded(by: float) -> list[Any]:
    names = ("LEFTPADDING", "RIGHTPADDING", "TOPPADDING", "BOTTOMPADDING")
    return [(name, (0, 0), (-1, -1), by) for name in names]


def _paragraph(text: str, after: float = 0) -> Any:
    return Paragraph(escape(text), _style(after=after))


def _style(
    points: float = POINTS, leading: float = LEADING, *, bold: bool = False, right: bool = False, before: float = 0,
    after: float = 0, keep: bool = False,
) -> Any:  # fmt: skip
    return ParagraphStyle(
        "own", fontName=BOLD if bold else BODY, fontSize=points, leading=leading, textColor=INK, spaceBefore=before,
        spaceAfter=after, alignment=2 if right else 0, keepWithNext=1 if keep else 0, splitLongWords=1,
    )  # fmt: skip


@cache
def _fonts() -> None:
    folder = Path(get_data_path()) / "fonts" / "ttf"
    for name, file in FONTS.items():
        registerFont(TTFont(name, str(folder / file)))
    registerFontFamily(BODY, normal=BODY, bold=BOLD, italic=BODY, boldItalic=BOLD)
