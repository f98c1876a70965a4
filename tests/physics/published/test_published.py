"""Every row of shared/published.toml: on the healthy unit, check by check, and over the drawn units as the report does.

Sources, tags, gates and the reasons of misses stand in that file.  A check that misses stays a miss,
with its reason, in the report and in the README; nothing is tuned until it passes.
"""

from __future__ import annotations

from functools import cache

import pytest

from sim.studies.variants import BaseScenario
from sim.unit.model import ActionUnit
from sim.validation.evidence import SEED, UNITS, draw_specimen_unit, gather_evidence, measure_check
from sim.validation.published import MEASURES, CheckResult, PublishedCheck, load_rows
from sim.validation.specimen import Specimen
from tests.refresh_readme import README, list_evidence_lines, markdown
from tests.tiers import FULL

HELD = [(row.title, check) for row in load_rows() for check in row.checks if check.gate is not None and not check.miss]


@cache
def demo() -> ActionUnit:
    return BaseScenario.of("concert-grand-natural").ready


@cache
def specimen() -> Specimen:
    return Specimen(demo())


@pytest.mark.parametrize(("title", "check"), HELD, ids=[f"{title}, {check.what}" for title, check in HELD])
def test_healthy_unit_lies_inside(title: str, check: PublishedCheck) -> None:
    """Checks without a reason to miss, on the unit that the others are drawn about."""
    value = measure_check(specimen(), check)
    assert check.inside(value), f"{title}, {check.what}: {value}, gate {check.gate} {check.unit}"


@FULL
def test_rows_over_healthy_units() -> None:
    """Each miss has its reason, no reason is stale, and the README shows these very verdicts."""
    found = gather_evidence(demo(), UNITS, SEED)
    assert not found.unexplained, "missed, and no reason is written in shared/published.toml:\n" + "\n".join(
        found.unexplained
    )
    assert not found.stale, "met, but a reason to miss is still written in shared/published.toml:\n" + "\n".join(
        found.stale
    )
    shown = [line.split("|")[1:2] + line.split("|")[-2:-1] for line in list_evidence_lines(README.read_text("utf-8"))]
    told = [line.split("|")[1:2] + line.split("|")[-2:-1] for line in list_evidence_lines(markdown(found))]
    assert shown == told, "verdicts changed: python tests/refresh_readme.py"


def test_same_seed_draws_the_same_units() -> None:
    assert draw_specimen_unit(demo(), 7, 3)[0].unit == draw_specimen_unit(demo(), 7, 3)[0].unit


@pytest.mark.parametrize(
    ("change", "measure", "options"),
    [
        ({"friction.hammer": "3.5 N·mm"}, "weighed", {"reading": "friction"}),
        ({"key.front_weight": "8 g"}, "weighed", {"reading": "balance_weight"}),
        ({"contacts.string.stiffness": "20%"}, "played", {"quantity": "contact_time"}),
        ({"hammer.shank_stiffness": "3000 N/m"}, "mode", {"root_held": True}),
        ({"touch.struck_height": "1 mm"}, "struck_less_pressed", {"v": 1.0}),
        ({"settings.let_off_button": "8 mm"}, "out_of_order", {"v": 1.0}),
        ({"springs.jack": "10%"}, "repeats", {"rate": 12.0}),
    ],
)
def test_spoiled_unit_misses(change: dict[str, str], measure: str, options: dict[str, object]) -> None:
    """The gates bite: a unit that is not a healthy one is told as a miss."""
    check = next(
        c for row in load_rows() for c in row.checks if c.measure == measure and options.items() <= c.options.items()
    )
    unit = BaseScenario.of("concert-grand-natural", change).ready
    found = CheckResult(check, (measure_check(Specimen(unit), check),))
    assert found.verdict == "miss", f"{check.what}: {found.middle}, gate {check.gate}"


def test_every_measure_is_used() -> None:
    assert {c.measure for row in load_rows() for c in row.checks} == set(MEASURES)
