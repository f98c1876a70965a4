"""Pages that compute for long: rails, order of work, comparison, spring."""

from __future__ import annotations

import csv
import io
import re
from functools import partial
from typing import TYPE_CHECKING

import pytest

import sim
from dashboard.session.work import Saved, Work, build_origin, encode_state, format_scenario, load_work
from sim.bench.centres import PINNING_RADIUS
from sim.errors import InputError
from sim.regulation import orders, rails
from sim.regulation.targets import format_target
from sim.studies import compare as comparing
from sim.studies import spring
from sim.studies.friction import compare_friction
from sim.unit.centres import convert_force_to_torque
from sim.unit.model import GRAVITY
from tests.app.numbers import get_unit
from tests.app.on_screen import Bench
from tests.app.unit_difference import list_differences
from tests.tiers import try_each

if TYPE_CHECKING:
    import pandas as pd


def fail_with(error: Exception) -> object:
    def job(*_: object, **__: object) -> None:
        raise error

    return job


def frames(bench: Bench) -> list[pd.DataFrame]:
    return [element.value for element in bench.at.dataframe]


def test_order_goes_step_by_step_and_tells_what_each_brought() -> None:
    from dashboard.pages.orders import TARGETS

    bench = Bench().open("orders")
    unit, steps = get_unit(Work()), orders.list_steps(orders.load_orders()["dip-fixed"], TARGETS)
    bench.choose("keep_school", "dip-fixed")
    path: list[orders.CompletedStep] = []
    for i, step in enumerate(steps[:3]):
        assert bench.at.subheader[0].value == f"Step {i + 1}: {step.say}"
        bench.press("do_step")
        path.append(orders.carry_out_step(path[-1].unit if path else unit, step, TARGETS))
        came = [format_target(t, path[-1].readings.get(t)) for t in step.sets]
        assert all(word in bench.at.success[0].value for word in came)
        for name, by in path[-1].upset.items():
            assert (
                f"{name.replace('_', ' ')} moved by {'+' if by > 0 else ''}{format_target(name, by)}" in bench.words()
            )
    assert list(frames(bench)[0]["step"]) == [s.say for s in steps[:3]]
    bench.press("step_back")
    assert bench.at.subheader[0].value == f"Step 3: {steps[2].say}"
    bench.press("take_order")
    assert not list_differences(get_unit(bench.state.work), path[1].unit, 2e-9)
    assert bench.at.subheader[0].value == f"Step 1: {steps[0].say}"  # begins anew from what is on the bench
    bench.press("undo")
    assert bench.state.work == Work()


@pytest.mark.full
def test_order_begins_again_and_ends() -> None:
    from dashboard.pages.orders import TARGETS

    bench = Bench().open("orders").press("do_step").press("do_step").press("begin_again")
    assert bench.at.subheader[0].value.startswith("Step 1:") and not frames(bench)
    for _ in orders.list_steps(orders.load_orders()[bench.at.selectbox(key="keep_school").value], TARGETS):
        bench.press("do_step")
    assert bench.at.subheader[0].value == "All steps are done"
    assert bench.at.button(key="do_step").disabled


def test_order_aims_at_what_is_typed() -> None:
    bench = Bench().open("orders").type("keep_aim_let_off", "much")
    assert "cannot be read" in bench.errors() and not bench.at.get("progress")
    bench.open("predict").open("orders")
    assert bench.at.text_input(key="keep_aim_let_off").value == "much"
    bench.type("keep_aim_let_off", "3/32 in").choose("keep_school", "dip-fixed")
    while "let-off" not in bench.at.subheader[0].value:
        bench.press("do_step")
    assert f"Aim: **{format_target('let_off', 3 / 32 * 25.4e-3)}**" in bench.words()


def test_comparison_is_the_one_of_the_python_interface() -> None:
    import pandas as pd

    from sim.report import compare

    bench = Bench().slide("springs.repetition", 34.0).open("compare").press("begin_compare")
    found = comparing.compare_units(build_origin(Work()), build_origin(bench.state.work))
    inputs, readings = frames(bench)
    wanted = pd.DataFrame(compare.build_rows(found))
    pd.testing.assert_frame_equal(readings.astype(str), wanted.astype(str), check_column_type=False)
    assert list(inputs["input"]) == ["springs.repetition"]
    prediction = sim.predict(get_unit(bench.state.work), repetition=False)
    assert found.b.touch.down_weight == prediction.touch.down_weight


