"""Each page by itself: what it shows for what was done on it."""

from __future__ import annotations

from typing import Any

import pytest

import sim
from dashboard.pages import PAGES
from dashboard.session.controls import CONTROLS
from dashboard.session.work import Saved, Work, encode_state
from sim.bench.readings import list_reading_fields
from tests.app.numbers import check_printed, get_unit, list_predicted
from tests.app.on_screen import Bench
from tests.app.unit_difference import list_differences
from tests.tiers import try_each

INCH = 25.4


@pytest.fixture
def bench(request: pytest.FixtureRequest) -> Bench:
    """A bench; ``@EVERY_TIME_QUICK``: with quick readings alone in the fast tier, with all in the full one."""
    return request.getfixturevalue("quick_bench") if getattr(request, "param", "") == "quick" else Bench()


EVERY_TIME_QUICK = try_each("bench", ["quick", "all"], indirect=True)


@pytest.fixture
def quick_bench(monkeypatch: pytest.MonkeyPatch) -> Bench:
    """One on which readings that take longer never come: for what does not look at them."""
    import streamlit

    from dashboard.session import results

    monkeypatch.setattr(results, "compute_prediction", lambda work, say: streamlit.stop())
    return Bench()


ALONE = ("scenario", "lesson", "practice", "section", "photograph")
"""Pages that are of use whatever the scenario on the bench."""


@pytest.mark.full
@pytest.mark.parametrize("page", PAGES)
def test_page_opens(bench: Bench, page: str) -> None:
    bench.open(page)
    assert bench.at.title[0].value == PAGES[page][0]
    assert not bench.errors()


LISTS = ("selectbox", "radio", "multiselect", "select_slider")
FIELDS = (*LISTS, "slider", "number_input", "text_input", "toggle", "checkbox")


def change_field(field: Any) -> None:
    """Set a field of a page to something else than it holds, as far as it lets itself be set."""
    if field.type == "multiselect":
        field.set_value(field.options[:1])
    elif field.type == "select_slider":
        field.set_value(float(field.options[0].split()[0]))
    elif field.type in LISTS:
        field.set_value(field.options[(field.index or 0) - 1])
    elif field.type == "slider" or field.type == "number_input":
        field.set_value(field.value + field.step if field.value + field.step <= field.max else field.min)
    elif field.type == "text_input":
        field.set_value("1 mm")
    else:
        field.set_value(not field.value)


def list_own_fields(bench: Bench) -> dict[str, Any]:
    """Fields of the page that is open, by key, but those of the frame and the sliders, which the work itself holds."""
    fields = [f for kind in FIELDS for f in bench.at.main.get(kind) if not f.disabled]
    return {f.key: f for f in fields if f.key and not f.key.startswith(("slide_", "type_"))}


@pytest.mark.parametrize("page", PAGES)
def test_what_was_chosen_on_a_page_is_kept_when_one_comes_back(bench: Bench, page: str) -> None:
    """Every slider, list, switch and text of every page: a new page's too."""
    bench.open(page)
    for key in list_own_fields(bench):  # one after the other: a choice may change what else there is to choose
        if key in (fields := list_own_fields(bench)):
            change_field(fields[key])
            bench.run()
    left = {key: field.value for key, field in list_own_fields(bench).items()}
    bench.open("photograph" if page != "photograph" else "scenario").open(page)
    assert {key: field.value for key, field in list_own_fields(bench).items()} == left


@try_each("page", PAGES)
def test_page_says_what_is_wrong_with_a_scenario_that_cannot_be_set_up(page: str) -> None:
    """Targets that contradict: the file is fine, the unit is not."""
    work = Work().with_edit("targets.blow", "44.5 mm").with_edit("targets.dip", "8 mm")
    work = work.with_edit("targets.aftertouch", "1.1 mm")
    bench = Bench(s=encode_state(Saved(work))).open(page)
    assert bench.state.work == work
    if page not in ALONE:
        assert "targets." in bench.errors() and "what these parts can reach" in bench.errors()


