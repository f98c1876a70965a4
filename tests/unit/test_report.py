"""Tables, JSON, CSV, frames and figures, on hand-built readings; and the usual ranges they are marked by."""

from __future__ import annotations

import csv
import io
import json
import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow.parquet
import pytest

import sim
from sim.bench.outcomes import Outcome
from sim.bench.reading_text import format_record
from sim.bench.readings import (
    Centre,
    Prediction,
    Repetition,
    Settings,
    SlowPress,
    Strike,
    TouchWeight,
    list_reading_fields,
)
from sim.bench.usual_ranges import find_usual_range, load_usual_ranges
from sim.cli.screen import render_plain
from sim.report import predict
from sim.report.drawing import draw, figures
from sim.report.drawing.shapes import Pose
from sim.report.formats import json_text, reading_rows, tables, traces
from sim.unit.model import ActionUnit
from tests.tiers import try_each

GF = 9.80665e-3
MIDDLE = reading_rows.KeyPosition(40, sharp=False)
UNIT_OF = {
    name: meta["unit"]
    for cls in (Settings, TouchWeight, Repetition, Strike)
    for name, meta in list_reading_fields(cls).items()
}


@pytest.fixture(scope="module")
def unit() -> ActionUnit:
    return sim.load("concert-grand-natural")


@pytest.fixture
def prediction() -> Prediction:
    """A healthy note by hand, in SI."""
    travel = np.linspace(0, 0.01, 101)
    curve = SlowPress(travel, 0.5 + 0 * travel, 0.25 + 0 * travel, 0.0445 - 4.4 * travel, 5.0 + 0 * travel, 2.5e-3)
    strikes = tuple(
        Strike(
            name, True, Outcome.SOUNDS, hammer_speed=v, peak_force=12.0 * v, checking_distance=0.015, caught=True,
            contacts_with_string=1, ledger_remainder=1e-4, events={"string_contact": 0.08, "damper_starts": None},
        )
        for name, v in (("soft", 0.7), ("moderate", 1.5))
    )  # fmt: skip
    return Prediction(
        unit="=SUM(1) by hand",
        outcome=Outcome.PLAYS,
        reason="",
        settings=Settings(blow=0.0445, dip=0.0102, let_off=0.0016, aftertouch=0.0011, spread=0.1125),
        touch=TouchWeight(50 * GF, 26 * GF, 38 * GF, 12 * GF),
        strikes=strikes,
        repetition=Repetition(
            limit_hz=8.2, limit_spread_hz=0.4, limiting_part="lever lift", sounded_fraction={8.0: 0.95, 4.0: 1.0},
            reset_fraction={4.0: 1.0, 8.0: 0.9}, spring_rise=0.003, kicks=False,
        ),
        centres={"hammer": Centre(1.1e-3, 1.1e-3 / 0.023, 0.023, 5.0, math.radians(40))},
        assumed=("contacts.string.stiffness", "contacts.string.loss", "string.far_end_reflection"),
        slow_press=curve,
    )  # fmt: skip


def shown(p: Prediction, unit: ActionUnit) -> str:
    return render_plain(predict.build_prediction_tables(p, unit))


# Usual ranges


@pytest.mark.parametrize("name", sorted(load_usual_ranges()))
@try_each("sharp", [False, True])
def test_every_range_is_sourced_and_in_the_unit_of_its_reading(name: str, sharp: bool) -> None:
    spans = [find_usual_range(name, key, sharp) for key in (1, 20, 40, 41, 88)]
    assert all(s is not None and s.low < s.high and len(s.source) > 10 and s.advice for s in spans)
    group, _, _ = name.partition(".")
    wanted = {"pinning": "gf", "swings": ""}.get(group, UNIT_OF.get(name))
    assert spans[0] is not None and spans[0].unit == wanted, "named after a reading, in its unit"


@pytest.mark.parametrize("name", sorted(load_usual_ranges()))
def test_every_closed_side_has_advice(name: str) -> None:
    span = find_usual_range(name, 40)
    assert span is not None
    assert all(side in span.advice for side, limit in (("low", span.low), ("high", span.high)) if math.isfinite(limit))


