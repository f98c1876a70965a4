"""Who can use it: by keyboard, by reader, on a telephone, in the dark; and that it keeps to this machine."""

from __future__ import annotations

import http.client
import re
from collections.abc import Iterator
from typing import Any

import pytest

from dashboard.pages import PAGES
from tests.app.server import Server
from tests.app.visit import BEGUN, COMPUTED, Visit, expect
from tests.tiers import try_each

NARROW: dict[str, Any] = {"viewport": {"width": 390, "height": 844}, "has_touch": True}
WIDE: dict[str, Any] = {"viewport": {"width": 1920, "height": 1080}}
FOCUSABLE = """(() => {
  const found = [];
  const walk = (root) => {
    for (const e of root.querySelectorAll("*")) {
      if (e.shadowRoot) walk(e.shadowRoot);
      if (e.matches("button, select, summary, input, textarea, a[href], [tabindex]")) found.push(e);
    }
  };
  walk(document);
  return found.filter((e) => !e.disabled && e.tabIndex >= 0 && e.checkVisibility({ visibilityProperty: true }));
})()"""
FOCUSED = """(() => {
  let e = document.activeElement;
  while (e?.shadowRoot?.activeElement) e = e.shadowRoot.activeElement;
  return e;
})()"""
DARK = """getComputedStyle(document.querySelector("[data-testid=stApp]")).backgroundColor
  .match(/\\d+/g).slice(0, 3).every((part) => part < 60)"""
TOO_WIDE = """() => [...document.querySelectorAll("*")]
  .filter((e) => e.checkVisibility() && e.getBoundingClientRect().right > innerWidth + 1)
  .filter((e) => !e.closest(".wrap, [data-testid=stDataFrame], [data-testid=stTabs], [data-testid=stSidebar]"))
  .map((e) => e.tagName + " " + e.className)"""
"""What sticks out to the right; the map, tables and tabs scroll by themselves."""


def filled(visit: Visit, name: str) -> Visit:
    """A page with what it computes on it."""
    if name == "predict":
        return visit.open().computed()
    visit.open(name)
    if name == "rails":
        visit.page.locator(".st-key-keep_map_cells").get_by_role("slider").focus()
        visit.page.keyboard.press("Home")
        expect(visit.page.locator(".st-key-keep_map_cells").get_by_role("slider")).to_have_attribute(
            "aria-valuetext", "3"
        )
    if name in BEGUN:
        visit.begin(name)
    return visit.still()


def serious(visit: Visit) -> list[tuple[str, list[str]]]:
    """What the checker finds of serious or critical kind, on the whole page: nothing of Streamlit's is left out."""
    from axe_playwright_python.sync_playwright import Axe

    found = Axe().run(visit.page).response
    assert len(found["passes"]) > 15, "the checker has hardly looked at anything"
    grave = [v for v in found["violations"] if v["impact"] in ("serious", "critical")]
    return [(v["id"], [n["html"][:200] for n in v["nodes"]]) for v in grave]


def narrow(visit: Visit) -> bool:
    size = visit.page.viewport_size
    return size is not None and size["width"] < 500


def looks(visit: Visit) -> Iterator[str]:
    """The same page in the light and in the dark; on a telephone in the dark alone (colours go with no size)."""
    for scheme in ("dark",) if narrow(visit) else ("light", "dark"):
        visit.page.emulate_media(color_scheme=scheme)
        visit.page.wait_for_function(DARK if scheme == "dark" else f"!({DARK})")
        visit.page.wait_for_function("document.getAnimations().every(a => a.playState !== 'running')")
        yield scheme


@pytest.mark.parametrize("window", [{}, NARROW], indirect=True, ids=["desk", "telephone"])
@try_each("name", PAGES)
def test_nothing_serious_bars_the_way_and_nothing_sticks_out(visit: Visit, name: str) -> None:
    """Each page with what it computes on it (what takes longest on the desk alone)."""
    if name in ("spring", "friction", "diagnose", "section", "rough") and narrow(visit):
        visit.open(name)
    else:
        filled(visit, name)
    for _ in looks(visit):
        assert serious(visit) == []
    assert visit.page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    assert visit.page.evaluate(TOO_WIDE) == []


@pytest.mark.full
@pytest.mark.parametrize("window", [{}, NARROW], indirect=True, ids=["desk", "telephone"])
def test_forms_and_their_messages_bar_nobody(visit: Visit) -> None:
    """Every part of the scenario page, with a message about a bad value."""
    visit.open("scenario")
    visit.page.get_by_role("tab", name="Edit").click()
    number = visit.page.get_by_role("textbox", name="key number")
    number.fill("99")
    number.press("Enter")
    expect(visit.alert(re.compile("key_number.*allowed"))).to_be_visible()
    for tab in ("Edit", "Take away"):
        visit.page.get_by_role("tab", name=tab).click()
        for _ in looks(visit):
            assert serious(visit) == []
        assert visit.page.evaluate("document.documentElement.scrollWidth <= innerWidth")


