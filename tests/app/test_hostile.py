"""The dashboard under attack: it refuses in words, stays alive, asks nobody, writes nothing but its own caches."""

from __future__ import annotations

import base64
import gc
import json
import os
import re
import signal
import socket
import sys
import time
import zlib
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from dashboard import __main__ as start
from dashboard.session.work import (
    FIRST_SCENARIO,
    LARGEST_STATE,
    Saved,
    Work,
    decode_state,
    encode_state,
    format_scenario,
)
from sim.errors import InputError
from tests.app.on_screen import Bench
from tests.app.raw_client import TEXT, encode_frame, encode_rerun, open_stream, read_close_code, send_request
from tests.app.server import BROWSER_FLAGS, Server, find_browser, find_free_port
from tests.app.visit import Visit, expect

if TYPE_CHECKING:
    from playwright.sync_api import Browser

Tell = Callable[..., None]
OWN_CACHES = ("__pycache__", "matplotlib")


@pytest.fixture(autouse=True)
def unharmed(request: pytest.FixtureRequest) -> Iterator[None]:
    """After each trial of a server: it answers, has asked nobody, started nothing, written only its own caches."""
    yield
    if "dashboard" in request.fixturenames:
        server: Server = request.getfixturevalue("dashboard")
        assert send_request(server.url, "/_stcore/health")[0] == 200
        wrong = [deed for deed in server.seen() if not harmless(*deed)]
        assert not wrong, f"the server did: {wrong}"


def harmless(deed: str, what: str) -> bool:
    if deed == "writes":
        return what == os.devnull or any(cache in Path(what).parts for cache in OWN_CACHES)
    return deed in ("binds", "asks", "connects") and what in start.HOSTS


VISITORS = {
    "a program on this machine, without an origin": ({}, 101),
    "its own page": ({"origin": "{url}"}, 101),
    "its own page by the other name": ({"host": "localhost:{port}", "origin": "http://localhost:{port}"}, 101),
    "a page of another server on this machine": ({"origin": "http://localhost:9"}, 101),
    "a page of another site": ({"origin": "http://example.org"}, 403),
    "a page without an origin of its own": ({"origin": "null"}, 403),
    "a site whose name was turned to this machine": (
        {"host": "example.org:{port}", "origin": "http://example.org"},
        403,
    ),
    "a site whose name begins as this machine's": ({"origin": "http://127.0.0.1.example.org"}, 403),
    "a name that begins as this machine's": ({"host": "localhost.example.org"}, 403),
    "a name with a user before it": ({"host": "example.org@127.0.0.1:{port}"}, 403),
}


@pytest.mark.parametrize("who", VISITORS)
def test_only_this_machine_s_own_pages_may_connect(dashboard: Server, who: str, tell: Tell) -> None:
    headers, expected = VISITORS[who]
    tell(tried=f"connecting as {who}", expected="let in" if expected == 101 else "refused; nobody outside is asked")
    port = dashboard.url.rpartition(":")[2]
    told = {name: value.format(url=dashboard.url, port=port) for name, value in headers.items()}
    with open_stream(dashboard.url, **told) as (status, _):
        assert status == expected
    tell(happened=f"answered {status}")


def test_it_listens_at_no_other_address_of_this_machine(dashboard: Server, tell: Tell) -> None:
    tell(tried="connecting by other addresses of this machine", expected="nobody listens there")
    port = int(dashboard.url.rpartition(":")[2])
    assert {what for deed, what in dashboard.seen() if deed == "binds"} == {start.HERE}
    own = socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)
    others = {"127.0.0.2", *(str(info[4][0]) for info in own)} - {start.HERE}
    for other in others:
        with socket.socket() as sock:
            sock.settimeout(5)
            assert sock.connect_ex((other, port)) != 0, other
    tell(happened=f"bound to {start.HERE} alone; refused by {len(others)} other address(es)")


MESSAGES = {
    "bytes that are no message": (encode_frame(b"\xff" * 1000), 1002),
    "text instead of bytes": (encode_frame(b"hello", TEXT), 1000),
    "a message of 6 MB": (encode_frame(b"\0" * 6_000_000), 1009),
    "a message that claims 4 EB": (encode_frame(b"x", claimed=1 << 62), 1009),
    "noise": (b"\xde\xad\xbe\xef" * 500, 1002),
}


