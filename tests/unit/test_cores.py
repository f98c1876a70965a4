"""Jobs on all cores: whoever waits for them can give up at any time, and the jobs can notice."""

from __future__ import annotations

import os
import time
from threading import Event
from types import SimpleNamespace
from typing import Any

import pytest

import sim
from sim.parallel import run_on_all_cores
from sim.regulation import rails

LONG = 60.0
"""Longest wait of a job that nobody gives up, s."""


def test_who_waits_for_a_long_job_is_asked_meanwhile_and_may_give_up() -> None:
    given_up = Event()
    noticed: list[bool] = []

    def job() -> None:
        noticed.append(given_up.wait(LONG))

    def progress(done: float, what: str) -> None:
        assert (done, what) == (0.0, "job 0")
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        run_on_all_cores([job] * 500, progress, lambda number: f"job {number}", given_up=given_up)
    assert all(noticed) and len(noticed) < 500, "those under way notice, no other is begun"


def test_a_job_s_own_error_is_raised() -> None:
    def job() -> None:
        raise TimeoutError("its own")

    with pytest.raises(TimeoutError, match="its own"):
        run_on_all_cores([job], lambda done, what: None)


def test_a_map_given_up_ends_each_row_at_its_next_place(monkeypatch: pytest.MonkeyPatch) -> None:
    """Placing is stood in for: it waits until somebody has given up."""
    asked, side = Event(), 21
    read: list[float] = []

    def place(unit: Any, dx: float, *_: Any, **__: Any) -> rails.Place:
        read.append(dx)
        asked.wait(LONG)
        time.sleep(0.2)
        return rails.Place(dx, 0.0, 0.113, True, "", unit=unit)

    def progress(done: float, what: str) -> None:
        asked.set()
        raise KeyboardInterrupt

    monkeypatch.setattr(rails, "evaluate_place", place)
    monkeypatch.setattr(rails, "regulate", lambda unit, *_, **__: SimpleNamespace(unit=unit, misses=()))
    axis = [i * 1e-4 for i in range(side)]
    with pytest.raises(KeyboardInterrupt):
        rails.evaluate_grid(sim.load("concert-grand-natural"), {}, axis, axis, progress=progress)
    begun = min(os.cpu_count() or 1, side)
    assert begun <= len(read) <= 2 * begun
