"""The moving mechanism in a real browser: played, scrubbed, stepped, zoomed, with a second unit."""

from __future__ import annotations

import re
from typing import Any

import numpy as np
import pytest

import sim
from sim.report.drawing.outline import Pose, place_centres
from tests.app.machine import INNER, Machine, find_event_time
from tests.app.packed import unpack_column
from tests.app.visit import expect


def test_plays_and_pauses(machine: Machine) -> None:
    start = float(machine.tells("time"))
    machine.press("Play")
    machine.page.wait_for_function(f"{INNER}.state.time > {start} + 0.2 && {INNER}.frames > 10")
    machine.press("Pause")
    expect(machine.root).to_have_attribute("data-playing", "false")
    halted = machine.page.evaluate(f"{INNER}.state.time")
    machine.page.evaluate("() => new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done)))")
    assert machine.page.evaluate(f"{INNER}.state.time") == halted
    assert halted > start


@pytest.mark.full
def test_space_plays_where_the_picture_has_the_focus(machine: Machine) -> None:
    machine.stage.focus()
    machine.page.keyboard.press("Space")
    expect(machine.root).to_have_attribute("data-playing", "true")
    machine.page.keyboard.press("Space")
    expect(machine.root).to_have_attribute("data-playing", "false")


@pytest.mark.full
def test_counts_its_frames_while_playing(machine: Machine) -> None:
    machine.press("Play")
    machine.page.wait_for_function(f"Number({INNER}.root.dataset.fps) > 0 && Number({INNER}.root.dataset.frames) > 3")


@pytest.mark.full
def test_speed_and_loop_are_kept_to(machine: Machine) -> None:
    machine.root.get_by_role("combobox", name="speed").select_option(label="real time")
    machine.press("Loop", "Play")
    expect(machine.root).to_have_attribute("data-playing", "false")
    end = machine.page.evaluate(f"{INNER}.span[1]")
    machine.told("time", end, 1e-3)


@pytest.mark.full
def test_scrubs_row_by_row_with_the_keyboard(machine: Machine, stroke: dict[str, Any]) -> None:
    machine.scrub.focus()
    machine.page.keyboard.press("Home")
    first = round((float(machine.page.evaluate(f"{INNER}.state.time")) - stroke["start"]) / stroke["step"])
    for _ in range(3):
        machine.page.keyboard.press("ArrowRight")
    machine.told("time", stroke["start"] + (first + 3) * stroke["step"], 1e-3)
    machine.told("crown", float(unpack_column(stroke["table"], "crown")[first + 3]), 2e-3)
    expect(machine.scrub).to_have_attribute("aria-valuetext", machine.words.text_content() or "")


def test_bodies_stand_in_the_browser_where_the_unit_has_them(machine: Machine, stroke: dict[str, Any]) -> None:
    """Half-way between two rows, too: centres of jack and lever, and the turn of every part."""
    time = find_event_time(stroke, "escape")
    machine.press("jack leaves")
    machine.told("time", time, 1e-3)
    rows = stroke["start"] + stroke["step"] * np.arange(stroke["table"]["rows"])
    turns = {
        n: float(np.interp(time, rows, unpack_column(stroke["table"], n))) for n in ("kf", "kr", "w", "j", "l", "h")
    }
    frames = machine.page.evaluate(f"{INNER}.pose.frames")
    for name, at in place_centres(sim.load("concert-grand-natural"), Pose(**turns)).items():
        assert [frames[name]["x"], frames[name]["y"]] == pytest.approx([1e3 * v for v in at], abs=2e-3)
    for name, turn in turns.items():
        assert [frames[name]["c"], frames[name]["s"]] == pytest.approx([np.cos(turn), np.sin(turn)], abs=1e-5)


@pytest.mark.full
def test_arrows_step_rows_and_with_shift_events(machine: Machine, stroke: dict[str, Any]) -> None:
    machine.stage.focus()
    machine.page.keyboard.press("Shift+ArrowRight")
    leaves = find_event_time(stroke, "key_leaves_rest")
    machine.told("time", leaves, 1e-3)
    machine.page.keyboard.press("ArrowRight")
    row = int((leaves - stroke["start"]) / stroke["step"]) + 1
    machine.told("time", stroke["start"] + row * stroke["step"], 1e-3)
    machine.page.keyboard.press("Shift+ArrowRight")
    machine.told("time", find_event_time(stroke, "toe_meets_button"), 1e-3)
    machine.page.keyboard.press("Shift+ArrowLeft")
    machine.told("time", leaves, 1e-3)


