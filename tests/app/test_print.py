"""A page to print, printed by a real browser: as the PDF is, all there and nothing over anything."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from playwright.sync_api import Browser


def test_the_printed_page_holds_all_that_the_pdf_holds(browser: Browser) -> None:
    """On letter, which is the narrower one for a table on its side."""
    from axe_playwright_python.sync_playwright import Axe

    from sim.report.paper.blocks import Sideways, Size
    from sim.report.paper.pdf import SIZES, make_pdf
    from sim.report.paper.print_page import render_page
    from tests.printed import BLOCKS, build_section_table, check_document, count_squares, read_pages

    size: Size = "letter"
    table = build_section_table(16)
    blocks = [*BLOCKS, Sideways([table])]
    opened = browser.new_page(viewport={"width": 390, "height": 900})
    asked: list[str] = []
    opened.on("request", lambda request: asked.append(request.url))
    opened.set_content(render_page("A sheet", blocks, size=size))
    assert opened.evaluate("document.documentElement.scrollWidth") <= 390, "only tables scroll sideways"
    found = Axe().run(opened)
    assert found.violations_count == 0, found.generate_report()
    data = opened.pdf(prefer_css_page_size=True)
    opened.close()
    assert not [url for url in asked if not url.startswith("data:")]
    mine, theirs = (check_document(d, pictures=1) for d in (data, make_pdf("A sheet", blocks, size=size)))
    squeezed = mine.replace(" ", "")
    assert "long" * 60 in squeezed and len(theirs.split()) > 700
    assert not [word for word in set(theirs.split()) if "longlong" not in word and word not in squeezed]
    figures = [[cell for cell in row if isinstance(cell, str) and cell] for row in table.rows]
    assert not [row for row in figures if " ".join(row) not in mine], "row by row, as they stand"
    pages = list(read_pages(data))
    assert {tuple(sorted(round(side) for side in p.size)) for p in pages} == {
        tuple(round(side) for side in SIZES[size])
    }
    assert sum(len(count_squares(p.shapes)) for p in pages) >= 60 + 2 + 16
    assert min(p.smallest for p in pages) >= 6
