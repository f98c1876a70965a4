"""Studies: what varies, what a row holds, stopping and going on, and a cluster in place of the cores."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from concurrent.futures import Executor, Future
from contextlib import nullcontext
from pathlib import Path

import pyarrow.parquet
import pytest

import sim
from sim import fingerprint
from sim.__main__ import main
from sim.bench.outcomes import Outcome
from sim.cli.command import ExitCode
from sim.display_units import convert_si
from sim.errors import InputError
from sim.report.batch import StudyTable
from sim.studies import batch, cluster
from sim.studies.batch import Row, Study, run_study
from sim.studies.parameter_grid import build_grid, parse_span
from sim.studies.variants import BaseScenario
from tests.tiers import FULL

DEMO = "concert-grand-natural"
SOURCES = fingerprint.compute_version()
"""Of the modules that these tests have loaded."""
SPRINGS = parse_span("springs.repetition=30..36 N·mm/4")
KNUCKLES = parse_span("hammer.knuckle_set=17 mm,90 mm")


def study(kind: str = "weigh", *varied: tuple[str, list[str]]) -> Study:
    return Study(BaseScenario.of(DEMO), build_grid(varied or (SPRINGS,)), kind)


def made(of: Study, **options: object) -> list[Row]:
    rows: list[Row] = []
    run_study(of, rows.extend, **options)  # type: ignore[arg-type]
    return sorted(rows, key=lambda row: int(row["row"] or 0))


def read(path: Path) -> list[Row]:
    return list(pyarrow.parquet.read_table(path).to_pylist())


def test_a_row_is_its_input_its_readings_and_what_made_it() -> None:
    """Laid beside the Python verbs, which know nothing of studies."""
    row = made(study())[1]
    unit = sim.load(DEMO, {"springs.repetition": "32 N·mm"})
    weights, settings, _ = sim.weigh(unit)
    assert row["springs.repetition_Nmm"] == pytest.approx(32.0, rel=1e-12)
    assert row["down_weight_gf"] == convert_si(weights.down_weight, "gf")
    assert row["let_off_mm"] == convert_si(settings.let_off, "mm")
    assert (row["outcome"], row["kind"], row["made_by"]) == (Outcome.PLAYS, "weigh", fingerprint.compute_version())
    assert json.loads(str(row["overrides"])) == {"springs.repetition": "32 N·mm"}
    for path in unit.nominal:
        assert any(name == path or name.startswith(f"{path}_") for name in row), path


def test_an_input_that_makes_no_sense_is_a_row_that_says_so() -> None:
    rows = made(study("weigh", KNUCKLES))
    assert [str(row["outcome"]).partition(":")[0] for row in rows] == [Outcome.PLAYS, Outcome.REFUSED]
    assert "hammer.knuckle_set" in str(rows[1]["outcome"]) and "10 to 25 mm" in str(rows[1]["outcome"])


def test_a_unit_that_cannot_play_is_a_row_with_its_outcome() -> None:
    rows = made(study("weigh", parse_span("settings.let_off_button=12 mm,5.27 mm")))
    assert rows[0]["outcome"] != Outcome.PLAYS and not str(rows[0]["outcome"]).startswith(Outcome.REFUSED)
    assert rows[0]["let_off_mm"] is None and isinstance(rows[0]["blow_mm"], float)
    assert rows[1]["outcome"] == Outcome.PLAYS


def test_a_study_without_sense_is_refused_as_a_whole() -> None:
    with pytest.raises(InputError, match="10 to 25 mm"):
        made(study("weigh", parse_span("hammer.knuckle_set=90 mm,95 mm")))
    with pytest.raises(InputError, match="one row or more"):
        made(Study(BaseScenario.of(DEMO), (), "weigh"))


def test_one_thread_and_two_make_the_same() -> None:
    assert made(study(), workers=1) == made(study(), workers=2)


def test_the_same_input_twice_is_made_once() -> None:
    twice = Study(BaseScenario.of(DEMO), ({"friction.key": "1 N·mm"}, {"friction.key": "1 N·mm"}), "weigh")
    rows: list[Row] = []
    done = run_study(twice, rows.extend)
    assert len(rows) == done.made == 1 and done.known == 1


def stopping_after(count: int) -> object:
    """A stop that says so at its count-th asking."""
    asked = iter(range(1, 10**6))
    return lambda: next(asked) > count


def test_stopped_and_gone_on_with_is_the_same_table(tmp_path: Path) -> None:
    whole = study("weigh", parse_span("springs.repetition=30..36 N·mm/9"))
    path = tmp_path / "springs.parquet"
    first = StudyTable(path, {})
    done = run_study(whole, first.keep, stop=stopping_after(3), workers=1)  # type: ignore[arg-type]
    first.gather()
    before = read(path)
    assert done.stopped and 0 < len(before) == done.made < 9
    second = StudyTable(path, {})
    asked: list[Sequence[Row]] = []
    rest = run_study(whole, lambda rows: (asked.append(rows), second.keep(rows))[0], second.known)
    second.gather()
    assert rest.made == 9 - done.made == sum(len(rows) for rows in asked) and not rest.stopped
    after = read(path)
    assert [row["row"] for row in after] == list(range(9))
    assert [{n: row[n] for n in other} for row, other in zip(after, made(whole), strict=True)] == made(whole)
    assert not (tmp_path / "springs.parquet.parts").exists()


def test_parts_left_by_a_run_that_was_killed_are_taken_up(tmp_path: Path) -> None:
    path = tmp_path / "springs.parquet"
    rows = made(study())
    StudyTable(path, {}).keep(rows[:2])  # and never gathered
    again = StudyTable(path, {})
    assert again.known == {row["mark"] for row in rows[:2]}
    again.keep(rows[2:])
    assert again.gather() == 4 and len(read(path)) == 4


def test_another_version_makes_its_rows_anew(monkeypatch: pytest.MonkeyPatch) -> None:
    marks = {study().mark(row) for row in study().rows}
    monkeypatch.setattr(batch, "compute_version", lambda: "0.0.0+other")
    assert marks.isdisjoint(study().mark(row) for row in study().rows)


def test_marks_tell_every_input_apart() -> None:
    one, row = study(), {"friction.key": "1 N·mm"}
    others = [
        one.mark({"friction.key": "2 N·mm"}),
        study("strike").mark(row),
        Study(BaseScenario.of(DEMO, {"friction.jack": "0 N·mm"}), (), "weigh").mark(row),
        Study(BaseScenario.of("treble"), (), "weigh").mark(row),
    ]
    assert len({one.mark(row), *others}) == 5


def test_what_is_no_table_is_not_overwritten(tmp_path: Path) -> None:
    path = tmp_path / "notes.parquet"
    path.write_text("not a table", encoding="utf-8")
    with pytest.raises(InputError, match="name another file"):
        StudyTable(path, {})
    assert path.read_text(encoding="utf-8") == "not a table"


def test_another_kind_of_table_is_not_added_to(tmp_path: Path) -> None:
    path = tmp_path / "other.parquet"
    pyarrow.parquet.write_table(pyarrow.table({"mark": ["a"], "made_by": ["b"], "row": ["first"]}), path)
    with pytest.raises(InputError, match="name another file"):
        StudyTable(path, {})


def test_rows_of_two_scenarios_in_one_table_keep_their_own_inputs(tmp_path: Path) -> None:
    path = tmp_path / "both.parquet"
    for scenario in (DEMO, "treble"):
        of = Study(BaseScenario.of(scenario), ({},), "weigh")
        table = StudyTable(path, batch.list_scenario_inputs(of.origin.leaves))
        run_study(of, table.keep, table.known)
        assert table.gather()
    numbers = {json.loads(str(row["scenario_inputs"]))["key_number"] for row in read(path)}
    assert numbers == {row["key_number"] for row in read(path)} and len(numbers) == 2


def test_a_cluster_that_goes_away_leaves_what_was_made(monkeypatch: pytest.MonkeyPatch) -> None:
    """As a Dask client does when its scheduler is gone: what is under way is cancelled."""

    class Leaving(Executor):
        def __init__(self) -> None:
            self.given = 0

        def submit(self, work: Callable[..., Row], /, *args: object, **options: object) -> Future[Row]:
            future: Future[Row] = Future()
            self.given += 1
            if self.given > 2:
                future.cancel()
                future.set_running_or_notify_cancel()
            else:
                future.set_result(work(*args))
            return future

    monkeypatch.setattr(batch, "_pool", lambda scheduler, workers: nullcontext((Leaving(), 1)))
    rows: list[Row] = []
    done = run_study(study(), rows.extend)
    assert (done.lost, done.stopped, done.made, len(rows)) == (True, True, 2, 2)


def test_workers_without_the_package_are_told_by_name() -> None:
    class Client:
        def run(self, asked: object, on_error: str) -> dict[str, object]:
            return {
                "tcp://10.0.0.7:1": fingerprint.compute_version(),
                "tcp://10.0.0.8:1": ModuleNotFoundError("No module named 'sim'"),
            }

    with pytest.raises(InputError, match="workers that have this package"):
        cluster._check_versions(Client(), "tcp://10.0.0.5:8786")


def test_command_writes_a_table_and_goes_on(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    path = tmp_path / "out.parquet"
    asked = ("batch", DEMO, "--vary", "springs.repetition=30..36 N·mm/3", "--kind", "strike", "--out", str(path))
    assert main(asked) == ExitCode.FINE
    assert "3 made now" in capsys.readouterr().err
    assert main(asked) == ExitCode.FINE
    assert "0 made now (0 refused), 3 there before" in capsys.readouterr().err
    rows = read(path)
    assert len(rows) == 3 and all(isinstance(row["moderate_hammer_speed_m_s"], float) for row in rows)
    whole = json.loads(str(rows[0]["scenario_inputs"]))
    assert whole["hammer.bore"], "what the scenario says goes with each row"


@pytest.mark.parametrize(
    ("argv", "told"),
    [
        (("--vary", "springs.repetitio=1..2 N·mm/2", "--out", "t.parquet"), "did you mean springs.repetition"),
        (("--vary", "hammer.knuckle_set=90..95 mm/2", "--out", "t.parquet"), "10 to 25 mm"),
        (("--vary", "friction.key=1..2 N·mm/2", "--out", "t.csv"), ".parquet"),
        (("--vary", "friction.key=1..2 N·mm/2", "--out", "nowhere/t.parquet"), "make the folder"),
        (("--table", "missing.csv", "--out", "t.parquet"), "missing.csv"),
        (("--vary", "friction.key=1 N·mm", "--vary", "friction.key=2 N·mm", "--out", "t.parquet"), "named twice"),
        (
            ("--vary", "friction.key=1 N·mm", "--out", "t.parquet", "--scheduler", "tcp://nowhere"),
            "tcp://10.0.0.5:8786",
        ),
    ],
)
def test_command_refuses_by_name(
    capsys: pytest.CaptureFixture[str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    argv: tuple[str, ...],
    told: str,
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(("batch", DEMO, *argv)) == ExitCode.BAD_INPUT
    assert told in capsys.readouterr().err
    assert not list(tmp_path.iterdir()), "nothing is written"


@FULL
@pytest.mark.skipif(sys.platform == "win32", reason="no signal of this kind to send there")
def test_interrupted_by_hand_it_leaves_a_readable_table(tmp_path: Path) -> None:
    path = tmp_path / "long.parquet"
    command = [sys.executable, "-m", "sim", "batch", DEMO, "--vary", "springs.repetition=30..36 N·mm/5000"]
    child = subprocess.Popen(
        [*command, "--kind", "strike", "--out", str(path)], stderr=subprocess.PIPE, text=True, cwd=os.getcwd()
    )
    parts = tmp_path / "long.parquet.parts"
    while child.poll() is None and not list(parts.glob("part-*")):
        time.sleep(0.05)
    child.send_signal(signal.SIGINT)
    _, err = child.communicate(timeout=60)
    assert child.returncode == ExitCode.INTERRUPTED, err
    assert "goes on from here" in err
    rows = read(path)
    assert 0 < len(rows) < 5000 and all(row["outcome"] == Outcome.PLAYS for row in rows)
    assert sorted(os.listdir(tmp_path)) == ["long.parquet"]


def test_without_the_extra_the_remedy_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(InputError, match=r"action-unit-sim\[cluster\]"), cluster.connect_executor("tcp://127.0.0.1:1"):
        pass


@FULL
@pytest.mark.filterwarnings("default")
def test_a_cluster_of_two_workers_makes_the_same_rows(monkeypatch: pytest.MonkeyPatch) -> None:
    """A scheduler and two worker processes on this machine, reached by address as any other."""
    if fingerprint.compute_version.__wrapped__() != SOURCES:
        pytest.skip("the sources were edited after these tests began: workers would be of another version")
    distributed = pytest.importorskip("distributed", reason="THE CLUSTER IS NOT TRIED: install the extra 'cluster'")
    here = study("weigh", parse_span("springs.repetition=30..36 N·mm/6"), KNUCKLES)
    options = {"n_workers": 2, "threads_per_worker": 1, "processes": True, "dashboard_address": "127.0.0.1:0"}
    with distributed.LocalCluster(**options) as running:
        address = running.scheduler_address
        seen = []
        there = made(here, scheduler=address, progress=lambda share, what: seen.append(share))
        assert there == made(here)
        assert seen == sorted(seen) and seen[-1] == 1.0
        monkeypatch.setattr(cluster, "compute_version", lambda: "0.0.0+other")
        with pytest.raises(InputError, match="the same version"):
            made(study(), scheduler=address)


def test_kinds_are_those_of_the_bench() -> None:
    from sim.bench.reading_list import READING_KINDS

    assert batch.BATCH_KINDS == READING_KINDS