@pytest.mark.full
def test_comparison_goes_with_the_bench() -> None:
    """After a slider the old one is not shown, and it is there again after undo."""
    bench = Bench().slide("springs.repetition", 34.0).open("compare").press("begin_compare")
    bench.open("predict").slide("springs.repetition", 35.0).open("compare")
    assert not frames(bench) and "has changed since" in bench.words()
    bench.press("undo")
    assert len(frames(bench)) == 2


@pytest.mark.full
def test_order_and_comparison_in_inches() -> None:
    """Nothing is left in millimetres, and the numbers are those of the interface."""
    bench = Bench().open("orders").switch("inches_toggle", True).press("do_step").press("do_step")
    came = frames(bench)[0]["came to"]
    assert [text.removeprefix("-") for text in came] == ["0.000 in", "0.008 in"]
    assert re.search(r"Aim: \*\*[^*]+ in\*\*", bench.words()) and not re.search(r"moved by .* mm", bench.words())
    assert not any("mm" in str(cell) for cell in frames(bench)[0].to_numpy().ravel())
    bench.open("compare").press("begin_compare")
    table = next(frame for frame in frames(bench) if "reading" in frame).set_index("reading")
    found = comparing.compare_units(build_origin(Work()), build_origin(Work()))
    dip = next(line.a for line in found.lines if line.reading.name == "dip")
    assert (
        "mm" not in set(table["unit"]) and table["A"]["dip"] == f"{dip / 25.4e-3:.3f}" and table["unit"]["dip"] == "in"
    )


def test_other_unit_is_kept_drawn_and_put_on_the_bench() -> None:
    bench = Bench().open("compare").choose("keep_compare_with", "damped").press("ghost")
    assert bench.state.other == Work("damped")
    bench.choose("keep_compare_with", "the unit that was kept").press("begin_compare").press("swap")
    assert bench.state.work == Work("damped")
    bench.press("keep")
    assert bench.state.other == Work("damped")
    bench.press("no_ghost")
    assert bench.state.other is None and bench.at.button(key="no_ghost").disabled


def test_spring_study_is_shown_and_kept_through_a_page_change(monkeypatch: pytest.MonkeyPatch) -> None:
    """A short one; the whole one is done in the browser."""
    short = partial(spring.study_spring, shares=(0.9, 1.1), frictions=(0.8e-3,), repetition=False)
    monkeypatch.setattr(spring, "study_spring", short)
    bench = Bench().open("spring").press("begin_springs")
    assert "window's middle moves by" in bench.words()
    labels = [b.proto.label for b in bench.at.get("download_button")]
    assert labels == ["Figure (SVG)", "Figure (PNG)", "The curves (CSV)"]
    bench.open("predict").open("spring")
    assert bench.at.get("download_button") and not [b for b in bench.at.button if b.key == "begin_springs"]


@pytest.mark.parametrize("page", ["spring", "compare"])
def test_a_job_that_fails_says_so_and_can_be_begun_again(page: str, monkeypatch: pytest.MonkeyPatch) -> None:
    bench = Bench().open(page)
    begin = {"spring": "begin_springs", "compare": "begin_compare"}[page]
    where = {"spring": "sim.studies.spring.study_spring", "compare": "dashboard.pages.compare.compare_units"}[page]
    monkeypatch.setattr(where, fail_with(InputError([])))
    bench.press(begin)
    assert "This could not be computed." in bench.errors()
    bench.run()
    assert not bench.at.button(key=begin).disabled and not bench.errors()


