"""Files that go up and tables that come down, good and hostile, in a real browser."""

from __future__ import annotations

import csv
import io
import os
import re
import tomllib
from pathlib import Path

import pytest

from dashboard.pages import PAGES
from dashboard.session.work import Work, decode_state, format_scenario, load_work
from tests.app.numbers import check_printed, list_predicted
from tests.app.unit_difference import list_differences
from tests.app.visit import Visit, expect
from tests.tiers import try_each

SCRIPT = "<img src=x onerror='window.hacked=1'><script>window.hacked=1</script>"
PICTURE = "![a](http://example.org/a.png)"
FORMULA = "=HYPERLINK(1,2)"
FIRST = PAGES["predict"][0]
NUMBER = re.compile(r"[+-]?\d[\d.]*(e[+-]?\d+)?")


@pytest.fixture
def at_files(visit: Visit) -> Visit:
    """The page where files are opened."""
    return visit.open("scenario")


def unharmed(visit: Visit) -> None:
    """No script of a file has run, and the app has not broken."""
    assert visit.page.evaluate("window.hacked") is None
    assert visit.page.locator("img[src=x]").count() == 0
    assert visit.page.locator("img[src*='example.org']").count() == 0
    expect(visit.page.locator("[data-testid=stException]")).to_have_count(0)


def text_with(name: str) -> bytes:
    """A good scenario under another name and note."""
    text = format_scenario(Work())
    return re.sub(r'(?m)^(name|note) = ".*"$', lambda m: f"{m[1]} = '''{name}'''", text).encode()


def down(visit: Visit, label: str) -> bytes:
    """What a button gives to take away."""
    with visit.page.expect_download() as begun:
        visit.page.get_by_role("button", name=label).click()
    return Path(begun.value.path()).read_bytes()


def harmless_cells(text: str) -> int:
    """No cell begins like a formula, but numbers may have a sign; how many cells there are."""
    cells = [cell for row in csv.reader(io.StringIO(text)) for cell in row]
    wrong = [cell for cell in cells if cell[:1] in ("=", "+", "-", "@", "\t", "\r") and not NUMBER.match(cell)]
    assert not wrong, wrong
    return len(cells)


@pytest.mark.full
def test_good_file_is_opened_and_read(at_files: Visit) -> None:
    data = format_scenario(Work("damped").with_control("springs.repetition", 0.03)).encode()
    at_files.choose_file("my note.toml", data)
    at_files.on_bench("own file: my note.toml")
    at_files.turn_to(FIRST).computed()
    assert check_printed(at_files.cards(), list_predicted(load_work("my note.toml", data))) >= 25


@try_each(
    "name, data, words",
    [
        (f"{SCRIPT}.toml".replace("/", ""), b"[fuel]\nprice = 1", "fuel"),
        ("broken.toml", b"[hammer\nbore = 1", "not TOML"),
        ("picture.toml", b"\x89PNG\r\n\x1a\n\x00\x00", "binary data"),
        ("deep.toml", b"a = " + b"[" * 90_000, "nested too deep"),
        (f"{PICTURE}.toml".replace("/", ":"), f"'{PICTURE}' = '{SCRIPT}'".encode(), "example.org"),
        ("many.toml", b"[hammer]\nbore = '4 km'\nweight = '1 t'\nhanging_distance = '1 in'", "hammer.bore"),
    ],
    ids=["script", "broken", "binary", "deep", "picture", "many faults"],
)
def test_bad_file_is_refused_in_words(at_files: Visit, name: str, data: bytes, words: str) -> None:
    at_files.choose_file(name, data)
    message = at_files.alert("This file was not opened")
    expect(message).to_contain_text(words)
    at_files.on_bench("concert-grand-natural")
    unharmed(at_files)


def test_huge_file_is_refused_by_its_size_before_it_is_sent(at_files: Visit, tmp_path: Path) -> None:
    """50 MB: one message, and the server never gets it."""
    path = tmp_path / "huge.toml"
    with path.open("wb") as file:
        file.truncate(50_000_000)
    sent: list[str] = []
    at_files.page.on("request", lambda r: sent.append(r.url) if r.method in ("PUT", "POST") else None)
    at_files.page.locator("input[type=file]").set_input_files(path)
    expect(at_files.page.get_by_text(re.compile("must be 1.0 ?MB or smaller"))).to_have_count(1)
    at_files.still()
    assert not [url for url in sent if "upload" in url]
    assert os.path.getsize(path) == 50_000_000
    unharmed(at_files)


