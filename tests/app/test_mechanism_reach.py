"""The moving mechanism in a real browser: pressed by hand, with new data, on a telephone, and for everyone."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from tests.app.conftest import Serve
from tests.app.machine import HOST, INNER, SCRIPT, Machine, find_event_time
from tests.app.visit import expect
from tests.tiers import try_each

if TYPE_CHECKING:
    from playwright.sync_api import Page
from tests.app.packed import unpack_column


@pytest.mark.full
def test_titles_are_text_and_nothing_plays_by_itself(machine: Machine) -> None:
    expect(machine.page.locator(".machine .title")).to_have_text("<b>Spring</b> at 100%")
    assert machine.tells("playing") == "false"
    assert machine.tells("crown").startswith("44.4")


def test_key_pressed_by_keyboard_goes_over_the_hump(machine: Machine, slow: dict[str, Any]) -> None:
    travel, force = unpack_column(slow["down"], "travel"), unpack_column(slow["down"], "finger_gf")
    machine.press("Press by hand")
    machine.hand.focus()
    machine.page.keyboard.press("Home")
    for wanted in (4.0, 7.5):
        while float(machine.hand.input_value()) < wanted - 1e-6:
            machine.page.keyboard.press("ArrowRight")
        machine.told("travel", wanted, 1e-6)
        machine.told("force", float(np.interp(wanted, travel, force)), 0.5)
    assert float(machine.tells("force")) > 2.5 * float(np.interp(4.0, travel, force))
    expect(machine.page.locator(".machine output")).to_have_text(f"{float(machine.tells('force')):.0f} gf")
    machine.page.keyboard.press("End")
    while float(machine.hand.input_value()) > 8.0 + 1e-6:
        machine.page.keyboard.press("ArrowLeft")
    expect(machine.root).to_have_attribute("data-branch", "up")
    back, lift = unpack_column(slow["up"], "travel"), unpack_column(slow["up"], "finger_gf")
    machine.told("force", float(np.interp(8.0, back, lift)), 0.5)
    expect(machine.words).to_contain_text("letting up")
    machine.page.keyboard.press("ArrowRight")
    expect(machine.words).to_contain_text("pressed again before the jack is home")
    machine.page.keyboard.press("Home")
    machine.page.keyboard.press("ArrowRight")
    expect(machine.root).to_have_attribute("data-branch", "down")


@pytest.mark.full
def test_key_let_up_in_one_jump_is_on_the_way_back(machine: Machine) -> None:
    """From the bottom to between jack home and escape at a click: the jack is not home there."""
    machine.press("Press by hand")
    machine.stage.focus()
    machine.page.keyboard.press("End")
    machine.told("travel", float(machine.page.evaluate(f"{INNER}.press.bottom")), 1e-3)
    x = machine.page.evaluate(f"{INNER}.curves.plot.x(7.9)")
    machine.page.locator(".machine .curves canvas").click(position={"x": x, "y": 80.0})
    machine.told("travel", 7.9, 0.05)
    expect(machine.root).to_have_attribute("data-branch", "up")


@pytest.mark.full
def test_key_is_dragged_down_by_the_pointer(machine: Machine) -> None:
    machine.press("Press by hand")
    box = machine.page.locator(".machine .stage canvas").bounding_box()
    assert box is not None
    x, y = box["x"] + 60, box["y"] + 60
    mouse = machine.page.mouse
    mouse.move(x, y)
    mouse.down()
    mouse.move(x, y + 60, steps=6)
    machine.told("travel", 3.0, 1e-6)
    mouse.up()
    mouse.move(x, y + 200)
    machine.told("travel", 3.0, 1e-6)


def test_keeps_its_place_when_new_data_come(machine: Machine, stroke: dict[str, Any]) -> None:
    machine.press("Escapement", "Names", "lever meets")
    machine.root.get_by_role("combobox", name="speed").select_option(label="1/20")
    time = find_event_time(stroke, "lever_meets_drop_screw")
    machine.told("time", time, 1e-3)
    frames = machine.page.evaluate(f"{INNER}.frames")
    machine.page.get_by_text("Take a weaker spring").click()
    expect(machine.page.locator(".machine .title")).to_have_text("<b>Spring</b> at 70%")
    machine.page.wait_for_function(f"{INNER}.frames > {frames}")
    assert float(machine.tells("time")) == pytest.approx(time, abs=1e-3)
    assert (machine.tells("view"), machine.tells("playing")) == ("escapement", "false")
    expect(machine.root.get_by_role("button", name="Names")).to_have_attribute("aria-pressed", "true")
    expect(machine.root.get_by_role("combobox", name="speed")).to_have_value("0.05")
    assert machine.page.locator(".machine").count() == 1


@pytest.mark.full
def test_goes_on_playing_when_new_data_come(machine: Machine) -> None:
    machine.press("Play")
    machine.page.get_by_text("Take a weaker spring").click()
    expect(machine.page.locator(".machine .title")).to_have_text("<b>Spring</b> at 70%")
    frames = machine.page.evaluate(f"{INNER}.frames")
    machine.page.wait_for_function(f"{INNER}.state.playing && {INNER}.frames > {frames} + 5")
    runs = "() => new Promise(done => { const m = %s, before = m.frames; let n = 0; const count = () => { n += 1;"
    runs += " n < 20 ? requestAnimationFrame(count) : done(m.frames - before) }; requestAnimationFrame(count) })"
    assert machine.page.evaluate(runs % INNER) <= 21  # one loop draws, not two


@pytest.mark.full
def test_writes_inches_when_told(machine: Machine, stroke: dict[str, Any]) -> None:
    crown = float(unpack_column(stroke["table"], "crown")[0])
    machine.page.get_by_text("Write inches").click()
    expect(machine.words).to_contain_text(f"crown to string {crown / 25.4:.3f} in")


@pytest.mark.parametrize("window", [{"reduced_motion": "reduce"}], indirect=True)
def test_without_continuous_motion_it_plays_from_event_to_event(machine: Machine, stroke: dict[str, Any]) -> None:
    times = {round(float(e["ms"]), 6) for e in stroke["events"] if e["ms"] is not None}
    machine.page.evaluate(
        f"() => {{ const m = {INNER}; m.seen = new Set(); const tick = m.tick;"
        f" m.tick = now => {{ tick(now); m.seen.add(m.state.time); }}; }}"
    )
    machine.press("Play")
    machine.page.wait_for_function(
        f"{INNER}.seen.size >= 2 && {INNER}.state.time > {find_event_time(stroke, 'key_leaves_rest')} + 1"
    )
    machine.press("Pause")
    seen = {round(float(t), 6) for t in machine.page.evaluate(f"[...{INNER}.seen]")}
    assert len(seen) >= 2 and seen <= times


@pytest.mark.full
@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("manner", ["Blow", "Press by hand"])
def test_axe_finds_nothing_serious(page: Page, serve: Serve, theme: str, manner: str) -> None:
    from axe_playwright_python.sync_playwright import Axe

    page.goto(serve(SCRIPT, f"--theme.base={theme}"))
    machine = Machine(page)
    machine.root.wait_for()
    page.locator(".machine summary").click()
    machine.press(manner)
    found = Axe().run(page, context={"include": [HOST]}, options={"resultTypes": ["violations", "passes"]}).response
    looked_at = [n["target"] for rule in found["passes"] for n in rule["nodes"] if rule["id"] == "button-name"]
    assert len(looked_at) >= 7, "axe did not look inside the component"
    serious = [v for v in found["violations"] if v["impact"] in ("serious", "critical")]
    assert not serious, [(v["id"], [n["html"] for n in v["nodes"]]) for v in serious]


@pytest.mark.parametrize("window", [{"viewport": {"width": 390, "height": 844}, "has_touch": True}], indirect=True)
@try_each("manner", ["Blow", "Press by hand"])
def test_fits_a_telephone(machine: Machine, manner: str) -> None:
    machine.press(manner)
    machine.page.get_by_text("Lay another unit over it").click()
    expect(machine.page.locator(".machine .title")).to_contain_text("at 100%")
    wide = machine.page.evaluate(
        f"""() => [document.documentElement.scrollWidth, {INNER}.root.scrollWidth - {INNER}.root.clientWidth,
          ...[...{INNER}.root.querySelectorAll('*')].map(e => e.getBoundingClientRect().right)]"""
    )
    assert wide[0] <= 390 and wide[1] <= 0 and max(wide[2:]) <= 390
    sizes = machine.page.evaluate(
        f"""() => [...{INNER}.root.querySelectorAll('button, select, summary, input[type=range]')]
          .map(e => [e.textContent, e.getBoundingClientRect().width, e.getBoundingClientRect().height])
          .filter(([, w, h]) => w > 0 && (w < 24 || h < 24))"""
    )
    assert sizes == []


@pytest.mark.full
@pytest.mark.parametrize("window", [{"viewport": {"width": 1920, "height": 1080}}], indirect=True)
def test_every_control_can_be_reached_by_the_tabulator(machine: Machine) -> None:
    machine.page.locator(".machine summary").click()
    wanted = machine.page.evaluate(
        f"() => [...{INNER}.root.querySelectorAll('button, select, summary, input, [tabindex]')]"
        ".filter(e => e.checkVisibility()).length"
    )
    machine.root.get_by_role("button", name="Blow").focus()
    reached = set()
    for _ in range(wanted):
        reached.add(
            machine.page.evaluate(
                f"() => {{ const all = [...{INNER}.root.querySelectorAll('*')];"
                f" return all.indexOf({INNER}.root.getRootNode().activeElement); }}"
            )
        )
        machine.page.keyboard.press("Tab")
    assert len(reached - {-1}) == wanted
