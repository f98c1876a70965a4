"""The piano's sheet: bad ones refused by name, what fits under a string by hand, bench against piano."""

from __future__ import annotations

import csv
import io
import json
import math
from functools import cache
from pathlib import Path

import pytest

from sim.__main__ import main
from sim.bench.outcomes import Outcome
from sim.cli.command import ExitCode
from sim.errors import InputError
from sim.piano import mismatch, piano
from sim.piano import sheet as piano_sheet
from sim.piano.bench_comparison import fit_measured_hammer
from sim.piano.sheet import PianoSheet
from sim.piano.template import hang_template
from sim.scenario.load import load
from sim.scenario.shipped import list_shipped_scenarios
from sim.unit.model import ActionUnit

ROOT = Path(__file__).parents[2]
EXAMPLE = ROOT / "scenarios" / "pianos" / "invented-grand.toml"
DEMO = ROOT / "scenarios" / "concert-grand-natural.toml"

SHEET = """
name = "A sheet"
[sections.bass.1.piano]
string_height = "237.38 mm"
strike_line = "523.42 mm"
action_stop = "285 mm"
[sections.bass.20.piano]
string_height = "234.38 mm"
strike_line = "523.42 mm"
action_stop = "285 mm"
[sections.tenor.21.piano]
string_height = "230 mm"
strike_line = "520 mm"
[sections.tenor.41.piano]
string_height = "229 mm"
strike_line = "520 mm"
"""


@cache
def unit() -> ActionUnit:
    return load(DEMO)


@cache
def example() -> PianoSheet:
    return piano_sheet.load_sheet(EXAMPLE)


def faults(text: str) -> list[str]:
    with pytest.raises(InputError) as caught:
        piano_sheet.parse_sheet(text, "sheet.toml")
    return [str(f) for f in caught.value.faults]


def test_all_faults_of_a_sheet_are_told_at_once_with_their_lines() -> None:
    text = (
        SHEET.replace('"237.38 mm"', '"2.4 m"')  # line 4
        .replace('action_stop = "285 mm"\n[sections.bass.20', 'action_stopp = "285 mm"\n[sections.bass.20')  # line 6
        .replace('string_height = "229 mm"', "string_height = 229")  # line 15
        .replace("[sections.tenor.21.piano]", "[sections.tenor.C3.piano]")  # line 11
    )
    told = faults(text)
    assert any(t.startswith("sheet.toml, line 4: sections.bass.1.piano.string_height") and "120 to 380 mm" in t
               for t in told)  # fmt: skip
    assert any("line 6: sections.bass.1.piano.action_stopp" in t and "did you mean action_stop?" in t for t in told)
    assert any("line 15: sections.tenor.41.piano.string_height = 229" in t and "without a unit" in t for t in told)
    assert any("line 11: sections.tenor.C3" in t and "a key number, 1 to 88" in t for t in told)
    assert not any("missing" in t and "bass" in t for t in told), "what is faulty is not missing too"


@pytest.mark.parametrize(
    ("change", "named"),
    [
        (('[sections.tenor.21', '[sections.tenor.20'), "the section bass goes up to key 20"),
        (('string_height = "230 mm"\n', ""), "sections.tenor.21.piano.string_height = missing"),
        (('strike_line = "520 mm"\n[sections.tenor.41', '[sections.tenor.41'), "tenor.21.piano.strike_line = missing"),
        (('[sections.tenor.41.piano]\nstring_height = "229 mm"\nstrike_line = "520 mm"\n', ""), "tenor = 1 key"),
        (('name = "A sheet"', ""), "name = missing"),
        (("[sections.tenor.41.piano]", "[sections.tenor.99.piano]"), "sections.tenor.99"),
        (('"230 mm"', '"nan mm"'), "not a finite number"),
        (("[sections.tenor.41.piano]", '[sections.tenor.41.hammer]\nbore = "5 mm"\n[sections.tenor.41.piano]'),
         "sections.tenor.41.hammer.bore"),
        (("[sections.tenor.41.piano]", '[sections.tenor.41.hammer]\nborre = "50 mm"\n[sections.tenor.41.piano]'),
         "did you mean bore?"),
        (('"230 mm"', '{ value = "230 mm", source = "hearsay" }'), "unknown source"),
        (("[sections.bass.1.piano]", "[sections.bass.1.shed]"), "sections.bass.1.shed"),
        (('name = "A sheet"', "name = [\n"), "TOML"),
    ],
)  # fmt: skip
def test_bad_sheets_are_refused_by_name(change: tuple[str, str], named: str) -> None:
    broken = SHEET.replace(*change)
    assert broken != SHEET
    assert any(named in told for told in faults(broken)), faults(broken)


