"""The moving mechanism on a page: what a person does with it, and what it tells."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from playwright.sync_api import Locator, Page

SCRIPT = Path(__file__).with_name("mechanism_alone.py")
HOST = "[data-testid=stBidiComponentIsolated]"
INNER = "document.querySelector('[data-testid=stBidiComponentIsolated]').shadowRoot.machine"
"""The component's own object, in the page."""


class Machine:
    """What a person does with the mechanism, and what it tells."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.root: Locator = page.locator(".machine[data-time]")
        self.stage = page.get_by_role("group", name="Picture.")
        self.scrub = page.get_by_role("slider", name="Moment of the stroke")
        self.hand = page.get_by_role("slider", name="Key travel under the finger")
        self.words = page.locator(".machine .moment")

    def press(self, *names: str) -> None:
        for name in names:
            self.root.get_by_role("button", name=name).click()

    def tells(self, name: str) -> str:
        return self.root.get_attribute(f"data-{name}") or ""

    def told(self, name: str, value: float, within: float) -> None:
        """Wait until what it tells is this number."""
        self.page.wait_for_function(
            f"([name, value, within]) => Math.abs(Number({INNER}.root.dataset[name]) - value) <= within",
            arg=[name, value, within],
        )

    def picture(self) -> str:
        return str(self.page.evaluate(f"{INNER}.picture.canvas.toDataURL()"))


def find_event_time(stroke: dict[str, Any], name: str) -> float:
    return float(next(e["ms"] for e in stroke["events"] if e["name"] == name))
