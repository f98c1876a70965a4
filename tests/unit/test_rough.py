"""The rough unit: every setting off, every target in reach, and the same counting for a learner and for the orders."""

from __future__ import annotations

import json
import shlex

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from sim.__main__ import main
from sim.cli.command import ExitCode
from sim.diagnosis.bench_tests import list_bench_tests
from sim.errors import InputError
from sim.fields.field_paths import find_kind
from sim.regulation import orders
from sim.regulation.model_inputs import find_model_input
from sim.report import rough as sheet
from sim.studies.variants import BaseScenario
from sim.teaching import rough as lesson
from sim.teaching.adjustments import load_adjustments
from sim.teaching.rough import (
    ALTERNATIVE_TARGETS,
    PATH_TARGETS,
    RegulationPath,
    RoughUnit,
    draw_rough_unit,
    format_step,
    load_roughness,
    make_path,
    make_step,
    parse_step,
)
from sim.unit.model import ActionUnit


@pytest.fixture(scope="module")
def well() -> ActionUnit:
    return BaseScenario.of("concert-grand-natural").ready


@pytest.fixture(scope="module")
def begun(well: ActionUnit) -> RoughUnit:
    return draw_rough_unit(well, 3)


@pytest.fixture(scope="module")
def followed(begun: RoughUnit) -> tuple[RegulationPath, ...]:
    return lesson.follow_all_orders(begun)


def test_every_setting_that_an_order_sets_is_rough_and_within_its_hand_s_reach(well: ActionUnit) -> None:
    set_by_orders = {t for order in orders.load_orders().values() for s in order.steps for t in s.sets}
    assert set(PATH_TARGETS) == set_by_orders
    assert set(load_roughness()) == {
        lesson.get_adjustment(make_step(t, by)).at for t in PATH_TARGETS for by in ALTERNATIVE_TARGETS.get(t, ("",))
    }
    for at, (most, share) in load_roughness().items():
        hand = load_adjustments()[at]
        now = hand.now(well)
        for side in (most, -most):
            assert hand.low <= (now * (1 + side) if share else side) <= hand.high
            assert find_model_input(at).put(well, now * (1 + side) if share else side) != well


def test_the_targets_are_what_the_unit_reads_as_it_should_be(well: ActionUnit, begun: RoughUnit) -> None:
    assert begun.off(orders.read_step_readings(well)) == ()
    assert set(begun.off(begun.start)) >= {"lever_height", "blow", "dip", "drop"}
    again, other = draw_rough_unit(well, 3), draw_rough_unit(well, 4)
    assert again == begun and other.unit != begun.unit


def test_orders_and_a_learner_reach_every_target(begun: RoughUnit, followed: tuple[RegulationPath, ...]) -> None:
    assert [p.title for p in followed] == [o.title for o in orders.load_orders().values()]
    for p in followed:
        assert p.finished and begun.off(orders.read_step_readings(p.unit)) == ()
        first = len(
            orders.list_steps(next(o for o in orders.load_orders().values() if o.title == p.title), begun.targets)
        )
        assert len(p.lines) <= first or all(
            not begun.meets(line.done.step.sets[0], before.done.readings.get(line.done.step.sets[0]))
            for before, line in zip(p.lines[first - 1 :], p.lines[first:], strict=False)
        )


def test_time_and_rework_are_counted_alike(begun: RoughUnit, followed: tuple[RegulationPath, ...]) -> None:
    """Counted anew here, from the steps and the readings alone."""
    mine = make_path(begun, ["lever_height", "blow=42 mm", "dip", "blow", "jack_address"])
    for p in (mine, *followed):
        worked: list[str] = []
        seconds, again, undone = 0.0, 0, 0
        held: set[str] = set()
        readings = begun.start
        for line in p.lines:
            (name,) = line.done.step.sets
            by = {"aftertouch": line.done.step.by or "dip", "spring_rise": "spring"}.get(name, name)
            at = "springs.repetition" if by == "spring" else f"screw.{by}"
            seconds += load_adjustments()[at].seconds + list_bench_tests()[name].seconds
            again += at in worked
            worked.append(at)
            met = {t for t in PATH_TARGETS if begun.meets(t, readings.get(t))}
            readings = line.done.readings
            undone += len([t for t in (held & met) - {name} if not begun.meets(t, readings.get(t))])
            held.add(name)
        assert (p.seconds, p.rework, p.spoilt) == (pytest.approx(seconds), again, undone)
    assert (mine.rework, mine.rework_seconds) == (
        1,
        load_adjustments()["screw.blow"].seconds + list_bench_tests()["blow"].seconds,
    )
    assert any(p.spoilt for p in (mine, *followed)) and not mine.finished


def test_a_path_is_made_again_from_its_steps_as_typed(begun: RoughUnit) -> None:
    mine = make_path(begun, ["lever height", "aftertouch by blow=1.1 mm", "let-off = 1/16 in"])
    typed = [format_step(s) for s in mine.steps]
    assert typed == ["lever_height", "aftertouch by blow=1.1 mm", "let_off=1.5875 mm"]
    assert make_path(begun, typed) == mine and make_path(begun, typed[:2]) == mine.back()
    assert mine.lines[1].done.step.by == "blow" and parse_step("aftertouch by dip") == make_step("aftertouch")


