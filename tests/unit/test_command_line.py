"""The command line as a user meets it: what is printed, where, and with which exit code."""

from __future__ import annotations

import csv
import io
import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from sim.__main__ import main
from sim.cli.command import ExitCode
from tests.tiers import try_each

ROOT = Path(__file__).parents[2]
DEMO = str(ROOT / "scenarios" / "concert-grand-natural.toml")
MIXED = str(ROOT / "scenarios" / "mixed-parts.toml")
BLOCKED = ("--set", "settings.let_off_button=12 mm")
FLAT = (
    "blow_mm", "dip_mm", "let_off_mm", "drop_mm", "drop_at_bottom_mm", "aftertouch_mm", "checking_distance_mm",
    "down_weight_gf", "up_weight_gf", "balance_weight_gf", "friction_gf", "wink_mm",
)  # fmt: skip
STRIKE = (
    "touch", "hammer_speed_m_s", "key_speed_max_m_s", "travel_time_ms", "free_flight_ms", "contact_time_ms",
    "peak_force_N", "key_bottom_after_contact_ms", "checking_distance_mm", "ledger_remainder",
)  # fmt: skip
REPETITION = (
    "limit_hz", "limit_spread_hz", "limiting_part", "sounded_fraction", "reset_point_mm", "return_time_ms",
    "spring_rise_mm", "spring_rise_speed_mm_s", "kicks",
)  # fmt: skip


def run(capsys: pytest.CaptureFixture[str], *argv: str) -> tuple[int, str, str]:
    capsys.readouterr()
    code = main(argv)
    out, err = capsys.readouterr()
    return code, out, err


def strict(text: str) -> dict[str, Any]:
    """JSON that holds no NaN or Infinity."""
    return dict(json.loads(text, parse_constant=lambda name: pytest.fail(f"{name} in the JSON")))


