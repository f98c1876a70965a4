"""Trials of the installed package: ``python tests/packaging_trials.py [--versions pins] [--keep] PYTHON ...``.

Each interpreter gets a fresh environment, ``pip install`` of this tree, and then: the command line and the
dashboard from an empty folder, the tests, and what ``import sim`` costs.  ``--versions``: ``pins`` (those of
shared/constraints.txt), ``newest``, or ``lowest``, the lower bounds of pyproject.toml (needs the extra ``release``).
``--keep`` puts the rows into shared/evidence/packaging.toml, in place of those of the same interpreter and versions.
"""

from __future__ import annotations

import argparse
import json
import os
import re
import signal
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from packaging.version import Version

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from tests import evidence
from tests.app.server import find_free_port, run_server

ROOT = Path(__file__).resolve().parents[1]
TOLD = ("matplotlib", "numba", "numpy", "pandas", "pyarrow", "pydantic", "rich", "scipy", "streamlit", "tomli-w")
"""Packages whose versions a row tells."""
PAGE = (
    "from dashboard.__main__ import APP\nfrom streamlit.testing.v1 import AppTest\n"
    "page = AppTest.from_file(str(APP)).run(timeout=300)\nraise SystemExit(len(page.exception))"
)
NAME = "packaging"
LOG = ROOT / "out" / "packaging_trials.log"
"""What the tests printed last."""
OF_THE_RECORD = "tests/unit/test_packaging.py::test_every_python_that_is_named_was_tried"
"""The one test that asks for what is being made here."""
STARTS = 15
"""Starts of the interpreter over which the median is taken."""


class Environment:
    """An interpreter's fresh environment with the package installed."""

    def __init__(self, python: str, folder: Path, versions: str, extras: str) -> None:
        self.folder, self.away = folder, folder / "away"
        self.away.mkdir()
        subprocess.run([python, "-m", "venv", str(folder / "venv")], check=True)
        self.python = folder / "venv" / ("Scripts" if os.name == "nt" else "bin") / "python"
        pip = [
            self.python,
            "-m",
            "pip",
            "install",
            "-q",
            "--disable-pip-version-check",
            *_pin_options(versions, folder),
        ]
        subprocess.run([*pip, f"{ROOT}{extras}"], check=True)

    def run(self, *words: object, cwd: Path | None = None) -> subprocess.CompletedProcess[str]:
        """A command of the environment, in a folder far from the tree unless another is named."""
        place = {"NUMBA_CACHE_DIR": str(self.folder / "cache")}
        command = [str(self.python.with_name(str(words[0]))), *map(str, words[1:])]
        return subprocess.run(command, cwd=cwd or self.away, env=os.environ | place, capture_output=True, text=True)

    def asked(self, code: str) -> str:
        """What a piece of code prints."""
        return self.run("python", "-c", code).stdout.strip()


def _pin_options(versions: str, folder: Path) -> list[str]:
    """Options of pip that hold the versions."""
    if versions == "newest":
        return []
    if versions == "pins":
        return ["-c", str(ROOT / "shared" / "constraints.txt")]
    lowest = folder / "lowest.txt"
    uv = [sys.executable, "-m", "uv", "pip", "compile", "-q", "--resolution", "lowest-direct", "--python-version"]
    subprocess.run([*uv, "3.11", str(ROOT / "pyproject.toml"), "-o", str(lowest)], check=True)
    return ["-c", str(lowest)]


def try_interpreter(python: str, versions: str, tests: str) -> dict[str, Any]:
    """One row: what works with an interpreter and these versions."""
    with tempfile.TemporaryDirectory(prefix="action-unit-") as folder:
        here = Environment(python, Path(folder), versions, "[test]" if tests else "")
        command, dashboard = (
            _check_predicting(here),
            _check_serving(here) and here.run("python", "-c", PAGE).returncode == 0,
        )
        passed, closing = _run_tests(here, tests) if tests else (True, "not run")
        names = f"from importlib.metadata import version; print(*(f'{{n}} {{version(n)}}' for n in {TOLD}), sep=', ')"
        return {
            "python": here.asked("import platform; print(platform.python_version())"),
            "versions": versions,
            "command": "works" if command else "fails",
            "dashboard": "works" if dashboard else "fails",
            "tests": closing,
            "result": "pass" if command and dashboard and passed else "miss",
            "import_over_bare_start": _measure_start(here, "import sim") / _measure_start(here, "pass"),
            "packages": here.asked(names),
        }


def _check_predicting(here: Environment) -> bool:
    done = here.run("action-unit", "predict", "concert-grand-natural", "--json")
    return done.returncode == 0 and json.loads(done.stdout)["outcome"] == "plays"


def _check_serving(here: Environment) -> bool:
    port = find_free_port()
    command = [str(here.python.with_name("action-unit-dashboard")), "--no-browser", "--port", str(port)]
    with run_server(command, port, here.away):
        return True


def _run_tests(here: Environment, tests: str) -> tuple[bool, str]:
    """Whether the tests passed, and their closing line without its time."""
    pytest = ["python", "-m", "pytest", "-q", "-n", "1", "-m", "", "-p", "no:cacheprovider"]
    done = here.run(*pytest, "--deselect", OF_THE_RECORD, *tests.split(), cwd=ROOT)
    LOG.parent.mkdir(exist_ok=True)
    LOG.write_text(done.stdout + done.stderr, encoding="utf-8")
    closing = next((line for line in reversed(done.stdout.splitlines()) if " in " in line), "no closing line")
    return done.returncode == 0, f"{tests}: {re.sub(r' in .*', '', closing)}"


def _measure_start(here: Environment, code: str) -> float:
    """Median time in which the interpreter starts, runs this and ends, s."""
    took = []
    for _ in range(STARTS):
        begun = time.perf_counter()
        here.run("python", "-c", code)
        took.append(time.perf_counter() - begun)
    return statistics.median(took)


def merge_rows(rows: Sequence[dict[str, Any]]) -> list[dict[str, Any]]:
    """Rows kept before, those of the same interpreter and versions replaced; the oldest interpreter first."""
    before = evidence.load_record(NAME)["row"] if (evidence.FOLDER / f"{NAME}.toml").exists() else []
    found = {(row["python"], row["versions"]): row for row in [*before, *rows]}
    return [found[key] for key in sorted(found, key=lambda key: (Version(key[0]), key[1]))]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("python", nargs="+", metavar="PYTHON", help="an interpreter, by name or path")
    parser.add_argument("--versions", choices=("pins", "newest", "lowest"), default="pins")
    parser.add_argument("--tests", default="tests", help="what pytest runs; empty: none (default: all tests)")
    parser.add_argument("--keep", action="store_true", help="keep the rows in shared/evidence/packaging.toml")
    options = parser.parse_args()
    # A shell's background jobs ignore Ctrl-C, and so would the programs that tests interrupt.
    signal.signal(signal.SIGINT, signal.default_int_handler)
    rows = []
    for python in options.python:
        rows.append(try_interpreter(python, options.versions, options.tests))
        print(json.dumps(rows[-1], indent=2, ensure_ascii=False), flush=True)
        if options.keep:
            title = "Where the package was installed and tried: interpreters and versions of what it needs"
            made = "python tests/packaging_trials.py --keep PYTHON, one interpreter after the other"
            evidence.write_record(NAME, title, made, merge_rows(rows))


if __name__ == "__main__":
    main()
