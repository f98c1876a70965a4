"""What is handed over: a wheel and an archive of the sources, the same bytes each time, and used where they lie."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
import sysconfig
import tarfile
import tomllib
import venv
import zipfile
from dataclasses import dataclass
from pathlib import Path
from urllib.request import urlopen

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

import sim
from tests import evidence
from tests.app.server import find_free_port, run_server
from tests.tiers import FULL, try_each

ROOT = Path(__file__).parents[2]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
MADE, MADE_ON = "1700000000", (2023, 11, 14, 22, 13, 20)
"""SOURCE_DATE_EPOCH and that date."""
PLACES = {"shared": "sim/_shared", "scenarios": "sim/_scenarios", "sim": "sim", "dashboard": "dashboard"}
"""Folders of the tree and where the wheel has them."""


@dataclass(frozen=True)
class Built:
    """What a build made."""

    wheel: Path
    sources: Path

    @property
    def bytes(self) -> tuple[bytes, bytes]:
        return self.wheel.read_bytes(), self.sources.read_bytes()


def build(tree: Path, out: Path, umask: int = 0o022, **environment: str) -> Built:
    """Wheel and archive of a tree."""
    done = subprocess.run(
        [sys.executable, "-m", "hatchling", "build", "-d", str(out)],
        cwd=tree,
        env=os.environ | {"SOURCE_DATE_EPOCH": MADE} | environment,
        umask=umask,
        capture_output=True,
        text=True,
    )
    assert done.returncode == 0, done.stderr
    (wheel,), (sources,) = out.glob("*.whl"), out.glob("*.tar.gz")
    return Built(wheel, sources)


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Built:
    return build(ROOT, tmp_path_factory.mktemp("built"))


@pytest.fixture(scope="module")
def tracked() -> list[str]:
    """Files that belong to the tree: all but those that git is told to ignore."""
    done = subprocess.run(
        ["git", "ls-files", "--cached", "--others", "--exclude-standard"], cwd=ROOT, capture_output=True, text=True
    )
    assert done.returncode == 0, f"these tests need a git checkout: {done.stderr}"
    return sorted({name for name in done.stdout.splitlines() if (ROOT / name).is_file()})


def unpacked(archive: Path, folder: Path) -> Path:
    """The one folder of an archive of sources."""
    with tarfile.open(archive) as tar:
        tar.extractall(folder, filter="data")
    (found,) = folder.iterdir()
    return found


def test_wheel_holds_the_tree_and_nothing_else(built: Built, tracked: list[str]) -> None:
    parted = [(name, *name.partition("/")[::2]) for name in tracked]
    due = {f"{PLACES[top]}/{rest}": (ROOT / name).read_bytes() for name, top, rest in parted if top in PLACES}
    with zipfile.ZipFile(built.wheel) as wheel:
        held = [name for name in wheel.namelist() if ".dist-info/" not in name]
        assert sorted(held) == sorted(due)
        assert not [name for name in held if wheel.read(name) != due[name]]


def test_archive_of_sources_holds_what_git_tracks(built: Built, tracked: list[str]) -> None:
    with tarfile.open(built.sources) as tar:
        held = {name.partition("/")[2] for name in tar.getnames()}
    assert held - {"PKG-INFO"} == set(tracked)


@FULL
def test_two_builds_give_the_same_bytes(built: Built, tracked: list[str], tmp_path: Path) -> None:
    """Another folder, other dates and rights of the files, other language, clock and hashing."""
    other = tmp_path / "elsewhere" / "tree"
    for name in reversed(tracked):
        (other / name).parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(ROOT / name, other / name)
        (other / name).chmod((ROOT / name).stat().st_mode & 0o700)
    again = build(other, tmp_path / "again", 0o077, TZ="Asia/Kathmandu", LC_ALL="C", PYTHONHASHSEED="7")
    assert again.bytes == built.bytes
    with zipfile.ZipFile(built.wheel) as wheel:
        assert {entry.date_time for entry in wheel.infolist()} == {MADE_ON}


@FULL
def test_archive_builds_the_same_wheel(built: Built, tmp_path: Path) -> None:
    again = build(unpacked(built.sources, tmp_path / "sources"), tmp_path / "again")
    assert again.bytes == built.bytes


def test_version_and_commands_are_told_once(built: Built) -> None:
    assert PROJECT["version"] == sim.__version__
    assert PROJECT["scripts"].keys() == {"action-unit", "action-unit-dashboard"}


@dataclass(frozen=True)
class Installed:
    """The wheel in an environment of its own, and an empty folder far from the tree to work in."""

    python: Path
    packages: Path
    away: Path

    def run(self, *words: str, **environment: str) -> subprocess.CompletedProcess[str]:
        """A command of the environment, or its interpreter where an option comes first."""
        first = [str(self.python)] if words[0].startswith("-") else [str(self.python.with_name(words[0]))]
        clean = {name: value for name, value in os.environ.items() if name not in ("PYTHONPATH", "NUMBA_CACHE_DIR")}
        return subprocess.run(
            [*first, *(words if words[0].startswith("-") else words[1:])],
            cwd=self.away, env=clean | environment, capture_output=True, text=True, timeout=1200,
        )  # fmt: skip

    def asked(self, code: str, **environment: str) -> list[str]:
        """Words that a piece of code prints."""
        done = self.run("-c", code, **environment)
        assert done.returncode == 0, done.stderr
        return done.stdout.split()


@pytest.fixture(scope="module")
def installed(built: Built, tmp_path_factory: pytest.TempPathFactory) -> Installed:
    """Installed by pip; what it needs is taken from the environment of the tests, the tree is not in reach.

    The compiled kernel goes along where the tree has one: compiling it is not what is tested.
    """
    folder, away = tmp_path_factory.mktemp("installed"), tmp_path_factory.mktemp("away")
    venv.create(folder, with_pip=False)
    python = folder / ("Scripts/python.exe" if os.name == "nt" else "bin/python")
    pip = [sys.executable, "-m", "pip", "--python", str(python), "install", "-q", "--disable-pip-version-check"]
    subprocess.run([*pip, "--no-deps", "--no-index", str(built.wheel)], check=True)
    ask = [python, "-c", "import sysconfig; print(sysconfig.get_path('purelib'))"]
    told = subprocess.run(ask, capture_output=True, text=True, check=True)
    packages = Path(told.stdout.strip())
    (packages / "borrowed.pth").write_text(f"{sysconfig.get_path('purelib')}\n", encoding="utf-8")
    mine, theirs = ROOT / "sim" / "physics" / "kernel.py", packages / "sim" / "physics" / "kernel.py"
    os.utime(theirs, ns=(0, mine.stat().st_mtime_ns))
    theirs.with_name("__pycache__").mkdir(exist_ok=True)
    for compiled in mine.with_name("__pycache__").glob("kernel.*.nb[ic]"):
        shutil.copy2(compiled, theirs.with_name("__pycache__"))
    return Installed(python, packages, away)


def test_data_are_those_of_the_installed_place(installed: Installed) -> None:
    code = (
        "import sim, dashboard\nfrom sim.shared_files import find_scenario_folder, find_shared_folder\n"
        "print(sim.__file__, dashboard.__file__, find_shared_folder(), find_scenario_folder(), sep='\\n')"
    )
    places = installed.asked(code)
    assert len(places) == 4
    assert all(Path(place).is_relative_to(installed.packages.resolve()) for place in places)


def test_command_gives_the_same_readings_as_the_tree(installed: Installed) -> None:
    here = subprocess.run(
        [sys.executable, "-m", "sim", "strike", "concert-grand-natural", "--json"],
        cwd=ROOT, capture_output=True, text=True,
    )  # fmt: skip
    there = installed.run("action-unit", "strike", "concert-grand-natural", "--json")
    assert there.returncode == 0, there.stderr
    assert json.loads(there.stdout) == json.loads(here.stdout)


@FULL
def test_command_of_the_dashboard_serves_it(installed: Installed) -> None:
    port = find_free_port()
    command = [str(installed.python.with_name("action-unit-dashboard")), "--no-browser", "--port", str(port)]
    with run_server(command, port, installed.away) as server, urlopen(server.url, timeout=10) as page:
        assert "<title>" in page.read().decode()


@FULL
def test_first_page_is_drawn_where_it_is_installed(installed: Installed) -> None:
    code = (
        "from dashboard.__main__ import APP\nfrom streamlit.testing.v1 import AppTest\n"
        "page = AppTest.from_file(str(APP)).run(timeout=900)\n"
        "print(len(page.exception), *(title.value for title in page.title))"
    )
    failed, *title = installed.asked(code)
    assert failed == "0"
    assert title


@try_each("user_cache", [True, False])
def test_compiled_kernel_is_kept_where_the_place_is_read_only(
    installed: Installed, tmp_path: Path, user_cache: bool
) -> None:
    """In the user's cache; where that cannot be written either, in a folder of the process, gone at its end.

    A file in the place of a folder keeps even the superuser from writing into it.
    """
    copy, users = tmp_path / "site", tmp_path / "users"
    shutil.copytree(installed.packages / "sim", copy / "sim", ignore=shutil.ignore_patterns("__pycache__"))
    (copy / "sim" / "physics" / "__pycache__").touch()
    users.mkdir() if user_cache else users.touch()
    code = (
        f"import sys; sys.path.insert(0, {str(copy)!r})\nfrom sim.bench.rest_pose import kernel\n"
        "print(kernel.__file__, kernel.stroke.stats.cache_path)"
    )
    home = {name: str(users) for name in ("XDG_CACHE_HOME", "LOCALAPPDATA", "HOME")}
    place, cache = map(Path, installed.asked(code, **home))
    assert place.is_relative_to(copy)
    assert cache.is_relative_to(users) if user_cache else "action-unit-" in str(cache) and not cache.exists()


def test_every_dependency_is_bounded_pinned_explained_and_audited() -> None:
    """The audit is made by tests/dependencies_audit.py --keep, and again when a pin changes."""
    pins: dict[str, set[str]] = {}
    for line in (ROOT / "shared" / "constraints.txt").read_text(encoding="utf-8").splitlines():
        if not line.startswith("#"):
            pin = Requirement(line)
            pins.setdefault(canonicalize_name(pin.name), set()).add(str(pin.specifier).removeprefix("=="))
    audited = {row["name"]: row["version"] for row in evidence.load_record("dependencies")["row"]}
    told = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    extras = [line for lines in PROJECT["optional-dependencies"].values() for line in lines]
    for line in PROJECT["dependencies"] + extras:
        needed = Requirement(line)
        if needed.name == PROJECT["name"]:
            continue
        assert any(bound.operator == ">=" for bound in needed.specifier), f"{line}: no lower bound"
        assert re.search(rf"\b{needed.name}\b", told), f"{needed.name}: no reason in DEVELOPERS.md"
        assert audited.get(needed.name) in pins[needed.name], f"{needed.name}: run tests/dependencies_audit.py --keep"
