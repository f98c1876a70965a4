"""Documents on paper: the one place where a PDF is made.  A short list of blocks goes in, bytes come out.

The same blocks give the same bytes: no date, unless one is given to be printed.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any
from xml.sax.saxutils import escape

from reportlab.graphics.shapes import Drawing, Rect
from reportlab.lib.colors import HexColor
from reportlab.lib.pagesizes import A4, letter
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.lib.utils import ImageReader
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.platypus import (
    BaseDocTemplate,
    Frame,
    Image,
    KeepTogether,
    NextPageTemplate,
    PageBreak,
    PageTemplate,
    Paragraph,
)
from reportlab.platypus import Table as Rows

from sim.report.paper.blocks import (
    INVENTED,
    Block,
    Cell,
    Heading,
    Lines,
    Mark,
    Picture,
    Size,
    Table,
    Text,
    Ticks,
    Together,
    split_parts,
)
from sim.report.paper.columns import BODY, BOLD, LETTERS, PADDING, TICK_SIZE, fit_columns, register_fonts

SIZES = {"A4": A4, "letter": letter}
MARGIN = 18 * mm
FOOT = 9 * mm
"""Height over the lower edge at which a page says what it is."""
INK, FAINT, SHADE = HexColor("#22282d"), HexColor("#8a949c"), HexColor("#eef1f3")
POINTS, LEADING, SMALL = LETTERS[0], 4 / 3, 7.5
LINE_HEIGHT = 9 * mm
UPRIGHT, SIDEWAYS = "upright", "sideways"
"""Names of the two kinds of page."""
HIGHEST = 0.85
"""Share of a page's height that a picture may take."""


@dataclass(frozen=True)
class PageSpace:
    """What a page has room for, in points."""

    width: float
    height: float


def make_pdf(
    title: str,
    blocks: Sequence[Block],
    *,
    size: Size = "A4",
    invented: bool = True,
    caution: bool = True,
    date: str = "",
) -> bytes:
    """A document of these blocks; ``invented`` says on every page that its data are."""
    register_fonts()
    count = _build(title, blocks, size, invented, caution, date, None)[1]
    return _build(title, blocks, size, invented, caution, date, count)[0]


def _build(
    title: str, blocks: Sequence[Block], size: Size, invented: bool, caution: bool, date: str, count: int | None
) -> tuple[bytes, int]:
    """Bytes and number of pages; ``count`` of all pages is known the second time."""
    out = io.BytesIO()
    across, high = SIZES[size]
    foot = partial(_draw_foot, title=title, invented=invented, count=count)
    pages = {SIDEWAYS: _page(SIDEWAYS, high, across, foot), UPRIGHT: _page(UPRIGHT, across, high, foot)}
    flow: list[Any] = [Paragraph(escape(title), _style(16, 1.25, bold=True, after=6))]
    if date:
        flow.append(_paragraph(date))
    turns = [(SIDEWAYS if part.sideways else UPRIGHT, part.blocks) for part in split_parts(blocks, caution)]
    for number, (turn, inner) in enumerate(turns):
        if number:
            flow += [NextPageTemplate(turn), PageBreak()]
        frame = pages[turn].frames[0]
        flow += _flow_blocks(inner, PageSpace(frame.width, frame.height))
    first, _ = turns[0]
    document = BaseDocTemplate(
        out, pagesize=SIZES[size], pageTemplates=[pages.pop(first), *pages.values()], title=title, author="",
        subject=INVENTED if invented else "", creator="action-unit-sim", lang="en-GB", invariant=1,
    )  # fmt: skip
    document.build(flow)
    return out.getvalue(), document.page


def _page(name: str, across: float, high: float, foot: Callable[[Any, Any], None]) -> Any:
    frame = Frame(MARGIN, MARGIN, across - 2 * MARGIN, high - 2 * MARGIN, 0, 0, 0, 0, id=name)
    return PageTemplate(name, [frame], onPage=foot, pagesize=(across, high))


def _flow_blocks(blocks: Sequence[Block], space: PageSpace) -> list[Any]:
    return [part for block in blocks for part in _FLOWS[type(block)](block, space)]