def later() -> list[dict[str, Any]]:
    """What the first page shows once the slow readings are there, reading by reading."""
    from dashboard.pages.predict import SLOW_RECORDS

    return [dict(meta) for record in SLOW_RECORDS.values() for meta in list_reading_fields(record).values()]


@try_each("scenario", ["concert-grand-natural", "concert-grand-sharp", "damped", "mixed-parts"])
def test_numbers_are_those_of_the_python_interface(scenario: str) -> None:
    """Naturals and sharps, with a damper, and of a note that does not play; with a slider moved."""
    from sim.report.formats.reading_rows import KeyPosition, list_remarks

    work = Work(scenario)
    work = work.with_control("springs.repetition", 0.95 * work.start().springs.repetition)
    bench = Bench(s=encode_state(Saved(work)))
    printed, wanted = bench.cards(), list_predicted(work)
    assert check_printed(printed, wanted) >= 25
    assert {"let_off_mm", "aftertouch_mm", "down_weight_gf", "limit_hz", "hammer_speed_m_s"} <= printed.keys()
    unit = get_unit(work)
    found = sim.predict(unit)
    assert all(str(mark) in bench.words() for mark in list_remarks(found, KeyPosition.of(unit)))
    assert ("This note plays." in bench.words()) == found.plays
    assert found.plays or found.reason in bench.errors()


def test_slider_changes_what_is_read(bench: Bench) -> None:
    before = bench.cards()
    now = bench.at.slider(key="slide_springs.repetition").value
    bench.slide("springs.repetition", now - 4)
    assert bench.state.work.turned == (("springs.repetition", pytest.approx((now - 4) * 1e-3)),)
    after = bench.cards()
    assert float(after["spring_rise_mm"].split()[0]) < float(before["spring_rise_mm"].split()[0]) - 0.5
    assert check_printed(after, list_predicted(bench.state.work)) == len(before)


@try_each("name", (n for n, c in CONTROLS.items() if c.gain))
def test_control_told_by_its_reading_brings_about_what_is_asked(quick_bench: Bench, name: str) -> None:
    """One move comes near; the slider stays at what was asked, and says beside it what came of it."""
    from dashboard.session import results

    c, bench = CONTROLS[name], quick_bench
    asked = bench.at.slider(key=f"slide_{name}").value + 2 * bench.at.slider(key=f"slide_{name}").step
    start = results.compute_first_readings(Work().base, "", ())[c.settles]
    bench.slide(name, asked)
    slider = bench.at.slider(key=f"slide_{name}")
    assert slider.value == pytest.approx(asked, abs=0.0051)
    settled = results.compute_quick(bench.state.work, "moderate").readings[c.settles]
    unit = slider.label.split(", ")[1].split(" ")[0]
    size = {"mm": 1e-3, "deg": 0.017453292519943295}[unit]
    assert f"settles at {settled / size:.2f} {unit}" in slider.label
    assert 0.4 < (settled - start) / (asked * size - start) < 2.5


@try_each(
    "name, typed, shown",
    [
        ("blow", "1 3/4 in", "44.45"),
        ("blow", "44.45 mm", "44.45"),
        ("springs.repetition", "33.5 N·mm", "33.5"),
        ("friction.hammer", "1.5 N·mm", "1.5"),
        ("check_angle", "70 deg", "70.0"),
        ("wippen_rail_up", "64.94 mm", "64.94"),
    ],
)
def test_typed_value_is_taken(quick_bench: Bench, name: str, typed: str, shown: str) -> None:
    bench = quick_bench.type(f"type_{name}", typed)
    assert not bench.errors()
    assert bench.at.slider(key=f"slide_{name}").value == pytest.approx(float(shown), abs=0.0051)
    assert name in dict(bench.state.work.turned)
    assert bench.at.text_input(key=f"type_{name}").value == ""


def test_typed_blow_of_an_inch_fraction_is_asked_for_to_the_micrometre(quick_bench: Bench) -> None:
    bench = quick_bench.type("type_blow", "1 3/4 in")
    assert dict(bench.state.work.asked)["blow"] == pytest.approx(1.75 * INCH * 1e-3, abs=1e-9)