def test_straight_between_stations_and_never_over_a_break() -> None:
    sheet = piano_sheet.parse_sheet(SHEET)
    bass = sheet.section_of(10)
    assert bass.at(10, "string_height") == pytest.approx(237.38e-3 - 3e-3 * 9 / 19)
    assert sheet.section_of(20).at(20, "string_height") == pytest.approx(234.38e-3)
    assert sheet.section_of(21).at(21, "string_height") == pytest.approx(230e-3)
    assert sheet.section_of(31).at(31, "string_height") == pytest.approx(229.5e-3)
    assert bass.at(10, "hammer_centre_height") is None, "not read"
    assert bass.at(10, "string_height", "bench") is None
    with pytest.raises(InputError, match="bass 1 to 20, tenor 21 to 41"):
        sheet.section_of(42)


def test_shipped_sheets_are_no_unit_scenarios_and_say_they_are_invented() -> None:
    assert EXAMPLE.stem not in list_shipped_scenarios()
    assert all("invented" in p.read_text(encoding="utf-8").lower() for p in EXAMPLE.parent.glob("*.toml"))
    assert len(piano.evaluate_notes(example(), unit())) == 88


def test_bore_and_hanging_distance_by_hand() -> None:
    """Key 20: string 234.38, centre 184.38, so 50 mm; strike line 238.42 behind the pins, centre at 107.42: 131 mm."""
    sheet = piano_sheet.parse_sheet(SHEET)
    low, high = piano.evaluate_notes(sheet, unit(), (20, 1))
    assert low.fitting_bore == pytest.approx(50e-3, abs=1e-8)
    assert low.fitting_distance == pytest.approx(131e-3, abs=2e-5)
    assert low.shank_angle == pytest.approx(0.0, abs=1e-6) and low.off_line == pytest.approx(0.0, abs=2e-5)
    assert high.fitting_bore == pytest.approx(53e-3, abs=1e-8)
    # crown at (131, 50) reaches 53 mm over its centre where 131 sin a + 50 cos a = 53
    angle = high.shank_angle
    assert angle is not None
    assert 131 * math.sin(angle) + 50 * math.cos(angle) == pytest.approx(53, abs=1e-6)
    assert 131 * (math.cos(angle) - 1) - 50 * math.sin(angle) == pytest.approx(1e3 * (high.off_line or 0), abs=0.02)


def test_bore_for_an_asked_angle_gives_that_angle() -> None:
    """A hammer bored and hung as told stands at the asked angle, its crown on the strike line (plane geometry)."""
    asked = math.radians(1.0)
    (n,) = piano.evaluate_notes(example(), unit(), (40,), asked)
    assert n.fitting_distance is not None and n.strike_line is not None
    turn = n.string_slope + asked
    rise = n.fitting_distance * math.sin(turn) + n.fitting_bore * math.cos(turn)
    reach = n.fitting_distance * math.cos(turn) - n.fitting_bore * math.sin(turn)
    # the bore is reckoned for the hanging distance there, the distance for that bore
    assert rise == pytest.approx(n.string_height - n.hammer_centre_height, abs=3e-5)
    assert unit().hammer.centre[0] + reach == pytest.approx(n.strike_line, abs=1e-7)


