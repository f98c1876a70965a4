"""A server for an app's script and a real browser to look at it, for all tests of what runs in a browser.

``serve(script)`` gives the address of a Streamlit server of that script (one a
session); ``page`` is a page of its own in headless Chromium that fails the test
when the browser's console told of an error.
"""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
import tempfile
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, BrowserContext, ConsoleMessage, Page, sync_playwright

import sim
from sim.bench.predict import touch
from sim.bench.rest import Rest, at_rest
from sim.bench.slow_press import press
from sim.bench.strike import play
from sim.sheets.film import film, press_film
from tests.app.machine import SCRIPT, Machine

Serve = Callable[..., str]

ROOT = Path(__file__).parents[2]
BROWSERS = (
    "chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome", "msedge", "microsoft-edge",
)  # fmt: skip
BROWSER_FLAGS = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
]  # fmt: skip
STARTS_WITHIN = 90.0
"""Longest time in which a server has to answer, s: far more than it takes."""
HARMLESS = ("favicon", "ResizeObserver loop")


def browser_path() -> str:
    """An installed Chromium, Chrome or Edge; without one the test fails, it is not passed over."""
    named = os.environ.get("BROWSER_FOR_TESTS")
    found = named or next((path for name in BROWSERS if (path := shutil.which(name))), None)
    if found is None:
        pytest.fail(
            "no browser found: install chromium (or Chrome or Edge), or set BROWSER_FOR_TESTS to its path",
            pytrace=False,
        )
    return found


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """One browser for all tests."""
    path = browser_path()
    with sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=path, headless=True, args=BROWSER_FLAGS)
        yield started
        started.close()


@pytest.fixture
def context(browser: Browser, request: pytest.FixtureRequest) -> Iterator[BrowserContext]:
    """A context of its own; ``@pytest.mark.parametrize("context", [{...}], indirect=True)`` sets its options."""
    options = {"viewport": {"width": 1280, "height": 1000}} | getattr(request, "param", {})
    made = browser.new_context(**options)
    made.set_default_timeout(20_000)
    yield made
    made.close()


@pytest.fixture
def page(context: BrowserContext) -> Iterator[Page]:
    """A page that has to stay without errors in its console."""
    errors: list[str] = []

    def listen(message: ConsoleMessage) -> None:
        if message.type == "error" and not any(word in message.text + str(message.location) for word in HARMLESS):
            errors.append(message.text)

    opened = context.new_page()
    opened.on("console", listen)
    opened.on("pageerror", lambda error: errors.append(str(error)))
    yield opened
    opened.close()
    assert not errors, "the browser's console tells: " + "; ".join(errors)


@pytest.fixture(scope="session")
def serve() -> Iterator[Serve]:
    """``serve(script, "--theme.base=dark")``: the address of a server of that script, one for each such call."""
    running: dict[tuple[str, ...], str] = {}
    with ExitStack() as stack:

        def start(script: Path | str, *options: str) -> str:
            key = (str(script), *options)
            if key not in running:
                running[key] = stack.enter_context(_server(Path(script), options))
            return running[key]

        yield start


@contextmanager
def _server(script: Path, options: tuple[str, ...]) -> Iterator[str]:
    port = _free_port()
    command = [
        sys.executable, "-m", "streamlit", "run", str(script), f"--server.port={port}", "--server.address=127.0.0.1",
        "--server.headless=true", "--browser.gatherUsageStats=false", "--server.fileWatcherType=none",
        "--client.toolbarMode=minimal", *options,
    ]  # fmt: skip
    paths = os.pathsep.join(filter(None, [str(ROOT), os.environ.get("PYTHONPATH")]))
    with (
        tempfile.TemporaryFile() as log,
        subprocess.Popen(
            command, cwd=ROOT, env=os.environ | {"PYTHONPATH": paths}, stdout=log, stderr=subprocess.STDOUT
        ) as server,
    ):
        url = f"http://127.0.0.1:{port}"
        until = time.monotonic() + STARTS_WITHIN
        while not _answers(url):
            if server.poll() is not None or time.monotonic() > until:
                server.kill()
                log.seek(0)
                pytest.fail(f"the server of {script.name} does not start:\n{log.read().decode(errors='replace')}")
            time.sleep(0.1)
        yield url
        server.terminate()


def _free_port() -> int:
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        return int(s.getsockname()[1])


def _answers(url: str) -> bool:
    try:
        with urllib.request.urlopen(f"{url}/_stcore/health", timeout=2) as reply:
            return bool(reply.status == 200)
    except (urllib.error.URLError, OSError):
        return False


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
    return at_rest(sim.load("concert-grand-natural"))


@pytest.fixture(scope="session")
def stroke(middle: Rest) -> dict[str, Any]:
    """The film of its moderate blow."""
    strike, run = play(middle, touch("moderate"))
    return film(middle, run, strike.events, "")


@pytest.fixture(scope="session")
def slow(middle: Rest) -> dict[str, Any]:
    """The film of its slow press."""
    return press_film(press(middle))