NONSENSE = ("nonsense", "1 3/4", "44 kg", "900 mm", "nan mm", "=1+1", "<b>1 mm</b>", "1e999 mm")


@try_each("typed", NONSENSE, fast=5)
def test_typed_nonsense_stays_with_its_reason_until_taken_back(quick_bench: Bench, typed: str) -> None:
    bench = quick_bench

    def stays() -> bool:
        kept = bench.at.text_input(key="type_blow").value == typed
        return kept and typed[:40] in bench.errors() and "type a value with its unit" in bench.errors()

    bench.type("type_blow", typed)
    assert stays() and bench.state.work == Work()
    bench.slide("springs.repetition", 34.0)
    assert stays()
    bench.open("orders").open("predict")
    assert stays()
    bench.press("back_blow")
    assert bench.at.text_input(key="type_blow").value == "" and not bench.errors()
    assert bench.state.work.turned == (("springs.repetition", pytest.approx(0.034)),)


def test_nonsense_is_mended_by_typing_anew_or_by_the_slider(quick_bench: Bench) -> None:
    bench = quick_bench
    bench.type("type_blow", "much").type("type_blow", "44 mm")
    assert not bench.errors() and dict(bench.state.work.asked)["blow"] == pytest.approx(44e-3)
    bench.type("type_blow", "more").slide("blow", 45.0)
    assert not bench.errors() and bench.at.text_input(key="type_blow").value == ""
    bench.type("type_blow", "most").type("type_blow", "")
    assert not bench.errors()


@EVERY_TIME_QUICK
def test_undo_and_redo_go_through_all_changes(bench: Bench) -> None:
    seen = [bench.state.work]
    readings = [bench.cards()]
    for value in (34.0, 35.0):
        bench.slide("springs.repetition", value)
        seen.append(bench.state.work)
        readings.append(bench.cards())
    bench.open("scenario").choose("keep_shipped", "damped").press("open_shipped").open("predict")
    seen.append(bench.state.work)
    readings.append(bench.cards())
    for i in (2, 1, 0):
        bench.press("undo")
        assert bench.state.work == seen[i] and bench.cards() == readings[i]
    assert bench.at.button(key="undo").disabled
    for i in (1, 2, 3):
        bench.press("redo")
        assert bench.state.work == seen[i] and bench.cards() == readings[i]
    assert bench.at.button(key="redo").disabled
    bench.press("undo").slide("springs.repetition", 36.0)
    assert bench.at.button(key="redo").disabled


@EVERY_TIME_QUICK
def test_reset_of_one_and_of_all(bench: Bench) -> None:
    assert bench.at.button(key="all_back").disabled and bench.at.button(key="back_springs.repetition").disabled
    first = bench.cards()
    bench.slide("springs.repetition", 35.0).type("type_let_off", "2 mm").type("type_dip", "nonsense")
    bench.press("back_springs.repetition")
    assert [n for n, _ in bench.state.work.turned] == ["let_off"]
    bench.press("all_back")
    assert bench.state.work == Work() and bench.cards() == first
    assert not bench.errors() and bench.at.text_input(key="type_dip").value == ""
    assert bench.at.slider(key="slide_springs.repetition").value == 33.0


def test_inches_are_shown_everywhere_and_kept(bench: Bench) -> None:
    before = bench.cards()
    bench.switch("inches_toggle", True)
    for name in ("blow_mm", "let_off_mm", "checking_distance_mm", "spring_rise_mm"):
        number = bench.cards()[name].split()[0]
        assert float(number) == pytest.approx(float(before[name].split()[0]) / INCH, abs=0.003)
        assert bench.cards()[name].split()[1] == "in"
    assert bench.cards()["down_weight_gf"] == before["down_weight_gf"]
    slider = bench.at.slider(key="slide_blow")
    assert slider.label.startswith("blow, in — settles at 1.751 in") and slider.value == pytest.approx(1.75, abs=2e-3)
    bench.type("type_blow", "44 mm")
    assert bench.at.slider(key="slide_blow").value == pytest.approx(44 / INCH, abs=1e-3)
    bench.open("compare").open("predict")
    assert bench.at.toggle(key="inches_toggle").value and " in" in bench.cards()["blow_mm"]
    bench.switch("inches_toggle", False)
    assert bench.cards()["blow_mm"].endswith(" mm")


