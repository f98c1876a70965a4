"""``python -m dashboard``: the dashboard on this machine only; nothing is sent anywhere."""

from __future__ import annotations

import argparse
import gc
import sys
from importlib import import_module
from pathlib import Path
from threading import Thread

APP = Path(__file__).with_name("app.py")

OPTIONS = {
    "server.address": "127.0.0.1",
    "server.maxUploadSize": "2",
    "server.enableXsrfProtection": "true",
    "server.fileWatcherType": "none",
    "server.showEmailPrompt": "false",
    "server.enableAgentApi": "false",
    "browser.gatherUsageStats": "false",
    "browser.serverAddress": "127.0.0.1",
    "runner.magicEnabled": "false",
    "client.toolbarMode": "viewer",
    "client.showErrorDetails": "none",
    "client.showErrorLinks": "false",
    "theme.light.primaryColor": "#1d5c63",
    "theme.dark.primaryColor": "#7cc4b8",
}
"""Settings of the server and of the look; the first keeps it off the network."""
HOSTS = ("127.0.0.1", "localhost")
"""Names under which a browser may ask for it."""


def command(port: int, browser: bool) -> list[str]:
    """The command line of the server."""
    options = OPTIONS | {"server.port": str(port), "server.headless": str(not browser).lower()}
    told = [f"--{name}={value}" for name, value in options.items()]
    return ["streamlit", "run", str(APP), *told, *(f"--server.allowedHosts={host}" for host in HOSTS)]


def main() -> None:
    """Start the server and open the browser."""
    parser = argparse.ArgumentParser(prog="python -m dashboard", description=__doc__)
    parser.add_argument("--port", type=_port, default=8501, help="port on this machine (default 8501)")
    parser.add_argument("--no-browser", action="store_true", help="only say the address, do not open a browser")
    options = parser.parse_args()
    gc.disable()  # until all is loaded: looking through it again and again takes half a second
    try:
        from streamlit.web import cli
    except ImportError:
        raise SystemExit("the dashboard needs its packages: python -m pip install '.[dashboard]'") from None
    sys.setswitchinterval(0.0005)  # the server's own thread waits less for those that compute
    Thread(target=_warm, daemon=True).start()
    sys.argv = command(options.port, not options.no_browser)
    cli.main(prog_name="python -m dashboard")


def _warm() -> None:
    """Load what the first page needs while the server starts and the browser opens."""
    try:
        from dashboard import runs

        import_module("dashboard.questions.note")
        runs.warm()
    finally:
        gc.freeze()
        gc.enable()


def _port(text: str) -> int:
    if not text.isdigit() or not 1024 <= int(text) <= 65535:
        raise argparse.ArgumentTypeError(f"{text} is not between 1024 and 65535")
    return int(text)


if __name__ == "__main__":
    main()