def test_ranges_run_over_the_compass_and_differ_for_sharps() -> None:
    bass, middle, treble = (find_usual_range("friction", key) for key in (1, 40, 88))
    between = find_usual_range("friction", 64)
    assert bass and middle and treble and between
    assert bass.low > middle.low > between.low > treble.low
    assert between.low == pytest.approx(middle.low + (treble.low - middle.low) * 24 / 48)
    natural, sharp = find_usual_range("dip", 40), find_usual_range("dip", 40, sharp=True)
    assert natural and sharp and natural.low != sharp.low
    assert find_usual_range("no such reading", 40) is None


# Rows and marks


def test_a_mark_is_judged_on_the_number_as_shown(prediction: Prediction) -> None:
    span = find_usual_range("let_off", 40)
    assert span is not None

    def side(let_off: float) -> str | None:
        p = replace(prediction, settings=replace(prediction.settings, let_off=let_off))
        return next(r.side for r in reading_rows.list_setting_rows(p, MIDDLE) if r.name == "let_off")

    assert side((span.low + 1e-4) * 1e-3) is None
    assert side((span.low - 1e-4) * 1e-3) is None, "shows the limit itself"
    assert side((span.low - 0.02) * 1e-3) == "low"
    assert side((span.high + 0.02) * 1e-3) == "high"


def test_a_healthy_note_has_no_marks_and_no_cautions(prediction: Prediction, unit: ActionUnit) -> None:
    assert reading_rows.list_remarks(prediction, MIDDLE) == ()
    text = shown(prediction, unit)
    assert "Nothing lies outside its usual range" in text
    assert tables.CAUTIONS[:30] not in text


def test_a_mark_names_reading_range_reason_and_part(prediction: Prediction, unit: ActionUnit) -> None:
    heavy = replace(prediction, touch=replace(prediction.touch, friction=22 * GF))
    (mark,) = reading_rows.list_remarks(heavy, MIDDLE)
    assert "friction" in mark.title and "22.0 gf, high (usual 10 to 15 gf)" in mark.found
    assert "key bushings" in mark.look
    text = shown(heavy, unit)
    assert "HIGH" in text and mark.look in " ".join(text.split())
    assert tables.CAUTIONS in " ".join(text.split())


def test_a_kick_is_marked(prediction: Prediction) -> None:
    kicking = replace(prediction, repetition=replace(prediction.repetition, kicks=True))
    assert reading_rows.KICK in reading_rows.list_remarks(kicking, MIDDLE)


@pytest.mark.parametrize(("limit", "found"), [(5.0, "5.0 per s, low"), (None, "below 4 per s, low")])
def test_slow_repetition_names_the_part_that_limits(prediction: Prediction, limit: float | None, found: str) -> None:
    slow = replace(prediction.repetition, limit_hz=limit, sounded_fraction={4.0: 0.5}, limiting_part="lever lift")
    (mark,) = reading_rows.list_remarks(replace(prediction, repetition=slow), MIDDLE)
    assert found in mark.found
    assert "repetition spring" in mark.look


@pytest.mark.parametrize(
    ("millimetres", "text"),
    [(44.45, "1.750 in (1 3/4)"), (1.6, "0.063 in (1/16)"), (0.1, "0.004 in"), (-0.001, "0.000 in")],
)
def test_lengths_in_inches(prediction: Prediction, millimetres: float, text: str) -> None:
    p = replace(prediction, settings=replace(prediction.settings, blow=millimetres * 1e-3))
    assert reading_rows.list_setting_rows(p)[0].inches == text


def test_table_shows_a_dash_for_what_could_not_be_read(prediction: Prediction, unit: ActionUnit) -> None:
    failed = replace(
        prediction,
        outcome=Outcome.NEVER_ESCAPES,
        reason="the jack stays",
        settings=replace(prediction.settings, let_off=None),
    )
    lines = shown(failed, unit).splitlines()
    assert lines[0].endswith("DOES NOT PLAY: never escapes")
    assert lines[1] == "the jack stays"
    assert next(line for line in lines if line.startswith("let-off")).split()[1] == "–"


def test_assumed_inputs_are_listed_by_section(prediction: Prediction, unit: ActionUnit) -> None:
    text = shown(prediction, unit)
    assert "Only assumed, not measured (3 inputs)" in text
    assert "far_end_reflection" in text


