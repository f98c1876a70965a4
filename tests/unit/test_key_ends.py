"""Key ends against the damper blocking: what clears, by how much, and named reasons, from lengths by hand."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import pytest

from sim.piano import piano
from sim.piano import sheet as piano_sheet
from sim.piano.key_ends import KeyEnd
from sim.scenario.load import load
from sim.unit.model import ActionUnit

DEMO = Path(__file__).parents[2] / "scenarios" / "concert-grand-natural.toml"
ENDS = """
name = "Ends"
[sections.bass.1.piano]
string_height = "237 mm"
strike_line = "523 mm"
{piano}
[sections.bass.1.bench]
{bench}
[sections.bass.20.piano]
string_height = "234 mm"
strike_line = "523 mm"
"""


@cache
def unit() -> ActionUnit:
    """Key 255 mm from pin to rear end, 263 to its front; 41.5 mm over the bed, 24 thick; rail 42 behind its centre."""
    return load(DEMO, {"key.thickness": "24 mm", "rails.wippen_rail_rear": "42 mm"})


def end(bench: str = "", **piano_readings: str) -> tuple[KeyEnd, tuple[str, ...]]:
    text = "\n".join(f'{name} = "{value}"' for name, value in piano_readings.items())
    sheet = piano_sheet.parse_sheet(ENDS.format(piano=text, bench=bench))
    (n,) = piano.evaluate_notes(sheet, unit(), (1,))
    return n.key_end, n.remarks


def test_clears_by_places_and_lengths() -> None:
    """Blocking at 552, stop at 285: 267 behind the pins, less 255 of key is 12, less 188.44 and 42 of rail 36.56."""
    found, remarks = end(damper_blocking="552 mm", action_stop="285 mm")
    assert found.reckoned == pytest.approx(12e-3, abs=1e-9) and found.rail == pytest.approx(36.56e-3, abs=1e-6)
    assert found.clears and found.verdict == "clears by 12.0 mm" and not remarks


def test_what_does_not_clear_is_named_with_what_would_change() -> None:
    found, remarks = end(damper_blocking="540.5 mm", action_stop="285 mm")
    assert found.clears is False and found.verdict == "DOES NOT CLEAR"
    (told,) = remarks
    assert "0.5 mm from the damper blocking" in told and "1.5 mm shorter" in told and "was not read" in told
    rail, remarks = end(damper_blocking="516.5 mm", action_stop="285 mm", key_end_clearance="15 mm")
    assert rail.clears is False and any("wippen rail stands 1.1 mm" in r and "0.9 mm narrower" in r for r in remarks)


@pytest.mark.parametrize(("height", "room", "clears"), [("80 mm", 4.13, True), ("77 mm", 1.13, False)])
def test_a_key_may_pass_under_the_blocking(height: str, room: float, clears: bool) -> None:
    """End at rest 41.5 + 24 = 65.5 mm up; deepest usual dip of 10.7 mm lifts it by 10.7 * 255/263 = 10.37."""
    found, remarks = end(damper_blocking="535 mm", action_stop="285 mm", damper_blocking_height=height)
    assert found.reckoned == pytest.approx(-5e-3, abs=1e-9)
    assert found.under == pytest.approx(room * 1e-3, abs=0.01e-3) and found.clears is clears
    assert (found.verdict == "passes under by 4.1 mm") is clears
    assert clears or any("its underside is 1.1 mm over the key's end" in r for r in remarks)
    read, _ = end(damper_blocking="535 mm", action_stop="285 mm", damper_blocking_height=height,
                  key_end_height="64.5 mm")  # fmt: skip
    assert read.under == pytest.approx((room + 1) * 1e-3, abs=0.01e-3), "read, the end's height wins over reckoning"


def test_the_benchs_reading_is_carried_over_to_the_piano() -> None:
    """9 mm to a mark 265 behind the pins is 11 mm to a blocking 267 behind them."""
    bench = 'damper_blocking = "565 mm"\naction_stop = "300 mm"\nkey_end_clearance = "9 mm"'
    found, remarks = end(bench, damper_blocking="552 mm", action_stop="285 mm")
    assert found.again == pytest.approx(9e-3) and found.carried == pytest.approx(11e-3)
    assert found.level == found.carried and not remarks
    both, remarks = end(bench, damper_blocking="552 mm", action_stop="285 mm", key_end_clearance="14 mm")
    assert both.level == pytest.approx(14e-3)
    assert any("14.0 mm from the blocking, 11.0 mm from the reading at the bench" in r for r in remarks)


@pytest.mark.parametrize(("clearance", "word"), [("20 mm", "12.0 mm reckoned"), ("1 mm", "at least 2.0 mm")])
def test_contradicting_readings_are_remarked(clearance: str, word: str) -> None:
    """Blocking at 552 less stop 285 less key 255 leaves 12 mm: read as 20 mm or as 1 mm, it is said."""
    _, remarks = end(damper_blocking="552 mm", action_stop="285 mm", key_end_clearance=clearance)
    assert any(word in remark for remark in remarks), remarks


def test_nothing_read_is_said() -> None:
    found, remarks = end()
    assert found.level is None and found.clears is None and found.verdict == "not read" and not remarks
