"""The page of diagnosis: readings as they are taken, what they leave, the fault in motion, the fitted scenario."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from typing import TYPE_CHECKING

import pytest

from dashboard.session.work import Work
from sim.diagnosis.bench_tests import list_bench_tests, read_symptoms
from sim.diagnosis.faults import apply_faults, load_faults
from sim.diagnosis.inference import CauseGrid
from sim.diagnosis.observations import parse_typed_readings
from sim.display_units import convert_si, format_si, format_unit
from tests.app.numbers import get_unit
from tests.app.on_screen import Bench

if TYPE_CHECKING:
    import pandas as pd

    from sim.diagnosis.diagnose import Diagnosis

SLUGGISH = {"down_weight": "60 gf", "up_weight": "13.5 gf", "spring_rise": "1.5 mm", "slow_press": "plays"}


FEW = ("tight-hammer-centre", "tight-key", "dry-knuckle", "weak-spring", "heavy-hammer")


@cache
def grid() -> CauseGrid:
    """The library that the page keeps for all sessions: here of few faults at few severities."""
    from dashboard.session import results
    from sim.diagnosis import library

    few = {name: load_faults()[name] for name in FEW}
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(library, "load_faults", lambda: few)
        patch.setattr(library, "SEVERITIES", (0.0, 0.5, 1.0))
        return results.compute_fault_library(Work(), lambda done, what: None, lambda rough: None)


@pytest.fixture(scope="module", autouse=True)
def forget_library() -> Iterator[None]:
    """What others in this process diagnose with is the whole one."""
    from dashboard.session import results

    yield
    results._libraries.clear()


def found(texts: dict[str, str]) -> Diagnosis:
    from sim.diagnosis.diagnose import diagnose_evidence

    tests = grid().library.tests
    return diagnose_evidence(grid(), parse_typed_readings(texts, "readings", tests))


def enter(bench: Bench, texts: dict[str, str]) -> Bench:
    for name, text in texts.items():
        if list_bench_tests()[name].words:
            bench.choose(f"keep_diag_{name}", text)
        else:
            bench.type(f"keep_diag_{name}", text)
    return bench


def tables(bench: Bench) -> list[pd.DataFrame]:
    return [element.value for element in bench.at.dataframe]


def test_causes_are_those_of_the_python_interface_and_move_with_each_reading() -> None:
    from sim.report import diagnose as sheet

    grid()
    bench = enter(Bench().open("diagnose"), SLUGGISH).press("begin_library")
    now = found(SLUGGISH)
    assert sheet.format_verdict(now) in bench.words()
    assert list(tables(bench)[0]["cause"]) == [row["cause"] for row in sheet.build_cause_rows(now)]
    assert list(tables(bench)[0]["how likely"]) == [row["how likely"] for row in sheet.build_cause_rows(now)]
    assert list(tables(bench)[1]["test"]) == [row["test"] for row in sheet.build_next_test_rows(now)]
    more = {**SLUGGISH, "pinning_hammer": "4.5 gf"}
    bench.type("keep_diag_pinning_hammer", more["pinning_hammer"])
    assert sheet.format_verdict(found(more)) in bench.words() and sheet.format_verdict(now) not in bench.words()


def test_nonsense_is_said_at_once_and_what_was_typed_stays() -> None:
    bench = enter(Bench().open("diagnose"), {"down_weight": "20 gf", "up_weight": "40 gf"})
    assert "the two were probably changed over" in bench.errors()
    assert not [b for b in bench.at.button if b.key == "begin_library"]
    bench.open("predict").open("diagnose")
    assert bench.at.text_input(key="keep_diag_down_weight").value == "20 gf"
    bench.type("keep_diag_down_weight", "60 gf")
    assert not bench.errors()


def test_action_out_makes_its_tests_cheaper() -> None:
    from sim.diagnosis.diagnose import diagnose_evidence
    from sim.report import diagnose as sheet

    grid()
    bench = enter(Bench().open("diagnose"), SLUGGISH).press("begin_library")
    bench.at.checkbox(key="keep_diag_out").set_value(True)
    bench.run()
    out = diagnose_evidence(grid(), parse_typed_readings(SLUGGISH, "readings", grid().library.tests), out=True)
    assert list(tables(bench)[1]["cost"]) == [row["cost"] for row in sheet.build_next_test_rows(out)]


@pytest.mark.parametrize(("name", "data", "says"), [
    ("note.csv", b"reading,value\ndown_weight,60 gf\nup_weight,13.5 gf\n", ""),
    ("note.toml", b'[readings]\nup_weight = "13.5 gf"\ndown_weight = "60 gf"\n', ""),
    ("note.csv", b"\x89PNG\0", "binary data"),
    ("note.toml", b'[readings]\nblow = "4.45 mm"\n', "44.5 mm?"),
])  # fmt: skip
def test_a_sheet_that_is_handed_over_fills_the_fields(name: str, data: bytes, says: str) -> None:
    bench = Bench().open("diagnose").type("keep_diag_down_weight", "51 gf")
    bench.at.file_uploader(key="sheet_up").set_value((name, data, "text/plain"))
    bench.run()
    if says:
        assert says in bench.errors() and bench.at.text_input(key="keep_diag_down_weight").value == "51 gf"
    else:
        assert bench.at.text_input(key="keep_diag_down_weight").value == "60 gf"
        assert bench.at.text_input(key="keep_diag_up_weight").value == "13.5 gf"


def test_suspected_fault_moves_beside_the_healthy_unit() -> None:
    from dashboard.session import results

    grid()
    bench = enter(Bench().open("diagnose"), SLUGGISH).press("begin_library")
    name = bench.at.selectbox(key="suspected").value
    severity = round(found(SLUGGISH).listed[0].severity[0], 2)
    shown = results.compute_suspect(Work(), name, severity, "moderate")
    assert shown.unit.friction == apply_faults(get_unit(Work()), [(name, severity)]).friction
    assert shown.stroke is not None and "ghost" in bench.words()


def test_a_healthy_note_is_fitted_and_put_on_the_bench() -> None:
    grid()
    tests, true = list_bench_tests(), read_symptoms(get_unit(Work().with_control("friction.hammer", 1.25e-3)))
    first = {n: v for n, v in true.numbers.items() if tests[n].first and v is not None}
    texts = {n: f"{convert_si(v, tests[n].unit):.4g} {format_unit(tests[n].unit)}" for n, v in first.items()}
    bench = enter(Bench().open("diagnose"), texts).press("begin_library").press("begin_fit")
    shown = next(t for t in tables(bench) if "fitted" in t).set_index("reading")
    wanted = format_si(first["down_weight"], "gf")
    assert abs(float(shown.loc["down weight", "fitted"].split()[0]) - float(wanted.split()[0])) < 1.0
    bench.press("bench_fitted")
    assert bench.state.work.base == "fitted.toml" and "uncertainty" in bench.state.work.text
    bench.press("undo")
    assert bench.state.work == Work()


def test_a_note_that_is_not_healthy_is_not_fitted() -> None:
    grid()
    bench = enter(Bench().open("diagnose"), {"down_weight": "80 gf", "up_weight": "5 gf"})
    bench.press("begin_library").press("begin_fit")
    assert "diagnose it first" in bench.errors()
