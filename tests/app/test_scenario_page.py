"""The scenario page: what is opened, typed, refused, kept, taken away and restored."""

from __future__ import annotations

import random
import re

import pytest

from dashboard.session.work import LONGEST_LINK, Saved, Work, decode_state, encode_state, format_scenario, load_work
from sim.__main__ import main
from sim.fields.untrusted_text import LARGEST_FILE
from sim.scenario.shipped import list_shipped_scenarios
from tests.app.on_screen import Bench
from tests.app.unit_difference import list_differences
from tests.tiers import try_each


@pytest.fixture
def bench() -> Bench:
    return Bench().open("scenario")


def link(bench: Bench) -> str:
    """The link that the page offers."""
    return str(bench.at.get("code")[0].value)


@try_each("name", list_shipped_scenarios())
def test_shipped_scenario_is_opened(bench: Bench, name: str) -> None:
    bench.choose("keep_shipped", name).press("open_shipped")
    assert bench.state.work == Work(name)
    assert bench.at.selectbox(key="bench").value == name


def test_good_edit_reaches_the_unit(bench: Bench) -> None:
    bench.choose("keep_section", "hammer").type("field_hammer.weight", "10.1 g")
    assert bench.state.work.edits == (("hammer.weight", "10.1 g"),)
    assert bench.state.work.start().nominal["hammer.weight"] == pytest.approx(10.1e-3)
    box = bench.at.text_input(key="field_hammer.weight")
    assert box.value == "10.1 g" and box.label.endswith("edited") and not bench.errors()
    bench.type("field_hammer.weight", "")
    assert bench.state.work == Work() and not box.label.endswith("not given")


@try_each(
    "path, typed, words",
    [
        ("hammer.weight", "94 kg", ["hammer.weight", "94 kg", "allowed: ", " g"]),
        ("hammer.weight", "9.4", ["hammer.weight", "9.4", "unit"]),
        ("hammer.weight", '{ value = "9.4 g", source = "hearsay" }', ["hammer.weight", "measured"]),
        ("hammer.weight", '{ value = "9.4 g"', ["not TOML"]),
        ("hammer.weight", "heavy", ["hammer.weight", "heavy"]),
        ("hammer.weight", "<img src=x onerror=alert(1)>", ["hammer.weight"]),
        ("hammer.weight", "400%", ["hammer.weight", "allowed: "]),
    ],
    fast=4,
)
def test_bad_edit_is_named_and_kept(bench: Bench, path: str, typed: str, words: list[str]) -> None:
    """Field, value and allowed range, through a page change; what is on the bench stays."""
    bench.choose("keep_section", "hammer").type(f"field_{path}", typed)
    for _ in range(2):
        assert bench.state.work == Work()
        assert bench.at.text_input(key=f"field_{path}").value == typed
        assert all(word in bench.errors() for word in words), bench.errors()
        assert f"1 typed value waits to be mended: {path}" in bench.words()
        bench.open("predict").open("scenario").choose("keep_section", "hammer")
    bench.type(f"field_{path}", "9.5 g")
    assert not bench.errors() and bench.state.work.edits == ((path, "9.5 g"),)


def test_messages_are_those_of_the_command_line(bench: Bench, capsys: pytest.CaptureFixture[str]) -> None:
    bench.choose("keep_section", "hammer").type("field_hammer.weight", "94 kg")
    assert main(["predict", "concert-grand-natural", "--set", "hammer.weight=94 kg"]) == 2
    told = " ".join("".join(capsys.readouterr()).split())
    (error,) = bench.errors().splitlines()
    assert all(part.strip() in told for part in error.split(";"))


def test_values_that_contradict_alone_are_taken_together(bench: Bench) -> None:
    """One of two is refused and waits; with the other it is taken.  Taking one away again is refused."""
    box = "field_hammer."
    bench.choose("keep_section", "hammer").type(f"{box}cushion_place", "20 mm")
    before = bench.state.work
    bench.type(f"{box}knuckle_set", "24 mm")
    assert "hammer.knuckle_set" in bench.errors() and bench.state.work == before
    bench.type(f"{box}cushion_place", "28 mm")
    both = {"hammer.cushion_place": "28 mm", "hammer.knuckle_set": "24 mm"}
    assert dict(bench.state.work.edits) == both and not bench.errors()
    bench.type(f"{box}cushion_place", "20 mm")
    assert "hammer.knuckle_set" in bench.errors() and dict(bench.state.work.edits) == both
    assert bench.at.text_input(key=f"{box}cushion_place").value == "20 mm"


def test_good_file_is_opened(bench: Bench) -> None:
    text = format_scenario(Work("damped").with_control("springs.repetition", 0.03))
    bench.upload("my note.toml", text.encode())
    assert bench.state.work == load_work("my note.toml", text.encode()) and not bench.errors()
    assert bench.open("predict").cards()


