"""Tolerances shared out: against functions worked out by hand, slopes and squares, and units that fail."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from fnmatch import fnmatchcase
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from sim.bench.outcomes import Outcome
from sim.bench.reading_list import NamedReading
from sim.bench.readings import Settings, Strike, list_reading_fields
from sim.fields.field_paths import find_kind, index_fields
from sim.report.influence import sensitivity as sheet
from sim.studies import sensitivity
from sim.studies.adjustment_mode import (
    DEFAULT_TARGETS,
    HELD,
    REGULATED,
    StudyPoint,
    choose_adjustment_mode,
    find_target_path,
)
from sim.studies.influence import compute_influences
from sim.studies.sensitivity import analyse, compute_sensitivity
from sim.studies.tolerances import Tolerance, find_tolerance, load_entries
from sim.studies.variants import BaseScenario
from sim.unit.model import ActionUnit
from tests.tiers import try_each

DEMO = Path(__file__).resolve().parents[2] / "scenarios" / "concert-grand-natural.toml"
PATHS = ("rails.spread", "hammer.bore", "hammer.knuckle_set")
WIDTH = 1e-3
THREE = [Tolerance(path, WIDTH, False, "") for path in PATHS]


@cache
def origin() -> BaseScenario:
    return BaseScenario.of(DEMO)


@dataclass(frozen=True)
class Worked:
    """A unit that is a function of three numbers from -pi to pi, and of nothing else."""

    function: Callable[..., float | None]
    name: str = "a function"
    targets: Mapping[str, float] = field(default_factory=dict)
    turned: Mapping[str, str] = field(default_factory=dict)

    @property
    def unit(self) -> ActionUnit:
        return origin().ready

    @property
    def known(self) -> Mapping[str, float]:
        return {path: self.unit.nominal[path] for path in PATHS}

    def read(self, moved: Mapping[str, float], kind: str) -> StudyPoint:
        value = self.function(*(np.pi * (moved.get(p, si) - si) / WIDTH for p, si in self.known.items()))
        return StudyPoint(
            Outcome.PLAYS if value is not None else "fails", {"f": NamedReading("f", value, "", "f", None)}
        )


def ishigami(x: float, y: float, z: float) -> float:
    return float(np.sin(x) + 7 * np.sin(y) ** 2 + 0.1 * z**4 * np.sin(x))


FIRST, TOTAL = (0.3139, 0.4424, 0.0), (0.5576, 0.4424, 0.2437)
"""Ishigami & Homma (1990), a = 7, b = 0.1, by hand from its variances."""


def test_indices_of_a_known_function() -> None:
    (found,) = compute_sensitivity(Worked(ishigami), THREE, "weigh", ["f"], 1024).readings
    assert found.first == pytest.approx(FIRST, abs=0.05)
    assert found.total == pytest.approx(TOTAL, abs=0.05)
    assert max(error or 1.0 for error in found.first_error) < 0.15
    assert found.deviation == pytest.approx(np.sqrt(0.5 + 49 / 8 + 0.1 * np.pi**4 / 5 + 0.01 * np.pi**8 / 18), rel=0.03)


def test_units_that_fail_are_counted_and_whether_they_play_has_indices_of_its_own() -> None:
    """Failing in a quarter of the first input's range: all of that variance is the first input's."""
    d = compute_sensitivity(Worked(lambda x, y, z: None if x < -np.pi / 2 else y), THREE, "weigh", ["f"], 256)
    plays, reading = d.readings
    assert d.outcomes["fails"] == pytest.approx(d.runs / 4, rel=0.05) and sum(d.outcomes.values()) == 256 * 5
    assert plays.reading.name == "plays" and plays.mean == pytest.approx(0.75, abs=0.02)
    assert plays.first == pytest.approx((1.0, 0.0, 0.0), abs=0.1) and plays.total[1:] == (0.0, 0.0)
    assert reading.first == reading.total == (None, None, None), "the design has holes"
    assert reading.missing == pytest.approx(0.25, abs=0.02)
    assert "fails" in sheet.build_document(d)["outcomes"]


def test_one_unit_lost_takes_the_index_of_its_own_input_only() -> None:
    """Of the three mixed designs only the first one's fails: a value of the second half beside one of the first."""
    way = Worked(ishigami)
    n, seen = 64, sensitivity._build_design(way, THREE, 64)
    lost = {PATHS[k]: seen[2 * n + 5, k] for k in range(3)}

    class Losing(Worked):
        def read(self, moved: Mapping[str, float], kind: str) -> StudyPoint:
            return StudyPoint("fails", {}) if moved == lost else super().read(moved, kind)

    (whole,) = compute_sensitivity(way, THREE, "weigh", ["f"], n).readings
    plays, holed = compute_sensitivity(Losing(ishigami), THREE, "weigh", ["f"], n).readings
    assert holed.first == (None, *whole.first[1:]) and holed.total_error == (None, *whole.total_error[1:])
    assert plays.reading.name == "plays"


def test_stopping_ends_it() -> None:
    read = []
    way = Worked(lambda x, y, z: read.append(x) or x)
    with pytest.raises(KeyboardInterrupt):
        compute_sensitivity(way, THREE, "weigh", ["f"], 1024, stop=lambda: len(read) > 3)
    assert len(read) < 5 * 1024


