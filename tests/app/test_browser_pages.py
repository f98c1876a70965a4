"""Each page in a real browser: what a person does there first, and what comes of it."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from sim.display_units import convert_si, format_unit
from sim.photo.marks import parse_marks
from sim.photo.photograph import compute_coordinates
from sim.photo.points import CORNERS
from sim.teaching.adjustments import load_adjustments
from sim.teaching.lesson import load_lessons
from sim.teaching.progress import format_progress
from tests.app.server import Server, build_dashboard_command, find_free_port, run_server
from tests.app.visit import COMPUTED, Visit, expect
from tests.lesson_answers import find_answer, find_wrong_answer, list_start_values
from tests.tiers import try_each

if TYPE_CHECKING:
    from playwright.sync_api import Locator, Page

LESSONS = sorted(load_lessons(), key=lambda name: name != "let-off")
FARTHEST = 150
"""Times the tab key is pressed to get somewhere on a page, at most."""


def tab_to(visit: Visit, target: Locator) -> None:
    """The focus moved by the tab key alone, from where it is, forward."""
    expect(target).to_be_enabled()
    for _ in range(FARTHEST):
        if target.evaluate("e => e === document.activeElement"):
            return
        visit.page.keyboard.press("Tab")
    raise AssertionError(f"not reached from the keyboard: {target}")


def try_it(visit: Visit, values: dict[str, float], before_them: dict[str, float]) -> Locator:
    """Values that are others than before typed into the hands' fields, and tried; the answer that is then given."""
    tries = visit.page.get_by_text(re.compile(r"Tries so far: \d+"))
    before = tries.inner_text() if tries.count() else ""
    for at, value in values.items():
        if value == before_them[at]:
            continue
        hand = load_adjustments()[at]
        tab_to(visit, visit.page.get_by_role("textbox", name=f"{hand.title}: {hand.told}"))
        visit.page.keyboard.press("Control+A")
        visit.page.keyboard.type(f"{convert_si(value, hand.unit):.4f} {format_unit(hand.unit)}")
        visit.page.keyboard.press("Tab")
        visit.still()
    tab_to(visit, visit.page.get_by_role("button", name="Try it"))
    visit.page.keyboard.press("Enter")
    if before:
        expect(tries).not_to_have_text(before, timeout=COMPUTED)
    expect(tries).to_have_count(1, timeout=COMPUTED)
    visit.still()
    return visit.page.locator("[data-testid=stAlert]").filter(has_text=re.compile(r"^(Not yet|Right)\."))


def test_a_step_of_an_order_of_work_is_done(visit: Visit) -> None:
    visit.open("orders").begin("orders")
    expect(visit.page.get_by_role("heading", name=re.compile("^Step 2: "))).to_be_visible()


def test_friction_stands_site_by_site_and_a_force_that_is_none_is_refused(visit: Visit) -> None:
    visit.open("friction")
    expect(visit.page.get_by_role("button", name="The friction (CSV)")).to_be_visible()
    box = visit.page.get_by_role("textbox", name=re.compile("^To this pinning force"))
    box.fill("many")
    box.press("Enter")
    expect(visit.alert("many")).to_be_visible()
    expect(visit.page.get_by_role("button", name="What would it bring?")).to_have_count(0)


def test_causes_are_listed_while_faults_are_still_being_tried(visit: Visit) -> None:
    visit.open("diagnose")
    for name, text in (("down weight", "60 gf"), ("up weight", "13.5 gf")):
        box = visit.page.get_by_role("textbox", name=name, exact=True)
        box.fill(text)
        box.press("Enter")
        visit.still()
    visit.page.get_by_role("button", name="Try every fault on this unit").click()
    expect(visit.page.get_by_text("First list, of one run a fault")).to_be_visible(timeout=COMPUTED)


def test_a_rough_unit_is_set_by_keyboard(visit: Visit) -> None:
    set_by_keyboard(visit.open("rough"))


def set_by_keyboard(visit: Visit) -> None:
    """The first step: what is proposed, to a value that is typed."""
    visit.page.get_by_role("textbox", name="To").focus()
    visit.page.keyboard.type("0.25 mm")
    visit.page.keyboard.press("Tab")
    visit.still()
    visit.page.get_by_role("button", name="Set it").press("Enter")
    expect(visit.page.get_by_role("heading", name="Your path: 1 steps")).to_be_visible(timeout=COMPUTED)


@pytest.mark.full
def test_a_rough_unit_is_set_by_keyboard_and_after_a_restart(page: Page, tmp_path: Path) -> None:
    """A step by keyboard; the server is started anew and still knows what the file held; it writes nothing else."""
    from tests.unit.test_progress import SOME

    path, port = tmp_path / "p.toml", find_free_port()
    path.write_text(format_progress(SOME), encoding="utf-8")
    for turn in range(2):
        watched = tmp_path / f"log{turn}"
        with run_server([*build_dashboard_command(port), "--progress", str(path)], port, watched=watched) as server:
            visit = Visit(page, server.url).open("rough")
            expect(page.get_by_text("What was done so far (3)")).to_be_visible()
            if turn == 0:
                set_by_keyboard(visit)
            written = {what for deed, what in server.seen() if deed == "writes" and str(tmp_path) in what}
            assert not written
            page.goto("about:blank")


