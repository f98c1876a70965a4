"""The dashboard in a real browser: moved, played, left in the middle of a computation, and compared with the API."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

import pytest

from dashboard.pages import PAGES
from dashboard.session.controls import CONTROLS
from dashboard.session.work import Saved, Work, decode_state, encode_state
from tests.app.machine import Machine, find_event_time
from tests.app.numbers import check_printed, is_printed_value, list_predicted
from tests.app.packed import unpack_column
from tests.app.server import BROWSERS, MissingError, Server, find_browser
from tests.app.visit import MACHINE, Visit, expect

if TYPE_CHECKING:
    from playwright.sync_api import BrowserContext

TITLES = [title for title, _ in PAGES.values()]
QUICK = "let_off_mm"
READ = (QUICK, "down_weight_gf", "limit_hz")
"""One reading of each kind that comes at another time."""
WATCH = """(read) => {
  window.seen = [];
  const value = (name) => document.querySelector(`[data-reading=${name}] .value`)?.textContent ?? null;
  const look = () => {
    const now = {
      shown: Object.fromEntries(read.map((name) => [name, value(name)]).filter(([, text]) => text !== null)),
      waits: document.querySelectorAll(".waits").length,
      verdicts: document.querySelectorAll("[data-testid=stAlert]").length,
      downloads: document.querySelectorAll("[data-testid=stDownloadButton]").length,
    };
    if (JSON.stringify(now) !== JSON.stringify(window.seen.at(-1))) window.seen.push(now);
  };
  new MutationObserver(look).observe(document.body, { subtree: true, childList: true, characterData: true });
  look();
}"""
"""Keeps what stands side by side on the first page, at every change of it."""


def test_a_missing_browser_is_said_loudly(monkeypatch: pytest.MonkeyPatch, tmp_path: Any) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    monkeypatch.delenv("BROWSER_FOR_TESTS", raising=False)
    with pytest.raises(MissingError, match=f"install {BROWSERS[0]}"):
        find_browser()


def test_every_page_is_reached_from_the_first(visit: Visit) -> None:
    visit.open()
    for title in [*TITLES[1:], TITLES[0]]:
        visit.turn_to(title).still()
        expect(visit.page.get_by_role("link", name=title)).to_have_attribute("aria-current", "page")
        expect(visit.page.locator("[data-testid=stException]")).to_have_count(0)
        expect(visit.page.locator("[data-testid=stAlertContentError]")).to_have_count(0)


@pytest.mark.full
@pytest.mark.parametrize("name", [name for name in PAGES if name != "predict"])
def test_every_page_opens_by_its_address(visit: Visit, name: str) -> None:
    visit.open(name)
    expect(visit.page.get_by_role("heading", level=1)).to_have_text(PAGES[name][0])


def test_slider_moved_by_keyboard_brings_new_motion_and_new_numbers(visit: Visit) -> None:
    visit.open().computed()
    assert check_printed(visit.cards(), list_predicted(Work())) >= 25
    visit.nudge("let_off", 4)
    visit.computed()
    slider = visit.slider("let_off")
    expect(slider).to_have_attribute("aria-valuetext", "1.97")
    work = decode_state(link_of(visit)).work
    visit.turn_to(TITLES[0]).computed()
    assert dict(work.asked) == {"let_off": pytest.approx(1.97e-3)}
    assert check_printed(visit.cards(), list_predicted(work)) >= 25
    label = slider.get_attribute("aria-label") or ""
    assert label.endswith(f"settles at {visit.cards()['let_off_mm']}")


def link_of(visit: Visit) -> str:
    """The link to the state as it stands, from the page that offers it."""
    visit.turn_to(PAGES["scenario"][0]).still()
    visit.page.get_by_role("tab", name="Take away").click()
    text = visit.page.get_by_text(re.compile(r"^\?s=")).first.text_content() or ""
    return text.removeprefix("?s=")


@pytest.mark.full
def test_every_press_of_a_key_counts_while_it_computes(visit: Visit) -> None:
    """Ten quick ones: the slider stands ten steps on, however many were drawn between."""
    visit.open().computed()
    slider = visit.slider("let_off")
    slider.focus()
    for i in range(10):
        visit.page.keyboard.press("ArrowRight")
        if i % 3 == 0:
            visit.drawn_anew(visit.film())
    expect(slider).to_have_attribute("aria-valuetext", "2.57")
    visit.taken("let_off")
    visit.computed()
    shown = float(visit.cards()["let_off_mm"].split()[0])
    expect(slider).to_have_attribute("aria-valuetext", "2.57")
    assert shown == pytest.approx(2.57, abs=0.15)


@pytest.mark.full
def test_old_readings_never_stand_beside_new_ones(visit: Visit) -> None:
    """From the first new number on, whatever is not new yet is gone: readings, verdict, tables to take away."""
    visit.open().computed()
    visit.page.evaluate(WATCH, READ)
    visit.nudge("let_off")
    visit.nudge("let_off", 2)  # most often while the slow readings are being computed
    visit.computed()
    seen = visit.page.evaluate("window.seen")
    first, last = seen[0], seen[-1]
    assert first["shown"] != last["shown"] and last["waits"] == 0
    one = slid(Work(), 1.67e-3)
    two = slid(one, 1.77e-3)
    stops = [list_predicted(work) for work in (Work(), one, two, slid(one, 1.87e-3), slid(two, 1.87e-3))]
    for now in seen:
        if now["waits"]:
            assert list(now["shown"]) in ([], [QUICK]) and not now["verdicts"] and not now["downloads"], now
        else:
            assert set(now["shown"]) == set(READ)
            assert any(all(is_printed_value(n, t, *stop[n]) for n, t in now["shown"].items()) for stop in stops), now
    assert any(now["waits"] for now in seen)


def slid(work: Work, let_off: float) -> Work:
    """As the slider does: from where the button stands and what was read of it there."""
    from dashboard.session import results

    control, found = CONTROLS["let_off"], results.compute_quick(work, "moderate")
    value = control.turned(control.get(found.unit), found.readings["let_off"], let_off)
    return work.with_control("let_off", value, let_off)


@pytest.mark.full
def test_a_pair_of_readings_that_block_leaves_no_old_motion(visit: Visit) -> None:
    """A let-off that cannot be: the slider stays where it was asked, and says what is wrong."""
    visit.open().computed()
    box = visit.page.get_by_label("type let-off")
    box.fill("-1 mm")
    box.press("Enter")
    expect(visit.page.get_by_text("This note does not play").first).to_be_visible()
    visit.still()
    expect(visit.slider("let_off")).to_have_attribute("aria-valuetext", "-1.00")
    visit.page.locator(".st-key-back_let_off button").first.click()
    expect(visit.card("let_off_mm").locator(".value")).to_have_text("1.57 mm")


def test_plays_and_scrubs_the_computed_motion(visit: Visit) -> None:
    from dashboard.session import results

    visit.open().computed()
    machine = Machine(visit.page)
    start = float(machine.tells("time"))
    machine.root.get_by_role("button", name="Play", exact=True).click()
    visit.page.wait_for_function(f"start => ({MACHINE}).state.time > start && ({MACHINE}).frames > 20", arg=start)
    machine.root.get_by_role("button", name="Pause", exact=True).click()
    expect(machine.root).to_have_attribute("data-playing", "false")
    film = results.compute_quick(Work(), "moderate").stroke
    assert film is not None
    machine.press("crown touches string")
    expect(machine.words).to_contain_text(f"{find_event_time(film, 'string_contact'):.2f} ms")
    expect(machine.words).to_contain_text("crown to string 0.00 mm")
    machine.scrub.focus()
    visit.page.keyboard.press("Home")
    row = round((float(visit.inside("m.state.time")) - film["start"]) / film["step"])
    visit.page.keyboard.press("ArrowRight")
    crown = unpack_column(film["table"], "crown")[row + 1]
    expect(machine.words).to_contain_text(f"crown to string {crown:.2f} mm")


@pytest.mark.full
def test_keeps_its_place_and_goes_on_playing_when_a_slider_moves(visit: Visit) -> None:
    visit.open().computed()
    machine = Machine(visit.page)
    machine.press("Escapement", "crown touches string")
    machine.root.get_by_role("button", name="Play", exact=True).click()
    visit.nudge("springs.repetition", 3)
    frames = visit.inside("m.frames")
    visit.page.wait_for_function(f"frames => ({MACHINE}).state.playing && ({MACHINE}).frames > frames + 5", arg=frames)
    assert visit.inside("m.state.view") == "escapement"


@pytest.mark.full
def test_leaving_in_mid_computation_does_no_harm(visit: Visit) -> None:
    """A map begun, then other pages; it can be begun again, and the first page is whole."""
    visit.open("rails")
    visit.page.get_by_role("button", name="Make the map").click()
    visit.page.locator("[data-testid=stProgress]").wait_for()
    visit.turn_to(TITLES[1])
    visit.page.get_by_role("button", name="Try the springs").click()
    visit.page.locator("[data-testid=stProgress]").wait_for()
    visit.turn_to(TITLES[0]).computed()
    assert check_printed(visit.cards(), list_predicted(Work())) >= 25
    visit.turn_to(TITLES[2]).still()
    expect(visit.page.get_by_role("button", name="Make the map")).to_be_enabled()
    expect(visit.page.locator("[data-testid=stAlert]").filter(has_text="could not be computed")).to_have_count(0)


def test_long_work_is_stopped_by_its_button(visit: Visit) -> None:
    visit.open("spring")
    visit.page.get_by_role("button", name="Try the springs").click()
    visit.page.locator(".st-key-stop_springs").get_by_role("button").click()
    expect(visit.page.get_by_role("button", name="Try the springs")).to_be_visible()
    visit.still()
    expect(visit.page.locator("[data-testid=stProgress]")).to_have_count(0)


def test_a_click_on_the_map_takes_a_place_over(visit: Visit) -> None:
    visit.open("rails")
    cells = visit.page.locator(".st-key-keep_map_cells").get_by_role("slider")
    cells.focus()
    visit.page.keyboard.press("Home")
    visit.page.get_by_text("3", exact=True).first.wait_for()
    visit.page.get_by_role("button", name="Make the map").click()
    place = visit.page.get_by_role("button", name=re.compile("every target met$")).first
    place.wait_for(timeout=120_000)
    told = place.get_attribute("aria-label") or ""
    place.focus()
    visit.page.keyboard.press("Enter")
    expect(visit.page.get_by_text(re.compile("^Taken over"))).to_be_visible()
    by = [float(v) for v in re.findall(r"([+-]\d+\.\d+) mm (?:across|up)", told)]
    work = decode_state(link_of(visit)).work
    now, start = dict(work.turned), Work().start()
    moved = [now.get("wippen_rail_back", start.wippen.centre[0]) - start.wippen.centre[0],
             now.get("wippen_rail_up", start.wippen.centre[1]) - start.wippen.centre[1]]  # fmt: skip
    assert [1e3 * m for m in moved] == pytest.approx(by, abs=5e-3)


@pytest.mark.full
def test_a_link_restores_the_very_state(visit: Visit, context: BrowserContext, dashboard: Server) -> None:
    work = Work("damped").with_control("springs.repetition", 0.031).with_edit("hammer.weight", "9.9 g")
    code = encode_state(Saved(work, inches=True, touch="hard"))
    visit.open("compare", s=code)
    visit.turn_to(TITLES[0]).computed()
    assert link_of(visit) == code
    other = Visit(context.new_page(), dashboard.url).open("scenario", s=link_of(visit))
    assert link_of(other) == code


def test_inches_are_remembered_by_the_browser(visit: Visit) -> None:
    visit.open()
    visit.page.locator(".st-key-inches_toggle label").click()
    expect(visit.card("blow_mm").locator(".value")).to_contain_text(" in")
    visit.still().open()
    expect(visit.card("blow_mm").locator(".value")).to_contain_text(" in")


@pytest.mark.full
def test_two_people_do_not_see_each_other(visit: Visit, context: BrowserContext, dashboard: Server) -> None:
    """Two windows of one browser: each a session of its own."""
    other = Visit(context.new_page(), dashboard.url)
    visit.open()
    other.open()
    visit.nudge("springs.repetition", 5)
    other.nudge("let_off", 5)
    visit.computed()
    other.computed()
    for one, name in ((visit, "springs.repetition"), (other, "let_off")):
        shown = one.cards()
        work = decode_state(link_of(one)).work
        assert [control for control, _ in work.turned] == [name]
        assert check_printed(shown, list_predicted(work)) >= 25