@pytest.mark.full
@pytest.mark.parametrize("window", [WIDE], indirect=True)
def test_wide_screens_show_it_without_sideways_scrolling(visit: Visit) -> None:
    filled(visit, "predict")
    assert visit.page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    box = visit.page.locator("h1").bounding_box()
    assert box is not None and box["x"] < 900


@pytest.mark.full
def test_every_control_of_the_first_page_is_reached_by_the_tabulator(visit: Visit) -> None:
    """One after another, and out again; of choices that exclude each other the arrow keys reach the rest."""
    visit.open().computed()
    visit.page.evaluate(f"() => {{ window.wanted = {FOCUSABLE}; window.reached = new Set(); }}")
    count = visit.page.evaluate("wanted.length")
    assert count > 60
    for _ in range(count + 5):
        visit.page.keyboard.press("Tab")
        if visit.page.evaluate(f"() => {{ const e = {FOCUSED}; reached.add(e); return e === document.body; }}"):
            break
    missed = visit.page.evaluate(
        "() => wanted.filter(e => !reached.has(e))"
        ".filter(e => ![...reached].some(r => r?.closest('[role=radiogroup]')?.contains(e)))"
        ".map(e => e.tagName + ' ' + (e.getAttribute('aria-label') || e.textContent))"
    )
    assert missed == []


@pytest.mark.full
def test_touch_is_chosen_by_arrow_keys(visit: Visit) -> None:
    visit.open().computed()
    visit.page.get_by_role("radio", name="moderate").focus()
    visit.page.keyboard.press("ArrowRight")
    visit.page.keyboard.press("Space")
    expect(visit.page.get_by_role("radio", name="medium")).to_be_checked()
    expect(visit.card("hammer_speed_m_s").locator(".value")).to_have_text("2.00 m/s")


@pytest.mark.full
def test_definitions_open_by_keyboard_and_by_tap(visit: Visit) -> None:
    visit.open().computed()
    card = visit.card("aftertouch_mm")
    expect(card.get_by_text("front-edge travel")).to_be_hidden()
    card.locator("summary").focus()
    visit.page.keyboard.press("Enter")
    expect(card.locator("p").first).to_be_visible()
    other = visit.card("down_weight_gf")
    other.locator("summary").click()
    expect(other.locator("p").first).to_be_visible()


@pytest.mark.full
def test_what_is_unusual_is_said_in_words(visit: Visit) -> None:
    """Not by colour alone."""
    visit.open()
    box = visit.page.get_by_role("textbox", name="type key dip")
    box.fill("11.5 mm")
    box.press("Enter")
    expect(visit.card("dip_mm").locator(".off")).to_contain_text("high — usual")
    expect(visit.page.get_by_text("Out of the usual range")).to_be_visible(timeout=COMPUTED)


def test_server_listens_on_this_machine_alone(visit: Visit, dashboard: Server) -> None:
    import psutil

    visit.open()
    listening = [c for c in psutil.Process(dashboard.process).net_connections("inet") if c.status == psutil.CONN_LISTEN]
    assert listening and {c.laddr.ip for c in listening} == {"127.0.0.1"}
    talking = [c.raddr.ip for c in psutil.Process(dashboard.process).net_connections("inet") if c.raddr]
    assert set(talking) <= {"127.0.0.1"}


@pytest.mark.parametrize(
    ("host", "origin"),
    [("dashboard.example.org", ""), ("{own}", "http://dashboard.example.org"), ("127.0.0.1.example.org", "")],
    ids=["a name that points here", "a page elsewhere", "a name that looks like ours"],
)
def test_pages_of_other_machines_get_no_session(dashboard: Server, host: str, origin: str) -> None:
    own = dashboard.url.removeprefix("http://")
    assert knock(own, own, dashboard.url) == 101
    assert knock(own, host.format(own=own), origin or f"http://{host}") == 403


def knock(place: str, host: str, origin: str) -> int:
    """Ask for a session as a browser would that takes the server for ``host``, from a page of ``origin``."""
    connection = http.client.HTTPConnection(place, timeout=20)
    headers = {
        "Host": host, "Origin": origin, "Connection": "Upgrade", "Upgrade": "websocket", "Sec-WebSocket-Version": "13",
        "Sec-WebSocket-Key": "dGhlIHNhbXBsZSBub25jZQ==", "Sec-WebSocket-Protocol": "streamlit",
    }  # fmt: skip
    connection.request("GET", "/_stcore/stream", headers=headers)
    status = connection.getresponse().status
    connection.close()
    return status