def test_hammers_and_centres_between_the_notes_that_were_read() -> None:
    """Bass hammers of 51.6 mm at key 1 and 50.4 at key 20, centres 184.4 and 184.5 to key 12: straight between."""
    (n,) = piano.evaluate_notes(example(), unit(), (8,))
    assert n.bore == pytest.approx((51.6 - 1.2 * 7 / 19) * 1e-3) and n.hanging_distance == pytest.approx(131e-3)
    assert n.weight == pytest.approx((11.4 - 1.0 * 7 / 19) * 1e-3) and set(n.read) == {
        "bore",
        "hanging_distance",
        "weight",
    }
    assert n.hammer_centre_height == pytest.approx((184.4 + 0.1 * 7 / 11) * 1e-3)
    angle = (n.shank_angle or 0.0) + n.string_slope
    rise = n.hanging_distance * math.sin(angle) + n.bore * math.cos(angle)
    assert rise == pytest.approx(n.string_height - n.hammer_centre_height, abs=1e-9), "the crown is on the string there"
    (own,) = piano.evaluate_notes(piano_sheet.parse_sheet(SHEET), unit(), (20,))
    assert own.read == () and own.bore == pytest.approx(50e-3)
    assert own.weight == pytest.approx(9.56e-3, abs=1e-8), "as the scenario weighs it"


def test_a_hammer_hung_shorter_wants_another_bore() -> None:
    """Shank 1 degree up: a hammer 4 mm shorter reaches 4 sin 1 = 0.07 mm less high, which the bore makes good."""
    text = SHEET + '[sections.tenor.21.hammer]\nhanging_distance = "127 mm"\n'
    asked = math.radians(1.0)
    (short,) = piano.evaluate_notes(piano_sheet.parse_sheet(text), unit(), (21,), asked)
    (long,) = piano.evaluate_notes(piano_sheet.parse_sheet(SHEET), unit(), (21,), asked)
    by = 4e-3 * math.sin(asked) / math.cos(asked)
    assert short.fitting_bore - long.fitting_bore == pytest.approx(by, abs=1e-9)
    assert short.hanging_distance == pytest.approx(127e-3) and short.bore == pytest.approx(50e-3)


def test_the_action_read_has_the_hammer_of_its_note() -> None:
    """Key 20 of the example has another hammer than the scenario: laid on, regulated again, its weight in the head."""
    section = example().section_of(20)
    change = piano.list_hammer_changes(section, 20, unit())
    assert change == {"hammer.bore": "50.4 mm", "hammer.weight": "10.4 g", "hammer.head_mass": "8.34 g"}
    assert piano.list_hammer_changes(example().section_of(40), 40, unit()) == {}
    other, changed = fit_measured_hammer(section, 20, unit(), lambda more: load(DEMO, dict(more)))
    assert changed == change and other.hammer.head_mass == pytest.approx(8.34e-3)
    assert piano.measure_unit_hammer(other)["weight"] == pytest.approx(10.4e-3, abs=1e-8)
    assert other.hammer.strike_point[1] == pytest.approx(50.4e-3)
    found, before = mismatch.read_slow_press(other), mismatch.read_slow_press(unit())
    for reading in ("blow", "dip", "let_off", "drop"):
        assert change_of(found, before, reading) == pytest.approx(0, abs=0.05e-3)
    _, changed = fit_measured_hammer(section, 20, unit(), lambda more: load(DEMO, dict(more)), ("hammer.bore",))
    assert "hammer.bore" not in changed, "what was typed stays"


def test_mismatch_is_piano_less_bench_and_needs_both() -> None:
    (n,) = piano.evaluate_notes(example(), unit(), (20,))
    assert n.mismatch["string_height"] == pytest.approx(0.5e-3)
    assert n.mismatch["bed_back"] == pytest.approx(0.2e-3) and n.mismatch["bed_balance"] == pytest.approx(0.3e-3)
    assert n.mismatch["strike_line"] == pytest.approx(0.5e-3)
    assert piano.evaluate_notes(piano_sheet.parse_sheet(SHEET), unit(), (20,))[0].mismatch == {}


