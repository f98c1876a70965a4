"""Hostile input, full disks and endurance of the local server: ``python tests/security_trials.py [--keep]``.

Runs the tests that try them, here and now, and tells for each what was tried, what
should happen and what did: a row a trial, as the trial itself tells it (the fixture
``tell``), with its own verdict.  A trial that could not be made here is not met.
``--keep`` writes shared/evidence/security.toml.
"""

from __future__ import annotations

import argparse
import platform
import sys
from collections.abc import Sequence
from pathlib import Path

import pytest
from rich.console import Console
from rich.table import Table

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from tests import evidence

TRIALS = (
    "tests/unit/test_hostile_texts.py", "tests/unit/test_hostile_names.py", "tests/unit/test_full_disk.py",
    "tests/unit/test_cores.py", "tests/app/test_hostile.py",
)  # fmt: skip
APP = "tests/app/test_browser"
OTHERS = {
    f"{APP}.py::test_two_people_do_not_see_each_other": (
        "two windows at once, each turning another control",
        "each sees its own unit's readings only",
    ),
    f"{APP}_files.py::test_huge_file_is_refused_by_its_size_before_it_is_sent": (
        "a file of 50 MB chosen in the browser",
        "refused in words; it is never sent",
    ),
    f"{APP}_files.py::test_hostile_name_is_drawn_as_text_and_harmless_in_tables": (
        "a script, a picture's address, a formula and markup as the name of a unit, in a browser",
        "shown as text; no script runs, nothing is fetched, no cell is a formula",
    ),
    "tests/unit/test_batch.py::test_interrupted_by_hand_it_leaves_a_readable_table": (
        "Ctrl-C in a study of 5000 rows",
        "the rows made are in a whole table; the same command goes on",
    ),
}
"""Tests that stand elsewhere and tell nothing themselves: what they try, and what should happen."""
MADE = "python tests/security_trials.py --keep"


class Trials:
    """What the tests tell, by their place."""

    def __init__(self) -> None:
        self.rows: list[dict[str, str | bool]] = []

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """A row for each test that tells what it tries, once it has run; a fault in clearing up counts against it."""
        told = {name: str(value) for name, value in report.user_properties}
        tried, expected = OTHERS.get(report.nodeid.partition("[")[0], (told.get("tried"), told.get("expected", "")))
        if tried is None:
            return
        if report.when == "call" or (report.when == "setup" and not report.passed):
            happened = told.get("happened", "as expected") if report.passed else self._why(report)
            self.rows.append(
                {
                    "tried": tried,
                    "expected": expected,
                    "happened": happened,
                    "test": report.nodeid,
                    "met": report.passed,
                }
            )
        elif report.failed and self.rows and self.rows[-1]["test"] == report.nodeid:
            self.rows[-1] |= {"happened": self._why(report), "met": False}

    def _why(self, report: pytest.TestReport) -> str:
        if report.skipped:
            return "could not be tried here"
        crash = getattr(report.longrepr, "reprcrash", None)
        return f"FAILED: {crash.message.splitlines()[0] if crash else report.longreprtext.splitlines()[-1]}"[:300]


def main(argv: Sequence[str] | None = None) -> int:
    """Run the trials; 0 where each was met."""
    parser = argparse.ArgumentParser(prog="python tests/security_trials.py", description=__doc__)
    parser.add_argument("--keep", action="store_true", help="write shared/evidence/security.toml")
    args = parser.parse_args(argv)
    trials = Trials()
    code = pytest.main(["-q", "-m", "", "-p", "no:cacheprovider", "-p", "no:xdist", *TRIALS, *OTHERS], plugins=[trials])
    met = sum(bool(row["met"]) for row in trials.rows)
    table = Table(title=f"{met} of {len(trials.rows)} trials met", title_justify="left")
    for name in ("tried", "happened", "met"):
        table.add_column(name)
    for row in trials.rows:
        table.add_row(str(row["tried"]), str(row["happened"]), "yes" if row["met"] else "NO")
    Console(markup=False, highlight=False).print(table)
    if args.keep:
        system = f"{platform.system()}, {platform.machine()}, Python {platform.python_version()}"
        title = "Hostile input and endurance of the local server"
        evidence.write_record("security", title, MADE, trials.rows, trials=len(trials.rows), met=met, system=system)
    return int(code)


if __name__ == "__main__":
    sys.exit(main())
