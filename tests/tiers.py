"""Two tiers of tests.  ``pytest`` runs the fast one, ``pytest -m full`` all the others.

The fast tier has one test for each physical claim, each kind of bad input, each page and each command.  What says
the same of another unit, touch or seed, and long ensembles, sweeps and trials, is marked ``full``.  What Hypothesis
draws is in both: a quarter of the draws in the fast tier, all of them in the full one.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import pytest
from hypothesis import settings

FULL = pytest.mark.full


def try_each(names: str, cases: Iterable[Any], fast: int = 1, **more: Any) -> pytest.MarkDecorator:
    """``parametrize`` with the first case, or the first ``fast``, in the fast tier and the others in the full one."""
    made = [case if n < fast else _full(case, several="," in names) for n, case in enumerate(cases)]
    return pytest.mark.parametrize([n.strip() for n in names.split(",")] if "," in names else names, made, **more)


def _full(case: Any, several: bool) -> Any:
    if hasattr(case, "marks"):  # a pytest.param
        return pytest.param(*case.values, id=case.id, marks=[*case.marks, FULL])
    return pytest.param(*(case if several else (case,)), marks=FULL)


def limit_draws(count: int, **more: Any) -> settings:
    """So many draws in the full tier, and no deadline; in proportion by other profiles (conftest.py)."""
    return settings(max_examples=max(5, count * settings().max_examples // 100), deadline=None, **more)
