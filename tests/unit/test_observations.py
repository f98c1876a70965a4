"""The sheet of readings: what it takes, and the slips of the pen it names."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.diagnosis.bench_tests import list_bench_tests
from sim.diagnosis.observations import Observations, load_uploaded_observations, parse_observations
from sim.display_units import UNITS
from sim.errors import InputError
from sim.report.diagnose import format_blank_csv, format_blank_toml, format_observations_csv

TESTS = list_bench_tests()
CONTRARY = (
    ("down_weight", "up_weight"), ("blow", "drop"), ("blow", "let_off"), ("blow", "checking_distance"),
    ("blow", "spring_rise"), ("dip", "aftertouch"), ("dip", "reset_point"), ("dip", "damper_start"),
)  # fmt: skip
"""Readings of which the first has to be the greater."""
NUMBERS = [name for name, test in TESTS.items() if not test.words]


def read(lines: str) -> Observations:
    return parse_observations(f"[readings]\n{lines}", "sheet.toml")


def refusal(lines: str) -> str:
    with pytest.raises(InputError) as caught:
        read(lines)
    return str(caught.value)


@pytest.mark.parametrize(
    ("lines", "field", "slip"),
    [
        ('down_weight = "24 gf"\nup_weight = "48 gf"', "up_weight = 48.0 gf", "changed over"),
        ('blow = "45 mm"\ndrop = "55 mm"', "drop", "decimal point"),
        ('blow = "20 mm"\ndrop = "24 mm"', "drop = 24.00 mm", "decimal point"),
        ('blow = "44 mm"\nspring_rise = "44.5 mm"', "spring_rise", "blow"),
        ('blow = "25 mm"\nchecking_distance = "30 mm"', "checking_distance", "from the rest"),
        ('dip = "6 mm"\naftertouch = "7 mm"', "aftertouch", "whole dip"),
        ('dip = "10 mm"\nreset_point = "11 mm"', "reset_point", "from the bottom"),
        ("swings_hammer = 0", "swings_hammer = 0", "turns swings at least once"),
        ('swings_wippen = "0"', "swings_wippen", "turns swings at least once"),
        ('let_off = "-1.5 mm"', "let_off", "sign"),
        ('blow = "4.45 mm"', "blow", "44.5 mm?"),
        ('blow = "445 mm"', "blow", "44.5 mm?"),
        ('blow = "44.5"', "blow", "44.5 mm"),
        ("blow = nan", "blow", ""),
        ('blow = "inf mm"', "blow", ""),
        ('let_off = "1.5 mm"\nslow_press = "blocks on the string"', "let_off = 1.50 mm", "slip of the pen"),
        ('slow_press = "sticks"', "slow_press", "choose one of these words"),
        ('let_of = "1.5 mm"', "let_of", "did you mean let_off"),
        ("let_off = [1]", "let_off", "a quantity in mm"),
        ("let_off = true", "let_off", "a quantity in mm"),
        ('down_weight = "50 mm"', "down_weight", "gf"),
    ],
)
def test_nonsense_is_refused_by_name_with_the_likely_slip(lines: str, field: str, slip: str) -> None:
    said = refusal(lines)
    assert field in said and slip in said
    assert "sheet.toml, line" in said


def test_every_fault_is_told_at_once() -> None:
    with pytest.raises(InputError) as caught:
        read('let_off = "16 cm"\nblow = "x"\nslow_press = "?"')
    assert len(caught.value.faults) == 3


@pytest.mark.parametrize(
    "text",
    [
        "readings = 3",
        "[readings]\n[more]\na = 1",
        '[readings]\n[accuracy]\nblow = "1 mm"',
        "[readings",
        '[readings]\nblow = "44 mm"\n[accuracy]\nblow = "2 m"',
    ],
)
def test_broken_toml_sheets(text: str) -> None:
    with pytest.raises(InputError):
        parse_observations(text, "sheet.toml")


@pytest.mark.parametrize(
    "text",
    [
        "",
        "a,b\n",
        "reading,value\nblow,44 mm\nblow,45 mm\n",
        "reading,value\nblow,44,mm\n",
        "reading,value\nblow,44 mm,1 mm,2 mm\n",
    ],
)
def test_broken_csv_sheets(text: str) -> None:
    with pytest.raises(InputError):
        parse_observations(text, "sheet.csv", comma=True)


def test_uploads_of_the_wrong_kind_and_size() -> None:
    for data in (b"\x89PNG\0", b"\xff\xfe", b"[" * 2_000_000):
        with pytest.raises(InputError):
            load_uploaded_observations("note.toml", data, TESTS)


def test_blank_sheets_are_sheets_with_nothing_read() -> None:
    for text, comma in ((format_blank_toml(TESTS, "demo"), False), (format_blank_csv(TESTS), True)):
        found = parse_observations(text, "blank", comma=comma)
        assert not found.numbers and not found.words


def test_blank_sheet_shows_cautions_before_parts_come_off() -> None:
    text = format_blank_toml(TESTS, "demo")
    assert text.index("key weights are lead") < text.index("pinning_hammer")


def test_a_number_says_that_it_could_be_taken() -> None:
    evidence = read('let_off = "1.5 mm"\nchecking_distance = "15 mm"').evidence
    assert evidence.words == {"slow_press": "plays", "check": "caught"}
    assert evidence.numbers["let_off"] == pytest.approx(1.5 / TESTS["let_off"].accuracy)


def test_accuracy_of_ones_own() -> None:
    found = parse_observations('[readings]\nblow = "44 mm"\n[accuracy]\nblow = "1 mm"', "sheet.toml")
    assert found.evidence.rough == {"blow": pytest.approx(1 / TESTS["blow"].accuracy)}


@given(st.dictionaries(st.sampled_from(NUMBERS), st.floats(0.0, 1.0), max_size=6))
def test_what_was_read_comes_back_from_its_own_sheet(shares: dict[str, float]) -> None:
    """Written as CSV and read again, to six figures, unless two readings contradict."""
    numbers = {}
    for name, share in shares.items():
        low, high = TESTS[name].limits
        spelling, dimension, _ = UNITS[TESTS[name].unit]
        numbers[name] = (low + share * (high - low)) * dimension.factor(spelling)
    sheet = format_observations_csv(Observations(numbers, {}, {}))
    if any(less in numbers and more in numbers and numbers[less] >= numbers[more] for more, less in CONTRARY):
        with pytest.raises(InputError, match="less than"):
            parse_observations(sheet, "sheet.csv", comma=True)
        return
    again = parse_observations(sheet, "sheet.csv", comma=True)
    assert again.numbers == {n: pytest.approx(v, rel=1e-5, abs=1e-9) for n, v in numbers.items()}