@pytest.mark.parametrize(
    ("name", "data", "words"),
    [
        ("broken.toml", b"[hammer\nbore = 1", "not TOML"),
        ("binary.toml", b"\x89PNG\r\n\x00\x01", "binary data"),
        ("latin.toml", "name = 'Flügel'".encode("latin-1"), "no UTF-8"),
        ("many.toml", b"[hammer]\nbore = '4 km'\nweight = '1 t'\n[fuel]\nprice = 3", "hammer.bore"),
        ("deep.toml", b"a = " + b"[" * 90_000, "nested too deep"),
        ("large.toml", b"#" * (LARGEST_FILE + 1), "1 MB"),
        ("based.toml", b'based_on = "/etc/passwd"', "based_on"),
        ("<img src=x onerror=alert(1)>.toml", b"[fuel]\nx = 1", "fuel"),
    ],
)
def test_bad_file_is_refused_in_words(bench: Bench, name: str, data: bytes, words: str) -> None:
    """And the bench stays as it is."""
    bench.upload(name, data)
    assert bench.state.work == Work()
    assert words in bench.errors() and "This file was not opened" in bench.errors()


def test_markup_in_a_file_is_drawn_as_text(bench: Bench) -> None:
    """A picture in a name would be fetched from elsewhere."""
    bench.upload("![a](http://example.org/a.png).toml", b'name = "x"\n"![b](//example.org/b.png)" = "<b>"')
    (error,) = bench.at.error
    assert "example.org" in bench.errors()
    assert not re.search(r"(?<!\\)[!<>\[\]`]", error.value.removeprefix("This file"))


def test_message_about_a_file_goes_when_another_is_opened(bench: Bench) -> None:
    bench.upload("bad.toml", b"x = 1")
    assert bench.errors()
    bench.upload("good.toml", format_scenario(Work("treble")).encode())
    assert not bench.errors() and bench.state.work.base == "good.toml"


def test_link_restores_the_very_state(bench: Bench) -> None:
    bench.choose("keep_section", "hammer").type("field_hammer.weight", "10.1 g").switch("inches_toggle", True)
    bench.open("predict").slide("springs.repetition", 35.0).type("type_let_off", "2 mm")
    bench.at.get("button_group")[0].set_value("hard")
    bench.run()
    shown = bench.cards()
    code = link(bench.open("scenario")).removeprefix("?s=")
    other = Bench(s=code)
    assert other.state.work == bench.state.work
    assert (other.state.inches, other.state.touch) == (True, "hard")
    assert other.cards() == shown
    assert other.at.toggle(key="inches_toggle").value


def test_text_of_a_state_restores_it_where_something_else_was_open(bench: Bench) -> None:
    wanted = Saved(Work("treble").with_control("springs.repetition", 0.025), Work("damped"), True, "soft")
    bench.at.text_area(key="keep_code").set_value(f"http://127.0.0.1:8501/scenario?s={encode_state(wanted)}")
    bench.press("restore")
    assert bench.state.work == wanted.work and bench.state.other == wanted.other
    bench.open("predict")
    assert (bench.state.inches, bench.state.touch) == (True, "soft")
    assert " in" in bench.cards()["blow_mm"]
    bench.open("scenario")
    assert decode_state(link(bench).removeprefix("?s=")) == wanted


@try_each("code", ["nonsense", "?s=", "?s=AAAA", "§"])
def test_link_that_is_none_is_refused_in_words(bench: Bench, code: str) -> None:
    bench.at.text_area(key="keep_code").set_value(code)
    bench.press("restore")
    assert "Nothing was restored" in bench.errors() and bench.state.work == Work()


@try_each("code", ["nonsense", "%00", "A" * 9999, "eJyrVkrLz1eyMlSqBQAWrANz"])
def test_bad_link_in_the_address_opens_the_first_scenario(code: str) -> None:
    bench = Bench(s=code)
    assert bench.state.work == Work()
    assert "This link could not be opened" in bench.words() and len(bench.cards()) > 20


def test_state_too_long_for_a_link_is_offered_as_a_file(bench: Bench) -> None:
    noise = "\n".join(f"# {random.Random(i).getrandbits(256):x}" for i in range(2000))
    data = (format_scenario(Work()) + noise).encode()
    bench.upload("long.toml", data)
    assert "too long for a link" in bench.words()
    code = encode_state(Saved(bench.state.work))
    assert len(code) > LONGEST_LINK and decode_state(code).work == bench.state.work


def test_what_is_taken_away_is_the_unit_as_it_stands(bench: Bench) -> None:
    from streamlit.proto.DownloadButton_pb2 import DownloadButton

    bench.open("predict").slide("springs.repetition", 35.0).open("scenario")
    text = bench.at.get("code")[1].value
    assert not list_differences(load_work("f.toml", text.encode()).start(), bench.state.work.start(), 1.0)
    assert load_work("f.toml", text.encode()).start().springs.repetition == pytest.approx(0.035, abs=1e-11)
    names = {b.proto.label for b in bench.at.get("download_button") if isinstance(b.proto, DownloadButton)}
    assert {"The scenario as it stands (TOML)", "The whole state as a file"} <= names
