"""The page of the photograph: opened, clicked on by mouse and keys in a browser, kept, and taken over to the bench."""

from __future__ import annotations

import re
from dataclasses import fields
from typing import TYPE_CHECKING, Any

import pytest

from dashboard.session.work import Work
from sim.errors import InputError
from sim.photo.marks import format_marks, parse_marks
from sim.photo.photograph import Marks, PhotographResult, compute_coordinates
from sim.photo.points import CORNERS
from tests.app.on_screen import Bench
from tests.app.server import Server
from tests.app.visit import Visit, expect

if TYPE_CHECKING:
    from playwright.sync_api import Locator

WORK = "[...document.querySelectorAll('*')].map(e => e.shadowRoot?.work).find(Boolean)"
"""The picture's own object, in the page."""


@pytest.fixture
def bench() -> Bench:
    return Bench().open("photograph")


@pytest.fixture(scope="module")
def made() -> Marks:
    """The marks of the invented picture."""
    from dashboard.widgets import photographs as photo

    data, clicks = photo.load_demo()
    return Marks(photo.open_photograph("invented-demo.jpg", data, 1).picture, clicks, distance=photo.DEMO_DISTANCE)


@pytest.fixture(scope="module")
def done(made: Marks) -> PhotographResult:
    return compute_coordinates(made)


def shown(bench: Bench) -> Any:
    return bench.at.dataframe[0].value.set_index("field")


def test_the_page_gives_what_the_python_interface_gives_and_takes_it_over(bench: Bench, done: PhotographResult) -> None:
    from sim.report.photograph.tables import build_edits

    assert "Open a picture" in bench.words()
    bench.press("demo_photo")
    assert "Still to click: card" in bench.words() and not bench.at.dataframe
    bench.press("click_photo")
    table = shown(bench)
    assert list(table.index) == [f.path for f in done.found]
    for one in done.found:
        if one.path != "hammer.rest_angle":
            assert table.loc[one.path, "read"] == ", ".join(f"{1e3 * v:.2f}" for v in one.value)
            assert table.loc[one.path, "± (standard)"] == f"{1e3 * one.uncertainty:.2f}"
    bench.press("take_photo")
    assert bench.state.work.edits == tuple(build_edits(done).items()) and not bench.errors()
    value = next(f.value for f in done.given if f.path == "wippen.centre")
    assert bench.state.work.start().wippen.centre == pytest.approx(value, abs=1e-5)
    bench.press("undo")
    assert bench.state.work == Work()
    bench.open("predict").open("photograph")
    assert list(shown(bench).index) == list(table.index)


def test_what_was_told_is_read_again_and_nonsense_is_said(bench: Bench) -> None:
    bench.press("demo_photo").press("click_photo")
    bench.type("keep_photo_width", "260 mm")
    assert "Nothing is read from this picture" in bench.errors()
    bench.type("keep_photo_width", "9 29/64 in")
    assert not bench.errors() and len(shown(bench)) == 28
    for field, text in (("width", "wide"), ("rule", "0 mm, 1 kg"), ("click", "a lot"), ("distance", "")):
        before = bench.at.session_state[f"keep_photo_{field}"]
        bench.type(f"keep_photo_{field}", text)
        assert "This cannot be used as it stands" in bench.errors() and not bench.at.dataframe, field
        bench.type(f"keep_photo_{field}", before)
    bench.choose("keep_photo_origin", "wippen.centre")
    assert bench.at.text_input(key="keep_photo_x").value.startswith("188.4")
    assert shown(bench).loc["wippen.centre", "± (standard)"] == "0.00"
    bench.switch("inches_toggle", True)
    assert set(shown(bench)["unit"]) == {"in", "deg"}


def test_pictures_and_marks_are_bounded_and_belong_together(bench: Bench, made: Marks) -> None:
    from dashboard.pages.photograph import HELD_KEY
    from tests.unit.test_photograph_picture import REFUSED

    for what, data in REFUSED.items():
        if len(data) < 1_000_000:
            bench.at.file_uploader(key="picture_up").set_value((f"{what}.png", data, "image/png"))
            bench.run()
            assert "This picture was not opened" in bench.errors() and HELD_KEY not in bench.at.session_state
    text = format_marks(made).encode()
    bench.upload("m.toml", text, "marks_up")
    assert "Open the picture invented-demo.jpg first" in bench.errors()
    bench.press("demo_photo").upload("n.toml", text, "marks_up")
    assert not bench.errors() and len(shown(bench)) == 28
    for bad in (text.replace(made.picture.sha256.encode(), b"0" * 64), text.replace(b"form = 1", b"form = 7"), b"\xff"):
        bench.upload("bad.toml", bad, "marks_up")
        assert "These marks were not taken" in bench.errors() and len(shown(bench)) == 28


def test_fields_say_what_marks_say_to_the_last_figure(made: Marks) -> None:
    from dashboard.widgets import photographs as photo

    odd = Marks(made.picture, {}, (0.23971, 0.1603), (0.0, 0.1512, 0.29993), "wippen.centre", (0.18843925, 0.0648),
                True, 0.65, 0.00037, 1.234, 0.00061)  # fmt: skip
    again = photo.parse_fields(odd.picture, photo.format_fields(odd), odd.origin, odd.level_line)
    for f in fields(Marks):
        was, now = getattr(odd, f.name), getattr(again, f.name)
        assert now == (
            was if f.name in ("picture", "clicks", "origin", "level_line") else pytest.approx(was, abs=1e-15)
        )
    with pytest.raises(InputError) as caught:
        photo.parse_fields(odd.picture, photo.format_fields(odd) | {"width": "x", "depth": "1 s"}, odd.origin, True)
    assert {f.field for f in caught.value.faults} == {"width", "depth"}


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


def test_by_mouse_and_by_keys_in_a_browser(visit: Visit, dashboard: Server) -> None:
    """All that is needed and one centre: corners by mouse, one by keys alone, one dragged and put back."""
    from dashboard.widgets import photographs as photo
    from sim.report.photograph.demo import Camera

    visit.open("photograph")
    visit.page.get_by_role("button", name="Try the invented picture").click()
    visit.page.locator(".photograph[data-mark]").wait_for()
    visit.still()
    stage, camera = Stage(visit), Camera(tilt=0.03, turn=-0.04, bow=0.002, depth=0.004)
    places = {n: (round(x), round(y)) for n, (x, y) in photo.invented.clicks(photo.load_demo_unit(), camera).items()}
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
    told = {tuple(seen) for seen in dashboard.seen()}
    assert not [what for deed, what in told if deed == "writes" and "photograph" in what]
