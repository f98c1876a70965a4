"""Which cases of a test run every time, and which in the full tier alone."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import pytest


def split_tiers(cases: Iterable[Any], fast: int = 1) -> list[Any]:
    """Cases for ``parametrize``: the first so many run every time, the others in the full tier (marked ``full``)."""
    listed = list(cases)
    slow = [pytest.param(*(case if isinstance(case, tuple) else (case,)), marks=pytest.mark.full) for case in listed]
    return [*listed[:fast], *slow[fast:]]
