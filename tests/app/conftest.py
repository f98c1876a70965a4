"""A server for an app's script and a real browser to look at it, for all tests of what runs in a browser.

``serve(script)`` gives the address of a Streamlit server of that script (one a
session), ``dashboard`` that of the dashboard; ``page`` is a page in headless
Chromium that fails the test when the browser's console told of an error or
anything was asked of another machine.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

import sim
from sim.bench.predict import find_touch
from sim.bench.rest_pose import Rest, settle_at_rest
from sim.bench.slow_press import press_slowly
from sim.bench.strike import play_touch
from sim.report.drawing.film import build_film, build_press_film
from tests.app.machine import SCRIPT, Machine
from tests.app.server import (
    BROWSER_FLAGS,
    MissingError,
    Server,
    build_dashboard_command,
    build_script_command,
    find_browser,
    find_free_port,
    run_server,
)
from tests.app.visit import Visit

if TYPE_CHECKING:
    from playwright.sync_api import Browser, BrowserContext, ConsoleMessage, Dialog, Page

Serve = Callable[..., str]

HARMLESS = re.compile(
    r"favicon|ResizeObserver loop"
    r"|/\w+/_stcore/(health|host-config)"  # Streamlit looks for these under a page's address before the server's own
)
OWN = re.compile(r"(https?|wss?)://127\.0\.0\.1:\d+/|data:|blob:")
"""Addresses that may be asked for: this machine's."""


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """One browser for all tests."""
    from playwright.sync_api import sync_playwright

    try:
        path = find_browser()
    except MissingError as missing:
        pytest.fail(str(missing), pytrace=False)  # it is not passed over
    with sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=path, headless=True, args=BROWSER_FLAGS)
        yield started
        started.close()


class Window:
    """A context of the browser with its page, shared by all tests: what was loaded once is not loaded again."""

    def __init__(self, context: BrowserContext) -> None:
        self.errors: list[str] = []
        """What its console told, and dialogs that came up."""
        self.asked: list[str] = []
        """Addresses that were asked for."""
        self.context = context
        context.set_default_timeout(20_000)
        context.on("request", lambda request: self.asked.append(request.url))
        self.page = context.new_page()
        self.page.on("websocket", lambda socket: self.asked.append(socket.url))
        self.page.on("console", self._hear)
        self.page.on("pageerror", lambda error: self.errors.append(str(error)))
        self.page.on("dialog", self._dismiss)

    def forget(self) -> None:
        """Nothing of a test is left to the next: its other windows, storage and colours, and its session."""
        for other in self.context.pages:
            if other is not self.page:
                other.close()
        if self.page.url.startswith("http"):
            self.page.evaluate("localStorage.clear()")
        self.page.emulate_media(color_scheme="light")
        self.page.goto("about:blank")
        self.errors.clear()
        self.asked.clear()

    def _hear(self, message: ConsoleMessage) -> None:
        if message.type == "error" and not HARMLESS.search(f"{message.text} {message.location}"):
            self.errors.append(message.text)

    def _dismiss(self, dialog: Dialog) -> None:
        self.errors.append(f"a dialog: {dialog.message}")
        dialog.dismiss()


@pytest.fixture(scope="session")
def windows(browser: Browser) -> Iterator[Callable[..., Window]]:
    """``windows(viewport={...})``: the window with these options."""
    made: dict[str, Window] = {}

    def find(**options: Any) -> Window:
        whole = {"viewport": {"width": 1280, "height": 1000}} | options
        key = repr(sorted(whole.items()))
        if key not in made:
            made[key] = Window(browser.new_context(**whole))
        return made[key]

    yield find
    for window in made.values():
        window.context.close()


@pytest.fixture
def window(windows: Callable[..., Window], request: pytest.FixtureRequest) -> Iterator[Window]:
    """A window that has to stay without errors, and asks nothing of any other machine.

    ``@pytest.mark.parametrize("window", [{...}], indirect=True)`` sets the options of its context.
    """
    found = windows(**getattr(request, "param", {}))
    yield found
    errors, asked = list(found.errors), list(found.asked)
    found.forget()
    assert not errors, "the browser's console tells: " + "; ".join(errors)
    foreign = [url for url in asked if not OWN.match(url)]
    assert asked and not foreign, f"asked of other machines: {foreign}"


@pytest.fixture
def context(window: Window) -> BrowserContext:
    """The window's context, for more pages of the same browser."""
    return window.context


@pytest.fixture
def page(window: Window) -> Page:
    """The window's page."""
    return window.page


@pytest.fixture(scope="session")
def serve() -> Iterator[Serve]:
    """``serve(script, "--theme.base=dark")``: the address of a server of that script, one for each such call."""
    addresses: dict[tuple[str, ...], str] = {}
    with ExitStack() as stack:

        def start(script: Path | str, *options: str) -> str:
            key = (str(script), *options)
            if key not in addresses:
                port = find_free_port()
                server = run_server(build_script_command(Path(script), port, options), port)
                addresses[key] = stack.enter_context(server).url
            return addresses[key]

        yield start


@pytest.fixture(scope="session")
def dashboard(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """The dashboard, started as a user starts it, and watched."""
    port = find_free_port()
    with run_server(build_dashboard_command(port), port, watched=tmp_path_factory.mktemp("watched") / "log") as server:
        yield server


@pytest.fixture
def visit(page: Page, dashboard: Server) -> Visit:
    """Someone who has the dashboard's address."""
    return Visit(page, dashboard.url)


@pytest.fixture
def machine(page: Page, serve: Serve) -> Machine:
    """The moving mechanism on a page of its own (mechanism_alone.py)."""
    page.goto(serve(SCRIPT))
    found = Machine(page)
    found.root.wait_for()
    return found


@pytest.fixture(scope="session")
def middle() -> Rest:
    """The middle natural at rest, as the mechanism's own page shows it."""
    return settle_at_rest(sim.load("concert-grand-natural"))


@pytest.fixture(scope="session")
def stroke(middle: Rest) -> dict[str, Any]:
    """The film of its moderate blow."""
    strike, run = play_touch(middle, find_touch("moderate"))
    return build_film(middle, run, strike.events, "")


@pytest.fixture(scope="session")
def slow(middle: Rest) -> dict[str, Any]:
    """The film of its slow press."""
    return build_press_film(press_slowly(middle))
