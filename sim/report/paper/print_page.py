"""Documents as a page to print: the blocks of ``pdf.py`` as HTML that needs nothing else and asks no host.

No script is in it, none would run, and nothing would be fetched: the page itself forbids it.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache, partial
from typing import Any

from reportlab.lib.units import mm

from sim.fields.quantity_field import fit_on_line
from sim.report.paper import web_page
from sim.report.paper.blocks import INVENTED, Block, Mark, Part, Size, Table, split_parts
from sim.report.paper.columns import ColumnWidths, fit_columns
from sim.report.paper.pdf import HIGHEST, LINE_HEIGHT, MARGIN, SIZES, PageSpace

FOOT_LENGTH = 60
"""Characters of the title in the foot of each page."""


def render_page(
    title: str,
    blocks: Sequence[Block],
    *,
    size: Size = "A4",
    invented: bool = True,
    caution: bool = True,
    date: str = "",
) -> str:
    """As ``paper.pdf``, as the text of an HTML file; the same blocks give the same text.

    Browsers that print margin boxes write title and page number, and ``invented``, on every page; all write
    ``invented`` at its head.
    """
    foot = fit_on_line(title, FOOT_LENGTH)
    across, high = (side - 2 * MARGIN for side in SIZES[size])
    text: str = _template().render(
        title=title, date=date, size=size, margin=round(MARGIN / mm, 3), line=round(LINE_HEIGHT / mm, 3),
        invented=INVENTED if invented else "", foot=f"{INVENTED} – {foot}" if invented else foot,
        parts=[(part, _space(part, across, high)) for part in split_parts(blocks, caution)],
    )  # fmt: skip
    return text


def _space(part: Part, across: float, high: float) -> PageSpace:
    return PageSpace(high, across) if part.sideways else PageSpace(across, high)


@cache
def _template() -> Any:
    return web_page.load_template(
        "sheet.html.j2", kind=_kind, css=_css, columns=_columns, by_hand=_list_written_columns,
        png=partial(web_page.embed_data, kind="image/png"), highest=lambda space: HIGHEST * space.height,
    )  # fmt: skip


def _kind(block: Block | Mark | str) -> str:
    """By what macro of the template it is written."""
    return block.name if isinstance(block, Mark) else type(block).__name__


def _columns(table: Table, space: PageSpace) -> ColumnWidths:
    return fit_columns(table, space.width)


def _list_written_columns(table: Table) -> set[int]:
    """Columns that are written into."""
    return {i for row in table.rows for i, cell in enumerate(row) if cell is Mark.ROOM}


def _css(text: str) -> str:
    """A text between the quotes of a style: whatever could end it is written as its number."""
    return "".join(c if c.isascii() and c.isalnum() else f"\\{ord(c):06x}" for c in text)