def test_predict_json_has_every_promised_name(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run(capsys, "predict", DEMO, "--json")
    found = strict(out)
    assert code == ExitCode.FINE
    assert found["outcome"] == "plays"
    assert all(isinstance(found[name], float) for name in FLAT)
    assert {s["touch"] for s in found["strikes"]} >= {"soft", "medium", "hard"}
    assert all(set(STRIKE) <= set(s) for s in found["strikes"])
    assert set(REPETITION) <= set(found["repetition"])
    assert all(0 <= share <= 1 for share in found["repetition"]["sounded_fraction"].values())
    assert {"key", "wippen", "jack", "lever", "hammer"} == set(found["pinning"]) == set(found["swings"])
    assert "string.far_end_reflection" in found["assumed"]


def test_table_puts_the_outcome_first_and_shows_both_units(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, err = run(capsys, "predict", DEMO, "--no-repetition")
    lines = out.splitlines()
    assert code == ExitCode.FINE
    assert lines[0].endswith("plays")
    blow = next(line for line in lines if line.startswith("blow"))
    assert "mm" in blow and "(1 3/4)" in blow
    assert any(line.startswith("ledger remainder") for line in lines)
    assert "Only assumed, not measured" in out
    assert "\x1b" not in out + err, "no terminal, so no colours"
    assert all(line == line.rstrip() for line in lines)


def test_unusual_readings_come_with_reason_part_and_cautions(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run(capsys, "predict", MIXED, "--no-repetition")
    assert code in (ExitCode.FINE, ExitCode.CANNOT_PLAY)
    assert "Out of the usual range" in out
    spread = next(line for line in out.splitlines() if line.startswith("spread"))
    assert spread.endswith("HIGH")
    assert "look first at" in out
    assert "lead" in out and "Local rules" in out


def test_inches_lead_when_asked(capsys: pytest.CaptureFixture[str]) -> None:
    _, out, _ = run(capsys, "predict", DEMO, "--no-repetition", "--inches")
    head = out.splitlines()[3]
    assert head.index("inches") < head.index("value")


def test_csv_is_one_reading_a_line(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run(capsys, "predict", DEMO, "--no-repetition", "--csv")
    found = {(r["group"], r["of"], r["reading"]): r for r in csv.DictReader(io.StringIO(out))}
    assert code == ExitCode.FINE
    assert 40 < float(found["settings", "", "blow"]["value"]) < 50
    assert found["settings", "", "blow"]["unit"] == "mm"
    assert found["unit", "", "outcome"]["value"] == "plays"
    assert float(found["strike", "hard", "hammer_speed"]["value"]) > 3


@try_each("suffix, magic", [("svg", b"<?xml"), ("png", b"\x89PNG"), ("pdf", b"%PDF")])
def test_figure_is_written(capsys: pytest.CaptureFixture[str], tmp_path: Path, suffix: str, magic: bytes) -> None:
    path = tmp_path / f"note.{suffix}"
    code, _, err = run(capsys, "predict", DEMO, "--no-repetition", "--json", "--figure", str(path))
    assert code == ExitCode.FINE
    assert path.read_bytes().startswith(magic)
    assert "figure written" in err


def test_a_change_changes_the_run(capsys: pytest.CaptureFixture[str]) -> None:
    argv = ("weigh", DEMO, "--json")
    plain = strict(run(capsys, *argv)[1])
    tight = strict(run(capsys, *argv, "--set", "friction.hammer=2.1 N·mm")[1])
    # 4 gf per mN·m: the lever-arm theory, trade's rule of thumb
    assert tight["friction_gf"] - plain["friction_gf"] == pytest.approx(4.0, abs=0.7)
    assert tight["balance_weight_gf"] == pytest.approx(plain["balance_weight_gf"], abs=0.7)


def test_a_blocked_unit_is_read_as_far_as_it_goes(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run(capsys, "predict", DEMO, "--json", *BLOCKED)
    found = strict(out)
    assert code == ExitCode.CANNOT_PLAY
    assert found["outcome"] == "blocks on the string"
    assert found["let_off_mm"] is None
    assert found["blow_mm"] > 40
    code, out, _ = run(capsys, "predict", DEMO, *BLOCKED)
    assert code == ExitCode.CANNOT_PLAY
    assert "DOES NOT PLAY: blocks on the string" in out.splitlines()[0]


@pytest.mark.parametrize("command", ["strike", "weigh", "repeat"])
def test_groups_of_readings_and_their_traces(capsys: pytest.CaptureFixture[str], tmp_path: Path, command: str) -> None:
    import pandas as pd

    out_csv, out_parquet = tmp_path / "t.csv", tmp_path / "t.parquet"
    code, out, _ = run(capsys, command, DEMO, "--traces", str(out_csv))
    assert code == ExitCode.FINE
    assert out.splitlines()[0].endswith("plays")
    code, out, _ = run(capsys, command, DEMO, "--json", "--traces", str(out_parquet))
    assert code == ExitCode.FINE
    assert strict(out)["outcome"] == "plays"
    a, b = pd.read_csv(out_csv), pd.read_parquet(out_parquet)
    assert list(a.columns) == list(b.columns)
    assert len(a) == len(b) > 5


def test_friction_is_told_site_by_site_and_drawn(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    path = tmp_path / "friction.png"
    tight = ("friction", DEMO, "--set", "friction.hammer=4 N·mm")
    code, out, _ = run(capsys, *tight, "--figure", str(path))
    (hammer,) = [line.split() for line in out.splitlines() if line.startswith("hammer centre")]
    assert code == 0 and float(hammer[4]) > 3 * float(hammer[7]) and "lead" in out
    assert path.read_bytes().startswith(b"\x89PNG")
    told = strict(run(capsys, *tight, "--json")[1])["this_unit"]
    assert sum(site["felt_gf"] for site in told["sites"].values()) == pytest.approx(told["all_sites_gf"])
    assert f"{told['sites']['hammer']['felt_gf']:.1f}" == hammer[4]


def test_friction_of_a_unit_that_blocks_is_not_made_up(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run(capsys, "friction", DEMO, *BLOCKED)
    assert code == ExitCode.CANNOT_PLAY and "blocks on the string" in out and "hammer centre" not in out


def test_validate_checks_the_file_only(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run(capsys, "validate", DEMO)
    assert code == ExitCode.FINE
    assert "sound" in out


@pytest.mark.parametrize(
    ("argv", "said"),
    [
        (("validate", "no-such-file.toml"), "missing"),
        (("predict", DEMO, "--set", "nonsense"), "PATH=VALUE"),
        (("predict", DEMO, "--set", "springs.repetitoin=85%"), "springs.repetition"),
        (("predict", DEMO, "--set", "hammer.bore=5 kg"), "hammer.bore"),
        (("predict", DEMO, "--figure", "note.bmp"), ".svg, .png, .pdf"),
        (("predict", DEMO, "--figure", "no/such/folder/note.png"), "folder"),
        (("strike", DEMO, "--traces", "t.xlsx"), ".csv, .parquet"),
    ],
)
def test_bad_input_is_named_and_ends_with_2(
    capsys: pytest.CaptureFixture[str], argv: tuple[str, ...], said: str
) -> None:
    code, out, err = run(capsys, *argv)
    assert code == ExitCode.BAD_INPUT
    assert said in err
    assert out == ""


def test_all_faults_are_listed(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    bad = tmp_path / "bad.toml"
    bad.write_text('name = "x"\nkey_number = 200\n[hammer]\nbore = "5 kg"\nborre = "5 mm"\n', encoding="utf-8")
    code, _, err = run(capsys, "validate", str(bad))
    assert code == ExitCode.BAD_INPUT
    assert "key_number" in err and "bore" in err and "borre" in err
    assert "3 faults found" in err


@pytest.mark.parametrize("argv", [(), ("predict",), ("dance", DEMO), ("predict", DEMO, "--json", "--csv")])
def test_bad_typing_ends_with_2(capsys: pytest.CaptureFixture[str], argv: tuple[str, ...]) -> None:
    with pytest.raises(SystemExit) as stopped:
        main(argv)
    assert stopped.value.code == ExitCode.BAD_INPUT


@pytest.mark.parametrize("argv", [("--help",), ("predict", "--help"), ("strike", "--help")])
def test_help_explains_codes_and_changes(capsys: pytest.CaptureFixture[str], argv: tuple[str, ...]) -> None:
    with pytest.raises(SystemExit) as stopped:
        main(argv)
    out = capsys.readouterr().out
    assert stopped.value.code == 0
    assert "exit codes" in out
    assert len(argv) == 1 or "--set" in out
    assert max(len(line) for line in out.splitlines()) <= 110


def test_a_shipped_scenario_may_be_named_alone(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(capsys, "validate", "concert-grand-natural")[0] == ExitCode.FINE


def test_first_compile_is_announced_as_what_it_is(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sim.cli.screen.prepare_kernel", lambda: False)
    _, out, err = run(capsys, "weigh", DEMO, "--json")
    assert "compiling the kernel once for this machine" in err
    strict(out)


def test_ctrl_c_during_the_ensemble_ends_cleanly() -> None:
    """A real interrupt in the middle of the threads: one line, exit code 130, no traceback."""
    script = (
        "import os, signal, sys\n"
        "signal.signal(signal.SIGINT, signal.default_int_handler)  # a shell may have switched it off\n"
        "from sim.bench import repetition\n"
        "play = repetition.play_series\n"
        "def interrupted(*a, **k):\n"
        "    os.kill(os.getpid(), signal.SIGINT)\n"
        "    return play(*a, **k)\n"
        "repetition.play_series = interrupted\n"
        "from sim.__main__ import main\n"
        "sys.exit(main(['repeat', sys.argv[1]]))\n"
    )
    done = subprocess.run([sys.executable, "-c", script, DEMO], cwd=ROOT, capture_output=True, text=True, timeout=120)
    assert done.returncode == ExitCode.INTERRUPTED
    assert done.stdout == ""
    assert [line for line in done.stderr.splitlines() if "compiling" not in line] == [
        "interrupted; nothing is left half done"
    ]


def test_a_closed_pipe_is_no_error() -> None:
    command = f'"{sys.executable}" -m sim predict "{DEMO}" --no-repetition --csv | head -n 1; echo ${{PIPESTATUS[0]}}'
    done = subprocess.run(["bash", "-c", command], cwd=ROOT, capture_output=True, text=True, timeout=120)
    assert "Traceback" not in done.stderr
    assert done.stdout.splitlines()[0].startswith("group,")


READ = str(ROOT / "scenarios" / "readings" / "sluggish-note.toml")


def test_blank_sheets_are_printed_without_computing(capsys: pytest.CaptureFixture[str]) -> None:
    for form, first in ((("--blank",), "# Readings"), (("--blank", "csv"), "reading,value,accuracy")):
        code, out, _ = run(capsys, "diagnose", DEMO, *form)
        assert code == ExitCode.FINE and out.startswith(first) and "pinning_hammer" in out


def test_diagnosis_of_nothing_and_of_a_bad_sheet(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    bad = tmp_path / "bad.toml"
    bad.write_text('[readings]\ndown_weight = "20 gf"\nup_weight = "40 gf"\n', encoding="utf-8")
    for argv, says in (
        ((), "--readings"), (("--readings", str(tmp_path / "none.toml")), "missing"),
        (("--readings", str(bad)), "changed over"), (("--readings", READ, "--calibrate", "x.csv"), "--calibrate"),
    ):  # fmt: skip
        code, out, err = run(capsys, "diagnose", DEMO, *argv)
        assert code == ExitCode.BAD_INPUT and not out and says in err


def test_diagnosis_against_a_unit_that_does_not_play_says_so(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, err = run(capsys, "diagnose", DEMO, "--readings", READ, *BLOCKED)
    assert code == ExitCode.CANNOT_PLAY and not out and "regulate it first" in err


def test_repinning_a_centre_that_is_none_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    for wrong in ("hamer=3gf", "hammer", "hammer=900 gf", "key=3 gf", "hammer=3 mm"):
        code, _, err = run(capsys, "friction", DEMO, "--repin", wrong)
        assert code == ExitCode.BAD_INPUT and "--repin" in err