def test_readings_that_the_bed_contradicts_are_remarked() -> None:
    """Balance rail 0.3, back rail 0.2, front rail 0.1 mm up: the key's front stands 0.3 - 0.1 + 0.1 * 263/225 higher
    over its rail, the hammer centre 0.3 - 0.1 * 107.4/225 higher; 1 mm more of either is said."""
    text = EXAMPLE.read_text(encoding="utf-8")
    (plain,) = piano.evaluate_notes(example(), unit(), (20,))
    by_bed = mismatch.predict_from_beds(unit(), plain.mismatch)
    assert by_bed["key_height"] == pytest.approx((0.2 + 0.1 * 263 / 225) * 1e-3, abs=1e-6)
    assert by_bed["hammer_centre_height"] == pytest.approx((0.3 - 0.1 * 107.42 / 225) * 1e-3, abs=1e-6)
    assert not any("bedded" in remark for remark in plain.remarks)
    for right, wrong, words in (("63.8 mm", "64.8 mm", "key height"), ("184.6 mm", "185.6 mm", "hammer centre")):
        sheet = piano_sheet.parse_sheet(text.replace(f'"{right}"', f'"{wrong}"', 1))
        (n,) = piano.evaluate_notes(sheet, unit(), (20,))
        assert any(words in remark and "bedded" in remark for remark in n.remarks), n.remarks


def change_of(found: mismatch.SlowPressReading, base: mismatch.SlowPressReading, reading: str) -> float:
    value, before = found.values[reading], base.values[reading]
    assert value is not None and before is not None
    return value - before


def test_what_half_a_millimetre_does() -> None:
    """String and whole action move blow and let-off one to one; a lower front rail deepens dip and aftertouch alike
    by the arms (263 over 250 mm); a hammer rail shimmed alone works through crown over knuckle arm (by hand)."""
    base = mismatch.read_slow_press(unit())
    found = {(e.name, round(e.by * 1e4)): e.found for e in mismatch.compute_effects(unit(), steps=(-1, 1))}
    assert {name for name, _ in found} == set(mismatch.MISMATCHES)

    def change(name: str, by: int, reading: str) -> float:
        return change_of(found[name, by], base, reading)

    for by in (-5, 5):
        for name, sign in (("string_height", 1), ("hammer_centre_height", -1)):
            assert change(name, by, "blow") == pytest.approx(sign * by * 1e-4, abs=1e-7)
            assert change(name, by, "let_off") == pytest.approx(sign * by * 1e-4, abs=2e-6)
            assert change(name, by, "aftertouch") == pytest.approx(0, abs=2e-6)
        for reading in ("dip", "aftertouch"):
            for name, sign in (("key_height", 1), ("bed_front", -1)):
                assert change(name, by, reading) == pytest.approx(sign * by * 1e-4 * 263 / 250, rel=0.03)
        assert change("key_height", by, "blow") == pytest.approx(0, abs=1e-7)
    h = unit().hammer
    c, s = math.cos(h.rest_angle), math.sin(h.rest_angle)
    ratio = (h.strike_point[0] * c - h.strike_point[1] * s) / (h.knuckle_centre[0] * c - h.knuckle_centre[1] * s)
    assert change("hammer_rail", 5, "blow") == pytest.approx(0.5e-3 * (ratio - 1), rel=0.12)


def test_an_action_tipped_as_a_whole_keeps_its_own_readings() -> None:
    """Beds on one slanting line, 0.5 mm up at the back rail: all of it turns by 0.5/225 about the balance rail, the
    crown at rest comes up by that times its place; the key's dip and aftertouch stay.  Level, all of it comes up."""
    up = 0.5e-3
    u, base = unit(), mismatch.read_slow_press(unit())
    slant = {"bed_front": -up * 250 / 225, "bed_balance": 0.0, "bed_back": up}
    tipped = mismatch.read_slow_press(mismatch.move_into_piano(u, slant))
    c, s = math.cos(u.hammer.rest_angle), math.sin(u.hammer.rest_angle)
    place = u.hammer.centre[0] + u.hammer.strike_point[0] * c - u.hammer.strike_point[1] * s
    assert change_of(tipped, base, "blow") == pytest.approx(-up / 0.225 * place, abs=0.01e-3)
    for reading in ("dip", "aftertouch", "drop"):
        assert change_of(tipped, base, reading) == pytest.approx(0, abs=0.02e-3)
    level = mismatch.read_slow_press(mismatch.move_into_piano(u, dict.fromkeys(mismatch.BEDS, up)))
    assert change_of(level, base, "blow") == pytest.approx(-up, abs=0.01e-3)
    assert change_of(level, base, "dip") == pytest.approx(0, abs=0.01e-3)