def test_list_of_events_tells_all_and_jumps(machine: Machine, stroke: dict[str, Any]) -> None:
    rows = machine.page.get_by_role("list", name="Events of the stroke").get_by_role("listitem")
    happened = sorted((e for e in stroke["events"] if e["ms"] is not None), key=lambda e: float(e["ms"]))
    texts = rows.all_inner_texts()
    assert len(texts) == len(happened)
    for i, (text, event) in enumerate(zip(texts, happened, strict=True)):
        assert text.split("\n") == [str(i + 1), event["title"], f"{event['ms']:.2f} ms"]
    machine.press("crown touches string")
    machine.told("time", find_event_time(stroke, "string_contact"), 1e-3)
    machine.told("crown", 0.0, 0.02)
    expect(rows.filter(has_text="crown touches string")).to_have_attribute("aria-current", "true")
    picture = machine.page.get_by_role("img", name="Side view, whole unit")
    assert "crown to string 0.00 mm" in (picture.get_attribute("aria-label") or "")
    for _ in range(5):
        machine.scrub.press("ArrowRight")
    expect(picture).to_have_attribute("aria-label", re.compile(r"string on the crown [1-9]"))


@pytest.mark.full
def test_marks_on_the_time_line_jump(machine: Machine, stroke: dict[str, Any]) -> None:
    mark = machine.page.evaluate(
        f"{INNER}.timeline.marks.filter(m => m.event.name === 'tail_meets_backcheck').map(m => [m.x, m.y])[0]"
    )
    machine.page.locator(".machine .line canvas").click(position={"x": mark[0], "y": mark[1]})
    machine.told("time", find_event_time(stroke, "tail_meets_backcheck"), 1e-3)


@pytest.mark.full
def test_a_click_in_a_curve_goes_there(machine: Machine) -> None:
    plot = machine.page.evaluate(f"{INNER}.curves.plot")
    machine.page.locator(".machine .curves canvas").click(position={"x": (plot["left"] + plot["right"]) / 2, "y": 60.0})
    machine.told("time", (plot["from"] + plot["to"]) / 2, (plot["to"] - plot["from"]) / 300)


@pytest.mark.full
def test_zooms_and_shows_names_and_forces(machine: Machine, stroke: dict[str, Any]) -> None:
    machine.press("jack toe meets")
    machine.told("time", find_event_time(stroke, "toe_meets_button"), 1e-3)
    seen = {machine.picture()}
    for button, view in (("Escapement", "escapement"), ("Hammer and check", "head"), ("Whole unit", "whole")):
        machine.press(button)
        expect(machine.root).to_have_attribute("data-view", view)
        seen.add(machine.picture())
    assert len(seen) == 3  # back where it began
    for button in ("Names", "Forces"):
        before = machine.picture()
        machine.press(button)
        expect(machine.root.get_by_role("button", name=button)).to_have_attribute("aria-pressed", "true")
        machine.page.wait_for_function(f"before => {INNER}.picture.canvas.toDataURL() !== before", arg=before)


def below_string(machine: Machine) -> list[int]:
    """Colour of the picture two pixels under the string's line, at the crown."""
    found: list[int] = machine.page.evaluate(
        f"""() => {{
          const m = {INNER}, {{ view, pen, size }} = m.picture, {{ y, strike }} = m.stroke.string;
          const x = view.x + view.scale * strike, up = view.y - view.scale * y + 2;
          return [...pen.getImageData(Math.round(x * size.ratio), Math.round(up * size.ratio), 1, 1).data];
        }}"""
    )
    return found


def test_crown_touches_the_drawn_string_when_the_numbers_say_so(machine: Machine) -> None:
    machine.press("Hammer and check", "jack toe meets")
    machine.page.wait_for_function(f"{INNER}.root.dataset.view === 'head'")
    assert below_string(machine)[3] == 0  # nothing drawn there: 14 mm to go
    machine.press("crown touches string")
    machine.told("crown", 0.0, 0.02)
    assert below_string(machine)[3] == 255


def test_second_unit_is_laid_over(machine: Machine, stroke: dict[str, Any]) -> None:
    machine.press("jack leaves")
    machine.told("time", find_event_time(stroke, "escape"), 1e-3)
    alone = machine.picture()
    machine.page.get_by_text("Lay another unit over it").click()
    expect(machine.page.locator(".machine .title")).to_contain_text("dashed: <b>Spring</b> at 85%")
    machine.page.wait_for_function(f"before => {INNER}.picture.canvas.toDataURL() !== before", arg=alone)
    at_contact = machine.picture()
    machine.root.get_by_role("combobox", name="lined up where").select_option("key_leaves_rest")
    machine.page.wait_for_function(f"before => {INNER}.picture.canvas.toDataURL() !== before", arg=at_contact)
    machine.press("Second unit")
    machine.page.wait_for_function(f"before => {INNER}.picture.canvas.toDataURL() === before", arg=alone)