@pytest.mark.full
def test_map_of_rails_is_the_one_of_the_python_interface() -> None:
    bench = Bench().open("rails")
    bench.at.slider(key="keep_map_cells").set_value(3)
    bench.at.select_slider(key="keep_map_span").set_value(1.0)
    bench.run().press("begin_map")
    unit = get_unit(Work())
    targets = rails.choose_targets(unit)
    axis = [-1e-3, 0.0, 1e-3]
    wanted = rails.find_best_places(rails.evaluate_grid(unit, targets, axis, axis))
    shown = frames(bench)[0]
    assert wanted and list(shown.columns) == [f"no. {i}" for i in range(1, len(wanted) + 1)]
    first = shown["no. 1"]
    assert first["spread"] == f"{wanted[0].spread * 1e3:.2f} mm"
    assert f"{wanted[0].dx * 1e3:+.2f} mm" in list(first)
    bench.switch("inches_toggle", True)
    first = frames(bench)[0]["no. 1"]
    assert first["spread"] == f"{wanted[0].spread / 25.4e-3:.3f} in"
    assert f"{wanted[0].dx / 25.4e-3:+.3f} in" in list(first)
    assert re.search(r"spread [\d.]+ in\b", bench.words())


def test_map_asks_for_two_moves_and_lengths_that_can_be_read() -> None:
    bench = Bench().open("rails").choose("keep_map_up", "wippen_rail_back")
    assert "Name two different moves" in bench.errors()
    bench.choose("keep_map_up", "hammer_rail_up").type("keep_map_blow", "wide")
    assert "'wide'" in bench.errors() and not [b for b in bench.at.button if b.key == "begin_map"]
    bench.open("predict").open("rails")
    assert bench.at.text_input(key="keep_map_blow").value == "wide"
    bench.type("keep_map_blow", "1 3/4 in")
    assert not bench.errors() and bench.at.button(key="begin_map")


@try_each("hostile", ["=1+1", "+1+1", "-1-1", "@SUM(1)"])
def test_no_cell_of_a_comparison_begins_like_a_formula(hostile: str) -> None:
    """Whatever someone typed for name and note, and however the file is called."""
    from sim.report import compare

    text = format_scenario(
        Work().with_edit("name", hostile).with_edit("note", hostile).with_control("springs.repetition", 0.034)
    )
    made = load_work(f"{hostile}.toml", text.encode())
    found = comparing.compare_units(build_origin(Work()), build_origin(made), repetition=False)
    rows = list(csv.reader(io.StringIO(compare.format_csv(found))))
    cells = [cell for row in rows for cell in row]
    assert len(cells) > 200
    assert not [c for c in cells if c[:1] in ("=", "@") or (c[:1] in ("+", "-") and not c[1:2].isdigit())]
    assert hostile not in cells


TIGHT = Work().with_control("friction.hammer", 4e-3)


def test_friction_is_that_of_the_python_interface_site_by_site() -> None:
    bench = Bench(s=encode_state(Saved(TIGHT))).open("friction")
    table = frames(bench)[0].set_index("site")
    own = compare_friction(build_origin(TIGHT)).own
    assert own.budget is not None and own.touch.friction is not None
    assert table.loc["hammer centre", "felt, gf"] == f"{own.budget.felt('hammer') / (1e-3 * GRAVITY):.1f}"
    assert float(table.loc["all of it", "felt, gf"]) == pytest.approx(own.touch.friction / (1e-3 * GRAVITY), abs=0.4)
    bench.type("keep_repin_force", "many")
    assert "'many'" in bench.errors() and not [b for b in bench.at.button if b.key == "begin_repin"]


@pytest.mark.full
def test_repinning_is_tried() -> None:
    """Before and after; taken over to the bench by its button."""
    bench = Bench(s=encode_state(Saved(TIGHT))).open("friction")
    bench.type("keep_repin_force", "4 gf").press("begin_repin")
    brought = frames(bench)[1].set_index("reading")
    fresh = sim.predict(
        get_unit(Work().with_control("friction.hammer", convert_force_to_torque(4e-3 * GRAVITY, PINNING_RADIUS)))
    )
    assert fresh.touch.down_weight is not None
    assert brought.loc["down weight", "repinned"] == f"{fresh.touch.down_weight / (1e-3 * GRAVITY):.1f} gf"
    assert brought.loc["down weight", "a bench would see it"] == "yes"
    bench.press("take_repin")
    assert get_unit(bench.state.work).friction["hammer"] == pytest.approx(4e-3 * GRAVITY * PINNING_RADIUS)


def test_friction_of_a_note_that_blocks_is_not_made_up() -> None:
    bench = Bench().open("predict").type("type_let_off", "-1 mm").open("friction")
    assert "No friction can be read" in bench.errors() and not frames(bench)
