"""The page of the photograph: opened, clicked on by mouse and keys in a browser, kept, and taken over to the bench."""

from __future__ import annotations

from dataclasses import fields
from typing import TYPE_CHECKING, Any

import pytest

from dashboard.session.work import Work
from sim.errors import InputError
from sim.photo.marks import format_marks
from sim.photo.photograph import Marks, PhotographResult, compute_coordinates
from tests.app.on_screen import Bench

if TYPE_CHECKING:
    pass


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
