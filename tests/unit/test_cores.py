"""Jobs on all cores: whoever waits for them can give up at any time, and the jobs can notice."""

from __future__ import annotations

from threading import Event

import pytest

from sim.workshop.cores import on_all_cores

LONG = 60.0


def test_who_waits_for_a_long_job_is_asked_meanwhile_and_may_give_up() -> None:
    given_up = Event()
    noticed: list[bool] = []

    def job() -> None:
        noticed.append(given_up.wait(LONG))

    def progress(done: float, what: str) -> None:
        assert (done, what) == (0.0, "job 0")
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        on_all_cores([job] * 50, progress, lambda number: f"job {number}", given_up=given_up)
    assert all(noticed) and len(noticed) < 50, "those under way notice, no other is begun"


def test_a_job_s_own_error_is_raised() -> None:
    with pytest.raises(TimeoutError, match="own"):
        on_all_cores([lambda: _fail()], lambda done, what: None)


def _fail() -> None:
    raise TimeoutError("own")