@pytest.mark.parametrize("what", MESSAGES)
def test_broken_messages_end_their_own_connection_only(dashboard: Server, what: str, tell: Tell) -> None:
    message, code = MESSAGES[what]
    tell(tried=f"{what}, on an open connection", expected="that connection is closed, others stay")
    with open_stream(dashboard.url) as (_, other), open_stream(dashboard.url) as (_, sock):
        sock.sendall(message)
        assert read_close_code(sock) in (code, 0)
        other.sendall(encode_rerun())
        assert other.recv(1), "the other connection is served"
    tell(happened="closed; the other one is served")


PATHS = (
    "/../../etc/hostname", "/%2e%2e/%2e%2e/%2e%2e/etc/hostname", "/..%2f..%2f..%2fetc%2fhostname", "//etc/hostname",
    "/static/..%2f..%2f..%2f..%2fdashboard/__main__.py", "/media/../../dashboard/__main__.py", "/media/..%5c..%5cx",
    "/component/x/../../../../dashboard/__main__.py", "/_stcore/bidi-components/x/..%2f..%2f__init__.py",
    "/\\\\host\\share", "/%5c%5chost%5cshare", "/file:///etc/hostname", "/dashboard/__main__.py", "/app/static/x",
    "/%00", "/" + "x" * 8000,
)  # fmt: skip


def test_no_path_leads_to_a_file(dashboard: Server, tell: Tell) -> None:
    """What is answered is an error or the app's own empty page, and never a file of this machine."""
    tell(
        tried=f"{len(PATHS)} addresses with .., encoded, absolute, UNC, NUL, long",
        expected="an error or the app's page",
    )
    page = send_request(dashboard.url, "/")[1]
    statuses = {}
    for path in PATHS:
        statuses[path], body = send_request(dashboard.url, path)
        assert statuses[path] >= 400 or body == page, path
        assert b"import" not in body.replace(page, b"") and socket.gethostname().encode() not in body
    refused = sum(status >= 400 for status in statuses.values())
    tell(happened=f"{refused} errors, {len(PATHS) - refused} times the app's page")


def test_files_are_taken_from_the_page_only(dashboard: Server, tell: Tell) -> None:
    tell(tried="putting up, replacing and deleting files without the page's token", expected="refused")
    place = "/_stcore/upload_file/session/file"
    found = [send_request(dashboard.url, place, method, b"x" * 100)[0] for method in ("PUT", "DELETE", "POST")]
    found.append(
        send_request(dashboard.url, place, "PUT", b"x", cookie="_streamlit_xsrf=2|a|b|c", x_xsrftoken="2|a|b|c")[0]
    )
    assert found == [403, 403, 405, 403]
    tell(happened=f"answered {', '.join(map(str, found))}")


@pytest.mark.full
def test_a_crowd_that_begins_and_vanishes_leaves_it_at_work(dashboard: Server, visit: Visit, tell: Tell) -> None:
    """Each asks for the first page by a link, good, broken or hostile, and is gone before it comes."""
    links = (
        encode_state(Saved(Work("damped").with_control("springs.repetition", 0.03))),
        "x" * 60_000,
        "%00",
        "..%2f",
        "💣",
        "",
    )
    tell(
        tried="40 clients that ask for a page, by good and hostile links, and vanish", expected="the next one is served"
    )
    with ExitStack() as crowd:
        for n in range(40):
            _, sock = crowd.enter_context(open_stream(dashboard.url))
            sock.sendall(encode_rerun(f"s={links[n % len(links)]}"))
    visit.open("scenario")
    visit.on_bench(FIRST_SCENARIO)
    tell(happened="it is served, and finds the bench as it should be")


def busy(process: int, seconds: float) -> float:
    """Processor time that a process takes meanwhile, as a share of one core."""
    ticks = os.sysconf("SC_CLK_TCK")

    def taken() -> float:
        fields = Path(f"/proc/{process}/stat").read_text(encoding="utf-8").rpartition(")")[2].split()
        return (int(fields[11]) + int(fields[12])) / ticks

    before, began = taken(), time.monotonic()
    time.sleep(seconds)
    return (taken() - before) / (time.monotonic() - began)


