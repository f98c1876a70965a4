"""What is on the bench: controls, files and links, without a screen."""

from __future__ import annotations

import base64
import json
import random
import zlib
from collections.abc import Callable
from functools import cache
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard.session.controls import CONTROLS, RAIL_CONTROLS
from dashboard.session.work import (
    FIRST_SCENARIO,
    LARGEST_STATE,
    LONGEST_LINK,
    Saved,
    Work,
    apply_controls,
    decode_state,
    encode_state,
    find_controls,
    format_scenario,
)
from dashboard.session.work import load_work as open_file
from sim.errors import InputError
from sim.fields.untrusted_text import LARGEST_FILE
from sim.regulation import orders, rails
from sim.scenario.shipped import list_shipped_scenarios
from sim.unit.model import ActionUnit
from tests.app.unit_difference import list_differences
from tests.tiers import limit_draws, try_each

SHIPPED = tuple(sorted(list_shipped_scenarios(), key=lambda name: name != FIRST_SCENARIO))
EDITS = (("hammer.bore", "51 mm"), ("springs.repetition", "85%"), ("note", "=1+1 <script>alert(1)</script>"))


@cache
def load_start(name: str) -> ActionUnit:
    """A shipped scenario's unit before any control is turned."""
    return Work(name).start()


def turned_a_little(unit: ActionUnit, steps: int = 3) -> dict[str, float]:
    """Every control a few steps off, to where it may stand."""
    out = {}
    for name, c in CONTROLS.items():
        up = c.get(unit) + steps * c.step
        out[name] = up if up <= c.high else c.get(unit) - steps * c.step
    return out


@pytest.mark.parametrize("name", CONTROLS)
@try_each("scenario", SHIPPED)
def test_control_stands_where_it_was_put(scenario: str, name: str) -> None:
    """And back where it was the unit is the same again."""
    c, unit = CONTROLS[name], load_start(scenario)
    assert c.low <= c.get(unit) <= c.high
    wanted = turned_a_little(unit)[name]
    put = c.put(unit, wanted)
    assert c.get(put) == pytest.approx(wanted, abs=1e-12)
    assert list_differences(put, unit)
    assert not list_differences(c.put(put, c.get(unit)), unit)


@try_each("scenario", SHIPPED)
def test_controls_leave_one_another_alone(scenario: str) -> None:
    """All turned at once, each stands where it was asked to; and what was turned is found again."""
    unit = load_start(scenario)
    wanted = turned_a_little(unit)
    whole = apply_controls(unit, wanted)
    assert {n: c.get(whole) for n, c in CONTROLS.items()} == pytest.approx(wanted, abs=1e-12)
    assert dict(find_controls(whole, unit)) == pytest.approx(wanted, abs=1e-12)


@pytest.mark.parametrize(("settled", "asked"), [(1.57e-3, 2e-3), (1.57e-3, 1e-3), (None, 0.13)])
def test_turning_for_a_reading_goes_by_its_gain(settled: float | None, asked: float) -> None:
    for c in CONTROLS.values():
        turned = c.turned(0.13, settled, asked)
        if c.tells(settled):
            assert settled + c.gain * (turned - 0.13) == pytest.approx(asked, abs=1e-15)
        else:
            assert turned == asked


def test_what_is_not_turned_is_not_told() -> None:
    unit = load_start("concert-grand-natural")
    assert find_controls(unit, unit) == ()
    assert find_controls(CONTROLS["springs.repetition"].put(unit, 0.03), unit) == (("springs.repetition", 0.03),)


MOVES = (("wippen_rail_back", "wippen_rail_up"), *((move, "knuckle_out") for move in RAIL_CONTROLS))


@try_each("across, up", MOVES, fast=2)
def test_a_place_of_the_map_is_taken_over_whole(across: str, up: str) -> None:
    """Rails, capstan line, knuckle and heel with all their screws, in controls alone."""
    unit = load_start("concert-grand-natural")
    targets = {t: v for t, v in rails.choose_targets(unit).items() if t in ("blow", "dip", "let_off", "drop")}
    ((place,),) = rails.evaluate_grid(unit, targets, [0.7e-3], [-0.4e-3], (across, up))
    assert place.unit is not None, place.why
    turned = find_controls(place.unit, unit)
    assert {"blow", "let_off", "drop"} <= {name for name, _ in turned}
    assert not list_differences(apply_controls(unit, dict(turned)), place.unit, 2e-9)


