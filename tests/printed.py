"""Sheets of paper read back: every character, picture and line with its place."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass

import numpy as np
import pypdfium2
from matplotlib.figure import Figure
from numpy.typing import NDArray
from pypdfium2.raw import FPDF_PAGEOBJ_IMAGE, FPDF_PAGEOBJ_PATH, FPDFText_GetFontSize

from sim.report.drawing.figures import render_png
from sim.report.paper.blocks import INVENTED, Block, Heading, Lines, Mark, Picture, Table, Text, Ticks
from sim.report.paper.pdf import MARGIN

WORDS = "Let-off – 1.6 mm · 33 N·mm × 2 ± 0.1 ’ “as it stands” → …"
MARKUP = "<b>&amp;</b> <para> $x$ <img src='x'/> %s {0} &lt;"


def draw_sample() -> bytes:
    figure = Figure(figsize=(4, 2))
    figure.subplots().plot([0, 1], [1, 0])
    return render_png(figure)


BLOCKS: list[Block] = [
    Text(WORDS),
    Text(MARKUP),
    Text("long" * 60),
    Heading("Settings, in the order of work"),
    Table(
        ("", "setting", "asked", "expected", "found", "remark"),
        [(Mark.TICK, f"no. {i}, {'with more words ' * (i % 4)}", f"{i}.25 mm", "1", Mark.ROOM, "") for i in range(60)],
        (2, 3),
    ),
    Picture(draw_sample(), "A picture: falling"),
    Heading("What was seen"),
    Ticks(("it plays", "it is caught " * 12)),
    Lines(3),
    Text("set off", shaded=True),
]  # fmt: skip


def build_section_table(notes: int) -> Table:
    """A wide table: a line a note, fifteen columns, most of them numbers, one to tick, one to write in."""
    heads = (
        "", "note", "key height, mm", "dip, mm", "blow, mm", "let-off, mm", "drop, mm", "checking, mm",
        "spring rise, mm", "down weight, gf", "up weight, gf", "hammer swings", "strike weight, g", "found", "remarks",
    )  # fmt: skip
    remarks = ("", "let-off late: turn the button a quarter", "assumed")
    rows = [
        (Mark.TICK, f"{n:02d}", f"{64 + n / 100:.2f}", "10.05", f"{45 + n / 50:.2f}", f"1.{n:02d}", "1.75", "15.25",
         f"-0.{n:02d}", f"{52 - n / 20:.1f}", "24.5", "6.5", f"{12 - n / 15:.1f}", Mark.ROOM, remarks[n % 3])
        for n in range(1, notes + 1)
    ]  # fmt: skip
    return Table(heads, rows, tuple(range(1, 13)))


@dataclass(frozen=True)
class PrintedPage:
    """A page read back: its text and boxes (left, bottom, right, top; points)."""

    text: str
    size: tuple[float, float]
    characters: NDArray[np.float64]
    pictures: NDArray[np.float64]
    shapes: NDArray[np.float64]
    smallest: float
    """Size of the smallest letters, in points."""


def read_pages(data: bytes) -> Iterator[PrintedPage]:
    with closing(pypdfium2.PdfDocument(data)) as document:
        for number in range(len(document)):
            with closing(document[number]) as page, closing(page.get_textpage()) as text:
                boxes = [(*text.get_charbox(i), FPDFText_GetFontSize(text.raw, i)) for i in range(text.count_chars())]
                placed = [box for box in boxes if box[2] > box[0] and box[3] > box[1]]
                found = {kind: [o.get_bounds() for o in page.get_objects([kind])] for kind in KINDS}
                yield PrintedPage(
                    text.get_text_range(), page.get_size(), *map(_array, ([b[:4] for b in placed], *found.values())),
                    min((b[4] for b in placed), default=0.0),
                )  # fmt: skip


KINDS = (FPDF_PAGEOBJ_IMAGE, FPDF_PAGEOBJ_PATH)


def _array(boxes: list[tuple[float, ...]]) -> NDArray[np.float64]:
    return np.array(boxes, dtype=float).reshape(-1, 4)


def count_overlaps(a: NDArray[np.float64], b: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Pairs of boxes that cover one another by more than a hair's breadth."""
    wide = np.minimum(a[:, None, 2], b[None, :, 2]) - np.maximum(a[:, None, 0], b[None, :, 0])
    high = np.minimum(a[:, None, 3], b[None, :, 3]) - np.maximum(a[:, None, 1], b[None, :, 1])
    return (wide > 0.3) & (high > 0.3)


def check_document(data: bytes, pictures: int) -> str:
    """Check a document; its text on one line."""
    pages = list(read_pages(data))
    for page in pages:
        each = page.characters
        assert len(each) > 100
        assert not np.triu(count_overlaps(each, each), 1).any()
        assert not count_overlaps(each, page.pictures).any()
        ticks = page.shapes[(page.shapes[:, 2] - page.shapes[:, 0] < 12) & (page.shapes[:, 3] - page.shapes[:, 1] < 12)]
        assert not count_overlaps(each, ticks).any()
        for boxes in (each, page.pictures, page.shapes):
            assert (boxes[:, 0] > MARGIN - 2).all() and (boxes[:, 2] < page.size[0] - MARGIN + 2).all()
            assert (boxes[:, 1] > MARGIN / 3).all() and (boxes[:, 3] < page.size[1] - MARGIN + 2).all()
    assert sum(len(page.pictures) for page in pages) == pictures
    for number, page in enumerate(pages, 1):
        assert f"page {number} of {len(pages)}" in page.text and INVENTED in page.text
    return " ".join(" ".join(page.text for page in pages).replace("\ufffe", "").split())


def count_squares(shapes: NDArray[np.float64]) -> NDArray[np.float64]:
    wide, high = shapes[:, 2] - shapes[:, 0], shapes[:, 3] - shapes[:, 1]
    return shapes[(abs(wide - high) < 0.1) & (wide > 5) & (wide < 12)]
