"""The dashboard without a browser: what a person does on its pages and what they then show."""

from __future__ import annotations

import re
from html import unescape
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

if TYPE_CHECKING:
    from dashboard.session.state import State

APP = Path(__file__).parents[2] / "dashboard" / "frame" / "app.py"
CARD = re.compile(r'<details data-reading="(\w+)">.*?<span class="value">(.*?)</span>(.*?)</summary><p>(.*?)</p>')
UNDONE = re.compile(r"\\(.)")
WAITING = re.compile(r'<span class="name">([^<]*)</span><span class="waits">')


class Bench:
    """One session."""

    def __init__(self, **address: str) -> None:
        from streamlit.testing.v1 import AppTest

        from dashboard.pages import predict

        predict.SETTLE_SECONDS *= 0.0  # no browser has to keep up
        self.at = AppTest.from_file(str(APP), default_timeout=120)
        for name, value in address.items():
            self.at.query_params[name] = value
        self.run()

    @property
    def state(self) -> State:
        return cast("State", self.at.session_state["state"])

    def run(self) -> Bench:
        """Draw again; no page may end in an exception."""
        self.at.run()
        assert not self.at.exception, [e.message for e in self.at.exception]
        return self

    def open(self, page: str) -> Bench:
        """Turn to a page by its address (the first page's is empty)."""
        name = "" if page == "predict" else page
        pages = self.at._registered_pages
        self.at._page_hash = next(h for h, info in pages.items() if info.get("url_pathname") == name)
        return self.run()

    def press(self, key: str) -> Bench:
        button = self.at.button(key=key)
        assert not button.disabled, f"{key} cannot be pressed"
        button.click()
        return self.run()

    def type(self, key: str, text: str) -> Bench:
        self.at.text_input(key=key).set_value(text)
        return self.run()

    def slide(self, name: str, value: float) -> Bench:
        self.at.slider(key=f"slide_{name}").set_value(value)
        return self.run()

    def choose(self, key: str, value: str) -> Bench:
        self.at.selectbox(key=key).set_value(value)
        return self.run()

    def switch(self, key: str, on: bool) -> Bench:
        self.at.toggle(key=key).set_value(on)
        return self.run()

    def upload(self, name: str, data: bytes, key: str = "upload") -> Bench:
        self.at.file_uploader(key=key).set_value((name, data, "application/toml"))
        return self.run()

    def html(self) -> str:
        return "\n".join(cast(Any, h.proto).body for h in self.at.get("html"))

    def cards(self) -> dict[str, str]:
        """Readings as they are printed, by name with unit; of two of one name the later."""
        return {key: unescape(value) for key, value, _, _ in CARD.findall(self.html())}

    def waiting(self) -> list[str]:
        """Titles of readings that are still to come."""
        return [unescape(title) for title in WAITING.findall(self.html())]

    def errors(self) -> str:
        """What is wrong, as it is read: without the strokes that keep markup from being markup."""
        return UNDONE.sub(r"\1", "\n".join(e.value for e in self.at.error))

    def words(self) -> str:
        """Everything that is written as text on the page."""
        kinds = ("title", "subheader", "markdown", "caption", "success", "info", "warning", "error")
        return UNDONE.sub(r"\1", "\n".join(str(e.value) for kind in kinds for e in self.at.get(kind)))