def test_friction_as_pinning_force_is_the_same_torque(quick_bench: Bench) -> None:
    bench = quick_bench
    torque = bench.at.slider(key="slide_friction.hammer").value
    (pinning,) = (t for t in bench.at.toggle if t.label == "as pinning force")
    pinning.set_value(True)
    bench.run()
    slider = bench.at.slider(key="slide_friction.hammer")
    assert "gf" in slider.label
    radius = torque * 1e-3 / (slider.value * 9.80665e-3)
    assert 0.015 < radius < 0.03
    bench.type("type_friction.hammer", "4 gf")
    assert dict(bench.state.work.turned)["friction.hammer"] == pytest.approx(4 * 9.80665e-3 * radius, rel=0.02)
    bench.type("type_friction.hammer", "1.2 N·mm")
    assert dict(bench.state.work.turned)["friction.hammer"] == pytest.approx(1.2e-3)


def test_what_takes_longer_is_waited_for_and_never_the_old(bench: Bench, request: pytest.FixtureRequest) -> None:
    """While the slow readings are computed their places say so, beside the new quick ones."""
    old = bench.cards()
    request.getfixturevalue("quick_bench")  # from now on
    bench.slide("let_off", 2.5)
    assert set(bench.waiting()) == {str(reading["title"]) for reading in later()}
    assert not {"down_weight_gf", "limit_hz", "spring_rise_mm"} & bench.cards().keys()
    assert "This note plays." not in bench.words() and not bench.at.get("download_button")
    assert float(bench.cards()["let_off_mm"].split()[0]) > float(old["let_off_mm"].split()[0]) + 0.5


def test_a_prediction_given_up_is_not_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    from dashboard.session import results

    def stop(done: float, what: str) -> None:
        raise InterruptedError

    work = Work().with_control("springs.repetition", 0.0312)
    with pytest.raises(InterruptedError):
        results.compute_prediction(work, stop)
    assert results.compute_prediction(work, lambda done, what: None).plays


def test_touch_is_chosen_and_kept(bench: Bench) -> None:
    speed = float(bench.cards()["hammer_speed_m_s"].split()[0])
    bench.at.get("button_group")[0].set_value("hard")
    bench.run()
    assert float(bench.cards()["hammer_speed_m_s"].split()[0]) > 2 * speed
    bench.open("spring").open("predict")
    assert bench.state.touch == "hard"
    assert float(bench.cards()["hammer_speed_m_s"].split()[0]) > 2 * speed


def test_two_sessions_know_nothing_of_each_other(bench: Bench) -> None:
    other = Bench()
    bench.slide("springs.repetition", 36.0).switch("inches_toggle", True)
    other.slide("let_off", 2.5).type("type_dip", "much")
    bench.run()
    assert [n for n, _ in bench.state.work.turned] == ["springs.repetition"] and not bench.state.faults
    assert [n for n, _ in other.state.work.turned] == ["let_off"] and not other.state.inches
    assert check_printed(other.cards(), list_predicted(other.state.work)) >= 25
    assert " in" in bench.cards()["blow_mm"] and other.cards()["blow_mm"].endswith(" mm")


def test_every_reading_opens_to_its_definition(bench: Bench) -> None:
    html = bench.html()
    definitions = {str(reading["definition"]) for reading in later()}
    assert definitions and all(d.split(";")[0].replace("'", "&#x27;") in html for d in definitions)


@pytest.mark.full
def test_every_field_that_is_given_shows_what_can_be_typed_again() -> None:
    from dashboard.widgets.forms import list_sections

    bench = Bench().open("scenario")
    shown = 0
    for section in list_sections():
        bench.choose("keep_section", section)
        for box in bench.at.text_input:
            if (box.key or "").startswith("field_") and box.value:
                path = box.key.removeprefix("field_")
                if path != "invented":
                    assert not list_differences(Work().with_edit(path, box.value).start(), Work().start()), path
                shown += 1
    assert shown > 60
