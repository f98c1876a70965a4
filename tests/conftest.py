"""Settings of all tests, and their two tiers (tiers.py).

Hypothesis draws the same examples on every run, so that a landing does not fail by
luck; ``pytest -m full --hypothesis-profile=explore`` draws new ones.
"""

from __future__ import annotations

import os
import secrets
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import settings
from xdist.scheduler import LoadScopeScheduling

settings.register_profile("fast", derandomize=True, deadline=None, max_examples=25)
settings.register_profile("full", derandomize=True, deadline=None, max_examples=100)
settings.register_profile("explore", deadline=None, max_examples=1000)


TOGETHER = (
    (
        "app/test_browser", "app/test_evidence_page", "app/test_hostile", "app/test_mechanism", "app/test_print",
        "physics/test_lessons",
    ),
    ("app/test_diagnose_page",), ("app/test_record_page",), ("app/test_rough_page",),
    ("physics/test_diagnosis", "physics/test_practice"),
    ("physics/test_convergence",), ("physics/test_influence",), ("physics/test_section",),
    ("physics/test_smooth_limit",), ("physics/test_template",), ("physics/test_twin",), ("unit/test_bench_record",),
    ("unit/test_packaging",), ("unit/test_paper",), ("unit/test_rough",),
)  # fmt: skip
"""Files whose tests use one costly thing that is made once: they go to one worker.  First those with a real browser, so
that one browser and one dashboard stand for all, and never two side by side on a machine of two cores."""


class Together(LoadScopeScheduling):
    """Every test goes to whoever is free, but those that belong together go together, and first."""

    def _split_scope(self, nodeid: str) -> str:
        file = nodeid.removeprefix("tests/")
        return next((group[0] for group in TOGETHER if file.startswith(group)), nodeid)


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Together:
    return Together(config, log)


COMPILE = """
import sim
from sim.physics.kernel_loader import prepare_kernel
prepare_kernel() or sim.strike(sim.load("concert-grand-natural"))
"""


def tier(config: pytest.Config) -> str:
    """The one that is asked for."""
    return "fast" if config.option.markexpr == "not full" else "full"


def pytest_configure(config: pytest.Config) -> None:
    """Trials draw anew each time; TRIALS_SEED draws the same again.  Workers inherit it."""
    os.environ.setdefault("TRIALS_SEED", str(secrets.randbits(31)))
    settings.load_profile(tier(config))


@pytest.hookimpl(tryfirst=True)
def pytest_sessionstart(session: pytest.Session) -> None:
    """On a machine that does not hold the kernel compiled, once, before workers would each do it."""
    option = session.config.option
    if getattr(option, "numprocesses", None) and not option.collectonly and not hasattr(session.config, "workerinput"):
        subprocess.run([sys.executable, "-c", COMPILE], cwd=Path(__file__).parents[1])


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """What Hypothesis draws is in the full tier too, with all its draws."""
    for item in items:
        if tier(config) == "full" and getattr(getattr(item, "obj", None), "is_hypothesis_test", False):
            item.add_marker("full")


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """The seed at the end of the report, where quiet runs show it too."""
    terminalreporter.write_line(f"TRIALS_SEED={os.environ['TRIALS_SEED']}")


@pytest.fixture
def tell(record_property: Callable[[str, object], None]) -> Callable[..., None]:
    """``tell(tried="…", expected="…")`` first and ``tell(happened="…")`` last: for a record of the trials."""

    def told(**words: str) -> None:
        for name, word in words.items():
            record_property(name, word)

    return told
