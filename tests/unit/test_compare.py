"""Two units side by side: what differs, what a bench would see, and which input carries it."""

from __future__ import annotations

import csv
import io
import json
from functools import cache
from pathlib import Path

import pytest

import sim
from sim.__main__ import main
from sim.bench.outcomes import Outcome
from sim.bench.reading_list import READING_KINDS, list_reading_names, list_readings, take_readings
from sim.cli.command import ExitCode
from sim.studies.compare import Comparison, ReadingDifference, compare_units, find_input_differences
from sim.studies.variants import BaseScenario
from sim.unit.model import GRAVITY

DEMO, SHARP, DAMPED, WISHES = "concert-grand-natural", "concert-grand-sharp", "damped", "targets-example"
GF = GRAVITY * 1e-3


@cache
def compared(other: str = DEMO, *changes: tuple[str, str]) -> Comparison:
    return compare_units(BaseScenario.of(DEMO), BaseScenario.of(other, dict(changes)), repetition=False)


def line(c: Comparison, name: str) -> ReadingDifference:
    return next(found for found in c.lines if found.reading.name == name)


def test_one_change_carries_the_whole_difference() -> None:
    """The friction of the key is felt over its arm: 1 N·mm at 250 mm is 0.408 gf (statics of one lever)."""
    c = compared(DEMO, ("friction.key", "24.22 N·mm"))
    down = line(c, "down_weight")
    (change,) = c.changes
    more = (change.b or 0) - (change.a or 0)
    assert change.name == "friction.key"
    assert down.difference == pytest.approx(more / 0.250, rel=0.01)
    assert c.shares("down_weight") == [(change, pytest.approx(down.difference, rel=1e-9))]
    assert c.interaction("down_weight") == 0.0 and c.elsewhere(down) == 0.0


def test_a_difference_is_seen_where_it_exceeds_the_readings_accuracy() -> None:
    """Accuracy as the readings state it: weights to 1 gf, the blow to 0.5 mm."""
    c = compared(DEMO, ("friction.key", "24.22 N·mm"))
    assert abs(line(c, "down_weight").difference or 0) > 1.0 * GF
    assert line(c, "down_weight").exceeds is True
    assert line(c, "blow").exceeds is False
    little = line(compared(DEMO, ("friction.key", "15.22 N·mm")), "down_weight")
    assert 0.3 * GF < (little.difference or 0) < 0.5 * GF and little.exceeds is False, "1 N·mm is 0.4 gf"
    assert line(c, "moderate_hammer_speed").exceeds is None, "no accuracy is stated for it"


def test_changes_alone_and_what_only_together_makes_add_up() -> None:
    c = compared(DEMO, ("friction.hammer", "2.1 N·mm"), ("springs.repetition", "110 %"))
    rise = line(c, "spring_rise")
    alone, mixed = {ch.name: v for ch, v in c.shares("spring_rise")}, c.interaction("spring_rise")
    assert mixed is not None and rise.difference is not None
    assert alone["springs.repetition"] > 1e-3 and alone["friction.hammer"] < -1e-3
    assert abs(mixed) > 1e-4, "the rise answers neither alone nor evenly"
    assert sum(alone.values()) + mixed == pytest.approx(rise.difference, rel=1e-9)


def test_each_side_is_what_predict_says_of_it() -> None:
    changes = {"friction.hammer": "2.1 N·mm", "springs.repetition": "110 %"}
    c = compared(DEMO, *changes.items())
    other = sim.predict(sim.load(DEMO, changes), repetition=False)
    assert line(c, "down_weight").b == other.touch.down_weight
    assert line(c, "checking_distance").b == other.checking_distance


def test_a_damper_is_one_change_and_its_reading_only_on_one_side() -> None:
    c = compared(DAMPED)
    assert [change.name for change in c.changes if "damper" in change.name] == ["damper"]
    start = line(c, "damper_start")
    assert start.a is None and start.b is not None and start.difference is None
    assert start.exceeds is True
    assert c.shares("down_weight")[0][0].name == "damper"


def test_a_change_that_cannot_stand_alone_is_named_and_the_whole_still_compared() -> None:
    """A sharp's wippen stands nearer to its balance pin: its capstan's line fits no natural, nor the other way."""
    c = compared(SHARP)
    refused = {ch.name for ch, one in zip(c.changes, c.alone, strict=True) if one.outcome.startswith(Outcome.REFUSED)}
    assert {"key.balance_to_capstan", "rails.balance_to_wippen_centre"} <= refused, "capstan and heel move together"
    assert c.together.outcome == c.b.outcome
    assert c.interaction("down_weight") is None
    assert c.elsewhere(line(c, "down_weight")) == pytest.approx(0, abs=1e-6)