def test_set_up_values_are_told_in_the_unit_of_their_field(prediction: Prediction, unit: ActionUnit) -> None:
    found = replace(prediction, set_up={"settings.punching": 0.00942, "springs.repetition": 0.033})
    text = " ".join(shown(found, unit).split())
    assert "settings.punching 9.42 mm" in text
    assert "springs.repetition 33.00 N·mm" in text


# JSON and CSV


def not_numbers(name: str) -> None:
    raise AssertionError(f"{name} in the JSON")


def test_json_holds_no_nan_whatever_the_readings(prediction: Prediction) -> None:
    bad = Strike("soft", True, Outcome.LEAVES_DOMAIN, peak_force=math.inf, losses={"felt string": math.nan})
    broken = replace(
        prediction,
        settings=replace(prediction.settings, wink=math.nan),
        strikes=(bad,),
        set_up={"settings.punching": math.nan},
    )
    found = json.loads(json_text.format_json(json_text.build_prediction_document(broken)), parse_constant=not_numbers)
    assert found["wink_mm"] is None
    assert found["strikes"][0]["peak_force_N"] is None
    assert found["strikes"][0]["ledger_remainder"] is None


def test_json_converts_to_the_unit_in_the_name(prediction: Prediction) -> None:
    found = json_text.build_prediction_document(prediction)
    assert found["blow_mm"] == pytest.approx(44.5)
    assert found["friction_gf"] == pytest.approx(12.0)
    assert found["checking_distance_mm"] == pytest.approx(15.0)
    assert found["pinning"]["hammer"] == pytest.approx(1.1 / 0.023 / 9.80665)
    assert found["centres"]["hammer"]["swing_from_deg"] == pytest.approx(40)
    assert found["centres"]["hammer"]["torque_Nmm"] == pytest.approx(1.1)
    assert found["repetition"]["sounded_fraction"] == {"4": 1.0, "8": 0.95}
    assert found["strikes"][0]["events_ms"] == {"string_contact": pytest.approx(80.0), "damper_starts": None}


@pytest.mark.parametrize(
    ("text", "plain"),
    [("=1+1", "'=1+1"), ("+1+1", "'+1+1"), ("-A1", "'-A1"), ("@SUM(A1)", "'@SUM(A1)"),
     ("\t=1", " '=1"), ("\r=1", " '=1"), ("-1", "-1"), ("+1.5e-3", "+1.5e-3")],
)  # fmt: skip
def test_csv_text_that_would_run_as_a_formula_is_made_plain(text: str, plain: str) -> None:
    assert traces.format_cell(text) == plain


@pytest.mark.parametrize(("value", "text"), [(-1.5, "-1.5"), (None, ""), (math.nan, ""), (True, "yes"), ("mm", "mm")])
def test_csv_cells(value: Any, text: str) -> None:
    assert traces.format_cell(value) == text


def test_csv_of_a_prediction_keeps_numbers_and_disarms_names(prediction: Prediction, unit: ActionUnit) -> None:
    p = replace(prediction, settings=replace(prediction.settings, jack_address=-1e-4))
    lines = list(csv.reader(io.StringIO(predict.format_csv(p, unit))))
    assert {len(line) for line in lines} == {len(predict.HEADER)}
    cells = {(line[0], line[1], line[2]): line[4] for line in lines}
    assert cells["unit", "", "unit"] == "'=SUM(1) by hand"
    assert float(cells["settings", "", "jack_address"]) == pytest.approx(-0.1)


# Curves, frames, figures


def test_traces_come_back_the_same_from_both_kinds_of_file(tmp_path: Path, prediction: Prediction) -> None:
    import pandas as pd

    assert prediction.slow_press is not None
    columns = traces.stack_columns([("a", traces.tabulate_slow_press(prediction.slow_press))] * 2, "which")
    for suffix in traces.SUFFIXES:
        traces.write_columns(columns, tmp_path / f"t{suffix}")
    one, other = pd.read_csv(tmp_path / "t.csv"), pd.read_parquet(tmp_path / "t.parquet")
    pd.testing.assert_frame_equal(one, other, check_dtype=False, rtol=1e-8)
    assert len(one) == 202
    assert one["key_travel_mm"].max() == pytest.approx(10.0)
    assert one["pressing_gf"][0] == pytest.approx(0.5 / GF)