def test_the_last_step_of_an_order_is_taken_over_whole() -> None:
    unit = load_start("mixed-parts")
    steps = orders.list_steps(
        orders.load_orders()["dip-fixed"], {**rails.USUAL_TARGETS, "aftertouch": rails.AIMED_AFTERTOUCH}
    )
    done = [orders.carry_out_step(unit, steps[0], {**rails.USUAL_TARGETS})]
    for step in steps[1:4]:
        done.append(orders.carry_out_step(done[-1].unit, step, {**rails.USUAL_TARGETS}))
    turned = find_controls(done[-1].unit, unit)
    assert not list_differences(apply_controls(unit, dict(turned)), done[-1].unit, 2e-9)


@pytest.mark.parametrize("edits", [(), EDITS], ids=["plain", "edited"])
@try_each("scenario", SHIPPED)
def test_a_file_that_is_taken_away_holds_the_same_unit(scenario: str, edits: tuple[tuple[str, str], ...]) -> None:
    """With controls turned, to 1e-11; and once more from the file."""
    work = Work(scenario, edits=edits)
    start = work.start()
    for name, value in turned_a_little(start).items():
        work = work.with_control(name, value)
    again = open_file("taken.toml", format_scenario(work).encode())
    assert not list_differences(again.start(), apply_controls(start, dict(work.turned)))
    third = open_file("taken.toml", format_scenario(again).encode())
    assert not list_differences(third.start(), again.start())


@try_each("scenario", SHIPPED)
def test_a_file_of_what_was_not_turned_holds_the_same_unit(scenario: str) -> None:
    work = Work(scenario)
    again = open_file("taken.toml", format_scenario(work).encode())
    assert not list_differences(again.start(), work.start())
    assert again.leaves.keys() >= {path for path in work.leaves if path[0] == "targets"}


def test_some_controls_turned_leave_the_rest_as_the_scenario_says() -> None:
    work = Work().with_control("springs.repetition", 0.030).with_control("friction.lever", 2e-3)
    found = open_file("f.toml", format_scenario(work).encode()).leaves
    was = work.leaves
    changed = {".".join(p) for p in found if p not in was or found[p].raw != was[p].raw}
    assert changed == {"springs.repetition", "friction.lever"}


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"\x00\x01\x02", "binary data"),
        (b"\xff\xfe\xfa", "no UTF-8"),
        (b"name = ", "not TOML"),
        (b"a = " + b"[" * 100_000, "nested too deep"),
        (b'based_on = "/etc/hostname"', "based_on"),
        (b"[hammer]\nbore = '400 mm'", "hammer.bore"),
        (b"wrong = 1", "wrong"),
        (b"#" * (LARGEST_FILE + 1), "1 MB"),
    ],
)
def test_a_file_that_is_no_scenario_is_refused_in_words(data: bytes, words: str) -> None:
    with pytest.raises(InputError, match=words):
        open_file("<script>\x07.toml", data)


numbers = st.sampled_from(sorted(CONTROLS)).flatmap(
    lambda name: st.tuples(st.just(name), st.floats(CONTROLS[name].low, CONTROLS[name].high))
)
works = st.builds(
    Work,
    base=st.sampled_from(SHIPPED),
    edits=st.lists(st.sampled_from(EDITS), unique=True).map(tuple),
    turned=st.lists(numbers, unique_by=lambda pair: pair[0]).map(tuple),
    asked=st.lists(numbers, unique_by=lambda pair: pair[0]).map(tuple),
)
states = st.builds(
    Saved,
    work=works,
    other=st.none() | works,
    inches=st.booleans(),
    touch=st.sampled_from(["soft", "moderate", "medium", "hard"]),
)


@limit_draws(60)
@given(states)
def test_a_link_restores_the_very_state(saved: Saved) -> None:
    code = encode_state(saved)
    assert decode_state(code) == saved
    assert len(code) <= LONGEST_LINK