@pytest.mark.full
@pytest.mark.skipif(sys.platform != "linux", reason="processor time is read from /proc")
def test_a_killed_browser_ends_its_run(dashboard: Server, browser: Browser, tmp_path: Path, tell: Tell) -> None:
    """A map of 441 places, minutes of work: with its browser killed the server comes to rest long before."""
    tell(
        tried="the browser's process killed while a map of 441 places is made",
        expected="the run stops, the server lives",
    )
    mark = f"--doomed={tmp_path}"
    doomed = browser.browser_type.launch(executable_path=find_browser(), args=[*BROWSER_FLAGS, mark])
    page = doomed.new_page()
    visit = Visit(page, dashboard.url).open("rails")
    cells = page.locator(".st-key-keep_map_cells").get_by_role("slider")
    cells.focus()
    page.keyboard.press("End")
    expect(cells).to_have_value("21")
    visit.still()
    page.get_by_role("button", name="Make the map", exact=True).click()
    page.get_by_role("progressbar").wait_for()
    working = busy(dashboard.process, 1.0)
    killed = kill(mark)
    assert killed
    assert working > 0.1, "the run has not begun"
    until = time.monotonic() + 90
    while (rests := busy(dashboard.process, 1.0)) > 0.2 * working:
        assert time.monotonic() < until, "the run goes on without its browser"
    tell(happened=f"its processor time fell to {100 * rests / working:.0f} % of what it was; it answers")


def kill(mark: str) -> int:
    """Kill the processes that were started with this mark; their number."""
    marked = [p for p in Path("/proc").glob("[0-9]*/cmdline") if mark.encode() in read(p).split(b"\0")]
    for path in marked:
        os.kill(int(path.parent.name), signal.SIGKILL)
    return len(marked)


def read(path: Path) -> bytes:
    """A file that may be gone by now."""
    try:
        return path.read_bytes()
    except OSError:
        return b""


def test_hostile_files_are_refused_in_words_and_the_bench_stays(tell: Tell) -> None:
    """All that the readers are tried with, through the pages that take files."""
    from tests.unit.test_hostile_texts import BYTES, HEAD, TEXTS

    files = {what: data for what, (data, _) in BYTES.items()} | {w: (HEAD + t).encode() for w, (t, _) in TEXTS.items()}
    tell(
        tried=f"{len(files)} hostile files put up as scenario and as sheet of readings",
        expected="refused in words each",
    )
    bench = Bench().open("scenario")
    before = bench.state.work
    for name, data in files.items():
        bench.upload(f"../{name}\0.toml", data)
        assert "This file was not opened" in bench.errors(), name
        assert bench.state.work == before and len(bench.errors()) < 2000, name
    bench.open("diagnose")
    sheets = {what: data for what, (data, _) in BYTES.items()} | {"many": b"reading,value\n" + b"x,1\n" * 30_000}
    for name, data in sheets.items():
        bench.at.file_uploader(key="sheet_up").set_value(
            (f"{name}.csv" if name == "many" else name, data, "text/plain")
        )
        bench.run()
        assert "This sheet was not taken" in bench.errors(), name
    assert bench.open("predict").cards()
    tell(happened="each refused, both times; the bench as before")


STATES = {
    "a packed bomb of 100 MB": lambda: packed(b'"' + b"a" * 100_000_000 + b'"'),
    "500,000 lists in one another": lambda: packed(b"[" * 500_000),
    "30,000 edits of one field": lambda: state_with(edits=[["hammer.weight", "9 g"]] * 30_000),
    "30,000 edits of unknown fields": lambda: state_with(edits=[[f"k{i}", "1"] for i in range(30_000)]),
    "30,000 turns of one control": lambda: state_with(turned=[["springs.repetition", 0.03]] * 30_000),
    "a control turned by 10^400": lambda: state_with(turned=[["springs.repetition", 10**400]]),
    "a base outside the shipped ones": lambda: state_with(base="../../../etc/hostname"),
    "a text based on a file": lambda: state_with(text='based_on = "/etc/hostname"'),
    "half a surrogate pair": lambda: state_with(text='name = "\ud800"\nkey_number = 40\n'),
    "a name that steers a terminal": lambda: state_with(edits=[["name", "\x1b[2J"]]),
    "more characters than a state has": lambda: "A" * (LARGEST_STATE + 1),
}