@try_each("hostile", [SCRIPT, PICTURE, FORMULA, ":red[x] $a$ `b`"])
def test_hostile_name_is_drawn_as_text_and_harmless_in_tables(at_files: Visit, hostile: str) -> None:
    """As a name it is shown as it stands; no cell of a table begins with it."""
    at_files.choose_file("a.toml", text_with(hostile))
    at_files.on_bench("own file: a.toml")
    at_files.turn_to(FIRST).computed()
    expect(at_files.page.locator(".machine .title")).to_have_text(hostile)
    assert harmless_cells(down(at_files, "All readings (CSV)").decode()) > 100
    unharmed(at_files)


@pytest.mark.full
def test_comparison_of_a_hostile_unit_is_harmless(at_files: Visit) -> None:
    at_files.choose_file("=1+1.toml", text_with(f"{FORMULA} {PICTURE} {SCRIPT}"))
    at_files.on_bench("own file: ?1?1.toml")
    at_files.turn_to(FIRST)
    at_files.nudge("springs.repetition", 3)
    at_files.turn_to(PAGES["compare"][0])
    at_files.page.get_by_role("button", name="Compare", exact=True).click()
    at_files.page.get_by_role("button", name="The comparison (CSV)").wait_for(timeout=120_000)
    assert harmless_cells(down(at_files, "The comparison (CSV)").decode()) > 100
    expect(at_files.page.get_by_text(FORMULA).first).to_be_visible()
    unharmed(at_files)


@pytest.mark.full
def test_what_comes_down_is_the_state_as_it_stands(visit: Visit) -> None:
    visit.open()
    visit.nudge("springs.repetition", 10)
    visit.turn_to(PAGES["scenario"][0])
    visit.page.get_by_role("tab", name="Take away").click()
    text = down(visit, "The scenario as it stands (TOML)")
    code = down(visit, "The whole state as a file").decode()
    work = decode_state(code).work
    assert dict(work.turned) == {"springs.repetition": pytest.approx(34e-3)}
    assert tomllib.loads(text.decode())["name"] and list_differences(load_work("f.toml", text).start(), Work().start())
    assert load_work("f.toml", text).start().springs.repetition == pytest.approx(34e-3, abs=1e-12)


@pytest.mark.full
def test_text_of_a_state_is_restored(visit: Visit) -> None:
    visit.open()
    visit.nudge("springs.repetition", 10)
    visit.turn_to(PAGES["scenario"][0])
    visit.page.get_by_role("tab", name="Take away").click()
    code = down(visit, "The whole state as a file").decode()
    visit.page.get_by_role("combobox", name="On the bench").focus()
    visit.page.get_by_role("tab", name="Open").click()
    visit.page.get_by_text("Restore a saved state").click()
    visit.page.get_by_label("Text of a saved state").fill(code)
    visit.page.get_by_label("Text of a saved state").blur()
    visit.page.get_by_role("button", name="Restore it").click()
    expect(visit.page.get_by_text("1 controls turned").or_(visit.page.get_by_text("1 control turned"))).to_be_visible()
    assert visit.turn_to(FIRST).slider("springs.repetition").get_attribute("aria-valuetext") == "34.00"


LINKS = ("%3Cscript%3Ewindow.hacked=1%3C/script%3E", "nonsense", "![a](http://example.org/a)")


@try_each("code", LINKS)
def test_bad_link_is_refused_in_words(visit: Visit, code: str) -> None:
    visit.open("orders", s=code)
    expect(visit.alert("This link could not be opened")).to_be_visible()
    unharmed(visit)


def test_figures_come_down_as_pictures(visit: Visit) -> None:
    visit.open("compare")
    visit.page.get_by_role("button", name="Compare", exact=True).click()
    visit.page.get_by_role("button", name="Figure (SVG)").first.wait_for(timeout=120_000)
    assert down(visit, "Figure (SVG)").lstrip().startswith(b"<?xml")
    assert down(visit, "Figure (PNG)").startswith(b"\x89PNG")