def test_frames(prediction: Prediction, unit: ActionUnit) -> None:
    readings = sim.to_frame(prediction, unit).set_index(["group", "of", "reading"])
    assert readings.loc[("settings", "", "blow"), "value"] == pytest.approx(44.5)
    assert readings.loc[("settings", "", "blow"), "usual_low"] < 44.5
    assert list(sim.to_frame(prediction.strikes)["hammer_speed_m_s"]) == [0.7, 1.5]
    assert list(sim.to_frame(prediction.repetition)["rate_hz"]) == [4.0, 8.0]
    assert len(sim.to_frame(prediction.slow_press)) == 101
    with pytest.raises(TypeError, match="no frame"):
        sim.to_frame(3)


def test_records_are_told_in_plain_lines(prediction: Prediction) -> None:
    text = format_record(prediction)
    assert "=SUM(1) by hand: plays" in text
    assert any(line.split() == ["let-off", "1.60", "mm"] for line in text.splitlines())


def test_curves_are_drawn_with_their_units(prediction: Prediction) -> None:
    axes = sim.draw(prediction.slow_press)
    assert (axes.get_xlabel(), axes.get_ylabel()) == ("key travel, mm", "force, gf")
    assert sim.draw(prediction.repetition).get_xlabel() == "strokes a second"
    with pytest.raises(TypeError, match="nothing to draw"):
        sim.draw("a note")


def test_mechanism_is_drawn_where_the_model_has_it(unit: ActionUnit) -> None:
    """The crown of the drawing at rest stands the blow below the string; the jack's tip touches the knuckle."""
    from sim.bench.rest_pose import settle_at_rest
    from sim.report.drawing.mechanism import place_crown
    from sim.report.drawing.outline import place_moving_shapes
    from sim.report.drawing.shapes import POSE

    rest = settle_at_rest(unit)
    pose = Pose.from_row({name: rest.state[name][0] for name in POSE})
    assert unit.rails.string_y - place_crown(unit, pose)[1] == pytest.approx(rest.at_rest["string"], abs=5e-5)
    shapes = place_moving_shapes(unit, pose)
    knuckle = next(s for s in shapes if s.part == "hammer" and s.stuff == "leather").points
    jack = np.vstack([s.points for s in shapes if s.part == "jack"])
    apart = np.hypot(*(jack[:, None] - knuckle[None]).transpose(2, 0, 1)).min()
    assert apart < max(0.0, rest.at_rest["jack_knuckle"]) + 6e-4
    assert all(np.isfinite(s.points).all() for s in shapes)


@try_each("name", ["concert-grand-natural", "concert-grand-sharp", "mixed-parts", "treble"])
def test_sheet_of_shipped_scenarios(name: str, tmp_path: Path) -> None:
    unit = sim.load(name)
    found = sim.predict(unit, repetition=False)
    one, two = tmp_path / "one.svg", tmp_path / "two.svg"
    figures.save_figure(draw.draw_sheet(unit, found), one)
    figures.save_figure(draw.draw_sheet(unit, found), two)
    assert one.read_bytes() == two.read_bytes(), "the same run gives the same file"
    text = one.read_text(encoding="utf-8")
    assert unit.name in text and "key travel, mm" in text


ROWS = (
    {"note": 40, "reading": "dip", "value": 10.05, "assumed": False, "remark": None},
    {"note": 41, "reading": "=1+1", "value": 10, "assumed": True, "found": "10,1"},
    {"note": 88, "reading": "blow", "value": None, "found": 45.25},
)


def test_rows_are_the_same_table_as_csv_and_as_parquet() -> None:
    made = traces.tabulate_rows(ROWS)
    assert list(made.data) == ["note", "reading", "value", "assumed", "remark", "found"] and len(made) == 3
    told = traces.format_columns_csv(made).splitlines()
    assert told[1:] == ["40,dip,10.05,no,,", '41,\'=1+1,10,yes,,"10,1"', "88,blow,,,,45.25"]
    back = pyarrow.parquet.read_table(io.BytesIO(traces.encode_parquet(made)))
    assert back.column("note").to_pylist() == [40, 41, 88] and back.column("value").to_pylist() == [10.05, 10.0, None]
    assert back.column("reading").to_pylist()[1] == "=1+1"
    assert back.column("found").to_pylist() == [None, "10,1", "45.25"]
    assert (
        traces.encode_parquet(made) == traces.encode_parquet(traces.tabulate_rows(ROWS))
        and traces.format_columns_csv(traces.tabulate_rows([])) == "\n"
    )