def test_a_file_of_ones_own_goes_into_the_link_too() -> None:
    work = open_file("mine.toml", format_scenario(Work("damped")).encode()).with_control("springs.repetition", 0.03)
    assert decode_state(encode_state(Saved(work))).work == work


def packed(data: Any) -> str:
    text = data if isinstance(data, bytes) else json.dumps(data).encode()
    return base64.urlsafe_b64encode(zlib.compress(text)).decode().rstrip("=")


WHOLE: dict[str, Any] = json.loads(zlib.decompress(base64.urlsafe_b64decode(encode_state(Saved(Work())) + "==")))


def but(**changed: Any) -> str:
    """A saved state with the work's parts changed."""
    return packed(WHOLE | {"work": WHOLE["work"] | changed})


HOSTILE: dict[str, Callable[[], str]] = {
    "nothing": lambda: "",
    "a letter": lambda: "a",
    "no base64": lambda: "§$%&/()=",
    "no zlib": lambda: base64.urlsafe_b64encode(random.Random(1).randbytes(999)).decode(),
    "cut off": lambda: encode_state(Saved(Work()))[:-9],
    "no JSON": lambda: packed(b"name = 'x'"),
    "a list": lambda: packed([1, 2]),
    "a bomb of noughts": lambda: packed(b"0" * 200_000_000),
    "a bomb of blanks": lambda: packed(b"{" + b" " * 200_000_000 + b"}"),
    "nested deep": lambda: packed(b"[" * 500_000 + b"]" * 500_000),
    "nested deep inside": lambda: packed(
        json.dumps(WHOLE).replace('"edits": []', '"edits": ' + "[" * 900 + "]" * 900).encode()
    ),
    "too long": lambda: "A" * (LARGEST_STATE + 1),
    "another form": lambda: packed(WHOLE | {"form": 2}),
    "no form": lambda: packed({}),
    "no work": lambda: packed({"form": 1}),
    "work is a number": lambda: packed(WHOLE | {"work": 1}),
    "work is a list": lambda: packed(WHOLE | {"work": []}),
    "other is text": lambda: packed(WHOLE | {"other": "x"}),
    "more is a number": lambda: packed(WHOLE | {"more": 5}),
    "unknown touch": lambda: packed(WHOLE | {"touch": "thunder"}),
    "touch is a list": lambda: packed(WHOLE | {"touch": ["soft"]}),
    "unknown control": lambda: but(turned=[["fuel", 0.0]]),
    "control is a list": lambda: but(turned=[[["springs.repetition"], 0.0]]),
    "control without a value": lambda: but(turned=[["springs.repetition"]]),
    "control beyond its range": lambda: but(turned=[["springs.repetition", 0.081]]),
    "control below its range": lambda: but(turned=[["springs.repetition", -1e-9]]),
    "control is text": lambda: but(turned=[["springs.repetition", "strong"]]),
    "control is NaN": lambda: but(turned=[["springs.repetition", float("nan")]]),
    "control is infinite": lambda: but(turned=[["springs.repetition", float("inf")]]),
    "control is huge": lambda: but(turned=[["springs.repetition", 10**400]]),
    "asked is NaN": lambda: but(asked=[["springs.repetition", float("nan")]]),
    "asked of nothing": lambda: but(asked=[["fuel", 1.0]]),
    "unknown scenario": lambda: but(base="../../etc/hostname"),
    "text is no TOML": lambda: but(text="]["),
    "text rests on a file": lambda: but(text='based_on = "/etc/hostname"'),
    "text is too long": lambda: but(text="#" * (LARGEST_FILE + 1)),
    "half a character": lambda: but(edits=[["note", "\ud800"]]),
    "unknown field": lambda: but(edits=[["fuel.price", "1 mm"]]),
    "edit out of range": lambda: but(edits=[["hammer.bore", "4 km"]]),
    "edit of three": lambda: but(edits=[["note", "a", "b"]]),
    "edit breaks out of its line": lambda: but(edits=[["key.leads", "[]\n[hammer]\nbore = '1 mm'"]]),
}


