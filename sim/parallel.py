"""Independent jobs on all cores, in threads: the kernel holds no lock while it runs."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor, wait
from threading import Event
from typing import TypeVar

Progress = Callable[[float, str], None]
Stop = Callable[[], bool]
JobResult = TypeVar("JobResult")
PROGRESS_INTERVAL = 0.5
"""Longest time in which nobody is asked whether to go on, s."""


def run_on_all_cores(
    jobs: Sequence[Callable[[], JobResult]],
    progress: Progress | None = None,
    told: Callable[[int], str] = lambda number: "",
    stop: Stop | None = None,
    given_up: Event | None = None,
) -> list[JobResult]:
    """What the jobs give, in their order; ``told`` names a job, by its number, for the progress.

    Ctrl-C, ``stop``, ``progress`` (told at least every half second) or a job's error lets those under way end,
    begins no other, and is raised (``stop`` as KeyboardInterrupt); ``given_up`` is set then, for jobs that look at it.
    """
    found: list[JobResult] = []
    with ThreadPoolExecutor(os.cpu_count()) as pool:
        under_way = [pool.submit(job) for job in jobs]
        try:
            for number, job in enumerate(under_way):
                while progress is not None and not wait([job], PROGRESS_INTERVAL).done:
                    progress(len(found) / len(jobs), told(number))
                found.append(job.result())
                if stop is not None and stop():
                    raise KeyboardInterrupt
                if progress is not None:
                    progress(len(found) / len(jobs), told(number))
        except BaseException:
            if given_up is not None:
                given_up.set()
            pool.shutdown(wait=True, cancel_futures=True)
            raise
    return found
