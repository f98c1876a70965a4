"""A server to look at and a browser to look with: for the tests, the benchmark and the pictures."""

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
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[2]
WATCH = Path(__file__).with_name("watch")
BROWSERS = (
    "chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome", "msedge", "microsoft-edge",
)  # fmt: skip
BROWSER_FLAGS = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
]  # fmt: skip
STARTS_WITHIN = 90.0
"""Longest time in which a server has to answer, s: far more than it takes."""


@dataclass(frozen=True)
class Server:
    """A server that answers."""

    url: str
    process: int
    watched: Path | None = None

    def seen(self) -> set[tuple[str, str]]:
        """What a watched server has done: ``writes`` a path, ``connects`` to, ``asks`` for or ``binds`` a host."""
        assert self.watched is not None, "this server is not watched"
        lines = self.watched.read_text(encoding="utf-8").splitlines()
        return {(deed, what) for deed, _, what in (line.partition(" ") for line in lines)}


class MissingError(RuntimeError):
    """What cannot be done without: a browser, or a server that starts."""


def find_browser() -> str:
    """An installed Chromium, Chrome or Edge.  Raises MissingError."""
    found = os.environ.get("BROWSER_FOR_TESTS") or next(
        (path for name in BROWSERS if (path := shutil.which(name))), None
    )
    if found is None:
        raise MissingError(
            "no browser found: install chromium (or Chrome or Edge), or set BROWSER_FOR_TESTS to its path"
        )
    return found


def build_script_command(script: Path, port: int, options: Sequence[str]) -> list[str]:
    """Serve one script."""
    return [
        sys.executable, "-m", "streamlit", "run", str(script), f"--server.port={port}", "--server.address=127.0.0.1",
        "--server.headless=true", "--browser.gatherUsageStats=false", "--server.fileWatcherType=none",
        "--client.toolbarMode=minimal", *options,
    ]  # fmt: skip


def build_dashboard_command(port: int) -> list[str]:
    """Serve the dashboard as a user does."""
    return [sys.executable, "-m", "dashboard", "--no-browser", "--port", str(port)]


@contextmanager
def run_server(
    command: Sequence[str], port: int, away: Path | None = None, watched: Path | None = None
) -> Iterator[Server]:
    """A server as long as the block lasts, of the tree; of what is installed where it is started ``away`` from it.

    What it does is told in the file ``watched``.  Raises MissingError with its log when it does not start.
    """
    paths = [str(WATCH) if watched else None, None if away else str(ROOT), os.environ.get("PYTHONPATH")]
    environment = os.environ | {"PYTHONPATH": os.pathsep.join(filter(None, paths))}
    environment |= {"WATCHED_TO": str(watched)} if watched else {}
    with (
        tempfile.TemporaryFile() as log,
        subprocess.Popen(command, cwd=away or ROOT, env=environment, stdout=log, stderr=subprocess.STDOUT) as server,
    ):
        url = f"http://127.0.0.1:{port}"
        until = time.monotonic() + STARTS_WITHIN
        try:
            while not _is_answering(url):
                if server.poll() is not None or time.monotonic() > until:
                    log.seek(0)
                    raise MissingError(f"the server does not start:\n{log.read().decode(errors='replace')}")
                time.sleep(0.05)
            yield Server(url, server.pid, watched)
        finally:
            server.terminate()


def find_free_port() -> int:
    """A port that nobody listens at."""
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        return int(s.getsockname()[1])


def _is_answering(url: str) -> bool:
    try:
        with urllib.request.urlopen(f"{url}/_stcore/health", timeout=2) as reply:
            return bool(reply.status == 200)
    except (urllib.error.URLError, OSError):
        return False
