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
from sim.bench.template import hang
from sim.cli import commands
from sim.errors import InputError
from sim.unit import piano_sheet
from sim.unit.model import ActionUnit
from sim.unit.piano_sheet import PianoSheet
from sim.unit.scenario import load
from sim.unit.shipped import shipped
from sim.workshop import piano

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
    return piano_sheet.load(EXAMPLE)


def faults(text: str) -> list[str]:
    with pytest.raises(InputError) as caught:
        piano_sheet.loads(text, "sheet.toml")
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
    sheet = piano_sheet.loads(SHEET)
    bass = sheet.section_of(10)
    assert bass.at(10, "string_height") == pytest.approx(237.38e-3 - 3e-3 * 9 / 19)
    assert sheet.section_of(20).at(20, "string_height") == pytest.approx(234.38e-3)
    assert sheet.section_of(21).at(21, "string_height") == pytest.approx(230e-3)
    assert sheet.section_of(31).at(31, "string_height") == pytest.approx(229.5e-3)
    assert bass.at(10, "hammer_centre_height") is None, "not read"
    assert bass.at(10, "string_height", bench=True) is None
    with pytest.raises(InputError, match="bass 1 to 20, tenor 21 to 41"):
        sheet.section_of(42)


def test_shipped_sheets_are_no_unit_scenarios_and_say_they_are_invented() -> None:
    assert EXAMPLE.stem not in shipped()
    assert all("invented" in p.read_text(encoding="utf-8").lower() for p in EXAMPLE.parent.glob("*.toml"))
    assert len(piano.notes(example(), unit())) == 88


def test_bore_and_hanging_distance_by_hand() -> None:
    """Key 20: string 234.38, centre 184.38, so 50 mm; strike line 238.42 behind the pins, centre at 107.42: 131 mm."""
    sheet = piano_sheet.loads(SHEET)
    low, high = piano.notes(sheet, unit(), (20, 1))
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
    (n,) = piano.notes(example(), unit(), (40,), asked)
    assert n.fitting_distance is not None and n.strike_line is not None
    turn = n.string_slope + asked
    rise = n.fitting_distance * math.sin(turn) + n.fitting_bore * math.cos(turn)
    reach = n.fitting_distance * math.cos(turn) - n.fitting_bore * math.sin(turn)
    # the bore is reckoned for the scenario's hanging distance, the distance for that bore
    assert rise == pytest.approx(n.string_height - n.hammer_centre_height, abs=3e-5)
    assert unit().hammer.centre[0] + reach == pytest.approx(n.strike_line, abs=1e-7)


def test_mismatch_is_piano_less_bench_and_needs_both() -> None:
    (n,) = piano.notes(example(), unit(), (20,))
    assert n.mismatch["string_height"] == pytest.approx(0.5e-3)
    assert n.mismatch["bed_back"] == pytest.approx((0.2 - 0.3) * 1e-3)
    assert n.mismatch["strike_line"] == pytest.approx(0.5e-3)
    assert piano.notes(piano_sheet.loads(SHEET), unit(), (20,))[0].mismatch == {}


def test_contradicting_readings_are_remarked() -> None:
    """Blocking at 552 less stop 285 less key 255 leaves 12 mm: read as 20 mm or as 1 mm, it is said."""
    for clearance, word in (("20 mm", "reckoned 12.0 mm"), ("1 mm", "at least 2 mm")):
        text = SHEET.replace('action_stop = "285 mm"', f'action_stop = "285 mm"\ndamper_blocking = "552 mm"\n'
                             f'key_end_clearance = "{clearance}"')  # fmt: skip
        (n,) = piano.notes(piano_sheet.loads(text), unit(), (20,))
        assert any(word in remark for remark in n.remarks), n.remarks


