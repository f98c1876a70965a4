"""A disk without room: what was there stays, what was computed is printed, the reason told, and later it goes on."""

from __future__ import annotations

import errno
import json
import os
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numba
import pytest

from sim.__main__ import main
from sim.atomic_write import write_atomically
from sim.cli import screen
from sim.cli.command import ExitCode
from sim.errors import InputError
from sim.physics import kernel_loader

Tell = Callable[..., None]
ROOT = Path(__file__).parents[2]
TRIAL = Path(__file__).with_name("full_disk.py")


def mounts() -> bool:
    """Whether a small disk can be had here."""
    if shutil.which("unshare") is None:
        return False
    return (
        subprocess.run(["unshare", "-rm", "mount", "-t", "tmpfs", "tmpfs", "/mnt"], capture_output=True).returncode == 0
    )


@pytest.mark.skipif(sys.platform == "win32", reason="no way to have a full disk here")
def test_files_on_a_full_disk_are_left_as_they_were(tmp_path: Path, tell: Tell) -> None:
    """On a disk of 4 MB, or, where none can be had, with files that may not grow."""
    way, before = ("mounted", ["unshare", "-rm"]) if mounts() else ("limited", [])
    tell(tried="figure (SVG), curve (CSV, Parquet) and table of a study written over older ones, on "
         + {"mounted": "a disk of 4 MB, filled", "limited": "a system where no file may grow"}[way],
         expected="the old files stay, nothing is left over, the results are printed, exit code 2, the reason told; "
         "with room again the same commands write them, and no row is made twice")  # fmt: skip
    command = [*before, sys.executable, str(TRIAL), str(tmp_path), way]
    done = subprocess.run(command, cwd=ROOT, env=os.environ | {"PYTHONPATH": str(ROOT)}, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout)
    assert set(found["there"]) - {"filler"} == set(found["kept"]) and len(found["kept"]) == 4
    for name, kept in found["kept"].items():
        without, again = found["without"][name], found["with"][name]
        assert kept and without["code"] == ExitCode.BAD_INPUT
        assert name in without["err"] and "Traceback" not in without["err"]
        assert any(os.strerror(code).lower() in without["err"] for code in (errno.ENOSPC, errno.EFBIG))
        assert name == "rows.parquet" or json.loads(without["out"])["outcome"] == "plays"
        assert again["code"] == ExitCode.FINE
    assert "3 rows; 2 made now (0 refused), 1 there before" in found["with"]["rows.parquet"]["err"]
    tell(happened=f"all of it; told: {found['without']['press.csv']['err'].splitlines()[0]}")


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device that is always full")
def test_output_to_a_full_disk_ends_in_words(tell: Tell) -> None:
    tell(tried="validate > /dev/full", expected="exit code 2, one line that says why")
    with open("/dev/full", "wb") as out:
        command = [sys.executable, "-m", "sim", "validate", "concert-grand-natural"]
        done = subprocess.run(command, cwd=ROOT, stdout=out, stderr=subprocess.PIPE, text=True)
    assert done.returncode == ExitCode.BAD_INPUT and len(done.stderr.splitlines()) == 1
    assert os.strerror(errno.ENOSPC).lower() in done.stderr
    tell(happened=f"exit code 2: {done.stderr.strip()}")


def test_a_kernel_that_cannot_be_kept_runs_all_the_same(monkeypatch: pytest.MonkeyPatch, tell: Tell) -> None:
    """A small function in place of the kernel: its cache fails as on a full disk."""
    tell(tried="compiling where the cache's disk is full", expected="it runs, and is not kept")

    def no_room(*_: object) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    def compiled() -> Any:
        function = numba.njit(cache=True)(_doubled)
        monkeypatch.setattr(function._cache._cache_file, "save", no_room)
        return function

    with pytest.raises(OSError, match="space"):
        compiled()(2)
    function = compiled()
    kernel_loader._run_uncached_where_full(function)
    assert function(2) == 4
    tell(happened="it runs")


def _doubled(x: int) -> int:
    return 2 * x


def test_a_file_is_written_whole_or_not_at_all(tmp_path: Path) -> None:
    path, other = tmp_path / "note.csv", tmp_path / "other.csv"
    path.write_text("old", encoding="utf-8")
    path.chmod(0o640)
    with pytest.raises(OSError, match=tmp_path.name), write_atomically(path) as new:
        (new.write_text("half", encoding="utf-8"), tmp_path.write_text("fails", encoding="utf-8"))
    assert path.read_text(encoding="utf-8") == "old" and os.listdir(tmp_path) == ["note.csv"]
    for target in (path, other):
        with write_atomically(target) as new:
            assert (new.suffix, new.parent) == (target.suffix, target.parent)
            new.write_text("new", encoding="utf-8")
        assert target.read_text(encoding="utf-8") == "new"
    assert sorted(os.listdir(tmp_path)) == ["note.csv", "other.csv"]
    if sys.platform != "win32":
        assert path.stat().st_mode & 0o777 == 0o640


def test_a_link_in_place_of_a_file_is_not_followed(tmp_path: Path, tell: Tell) -> None:
    tell(
        tried="--traces to a link that leads out of the folder",
        expected="the link is replaced, its target is untouched",
    )
    outside, folder = tmp_path / "outside.csv", tmp_path / "folder"
    folder.mkdir()
    outside.write_text("precious", encoding="utf-8")
    (folder / "press.csv").symlink_to(outside)
    assert main(("weigh", "concert-grand-natural", "--json", "--traces", str(folder / "press.csv"))) == ExitCode.FINE
    assert outside.read_text(encoding="utf-8") == "precious"
    assert not (folder / "press.csv").is_symlink() and (folder / "press.csv").stat().st_size > 1000
    tell(happened="replaced; the target is as it was")


def test_a_file_that_may_not_be_written_is_not_replaced(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "note.csv"
    path.write_text("old", encoding="utf-8")
    monkeypatch.setattr(os, "access", lambda *_: False)
    with pytest.raises(PermissionError), write_atomically(path):
        pass
    with pytest.raises(InputError, match="may be written"):
        screen.check_out_file(str(path), (".csv",), "--traces")
    assert path.read_text(encoding="utf-8") == "old"


@pytest.mark.parametrize(
    "name", ["x" * 300 + ".csv", "a\0b.csv", "a\nb.csv", "\x1b[2J.csv", "none/x.csv", "", "x.txt", "pipe.csv"]
)
def test_names_that_no_file_can_have_are_refused_before_anything_is_computed(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    if hasattr(os, "mkfifo"):
        os.mkfifo("pipe.csv")
    else:
        Path("pipe.csv").mkdir()
    before = os.listdir()
    assert main(("weigh", "concert-grand-natural", "--traces", name)) == ExitCode.BAD_INPUT
    said = capsys.readouterr()
    assert "--traces" in said.err and not said.out and os.listdir() == before