@given(st.sampled_from(PATH_TARGETS), st.floats(0.1e-3, 50e-3))
def test_a_step_with_a_value_reads_back(name: str, value: float) -> None:
    assume(find_kind(f"targets.{name}").holds(value))
    made = make_step(name, "", value)
    again = parse_step(format_step(made))
    assert again.value == pytest.approx(value, rel=1e-8) and (again.sets, again.by) == (made.sets, made.by)


def test_a_step_that_cannot_come_out_says_why(begun: RoughUnit) -> None:
    mine = make_path(begun, ["lever_height", "jack_address", "blow", "let_off=1.8 mm"])
    assert not mine.lines[-1].done.reached and "drop screw" in mine.lines[-1].why
    assert "NOT REACHED: " in sheet.build_path_rows(mine)[-1][-1]


def test_a_step_that_is_not_reached_has_cost_its_time_and_leaves_what_was_turned_turned(begun: RoughUnit) -> None:
    """As at a bench: nobody gets the minutes back, and the next step begins with the screw where it was left."""
    mine = make_path(begun, ["let_off", "let_off"])
    first, second = mine.lines
    assert not first.done.reached and first.done.unit != begun.unit
    button = lesson.get_adjustment(make_step("let_off"))
    assert first.seconds == second.seconds == button.seconds + list_bench_tests()["let_off"].seconds
    assert (first.again, second.again, mine.rework_seconds) == (False, True, second.seconds)
    assert first.done.readings == orders.read_step_readings(first.done.unit) and mine.back().unit == first.done.unit
    assert "what was turned stays turned" in sheet.COUNTING_NOTE


def test_a_spring_is_not_bent_for_a_rise_that_cannot_be_seen(begun: RoughUnit) -> None:
    """At the start the hammer is not caught; bent blindly the spring would end far too weak."""
    assert begun.start["spring_rise"] is None
    mine = make_path(begun, ["spring_rise"])
    (line,) = mine.lines
    assert mine.unit == begun.unit and line.why == lesson.RISE_UNSEEN and line.seconds > 0 and not line.done.reached


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ("nonsense", "lever_height"),
        ("blow by dip", "leave out"),
        ("blow=3 kg", "mass"),
        ("blow=900 mm", "check"),
        ("blow=", "quantity"),
    ],
)
def test_a_step_that_is_none_is_refused_in_words(typed: str, words: str) -> None:
    with pytest.raises(InputError, match=words):
        parse_step(typed)


def test_what_is_no_good_to_regulate_is_refused(well: ActionUnit, followed: tuple[RegulationPath, ...]) -> None:
    with pytest.raises(InputError, match="a unit that plays"):
        draw_rough_unit(BaseScenario.of("mixed-parts").ready)
    with pytest.raises(InputError, match="0 to 999999999"):
        draw_rough_unit(well, -1)
    with pytest.raises(InputError, match="no step more"):
        followed[0].then(make_step("blow"))


def test_the_command_prints_the_path_beside_the_orders(
    followed: tuple[RegulationPath, ...], capsys: pytest.CaptureFixture[str]
) -> None:
    words = shlex.split("rough --seed 3 --do lever_height --do 'blow=42 mm'")
    assert main([*words, "--json", "--no-orders"]) == ExitCode.FINE
    found = json.loads(capsys.readouterr().out)
    (mine,) = found["paths"]
    assert [s["step"] for s in mine["steps"]] == ["lever_height", "blow=42 mm"]
    assert mine["steps"][1]["readings"]["blow_mm"] == pytest.approx(42.0, abs=0.05)
    assert main([*words, "--no-orders"]) == ExitCode.FINE
    out = capsys.readouterr().out
    assert "42.00 mm" in out and "invented" in out and "Before touching the action" in out
    both = sheet.build_document(followed[0], followed[1:])
    assert [p["finished"] for p in both["paths"]] == [True] * 3
    assert main(["rough", "--do", "nonsense"]) == ExitCode.BAD_INPUT


def test_pictures_show_every_reading_and_every_way(followed: tuple[RegulationPath, ...]) -> None:
    drawn = sheet.draw_readings(followed[0])
    assert [a.get_title(loc="left") for a in drawn.axes] == [f"{sheet.format_target_name(t)}, mm" for t in PATH_TARGETS]
    assert all(len(a.lines[0].get_xdata()) == len(followed[0].lines) + 1 for a in drawn.axes)
    bars = sheet.draw_times(followed).axes[0]
    widths = [[p.get_width() for p in bars.patches[i : i + 2]] for i in range(0, len(bars.patches), 2)]
    assert [sum(w) for w in widths] == pytest.approx([p.seconds / 60 for p in followed])
    assert [w[1] for w in widths] == pytest.approx([p.rework_seconds / 60 for p in followed])
