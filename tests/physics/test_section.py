"""A section of notes from a bench sheet: spoiled ones found, sample notes fixing the rest, slips of the pen named.

The sheets are invented (tests/section_sheets.py): what is held against the model is its own inverse, on
units drawn with differences and reading errors that the inference is not told.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pytest

from sim.fields.defaults import find_default
from sim.section.columns import list_columns
from sim.section.compass import find_usual_target
from sim.section.consistency_checks import ConsistencyFinding, check_consistency
from sim.section.section import Section, SectionNote, analyse_section
from sim.section.section_lines import SectionLines
from sim.section.sheet import BenchSheet, NoteRow
from tests.section_sheets import draw_section
from tests.tiers import FULL

Ill = Mapping[int, tuple[str, float]]
KEYS = range(30, 50)
ILL: Ill = {
    33: ("tight-hammer-centre", 0.5), 38: ("weak-spring", 0.6), 42: ("heavy-hammer", 0.6), 47: ("rail-back", 0.7),
}  # fmt: skip
FEW = range(37, 42)
SEED = 21


@pytest.fixture(scope="module", params=[FEW, pytest.param(KEYS, marks=FULL)], ids=["8 notes", "20 notes"])
def read(request: pytest.FixtureRequest) -> tuple[Section, Ill]:
    """A section, and what is wrong with its notes."""
    ill = {key: ILL[key] for key in ILL if key in request.param}
    return analyse_section(draw_section(request.param, ill, SEED), play=False), ill


@pytest.fixture
def found(read: tuple[Section, Ill]) -> Section:
    return read[0]


def test_the_spoiled_notes_are_named_with_their_cause_and_no_other(read: tuple[Section, Ill]) -> None:
    found, ill = read
    assert {n.key_number: n.found.verdict for n in found.outliers if n.found} == {
        k: name for k, (name, _) in ill.items()
    }


def test_what_is_said_to_be_wrong_is_as_bad_as_it_is(read: tuple[Section, Ill]) -> None:
    found, ill = read
    for note in found.outliers:
        assert note.found is not None
        _, low, high = note.found.listed[0].severity
        assert low - 0.15 <= ill[note.key_number][1] <= high + 0.15


def test_rows_that_go_together_are_left_alone(read: tuple[Section, Ill]) -> None:
    found, ill = read
    assert [s for n in found.notes if n.key_number not in ill for s in n.apart] == []


def _healthy(found: Section) -> SectionNote:
    return next(n for n in found.notes if n.key_number == 40)


def _spoilt(found: Section, **entries: float) -> list[ConsistencyFinding]:
    """The slips of a healthy row with some entries (in the column's unit) written wrongly."""
    note = _healthy(found)
    assert note.row is not None
    si = {n: v * list_columns()[n].dimension.factor(list_columns()[n].label) for n, v in entries.items()}
    row = NoteRow(note.key_number, {**note.row.numbers, **si})
    return list(check_consistency(row, note.expected.unit))


def _now(found: Section, name: str) -> float:
    note, column = _healthy(found), list_columns()[name]
    assert note.row is not None
    return note.row.numbers[name] / column.dimension.factor(column.label)


@pytest.mark.parametrize(
    ("entry", "factor", "likely"),
    [
        ("pinning_hammer", 10, "pinning force, hammer: a decimal point"),
        ("pinning_key", 10, "pinning force, key (at the touch point): a decimal point"),
    ],
)
def test_a_pinning_force_ten_times_too_great_is_named(found: Section, entry: str, factor: float, likely: str) -> None:
    named = _spoilt(found, **{entry: factor * _now(found, entry)})
    assert any(s.likely.startswith(likely) and "down_weight" in s.entries for s in named)


def test_a_blow_ten_millimetres_over_is_named(found: Section) -> None:
    named = _spoilt(found, blow=_now(found, "blow") + 10)
    assert [s.likely.split(":")[0] for s in named] == ["blow"] and "ten millimetres over" in named[0].likely


def test_a_dip_with_its_figures_changed_over_does_not_go_with_the_blow(found: Section) -> None:
    (named,) = _spoilt(found, dip=12.2)
    assert {"blow", "dip", "aftertouch"} <= set(named.entries)


def test_swings_counted_both_ways_are_named(found: Section) -> None:
    note = _healthy(found)
    assert note.row is not None
    few = 6 * note.row.numbers["pinning_wippen"] / note.row.numbers["swings_wippen"]
    named = _spoilt(found, swings_wippen=40.0, pinning_wippen=few / 9.80665e-3)
    assert any("swings" in s.told for s in named)


def test_a_shank_heavier_than_its_hammer_does_not_go_together(found: Section) -> None:
    (named,) = _spoilt(found, shank_weight=_now(found, "hammer_weight"))
    assert named.entries == ("hammer_weight", "shank_weight")


def test_heights_and_bore_and_spread_are_held_together(found: Section) -> None:
    (named,) = _spoilt(found, string_height=244.4, hammer_centre_height=184.4, bore=50)
    assert set(named.entries) == {"string_height", "hammer_centre_height", "bore"}
    (named,) = _spoilt(found, hammer_centre_height=190, wippen_centre_height=70, spread=112.5)
    assert "spread" in named.entries
    assert not _spoilt(found, string_height=234.4, hammer_centre_height=184.4, bore=50)


def test_notes_between_those_that_were_read_lie_on_the_line_through_them() -> None:
    rows = tuple(
        NoteRow(k, {"hammer_weight": 9e-3 - 2e-5 * k, "let_off": find_usual_target(k)["let_off"] + 2e-4})
        for k in (30, 50)
    )
    lines = SectionLines.through(BenchSheet("two notes", rows))
    usual = [find_default("hammer.weight", k, False) for k in (30, 40, 50)]
    assert None not in usual
    off = [9e-3 - 2e-5 * k - u.value for k, u in zip((30, 50), (usual[0], usual[2]), strict=True) if u is not None]
    assert usual[1] is not None
    assert lines.parts_at(40).values["hammer.weight"][0] == pytest.approx(usual[1].value + np.mean(off))
    assert lines.targets_at(40)["let_off"] == pytest.approx(find_usual_target(40)["let_off"] + 2e-4)
    assert lines.parts_at(40).values["hammer.weight"][1] == "assumed"
    assert lines.parts_at(30).values["hammer.weight"][1] == "measured"


def test_heights_that_were_not_read_follow_those_that_were() -> None:
    row = NoteRow(40, {"hammer_centre_height": 0.190, "dip": 10.2e-3})
    one = analyse_section(BenchSheet("one", (row,)), look=False, repetition=False)
    unit = one.notes[0].as_found
    assert one.notes[0].expected.unmet == ()
    assert unit.nominal["rails.string_height"] == pytest.approx(0.240) and "rails.string_height" in unit.assumed


def test_a_section_can_be_stopped() -> None:
    sheet = BenchSheet("one", (NoteRow(40, {"dip": 10.2e-3}),))
    with pytest.raises(KeyboardInterrupt):
        analyse_section(sheet, range(30, 50), look=False, stop=lambda: True)


def test_a_note_without_a_reading_that_tells_is_no_outlier(found: Section) -> None:
    note = _healthy(found)
    assert not replace(note, found=None).outlier