def _draw_foot(canvas: Any, document: Any, *, title: str, invented: bool, count: int | None) -> None:
    width = document.pageTemplate.pagesize[0]
    canvas.setFont(BODY, SMALL)
    canvas.setFillColor(FAINT)
    place = f"page {canvas.getPageNumber()} of {count or 1}"
    canvas.drawRightString(width - MARGIN, FOOT, place)
    left = f"{INVENTED} – {title}" if invented else title
    room = width - 2 * MARGIN - stringWidth(place, BODY, SMALL) - 12
    while stringWidth(left, BODY, SMALL) > room:
        left = f"{left[:-2]}…"
    canvas.drawString(MARGIN, FOOT, left)


def _heading(block: Heading, space: PageSpace) -> list[Any]:
    return [Paragraph(escape(block.text), _style(11.5, bold=True, before=9, after=3, keep=True))]


def _text(block: Text, space: PageSpace) -> list[Any]:
    if not block.shaded:
        return [_paragraph(block.text, after=4)]
    style = [("BACKGROUND", (0, 0), (-1, -1), SHADE), *_padded(6)]
    words = Paragraph(escape(block.text), _style(SMALL))
    return [Rows([[words]], colWidths=[space.width], spaceBefore=6, spaceAfter=6, style=style)]


def _table(block: Table, space: PageSpace) -> list[Any]:
    found = fit_columns(block, space.width)
    plain = [partial(_style, found.letters, right=i in block.numbers) for i in range(len(block.heads))]
    rows = [[Paragraph(escape(head), style(bold=True)) for head, style in zip(block.heads, plain, strict=True)]]
    rows += [[_cell(cell, style()) for cell, style in zip(row, plain, strict=True)] for row in block.rows]
    style = [
        ("LINEBELOW", (0, 0), (-1, 0), 0.8, INK), ("LINEBELOW", (0, 1), (-1, -1), 0.3, FAINT),
        ("VALIGN", (0, 0), (-1, -1), "TOP"), *_padded(PADDING),
    ]  # fmt: skip
    by_hand = [i for row in block.rows for i, c in enumerate(row) if c is Mark.ROOM]
    style += [("BOX", (i, 1), (i, -1), 0.3, FAINT) for i in sorted(set(by_hand))]
    return [Rows(rows, colWidths=found.widths, repeatRows=1, hAlign="LEFT", splitInRow=1, spaceAfter=6, style=style)]


def _cell(cell: Cell, style: Any) -> Any:
    if cell is Mark.TICK:
        return _draw_tick()
    return Paragraph(escape(cell) if isinstance(cell, str) else "", style)


def _picture(block: Picture, space: PageSpace) -> list[Any]:
    across, high = ImageReader(io.BytesIO(block.png)).getSize()
    wide = min(block.width * space.width, HIGHEST * space.height * across / high)
    image = Image(io.BytesIO(block.png), width=wide, height=wide * high / across, hAlign="LEFT")
    return [KeepTogether([image, _paragraph(block.told, after=6)])]


def _ticks(block: Ticks, space: PageSpace) -> list[Any]:
    rows = [[_draw_tick(), _paragraph(line)] for line in block.lines]
    if not rows:
        return []
    style = [("VALIGN", (0, 0), (-1, -1), "TOP"), *_padded(2)]
    widths = [TICK_SIZE + 8, space.width - TICK_SIZE - 8]
    return [Rows(rows, colWidths=widths, hAlign="LEFT", spaceAfter=6, style=style)]


def _lines(block: Lines, space: PageSpace) -> list[Any]:
    style = [("LINEBELOW", (0, 0), (-1, -1), 0.3, FAINT)]
    heights = [LINE_HEIGHT] * block.count
    return [Rows([[""]] * block.count, colWidths=[space.width], rowHeights=heights, spaceAfter=8, style=style)]


def _together(block: Together, space: PageSpace) -> list[Any]:
    return [KeepTogether(_flow_blocks(block.blocks, space))]


_FLOWS: dict[type, Callable[[Any, PageSpace], list[Any]]] = {
    Heading: _heading, Text: _text, Table: _table, Picture: _picture, Ticks: _ticks, Lines: _lines,
    Together: _together,
}  # fmt: skip


def _draw_tick() -> Any:
    box = Rect(0, 0, TICK_SIZE, TICK_SIZE, strokeColor=INK, strokeWidth=0.7, fillColor=None)
    return Drawing(TICK_SIZE, TICK_SIZE, box)


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
        "own", fontName=BOLD if bold else BODY, fontSize=points, leading=leading * points, textColor=INK,
        spaceBefore=before, spaceAfter=after, alignment=2 if right else 0, keepWithNext=1 if keep else 0,
        splitLongWords=1,
    )  # fmt: skip