def packed(data: bytes) -> str:
    return base64.urlsafe_b64encode(zlib.compress(data, 9)).decode().rstrip("=")


def state_with(**changes: object) -> str:
    """A saved state with something else in its work."""
    code = encode_state(Saved(Work()))
    whole = json.loads(zlib.decompress(base64.urlsafe_b64decode(code + "=" * (-len(code) % 4))))
    whole["work"] |= changes
    return packed(json.dumps(whole).encode())


@pytest.mark.parametrize("what", STATES)
def test_hostile_states_are_refused(what: str, tell: Tell) -> None:
    tell(tried=f"a link or saved state that holds {what}", expected="refused with one fault")
    with pytest.raises(InputError) as caught:
        decode_state(STATES[what]())
    assert len(caught.value.faults) == 1 and len(str(caught.value)) < 500
    tell(happened=str(caught.value))


def test_a_hostile_unit_is_shown_as_the_text_it_is(tell: Tell) -> None:
    from tests.unit.test_hostile_names import MARKUP

    tell(
        tried="a good file whose unit is named with mathtext, LaTeX, HTML", expected="opened; page and figure are drawn"
    )
    data = re.sub(r'(?m)^name = ".*"$', lambda _: f"name = '''{MARKUP}'''", format_scenario(Work())).encode()
    bench = Bench().open("scenario").upload("a.toml", data)
    assert not bench.errors()
    bench.open("friction")
    assert MARKUP in bench.state.work.text
    tell(happened="opened and drawn, without an error")


def told_to(monkeypatch: pytest.MonkeyPatch, *argv: str) -> list[str]:
    """The command line that the server would be started with."""
    from streamlit import net_util
    from streamlit.web import cli

    given: list[list[str]] = []
    for module, name in ((start, "_warm"), (gc, "disable"), (sys, "setswitchinterval")):
        monkeypatch.setattr(module, name, lambda *_: None)
    for name in ("get_external_ip", "get_internal_ip"):
        monkeypatch.setattr(net_util, name, getattr(net_util, name))
    monkeypatch.setattr(cli, "main", lambda **_: given.append(sys.argv))
    monkeypatch.setattr(sys, "argv", ["dashboard", "--port", str(find_free_port()), *argv])
    start.main()
    assert net_util.get_external_ip() is None
    return given[0]


def test_without_an_address_it_listens_here_only_and_says_nothing(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    for argv in ((), ("--address", "localhost"), ("--address", "127.0.0.1")):
        command = told_to(monkeypatch, *argv)
        assert "--server.address=127.0.0.1" in command and "--server.allowedHosts=*" not in command
    assert not capsys.readouterr().err


def test_another_address_comes_with_a_warning(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tell: Tell
) -> None:
    tell(tried="--address of the network", expected="it listens there, and a warning says what that means")
    monkeypatch.setattr(start, "_require_free_port", lambda *_: None)
    for address, host in (("192.0.2.7", "192.0.2.7"), ("0.0.0.0", "*"), ("::", "*")):
        command = told_to(monkeypatch, "--address", address)
        assert f"--server.address={address}" in command and f"--server.allowedHosts={host}" in command
        said = capsys.readouterr().err
        assert "WARNING" in said and address in said and "no password" in said
    tell(happened=f"it does; warned: {said.splitlines()[1]}")


def test_where_it_cannot_listen_it_says_so(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = str(taken.getsockname()[1])
        for argv in (("--port", port), ("--address", "192.0.2.7")):
            with pytest.raises(SystemExit, match="cannot listen at"):
                told_to(monkeypatch, *argv)
    for argv in (("--address", "example.org"), ("--address", "1.2.3"), ("--port", "²"), ("--port", "9" * 5000)):
        with pytest.raises(SystemExit):
            told_to(monkeypatch, *argv)
        assert "Traceback" not in capsys.readouterr().err
