"""The validation report in a real browser, narrow and wide: the page does not scroll sideways, its tables do."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from tests.tiers import try_each

if TYPE_CHECKING:
    from playwright.sync_api import Browser

WIDE = "; ".join(["a long cell"] * 12)


@try_each("width", [390, 1280])
def test_report_fits_the_screen(browser: Browser, tmp_path: Path, width: int) -> None:
    from axe_playwright_python.sync_playwright import Axe

    from sim.report.evidence import tables as sheet
    from sim.validation.records import load_records
    from tests.evidence_made_up import make_evidence

    (tmp_path / "twin.toml").write_text(
        f'title = "Twin"\nversion = "{"x" * 200}"\n' + f'[[row]]\nwhat = "{WIDE}"\nverdict = "pass"\n' * 30
    )
    page = browser.new_page(viewport={"width": width, "height": 900})
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.set_content(sheet.render_html(make_evidence(), load_records(tmp_path)))
    page.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    wide = page.evaluate(
        "[...document.querySelectorAll('.scroll')].filter(e => e.scrollWidth > e.clientWidth + 1).length"
    )
    assert (wide > 0) == (width == 390), "tables scroll in themselves on the narrow screen only"
    beyond = page.evaluate(
        "[...document.querySelectorAll('main *')].filter(e => !e.closest('.scroll')"
        f" && e.getBoundingClientRect().right > {width} + 1).length"
    )
    assert beyond == 0, "nothing outside a table reaches over the edge"
    drawn = page.evaluate("[...document.images].every(i => i.complete && i.naturalWidth > 100)")
    assert drawn, "every figure is drawn"
    assert not [url for url in asked if url.startswith(("http", "ws"))]
    found = Axe().run(page)
    assert found.violations_count == 0, found.generate_report()
    page.close()