def test_what_is_drawn_stays_within_its_field() -> None:
    """Frictions near nothing are cut off there; an address near nothing goes to both sides."""
    way = choose_adjustment_mode(HELD, origin())
    wide = [Tolerance("friction.jack", 1e-3, True, ""), Tolerance("settings.jack_address", 1e-3, True, "")]
    friction, address = sensitivity._build_design(way, wide, 64).T
    kind = find_kind("friction.jack")
    assert kind is not None and friction.min() == 0.0
    assert address.min() < -1e-3 and address.max() > 1e-3


@try_each("samples", (16, 32))
def test_tolerances_share_out_as_slopes_and_squares_say(samples: int) -> None:
    """For readings that answer evenly, the variance is the sum of (slope x deviation) squared."""
    paths = ("friction.key", "friction.hammer")
    found = analyse(origin(), paths, ["friction"], samples, screws=HELD)
    slopes = {a.path: a.slopes["friction"] for a in compute_influences(origin(), paths, ["friction"])}
    parts = []
    for given in found.inputs:
        slope = slopes[given.path].slope * 9.80665e-3 / 1e-3
        parts.append((slope * given.si) ** 2 * (1 if given.normal else 1 / 3))
    (indices,) = found.readings
    assert found.runs == samples * 4 and found.playing == 1.0
    assert indices.deviation == pytest.approx(np.sqrt(sum(parts)), rel=0.15)
    for part, total, error in zip(parts, indices.total, indices.total_error, strict=True):
        assert total == pytest.approx(part / sum(parts), abs=max(1.5 * (error or 0.0), 0.05))


def test_each_unit_is_regulated_to_what_is_drawn_and_read_by_the_bench() -> None:
    """Parts off by more than their tolerance, targets too: the slow press finds what was asked within 0.05 mm."""
    way = choose_adjustment_mode(REGULATED, origin())
    asked = {"blow": 0.3e-3, "dip": -0.2e-3, "let_off": 0.15e-3, "drop": -0.2e-3}
    moved = {find_target_path(t): way.targets[t] + by for t, by in asked.items()}
    moved |= {"rails.spread": way.known["rails.spread"] + 0.5e-3, "friction.hammer": way.known["friction.hammer"] * 1.4}
    found = way.read(moved, "predict")
    assert found.outcome == Outcome.PLAYS
    for target, si in way.targets.items():
        assert found.taken[target].value == pytest.approx(si + asked.get(target, 0.0), abs=0.3e-3 if
                                                          target == "checking_distance" else 5e-5)  # fmt: skip
    held = choose_adjustment_mode(HELD, origin()).read(
        {p: si for p, si in moved.items() if not p.startswith("targets.")}, "weigh"
    )
    assert held.outcome != Outcome.PLAYS, "with the screws held these parts fail"


def test_the_order_of_the_units_does_not_matter() -> None:
    way = choose_adjustment_mode(REGULATED, origin())
    one, other = ({"rails.spread": way.known["rails.spread"] + by} for by in (0.2e-3, -0.2e-3))
    first = way.read(one, "weigh")
    way.read(other, "weigh")
    assert way.read(one, "weigh") == first


@try_each("samples", (4, 8))
def test_what_follows_is_shared_out_between_parts_and_targets(samples: int) -> None:
    """Friction does not hang on the dip, nor the aftertouch on the key's friction.

    The dip makes the aftertouch, mm for mm: a uniform +- 0.25 mm deviates by 0.25 / sqrt 3.
    """
    only = ("friction.key", "targets.dip")
    d = analyse(origin(), only, ["friction", "aftertouch"], samples)
    friction, aftertouch = d.readings
    assert d.outcomes == {"plays": samples * 4} and d.screws == REGULATED
    assert friction.total[1] == pytest.approx(0.0, abs=0.01)
    assert aftertouch.total[0] == pytest.approx(0.0, abs=0.02)
    assert aftertouch.deviation == pytest.approx(0.25e-3 / np.sqrt(3), rel=0.1)


def test_a_wish_of_the_scenario_is_what_each_unit_is_regulated_to() -> None:
    """An aftertouch that is wished for takes the dip's place."""
    wishes = BaseScenario.of(DEMO, {"targets.aftertouch": "1.2 mm"})
    targets = choose_adjustment_mode(REGULATED, wishes).targets
    assert targets["aftertouch"] == pytest.approx(1.2e-3) and "dip" not in targets
    assert set(targets) == {"aftertouch", *DEFAULT_TARGETS} - {"dip"}


def test_targets_are_drawn_as_finely_as_the_bench_reads_them() -> None:
    stated = {n: meta["accuracy"] for record in (Strike, Settings) for n, meta in list_reading_fields(record).items()}
    for target in DEFAULT_TARGETS:
        assert find_tolerance(find_target_path(target), origin().ready).si == pytest.approx(stated[target] * 1e-3)


def test_tolerances_fit_fields_and_give_a_source() -> None:
    for entry in load_entries():
        assert entry.source
        assert any(fnmatchcase(path, entry.at) for path in index_fields()), f"{entry.at} is no field"


def test_a_unit_that_cannot_be_regulated_says_which_target() -> None:
    """On half the dip the jack does not escape: let-off, and all that comes after it, cannot be had."""
    way = choose_adjustment_mode(REGULATED, origin())
    found = way.read({"targets.dip": 5.5e-3}, "weigh")
    assert found.outcome.startswith(Outcome.NOT_REGULATED) and "let off" in found.outcome
    assert not found.taken