def test_a_hidden_fault_is_found_by_keyboard(visit: Visit) -> None:
    visit.open("practice")
    page = visit.page
    page.get_by_role("combobox", name="Reading").focus()
    page.keyboard.type("spring rise")
    expect(page.get_by_role("option").first).to_contain_text("spring rise")  # the list has followed
    page.keyboard.press("Enter")
    expect(page.get_by_text("how far the hammer rises")).to_be_visible()  # what was chosen is known to the server
    visit.still()
    page.get_by_role("button", name="Take it").press("Enter")
    expect(page.get_by_role("heading", name="Notebook: 20 s")).to_be_visible(timeout=30_000)
    visit.still()  # a list that is open while the page is drawn anew closes
    page.get_by_role("combobox", name="Cause").focus()
    page.keyboard.type("spring weak")
    expect(page.get_by_role("option").nth(1)).to_contain_text("spring weak")
    page.keyboard.press("ArrowDown")  # past the line that takes all matches
    page.keyboard.press("Enter")
    page.keyboard.press("Escape")  # closes the list
    visit.still()
    expect(page.get_by_role("button", name="Hand in")).to_be_enabled(timeout=20_000)
    page.get_by_role("button", name="Hand in").press("Enter")
    expect(page.get_by_text("Hidden was")).to_be_visible(timeout=30_000)


SHEET = b"form,1,\ntitle,Two notes,\ninvented,yes,\nnote,blow (mm),dip (mm)\n40,45.00,10.20\n42,44.00,\n"


def test_what_is_typed_into_a_bench_sheet_stays(visit: Visit) -> None:
    """A cell is changed, spoiled, mended; it lives through another page and through inches."""
    page = visit.open("section").page
    visit.choose_file("two.csv", SHEET)
    page.get_by_role("heading", name="Two notes").wait_for(timeout=COMPUTED)
    visit.still()

    def typed(text: str) -> None:
        """Into the first note's first reading."""
        page.get_by_test_id("data-grid-canvas").first.focus()
        for key in ("Control+Home", "ArrowRight"):
            page.keyboard.press(key)
        page.keyboard.press("Enter")
        page.locator("textarea.gdg-input").fill(text)
        page.keyboard.press("Enter")
        visit.still()

    def cell(text: str) -> None:
        """What stands there, as the table tells it to who cannot see it."""
        expect(page.locator("table[role=grid] tbody tr").first).to_contain_text(text, timeout=COMPUTED)

    typed("46,25")
    cell("46,25")
    typed("far")
    expect(page.get_by_role("alert").filter(has_text="nothing of it is lost")).to_be_visible(timeout=COMPUTED)
    visit.turn_to("Compare two units").still()
    visit.turn_to("Bench sheet and section").still()
    cell("far")
    typed("46 mm")
    expect(page.get_by_role("alert").filter(has_text="nothing of it is lost")).to_have_count(0, timeout=COMPUTED)
    page.get_by_role("switch", name="inches").or_(page.get_by_role("checkbox", name="inches")).first.press("Space")
    expect(page.locator("table[role=grid]").first).to_contain_text(re.compile(r"\(in\)"), timeout=COMPUTED)
    visit.still()
    cell("1.811")


@pytest.mark.parametrize("window", [{"reduced_motion": "reduce"}], ids=["still"], indirect=True)
@try_each("name", LESSONS)
def test_every_lesson_is_done_from_the_keyboard(visit: Visit, name: str) -> None:
    """Chosen, tried wrongly, tried rightly, with nothing but keys; the right values are found by the simulation."""
    title = f"{list(load_lessons()).index(name) + 1}. {load_lessons()[name].title}"
    visit.open("lesson")
    tab_to(visit, visit.page.get_by_role("combobox", name="Lesson"))
    visit.page.keyboard.press("Control+A")
    visit.page.keyboard.type(load_lessons()[name].title)
    visit.page.keyboard.press("Enter")
    expect(visit.page.get_by_role("heading", level=2, name=title)).to_have_count(1, timeout=COMPUTED)
    visit.still()
    mistaken = try_it(visit, find_wrong_answer(name), list_start_values(name))
    expect(mistaken).to_have_text(re.compile(r"^Not yet\. \S"), timeout=COMPUTED)
    right = try_it(visit, find_answer(name), find_wrong_answer(name))
    expect(right).to_have_text(re.compile(r"^Right\. \S"), timeout=COMPUTED)


WORK = "[...document.querySelectorAll('*')].map(e => e.shadowRoot?.work).find(Boolean)"
"""The picture's own object, in the page."""


