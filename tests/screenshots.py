"""Pictures of every page of the dashboard at two widths, for the README: ``python tests/screenshots.py [PAGE ...]``.

Always in the same state: the first shipped scenario, nothing turned; pages that
compute are shown with what they computed.  Written to shared/pictures.
"""

from __future__ import annotations

import argparse
import io
import sys
from pathlib import Path

from PIL import Image
from playwright.sync_api import sync_playwright

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from dashboard.pages import PAGES
from tests.app.server import BROWSER_FLAGS, build_dashboard_command, find_browser, find_free_port, run_server
from tests.app.visit import BEGUN, Visit

FOLDER = Path(__file__).resolve().parents[1] / "shared" / "pictures"
WIDTHS = {"wide": (1280, 1100), "narrow": (390, 1600)}
COLOURS = 128


def _at_escape(visit: Visit) -> None:
    """The first page once all is read, the jack just leaving the knuckle."""
    visit.computed()
    visit.page.get_by_role("button", name="Escapement").click()
    visit.page.get_by_role("button", name="jack leaves the knuckle").first.click()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("pages", nargs="*", metavar="PAGE", help=f"some of {', '.join(PAGES)}; all where none is named")
    pages = parser.parse_args().pages or list(PAGES)
    if unknown := [name for name in pages if name not in PAGES]:
        parser.error(f"no such page: {', '.join(unknown)}")
    port = find_free_port()
    with run_server(build_dashboard_command(port), port) as server, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=find_browser(), args=BROWSER_FLAGS)
        for width, (x, y) in WIDTHS.items():
            context = browser.new_context(viewport={"width": x, "height": y}, reduced_motion="reduce")
            for name in pages:
                visit = Visit(context.new_page(), server.url).open("" if name == "predict" else name)
                if name == "predict":
                    _at_escape(visit)
                elif name in BEGUN:
                    visit.begin(name)
                visit.page.evaluate("document.querySelector('[data-testid=stMain]').scrollTo(0, 0)")
                visit.page.wait_for_timeout(700)  # what fades has faded
                _write(visit.page.screenshot(), FOLDER / f"dashboard-{name}-{width}.png")
                visit.page.close()
            context.close()
        browser.close()


def _write(png: bytes, path: Path) -> None:
    Image.open(io.BytesIO(png)).convert("RGB").quantize(COLOURS).save(path, optimize=True)
    print(f"{path.name}: {path.stat().st_size // 1024} kB")


if __name__ == "__main__":
    main()
