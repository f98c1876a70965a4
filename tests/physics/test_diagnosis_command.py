"""The commands that diagnose and repin, as a user types them."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from sim.cli.command import ExitCode
from sim.diagnosis import library as library_of
from sim.diagnosis.library import Library
from sim.studies import repinning
from sim.unit.model import ActionUnit
from tests.physics.test_diagnosis import both, unit
from tests.tiers import FULL, try_each
from tests.unit.test_command_line import DEMO, READ, run, strict


@pytest.fixture
def shared(monkeypatch: pytest.MonkeyPatch) -> None:
    """The command is given the libraries that other tests of this worker have made of the same unit."""

    def given(of: ActionUnit, say: object, early: Callable[[Library], None]) -> Library:
        assert of == unit()
        early(both()[0])
        return both()[1]

    monkeypatch.setattr(library_of, "compute_library", given)


@FULL
def test_the_command_makes_the_library_of_its_own_unit(capsys: pytest.CaptureFixture[str]) -> None:
    asked = ("diagnose", DEMO, "--readings", READ, "--json")
    assert strict(run(capsys, *asked)[1])["causes"][0]["fault"] == "tight-hammer-centre"


@pytest.mark.usefixtures("shared")
def test_diagnosis_as_json_and_as_tables(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, err = run(capsys, "diagnose", DEMO, "--readings", READ, "--json")
    found = strict(out)
    assert code == ExitCode.FINE and "first list: " in err
    assert found["read"]["down_weight_gf"] == pytest.approx(60.0)
    assert found["causes"][0]["fault"] == "tight-hammer-centre" and 0 <= found["causes"][0]["probability"] <= 1
    assert found["next"] and all(t["cost_s"] > 0 and t["outcomes"] for t in found["next"][:3])


@try_each("draws", (0, repinning.DRAWS))
def test_repinning_is_told_and_a_centre_that_is_none_refused(
    draws: int, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(repinning, "DRAWS", draws)
    code, out, _ = run(capsys, "friction", DEMO, "--set", "friction.hammer=3 N·mm", "--repin", "hammer=3 gf", "--json")
    found = strict(out)
    assert code == ExitCode.FINE and found["outcome_now"] == "plays"
    assert found["readings"]["down_weight_gf"]["repinned"] < found["readings"]["down_weight_gf"]["now"]


@pytest.mark.usefixtures("shared")
def test_a_healthy_note_gives_a_scenario_that_predicts_what_was_read(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    read, fitted = tmp_path / "read.csv", tmp_path / "fitted.toml"
    read.write_text("reading,value\ndown_weight,50 gf\nup_weight,23.5 gf\nlet_off,1.8 mm\n", encoding="utf-8")
    code, out, _ = run(capsys, "diagnose", DEMO, "--readings", str(read), "--calibrate", str(fitted))
    assert code == ExitCode.FINE and "down weight" in out
    code, out, _ = run(capsys, "weigh", str(fitted), "--json")
    assert strict(out)["down_weight_gf"] == pytest.approx(50.0, abs=1.0)
