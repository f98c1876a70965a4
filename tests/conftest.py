"""Settings of all tests.

Hypothesis draws the same examples on every run, so that a landing does not fail by
luck; ``pytest --hypothesis-profile=explore`` draws new ones.
"""

from __future__ import annotations

import os
import secrets
from collections.abc import Callable

import pytest
from hypothesis import settings

settings.register_profile("steady", derandomize=True, deadline=None)
settings.register_profile("explore", deadline=None, max_examples=1000)
settings.load_profile("steady")


def pytest_configure() -> None:
    """Trials draw anew each time; TRIALS_SEED draws the same again.  Workers inherit it."""
    os.environ.setdefault("TRIALS_SEED", str(secrets.randbits(31)))


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