class Stage:
    """The picture in the browser."""

    def __init__(self, visit: Visit) -> None:
        self.page = visit.page
        self.canvas: Locator = self.page.locator(".photograph .stage canvas").first

    def inside(self, expression: str) -> Any:
        return self.page.evaluate(f"() => {{ const w = {WORK}; return {expression}; }}")

    def goto(self, at: tuple[float, float]) -> None:
        """The mouse over a place of the picture."""
        self.canvas.evaluate("e => e.scrollIntoView({ block: 'center' })")
        x, y = self.inside(f"w.view.screen([{at[0]}, {at[1]}])")
        box = self.canvas.bounding_box()
        assert box is not None
        self.page.mouse.move(box["x"] + x, box["y"] + y)

    def click(self, at: tuple[float, float]) -> None:
        """As a hand does it: near, larger, then where it is."""
        self.goto(at)
        self.page.keyboard.down("Control")
        self.page.mouse.wheel(0, -900)
        self.page.keyboard.up("Control")
        self.page.wait_for_function(f"() => {WORK}.view.scale > {WORK}.view.least() * 5")
        self.goto(at)
        self.page.mouse.down()
        self.page.mouse.up()
        self.page.get_by_role("button", name="Whole picture").click()

    def clicks(self) -> dict[str, list[float]]:
        return dict(self.inside("w.clicks"))


def test_a_photograph_is_marked_by_mouse_and_by_keys(visit: Visit, dashboard: Server) -> None:
    """All that is needed and one centre: corners by mouse, one by keys alone, one dragged and put back."""
    from dashboard.widgets import photographs as photo
    from sim.report.photograph.demo import Camera, compute_clicks

    visit.open("photograph")
    visit.page.get_by_role("button", name="Try the invented picture").click()
    visit.page.locator(".photograph[data-mark]").wait_for()
    visit.still()
    stage, camera = Stage(visit), Camera(tilt=0.03, turn=-0.04, bow=0.002, depth=0.004)
    places = {n: (round(x), round(y)) for n, (x, y) in compute_clicks(photo.load_demo_unit(), camera).items()}
    for name in CORNERS[:3]:
        stage.click(places[name])
        assert stage.clicks()[name] == pytest.approx(places[name], abs=1.0)
    # the fourth corner by keys: Enter sets the cross, arrows bring it there
    stage.canvas.focus()
    visit.page.keyboard.press("Enter")
    visit.page.locator("[data-name='card.front_high']").click()
    stage.canvas.focus()
    x, y = stage.clicks()["card.front_high"]
    for now, then, less, more in ((x, places[CORNERS[3]][0], "ArrowLeft", "ArrowRight"),
                                  (y, places[CORNERS[3]][1], "ArrowUp", "ArrowDown")):  # fmt: skip
        key, far = (more if then > now else less), round(abs(then - now))
        for _ in range(far // 20):
            visit.page.keyboard.press(f"Shift+{key}")
        for _ in range(far % 20):
            visit.page.keyboard.press(key)
    assert stage.clicks()["card.front_high"] == pytest.approx(places["card.front_high"], abs=1.0)
    visit.page.keyboard.press("Delete")
    assert "card.front_high" not in stage.clicks()
    visit.page.keyboard.press("Control+z")
    assert "card.front_high" in stage.clicks()
    for name in ("rule.1", "rule.2", "rule.3", "frame.pin", "frame.level_front", "frame.level_rear", "wippen.centre"):
        visit.page.locator(f"[data-name='{name}']").click()
        stage.click(places[name])
    # drag one away and take it back
    before = stage.clicks()["wippen.centre"]
    visit.page.locator("[data-name='wippen.centre']").click()
    stage.goto((before[0], before[1]))
    visit.page.mouse.down()
    stage.goto((before[0] + 200, before[1] + 90))
    visit.page.mouse.up()
    assert stage.clicks()["wippen.centre"][0] > before[0] + 150
    visit.page.get_by_role("button", name="Undo the last click").click()
    assert stage.clicks()["wippen.centre"] == before
    expect(visit.page.get_by_role("heading", name="What the picture gives")).to_be_visible()
    expect(visit.page.get_by_role("button", name=re.compile("^Put these 1 "))).to_be_visible()
    with visit.page.expect_download() as waited:
        visit.page.get_by_role("button", name="The marks (TOML)").click()
    text = waited.value.path().read_text(encoding="utf-8")
    visit.turn_to("The scenario").turn_to("Read a photograph").still()
    visit.page.locator(".photograph[data-mark]").wait_for()
    assert stage.clicks()["wippen.centre"] == before
    (centre,) = compute_coordinates(parse_marks(text.encode())).found
    unit = photo.load_demo_unit()
    assert centre.value == pytest.approx(unit.wippen.centre, abs=0.6e-3)
    written = {what for deed, what in dashboard.seen() if deed == "writes" and "__pycache__" not in what}
    assert not [what for what in written if "photograph" in what]
