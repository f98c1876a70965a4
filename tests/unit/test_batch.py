"""Studies: what varies, what a row holds, stopping and going on, and a cluster in place of the cores."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Sequence
from pathlib import Path

import pyarrow.parquet
import pytest

import sim
from sim.__main__ import main
from sim.bench import edge
from sim.cli import commands
from sim.errors import InputError
from sim.sheets.batch_table import Table
from sim.workshop import batch, cluster, stamp
from sim.workshop.batch import Row, Study, run
from sim.workshop.variants import Origin
from sim.workshop.varied import grid, of_table, values_of

DEMO = "concert-grand-natural"
SPRINGS = values_of("springs.repetition=30..36 N·mm/4")
KNUCKLES = values_of("hammer.knuckle_set=17 mm,90 mm")


def study(kind: str = "weigh", *varied: tuple[str, list[str]]) -> Study:
    return Study(Origin.of(DEMO), grid(varied or (SPRINGS,)), kind)


def made(of: Study, **options: object) -> list[Row]:
    rows: list[Row] = []
    run(of, rows.extend, **options)  # type: ignore[arg-type]
    return sorted(rows, key=lambda row: int(row["row"] or 0))


def read(path: Path) -> list[Row]:
    return list(pyarrow.parquet.read_table(path).to_pylist())


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("springs.repetition=30..36 N·mm/4", ["30 N·mm", "32 N·mm", "34 N·mm", "36 N·mm"]),
        ("springs.repetition=85%..115%/3", ["85 %", "100 %", "115 %"]),
        ("rails.spread=4 3/8 in..4 1/2 in/2", ["111.125 mm", "114.3 mm"]),
        ("friction.capstan_of_none=1", None),
        ("contacts.capstan.friction=0.1..0.3/3", ["0.1", "0.2", "0.3"]),
        ("key.sharp=true,false", ["true", "false"]),
    ],
)
def test_what_varies_is_read(text: str, expected: list[str] | None) -> None:
    if expected is None:
        with pytest.raises(InputError, match="no such field"):
            values_of(text)
    else:
        assert values_of(text) == (text.partition("=")[0], expected)


@pytest.mark.parametrize(
    "text",
    [
        "springs.repetition", "springs.repetition=", "springs.repetition=30..36 N·mm", "springs.repetition=30..36 g/3",
        "springs.repetition=30..36 N·mm/1", "springs.repetition=30..36 N·mm/x", "springs.repetition=..36 N·mm/3",
        "key.sharp=true..false/2", "key.leads=1", "rails.spread=nan..1 mm/3",
    ],
)  # fmt: skip
def test_what_is_no_span_is_refused(text: str) -> None:
    with pytest.raises(InputError):
        values_of(text)


def test_every_combination_the_last_fastest() -> None:
    rows = grid([("friction.key", ["1 N·mm", "2 N·mm"]), ("friction.jack", ["0 N·mm", "1 N·mm", "2 N·mm"])])
    assert len(rows) == 6
    assert rows[1] == {"friction.key": "1 N·mm", "friction.jack": "1 N·mm"}


def test_a_table_names_paths_and_leaves_out_what_is_empty(tmp_path: Path) -> None:
    file = tmp_path / "units.csv"
    file.write_text("springs.repetition,friction.lever\n30 N·mm,1 N·mm\n90%,\n", encoding="utf-8")
    assert of_table(file) == (
        {"springs.repetition": "30 N·mm", "friction.lever": "1 N·mm"},
        {"springs.repetition": "90%"},
    )


@pytest.mark.parametrize("text", ["", "springs.repetition\n", "springs.repetitio\n1\n", "friction.key\n1 N·mm,2\n"])
def test_a_table_that_is_none_is_refused(tmp_path: Path, text: str) -> None:
    file = tmp_path / "units.csv"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(InputError):
        of_table(file)


def test_a_row_is_its_input_its_readings_and_what_made_it() -> None:
    """Laid beside the Python verbs, which know nothing of studies."""
    row = made(study())[1]
    unit = sim.load(DEMO, {"springs.repetition": "32 N·mm"})
    weights, settings, _ = sim.weigh(unit)
    assert row["springs.repetition_Nmm"] == pytest.approx(32.0, rel=1e-12)
    assert row["down_weight_gf"] == edge.number(weights.down_weight, "gf")
    assert row["let_off_mm"] == edge.number(settings.let_off, "mm")
    assert (row["outcome"], row["kind"], row["made_by"]) == ("plays", "weigh", stamp.version())
    assert json.loads(str(row["overrides"])) == {"springs.repetition": "32 N·mm"}
    for path in unit.nominal:
        assert any(name == path or name.startswith(f"{path}_") for name in row), path


def test_an_input_that_makes_no_sense_is_a_row_that_says_so() -> None:
    rows = made(study("weigh", KNUCKLES))
    assert [str(row["outcome"]).partition(":")[0] for row in rows] == ["plays", "refused"]
    assert "hammer.knuckle_set" in str(rows[1]["outcome"]) and "10 to 25 mm" in str(rows[1]["outcome"])


def test_a_unit_that_cannot_play_is_a_row_with_its_outcome() -> None:
    rows = made(study("weigh", values_of("settings.let_off_button=12 mm,5.27 mm")))
    assert rows[0]["outcome"] != "plays" and not str(rows[0]["outcome"]).startswith("refused")
    assert rows[0]["let_off_mm"] is None and isinstance(rows[0]["blow_mm"], float)
    assert rows[1]["outcome"] == "plays"


def test_a_study_without_sense_is_refused_as_a_whole() -> None:
    with pytest.raises(InputError, match="10 to 25 mm"):
        made(study("weigh", values_of("hammer.knuckle_set=90 mm,95 mm")))
    with pytest.raises(InputError, match="one row or more"):
        made(Study(Origin.of(DEMO), (), "weigh"))


def test_one_thread_and_two_make_the_same() -> None:
    assert made(study(), workers=1) == made(study(), workers=2)


def test_the_same_input_twice_is_made_once() -> None:
    twice = Study(Origin.of(DEMO), ({"friction.key": "1 N·mm"}, {"friction.key": "1 N·mm"}), "weigh")
    rows: list[Row] = []
    done = run(twice, rows.extend)
    assert len(rows) == done.made == 1 and done.known == 1


def stopping_after(count: int) -> object:
    """A stop that says so at its count-th asking."""
    asked = iter(range(1, 10**6))
    return lambda: next(asked) > count


def test_stopped_and_gone_on_with_is_the_same_table(tmp_path: Path) -> None:
    whole = study("weigh", values_of("springs.repetition=30..36 N·mm/9"))
    path = tmp_path / "springs.parquet"
    first = Table(path, {})
    done = run(whole, first.keep, stop=stopping_after(3), workers=1)  # type: ignore[arg-type]
    first.gather()
    before = read(path)
    assert done.stopped and 0 < len(before) == done.made < 9
    second = Table(path, {})
    asked: list[Sequence[Row]] = []
    rest = run(whole, lambda rows: (asked.append(rows), second.keep(rows))[0], second.known)
    second.gather()
    assert rest.made == 9 - done.made == sum(len(rows) for rows in asked) and not rest.stopped
    after = read(path)
    assert [row["row"] for row in after] == list(range(9))
    assert [{n: row[n] for n in other} for row, other in zip(after, made(whole), strict=True)] == made(whole)
    assert not (tmp_path / "springs.parquet.parts").exists()


def test_parts_left_by_a_run_that_was_killed_are_taken_up(tmp_path: Path) -> None:
    path = tmp_path / "springs.parquet"
    rows = made(study())
    Table(path, {}).keep(rows[:2])  # and never gathered
    again = Table(path, {})
    assert again.known == {row["mark"] for row in rows[:2]}
    again.keep(rows[2:])
    assert again.gather() == 4 and len(read(path)) == 4


def test_another_version_makes_its_rows_anew(monkeypatch: pytest.MonkeyPatch) -> None:
    marks = {study().mark(row) for row in study().rows}
    monkeypatch.setattr(stamp, "version", lambda: "0.0.0+other")
    assert marks.isdisjoint(study().mark(row) for row in study().rows)


def test_marks_tell_every_input_apart() -> None:
    one, row = study(), {"friction.key": "1 N·mm"}
    others = [
        one.mark({"friction.key": "2 N·mm"}),
        study("strike").mark(row),
        Study(Origin.of(DEMO, {"friction.jack": "0 N·mm"}), (), "weigh").mark(row),
        Study(Origin.of("treble"), (), "weigh").mark(row),
    ]
    assert len({one.mark(row), *others}) == 5


def test_what_is_no_table_is_not_overwritten(tmp_path: Path) -> None:
    path = tmp_path / "notes.parquet"
    path.write_text("not a table", encoding="utf-8")
    with pytest.raises(InputError, match="name another file"):
        Table(path, {})
    assert path.read_text(encoding="utf-8") == "not a table"


def test_command_writes_a_table_and_goes_on(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    path = tmp_path / "out.parquet"
    asked = ("batch", DEMO, "--vary", "springs.repetition=30..36 N·mm/3", "--kind", "strike", "--out", str(path))
    assert main(asked) == commands.FINE
    assert "3 made now" in capsys.readouterr().err
    assert main(asked) == commands.FINE
    assert "0 made now (0 refused), 3 there before" in capsys.readouterr().err
    rows = read(path)
    assert len(rows) == 3 and all(isinstance(row["moderate_hammer_speed_m_s"], float) for row in rows)
    whole = json.loads(pyarrow.parquet.read_schema(path).metadata[b"scenario_inputs"])
    assert whole["hammer.bore"], "what the scenario says goes with the table"


@pytest.mark.parametrize(
    ("argv", "told"),
    [
        (("--vary", "springs.repetitio=1..2 N·mm/2", "--out", "t.parquet"), "did you mean springs.repetition"),
        (("--vary", "hammer.knuckle_set=90..95 mm/2", "--out", "t.parquet"), "10 to 25 mm"),
        (("--vary", "friction.key=1..2 N·mm/2", "--out", "t.csv"), ".parquet"),
        (("--vary", "friction.key=1..2 N·mm/2", "--out", "nowhere/t.parquet"), "make the folder"),
        (("--table", "missing.csv", "--out", "t.parquet"), "missing.csv"),
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
    assert main(("batch", DEMO, *argv)) == commands.BAD_INPUT
    assert told in capsys.readouterr().err
    assert not list(tmp_path.iterdir()), "nothing is written"


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
    assert child.returncode == commands.INTERRUPTED, err
    assert "goes on from here" in err
    rows = read(path)
    assert 0 < len(rows) < 5000 and all(row["outcome"] == "plays" for row in rows)
    assert sorted(os.listdir(tmp_path)) == ["long.parquet"]


def test_without_the_extra_the_remedy_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(InputError, match=r"action-unit-sim\[cluster\]"), cluster.executor("tcp://127.0.0.1:1"):
        pass


@pytest.mark.filterwarnings("default")
def test_a_cluster_of_two_workers_makes_the_same_rows(monkeypatch: pytest.MonkeyPatch) -> None:
    """A scheduler and two worker processes on this machine, reached by address as any other."""
    distributed = pytest.importorskip("distributed", reason="THE CLUSTER IS NOT TRIED: install the extra 'cluster'")
    here = study("weigh", values_of("springs.repetition=30..36 N·mm/6"), KNUCKLES)
    options = {"n_workers": 2, "threads_per_worker": 1, "processes": True, "dashboard_address": "127.0.0.1:0"}
    with distributed.LocalCluster(**options) as running:
        address = running.scheduler_address
        seen = []
        there = made(here, scheduler=address, progress=lambda share, what: seen.append(share))
        assert there == made(here)
        assert seen == sorted(seen) and seen[-1] == 1.0
        monkeypatch.setattr(cluster, "version", lambda: "0.0.0+other")
        with pytest.raises(InputError, match="the same version"):
            made(study(), scheduler=address)


def test_kinds_are_those_of_the_bench() -> None:
    from sim.bench.flat import KINDS

    assert batch.BATCH_KINDS == KINDS