def test_in_the_piano_key_height_and_hammer_centre_come_to_what_was_read() -> None:
    """What the bed already does to them is not added again: string over hammer centre and the key's front over its
    rail differ by the readings alone, so that the dip deepens by the key height's 0.5 mm."""
    (n,) = piano.evaluate_notes(example(), unit(), (40,))
    there = mismatch.move_into_piano(unit(), n.mismatch, n.string_slope)
    over = there.rails.string_y - there.hammer.centre[1] - unit().rails.string_y + unit().hammer.centre[1]
    line = n.mismatch["strike_line"] * math.tan(n.string_slope)
    assert over == pytest.approx(n.mismatch["string_height"] - n.mismatch["hammer_centre_height"] - line, abs=1e-9)
    found = mismatch.read_slow_press(there)
    assert found.outcome == Outcome.PLAYS and n.mismatch["key_height"] == pytest.approx(0.5e-3)
    assert change_of(found, mismatch.read_slow_press(unit()), "dip") == pytest.approx(0.5e-3, abs=0.03e-3)
    alone = {e.name: e.by for e in mismatch.compute_each_alone(unit(), n.mismatch, n.string_slope)}
    assert alone == dict(n.mismatch), "every mismatch that was read is told alone"


def test_a_mismatch_that_stops_the_note_is_named() -> None:
    (far,) = (e for e in mismatch.compute_effects(unit(), steps=(2,)) if e.name == "hammer_rail")
    assert far.found.outcome != Outcome.PLAYS and far.found.values["let_off"] is None


def test_template_hangs_straight_and_clear() -> None:
    """Wanted crown is string less blow; the template is straight from end to end, nowhere nearer than the gap."""
    section = example().section_of(12)
    lines = hang_template(section, 44.5e-3, dict.fromkeys(range(1, 21), 0.2e-3), 0.6e-3, range(1, 21))
    assert lines[0].crown == pytest.approx((236.9 - 44.5 - 0.2) * 1e-3)
    assert min(line.gap for line in lines) == pytest.approx(0.6e-3)
    slopes = {round((b.template - a.template) * 1e9) for a, b in zip(lines, lines[1:], strict=False)}
    assert max(slopes) - min(slopes) <= 1
    assert all(line.template - line.crown == pytest.approx(line.gap) for line in lines)


def test_command_prints_tables_json_csv_and_draws(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    figure = tmp_path / "template.svg"
    assert main(["piano", str(EXAMPLE), str(DEMO), "--json", "--figure", str(figure)]) == ExitCode.FINE
    body = json.loads(capsys.readouterr().out)
    assert {n["key"] for n in body["notes"]} >= {1, 20, 21, 40, 51, 52, 88}
    assert {line["key"] for line in body["template"]} == {n["key"] for n in body["notes"]}
    assert {e["mismatch"] for e in body["effects"]} == set(mismatch.MISMATCHES) and len(body["each_alone"]) == 7
    drawn = figure.read_text(encoding="utf-8")
    assert len(body["touching"]) == 3 and "height read under the template" in drawn and "gf" in drawn
    assert main(["piano", str(EXAMPLE), str(DEMO), "--csv"]) == ExitCode.FINE
    rows = list(csv.DictReader(io.StringIO(capsys.readouterr().out)))
    assert len(rows) == 88 and float(rows[19]["string_height_mm"]) == pytest.approx(235.8)
    assert rows[0]["key_end_verdict"] == "clears by 12.0 mm" and float(rows[0]["bore_mm"]) == pytest.approx(51.6)
    assert main(["piano", str(EXAMPLE), str(DEMO), "--note", "40"]) == ExitCode.FINE
    out = capsys.readouterr().out
    assert "NEVER ESCAPES" in out and "strings nearby are at full tension" in out and "…" not in out
    assert "height read" in out and "true height" in out and "stands HIGHER" in out
    assert main(["piano", str(EXAMPLE), str(DEMO), "--note", "90"]) == ExitCode.BAD_INPUT
    assert "treble 52 to 88" in capsys.readouterr().err
    with pytest.raises(SystemExit):
        main(["piano", str(EXAMPLE), str(DEMO), "--blow", "2 m"])
    assert "25 mm to 65 mm" in capsys.readouterr().err
