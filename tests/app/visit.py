"""The dashboard in a browser: what a person does on its pages, and conditions to wait for."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from playwright.sync_api import Locator, Page

MACHINE = (
    "[...document.querySelectorAll('[data-testid=stBidiComponentIsolated]')]"
    ".map(e => e.shadowRoot?.machine).find(Boolean)"
)
"""The moving mechanism's own object, in the page."""
COMPUTED = 120_000
"""Longest time for what computes, ms: far more than it takes."""

BEGUN = {
    "spring": ("Try the springs", "The curves (CSV)"),
    "rails": ("Make the map", "The map (CSV)"),
    "orders": ("Do this step", "The steps (CSV)"),
    "rough": ("Follow the orders of work", "The paths (CSV)"),
    "friction": ("What would it bring?", "Repin it on the bench"),
    "diagnose": ("Try every fault on this unit", "Figure (SVG)"),
    "compare": ("Compare", "The comparison (CSV)"),
    "photograph": ("Try the invented picture", "Whole picture"),
    "section": ("Work it out", "The record (ZIP)"),
}
"""Button of a page that computes, and the button that is there once it has."""


def expect(seen: Page | Locator) -> Any:
    """Playwright's ``expect``, loaded when first used."""
    from playwright.sync_api import expect

    return expect(seen)


class Visit:
    """One person at the dashboard."""

    def __init__(self, page: Page, url: str) -> None:
        self.page = page
        self.url = url
        self.machine: Locator = page.locator(".machine[data-film]")

    def open(self, name: str = "", **link: str) -> Visit:
        """A page by its address."""
        query = "&".join(f"{k}={v}" for k, v in link.items())
        self.page.goto(f"{self.url}/{name}{f'?{query}' if query else ''}")
        self.still()
        return self

    def turn_to(self, title: str) -> Visit:
        """A page by its place in the list of pages, as a person does."""
        self.page.get_by_role("link", name=title).click()
        expect(self.page.get_by_role("heading", level=1)).to_have_text(title)
        return self

    def still(self) -> Visit:
        """Wait until nothing is being computed, and everything is drawn."""
        self.page.locator("[data-testid=stApp][data-test-script-state=notRunning]").wait_for(timeout=COMPUTED)
        self.page.locator("h1").wait_for()
        expect(self.page.locator("[data-testid=stSkeleton]")).to_have_count(0, timeout=COMPUTED)
        return self

    def begin(self, name: str) -> Visit:
        """Have an open page compute what it computes when asked."""
        button, then = BEGUN[name]
        if name == "section":
            self.choose_file("two.csv", b"note,blow (mm)\n40,45\n42,44\n")
            self.page.get_by_text("Fit what was not measured").click(timeout=COMPUTED)
            self.still()
        self.page.get_by_role("button", name=button, exact=True).click()
        self.page.get_by_role("button", name=then).wait_for(timeout=COMPUTED)
        if name == "photograph":
            self.still().page.get_by_role("button", name="Click its places for me").click()
            self.page.get_by_role("button", name="The marks (TOML)").wait_for(timeout=COMPUTED)
        return self.still()

    def computed(self) -> Visit:
        """Wait until all readings of the first page are there."""
        self.card("limit_hz").wait_for(timeout=COMPUTED)
        return self.still()

    def card(self, name: str) -> Locator:
        return self.page.locator(f"details[data-reading={name}]")

    def cards(self) -> dict[str, str]:
        """Readings as they are printed."""
        found: list[list[str]] = self.page.evaluate(
            "[...document.querySelectorAll('[data-reading]')]"
            ".map(e => [e.dataset.reading, e.querySelector('.value').textContent])"
        )
        return dict(found)

    def waiting(self) -> int:
        """How many readings are still to come."""
        return self.page.locator(".readings .waits").count()

    def slider(self, name: str) -> Locator:
        return self.page.locator(f".st-key-slide_{name.replace('.', '-')}").get_by_role("slider")

    def film(self) -> str:
        """Which data the mechanism shows."""
        return self.machine.get_attribute("data-film") or ""

    def nudge(self, name: str, times: int = 1) -> None:
        """Move a slider by keyboard and wait until the mechanism shows the new motion, of the last press too."""
        before = self.film()
        self.slider(name).focus()
        for _ in range(times):
            self.page.keyboard.press("ArrowRight")
        self.drawn_anew(before)
        self.taken(name)

    def taken(self, name: str) -> None:
        """Wait until what a slider shows is what the server has: the field beside it says so."""
        stands = re.escape(self.slider(name).get_attribute("aria-valuetext") or "")
        field = self.page.locator(f".st-key-type_{name.replace('.', '-')} input")
        expect(field).to_have_attribute("placeholder", re.compile(f"^{stands} "), timeout=COMPUTED)

    def drawn_anew(self, before: str) -> None:
        self.page.wait_for_function(
            f"before => {{ const m = {MACHINE}; return m && m.root.dataset.film !== before; }}",
            arg=before, timeout=COMPUTED,
        )  # fmt: skip

    def inside(self, expression: str) -> Any:
        """A value of the mechanism's own object ``m``."""
        return self.page.evaluate(f"() => {{ const m = {MACHINE}; return {expression}; }}")

    def choose_file(self, name: str, data: bytes) -> None:
        """Upload a scenario."""
        field = self.page.locator("input[type=file]")
        field.set_input_files({"name": name, "mimeType": "application/toml", "buffer": data})

    def on_bench(self, name: str) -> None:
        """Wait until this is what the frame says to be on the bench."""
        expect(self.page.get_by_role("combobox", name="On the bench")).to_have_value(name)

    def alert(self, words: str | re.Pattern[str]) -> Locator:
        """A message with these words."""
        return self.page.get_by_role("alert").filter(has_text=words)