@pytest.mark.parametrize("what", HOSTILE)
def test_what_is_no_saved_state_is_refused_in_words(what: str) -> None:
    code = HOSTILE[what]()
    with pytest.raises(InputError) as refused:
        decode_state(code)
    assert all(f.allowed and f.remedy for f in refused.value.faults)
    assert len(str(refused.value)) < 3000


@limit_draws(60)
@given(st.text() | st.binary().map(packed))
def test_anything_at_all_is_refused(code: str) -> None:
    with pytest.raises(InputError):
        decode_state(code)


values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=9),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=9), inner, max_size=3),
    max_leaves=6,
)


@limit_draws(150)
@given(st.sampled_from(["work", "other", "touch", "more", "form"]), st.sampled_from([*WHOLE["work"], ""]), values)
def test_a_state_with_anything_in_it_is_refused_or_fit_to_be_used(part: str, inner: str, value: object) -> None:
    changed = WHOLE[part] | {inner: value} if part == "work" and inner else value
    try:
        found = decode_state(packed(WHOLE | {part: changed}))
    except InputError:
        return
    assert apply_controls(found.work.start(), dict(found.work.turned)).name


@pytest.mark.parametrize(
    ("path", "typed"),
    [
        ("key.leads", '[{ mass = "15 g", place = "205 mm" }, { mass = "14 g", place = "150 mm" }]'),
        ("hammer.weight", '{ value = "9.4 g", source = "measured", uncertainty = "0.2 g" }'),
        ("friction.hammer", '{ force = "3 gf", radius = "23 mm" }'),
        ("friction.wippen", '{ swings = 4, from = "40 deg" }'),
        ("coordinates.hammer.knuckle_centre", '["16 mm", "-9 mm"]'),
    ],
)
def test_a_field_is_typed_as_a_file_would_have_it(path: str, typed: str) -> None:
    work = Work("treble").with_edit(path, typed)
    assert list_differences(work.start(), Work("treble").start())
    found = open_file("f.toml", format_scenario(work).encode())
    assert found.leaves[tuple(path.split("."))].raw == work.leaves[tuple(path.split("."))].raw
    assert not list_differences(found.start(), work.start())


def test_a_source_typed_with_a_value_is_kept() -> None:
    typed = '{ value = "9.4 g", source = "measured", uncertainty = "0.2 g" }'
    unit = Work().with_edit("hammer.weight", typed).start()
    assert unit.nominal["hammer.weight"] == pytest.approx(9.4e-3)
    assert unit.sources["hammer.weight"].kind == "measured"
    assert unit.sources["hammer.weight"].uncertainty == pytest.approx(0.2e-3)


@pytest.mark.parametrize(
    ("path", "typed", "words"),
    [
        ("hammer.weight", '{ value = "9.4 g", source = "hearsay" }', "hammer.weight"),
        ("hammer.weight", '{ value = "94 kg" }', "hammer.weight"),
        ("hammer.weight", '{ value = "9.4 g"', "not TOML"),
        ("key.leads", "[1, 2]", "key.leads"),
        ("key.leads", '[{ mass = "15 g" }]', "key.leads"),
        ("key.leads", "[" * 50_000, "nested too deep"),
        ("key.leads", "[]\n[hammer]\nbore = '1 mm'", "not TOML"),
        ("hammer", "{ bore = '50 mm' }", "a field of the scenario"),
        ("fuel", "[1]", "a field of the scenario"),
        ("hammer.bore", "a lot", "hammer.bore"),
        ("name", "", "name"),
    ],
)
def test_a_field_typed_wrong_is_refused_in_words(path: str, typed: str, words: str) -> None:
    with pytest.raises(InputError, match=words):
        Work().with_edit(path, typed).start()


def test_an_edit_taken_back_leaves_no_trace() -> None:
    work = Work().with_edit("hammer.bore", "51 mm").with_edit("hammer.bore", "52 mm")
    assert work.edits == (("hammer.bore", "52 mm"),)
    assert work.with_edit("hammer.bore", None) == Work()
    assert Work().with_control("blow", 0.05, 44e-3).with_control("blow", None) == Work()
