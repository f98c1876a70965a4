"""``python -m dashboard``: the dashboard, on this machine only unless another address is asked for.

Nothing is sent anywhere.
"""

from __future__ import annotations

import argparse
import gc
import ipaddress
import socket
import sys
from importlib import import_module
from pathlib import Path
from threading import Thread

APP = Path(__file__).parent / "frame" / "app.py"

OPTIONS = {
    "server.maxUploadSize": "1",
    "server.maxWidgetStateSize": "5",
    "server.maxMessageSize": "30",
    "server.enableCORS": "true",
    "server.enableXsrfProtection": "true",
    "server.xsrfCookieSameSite": "strict",
    "server.enableStaticServing": "false",
    "server.fileWatcherType": "none",
    "server.showEmailPrompt": "false",
    "server.enableAgentApi": "false",
    "browser.gatherUsageStats": "false",
    "runner.magicEnabled": "false",
    "client.toolbarMode": "viewer",
    "client.showErrorDetails": "none",
    "client.showErrorLinks": "false",
    "global.disableWidgetStateDuplicationWarning": "true",
    "theme.light.primaryColor": "#1d5c63",
    "theme.dark.primaryColor": "#7cc4b8",
}
"""Settings of the server, tight, and of the look; sizes in megabytes."""
HERE = "127.0.0.1"
HOSTS = (HERE, "localhost")
"""Names under which a browser on this machine may ask for it."""
OPEN = """WARNING: the dashboard listens at {address}, port {port}, for other machines too.
Everyone who can reach that address can use it: there is no password, and nothing is encrypted.
They see and change their own bench only, but they use this machine's processor. Stop it with Ctrl-C.
Without --address it listens to this machine alone."""


def build_server_command(port: int, browser: bool, address: str = HERE) -> list[str]:
    """The command line of the server."""
    options = OPTIONS | {"server.port": str(port), "server.headless": str(not browser).lower()}
    options |= {"server.address": address, "browser.serverAddress": HERE if _is_any_address(address) else address}
    hosts = ("*",) if _is_any_address(address) else dict.fromkeys((*HOSTS, address))
    told = [f"--{name}={value}" for name, value in options.items()]
    return ["streamlit", "run", str(APP), *told, *(f"--server.allowedHosts={host}" for host in hosts)]


def main() -> None:
    """Start the server and open the browser."""
    parser = argparse.ArgumentParser(prog="python -m dashboard", description=__doc__)
    parser.add_argument("--port", type=_port, default=8501, help="port on this machine (default 8501)")
    told = f"address of this machine to listen at, for others too (default {HERE}, for none)"
    parser.add_argument("--address", type=_address, default=HERE, metavar="IP", help=told)
    parser.add_argument(
        "--progress", metavar="FILE", help="keep what was learnt in this file (.toml); without it none is written"
    )
    parser.add_argument("--no-browser", action="store_true", help="only say the address, do not open a browser")
    options = parser.parse_args()
    _require_free_port(options.address, options.port)
    if options.progress is not None:
        _keep_progress(options.progress)
    gc.disable()  # until all is loaded: looking through it again and again takes half a second
    try:
        from streamlit.web import cli
    except ImportError:
        raise SystemExit("the dashboard needs its packages: python -m pip install '.[dashboard]'") from None
    sys.setswitchinterval(0.0005)  # the server's own thread waits less for those that compute
    Thread(target=_warm, daemon=True).start()
    sys.argv = build_server_command(options.port, not options.no_browser, options.address)
    _block_address_lookup()
    if not ipaddress.ip_address(options.address).is_loopback:
        print(OPEN.format(address=options.address, port=options.port), file=sys.stderr, flush=True)
    cli.main(prog_name="python -m dashboard")


def _keep_progress(name: str) -> None:
    """Ends the program where progress cannot be kept there."""
    from dashboard.session import progress_store
    from sim.errors import InputError

    try:
        found = progress_store.use_progress_file(name)
    except InputError as error:
        raise SystemExit(str(error)) from None
    if found.aside is not None:
        print(f"{found.why}\nIt was set aside as {found.aside}; a new one is begun.", file=sys.stderr, flush=True)
    print(f"Progress is kept in {progress_store.ProgressFile.file}.", flush=True)


def _warm() -> None:
    """Load what the first page needs while the server starts and the browser opens."""
    try:
        from dashboard.session import results

        import_module("dashboard.pages.predict")
        results.warm_kernel()
    finally:
        gc.freeze()
        gc.enable()


def _block_address_lookup() -> None:
    """The server compares a page's origin with this machine's own addresses, and asks the internet for the outer one.

    It would do so for every page of another origin that tries, and stand still meanwhile.
    """
    from streamlit import net_util

    for name in ("get_external_ip", "get_internal_ip"):
        setattr(net_util, name, lambda: None)


def _require_free_port(address: str, port: int) -> None:
    """Ends the program where it cannot listen there."""
    kind = socket.AF_INET6 if ":" in address else socket.AF_INET
    with socket.socket(kind) as trial:
        if sys.platform != "win32":
            trial.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            trial.bind((address, port))
        except OSError as error:
            remedy = "choose another port with --port, or an address of this machine with --address"
            raise SystemExit(f"cannot listen at {address}, port {port}: {error.strerror}; {remedy}") from None


def _is_any_address(address: str) -> bool:
    return ipaddress.ip_address(address).is_unspecified


def _address(text: str) -> str:
    try:
        return str(ipaddress.ip_address(HERE if text == "localhost" else text))
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text[:60]} is no IP address, such as {HERE}") from None


def _port(text: str) -> int:
    if not text.isdecimal() or len(text) > 5 or not 1024 <= int(text) <= 65535:
        raise argparse.ArgumentTypeError(f"{text} is not between 1024 and 65535")
    return int(text)


if __name__ == "__main__":
    main()