def test_a_felts_exponent_comes_with_its_stiffness() -> None:
    """The exponent stands in the stiffness's unit (N/m^p): changed apart, the two would contradict."""
    changes = {"contacts.string.stiffness": "2e10 N/m^3"}
    found = {c.name: c.overrides for c in find_input_differences(BaseScenario.of(DEMO), BaseScenario.of(DEMO, changes))}
    assert found.keys() == {"contacts.string.stiffness"}
    text = found["contacts.string.stiffness"]["contacts.string.stiffness"]
    assert BaseScenario.of(DEMO, {"contacts.string.stiffness": text}).loaded.contacts["string"].exponent == 3.0


def test_the_same_unit_twice_differs_in_nothing() -> None:
    assert list(find_input_differences(BaseScenario.of(DEMO), BaseScenario.of(DEMO))) == []


def test_wishes_that_differ_are_inputs_that_differ() -> None:
    found = {change.name for change in find_input_differences(BaseScenario.of(DEMO), BaseScenario.of(WISHES))}
    assert "targets.blow" in found and "targets.spring_rise" in found


@pytest.mark.parametrize("kind", READING_KINDS)
def test_a_kind_of_reading_gives_what_it_says(kind: str) -> None:
    unit = sim.load(DEMO)
    found = list_readings(take_readings(unit, kind))
    read = {name for name, taken in found.items() if taken.value is not None}
    assert set(list_reading_names(kind)) <= set(found)
    missing = set(list_reading_names(kind)) - read
    assert missing <= {"damper_start"}, "the demo has no damper; everything else of it can be read"


def run(capsys: pytest.CaptureFixture[str], *argv: str) -> tuple[int, str, str]:
    capsys.readouterr()
    code = main(argv)
    return code, *capsys.readouterr()


CHANGED = ("compare", DEMO, "--set", "friction.key=24.22 N·mm", "--no-repetition")


def test_command_prints_both_with_the_carrier(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    picture = tmp_path / "both.svg"
    code, out, err = run(capsys, *CHANGED, "--figure", str(picture))
    down = next(text for text in out.splitlines() if text.startswith("down weight"))
    assert code == ExitCode.FINE
    assert "!" in down and "friction.key +4" in down
    assert "…" not in down, "numbers are shown in full"
    assert picture.read_text(encoding="utf-8").count("<path") > 6 and "figure written" in err


def test_command_gives_json_and_csv(capsys: pytest.CaptureFixture[str]) -> None:
    _, out, _ = run(capsys, *CHANGED, "--json")
    found = json.loads(out, parse_constant=lambda name: pytest.fail(f"{name} in the JSON"))
    down = next(r for r in found["readings"] if r["reading"] == "down_weight_gf")
    assert down["exceeds_accuracy"] is True
    assert down["alone"]["friction.key"] == pytest.approx(down["b"] - down["a"])
    _, out, _ = run(capsys, *CHANGED, "--csv")
    rows = {row["reading"]: row for row in csv.DictReader(io.StringIO(out))}
    assert float(rows["down_weight_gf"]["friction.key"]) == pytest.approx(down["difference"], rel=1e-6)


def test_command_changes_the_second_of_two_files(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """Each change alone, and all together; what both files share is no input that differs."""
    picture = tmp_path / "both.svg"
    asked = ("compare", DEMO, DAMPED, "--set", "friction.key=24.22 N·mm", "--no-repetition", "--figure", str(picture))
    code, out, _ = run(capsys, *asked, "--json")
    found = json.loads(out)
    assert code == ExitCode.FINE and {i["input"] for i in found["inputs"]} == {"damper", "friction.key"}
    down = next(r for r in found["readings"] if r["reading"] == "down_weight_gf")
    assert sum(down["alone"].values()) + down["interaction"] == pytest.approx(down["together"], rel=1e-9)
    assert down["together"] + down["no_single_field"] == pytest.approx(down["b"] - down["a"], rel=1e-9)
    assert picture.read_text(encoding="utf-8").count("<path") > 6


def test_what_both_are_called_when_only_an_input_differs() -> None:
    from sim.report.compare import draw_comparison

    figure = draw_comparison(compared(DEMO, ("friction.key", "24.22 N·mm")))
    assert figure.get_suptitle().endswith("the same with friction.key 24.22 N·mm")
    assert [axes.get_xlabel() for axes in figure.axes] == ["time, ms", "key travel, mm", "key travel, mm"]
    assert all(len(axes.lines) >= 2 for axes in figure.axes)


def test_a_small_difference_of_a_reading_without_accuracy_is_not_traced() -> None:
    """The hammer's centre takes per cents of a soft blow's peak force, less of a hard one's: told of the first."""
    from sim.cli.screen import render_plain
    from sim.report.compare import build_tables

    c = compared(DEMO, ("friction.hammer", "2.1 N·mm"), ("springs.repetition", "110 %"))
    lines = render_plain(build_tables(c), width=160).splitlines()
    soft, hard = (next(line for line in lines if line.startswith(f"peak force, {touch}")) for touch in ("soft", "hard"))
    assert "friction.hammer" in soft and "friction.hammer" not in hard


def test_command_needs_something_to_compare_with(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, err = run(capsys, "compare", DEMO)
    assert code == ExitCode.BAD_INPUT and out == ""
    assert "--set" in err