def test_what_half_a_millimetre_does() -> None:
    """String and whole action move blow and let-off one to one; a lower front rail deepens dip and aftertouch alike
    by the arms (263 over 250 mm); a hammer rail shimmed alone works through crown over knuckle arm (by hand)."""
    base = piano.read(unit())
    found = {(e.name, round(e.by * 1e4)): e.found.values for e in piano.effects(unit(), steps=(-1, 1))}

    def change(name: str, by: int, reading: str) -> float:
        value, before = found[name, by][reading], base.values[reading]
        assert value is not None and before is not None
        return value - before

    for by in (-5, 5):
        for name, sign in (("string_height", 1), ("hammer_centre_height", -1)):
            assert change(name, by, "blow") == pytest.approx(sign * by * 1e-4, abs=1e-7)
            assert change(name, by, "let_off") == pytest.approx(sign * by * 1e-4, abs=2e-6)
            assert change(name, by, "aftertouch") == pytest.approx(0, abs=2e-6)
        for reading in ("dip", "aftertouch"):
            assert change("key_height", by, reading) == pytest.approx(by * 1e-4 * 263 / 250, rel=0.03)
        assert change("key_height", by, "blow") == pytest.approx(0, abs=1e-7)
    h = unit().hammer
    c, s = math.cos(h.rest_angle), math.sin(h.rest_angle)
    ratio = (h.strike_point[0] * c - h.strike_point[1] * s) / (h.knuckle_centre[0] * c - h.knuckle_centre[1] * s)
    assert change("hammer_rail", 5, "blow") == pytest.approx(0.5e-3 * (ratio - 1), rel=0.12)


def test_in_the_piano_takes_every_mismatch_at_once() -> None:
    (n,) = piano.notes(example(), unit(), (40,))
    bench, there = piano.read(unit()), piano.read(piano.in_the_piano(unit(), n))
    alone = sum(
        (piano.read(piano.MISMATCHES[name].apply(unit(), by, n.string_slope)).values["blow"] or 0)
        - (bench.values["blow"] or 0)
        for name, by in n.mismatch.items()
    )  # fmt: skip
    assert there.outcome == "plays"
    assert (there.values["blow"] or 0) - (bench.values["blow"] or 0) == pytest.approx(alone, abs=0.03e-3)


def test_a_mismatch_that_stops_the_note_is_named() -> None:
    (far,) = (e for e in piano.effects(unit(), steps=(2,)) if e.name == "hammer_rail")
    assert far.found.outcome != "plays" and far.found.values["let_off"] is None


def test_template_hangs_straight_and_clear() -> None:
    """Wanted crown is string less blow; the template is straight from end to end, nowhere nearer than the gap."""
    section = example().section_of(12)
    lines = hang(section, 44.5e-3, 0.2e-3, 0.6e-3, range(1, 21))
    assert lines[0].crown == pytest.approx((236.9 - 44.5 - 0.2) * 1e-3)
    assert min(line.gap for line in lines) == pytest.approx(0.6e-3)
    slopes = {round((b.template - a.template) * 1e9) for a, b in zip(lines, lines[1:], strict=False)}
    assert max(slopes) - min(slopes) <= 1
    assert all(line.template - line.crown == pytest.approx(line.gap) for line in lines)


def test_command_prints_tables_json_csv_and_draws(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    figure = tmp_path / "template.svg"
    assert main(["piano", str(EXAMPLE), str(DEMO), "--json", "--figure", str(figure)]) == commands.FINE
    body = json.loads(capsys.readouterr().out)
    assert {n["key"] for n in body["notes"]} >= {1, 20, 21, 40, 51, 52, 88}
    assert body["in_the_piano"]["blow_mm"] == pytest.approx(44.84, abs=0.05)
    assert len(body["touching"]) == 3 and "read under the template" in figure.read_text(encoding="utf-8")
    assert main(["piano", str(EXAMPLE), str(DEMO), "--csv"]) == commands.FINE
    rows = list(csv.DictReader(io.StringIO(capsys.readouterr().out)))
    assert len(rows) == 88 and float(rows[19]["string_height_mm"]) == pytest.approx(235.8)
    assert main(["piano", str(EXAMPLE), str(DEMO), "--note", "40"]) == commands.FINE
    out = capsys.readouterr().out
    assert "NEVER ESCAPES" in out and "strings nearby are at full tension" in out
    assert main(["piano", str(EXAMPLE), str(DEMO), "--note", "90"]) == commands.BAD_INPUT
    assert "treble 52 to 88" in capsys.readouterr().err
