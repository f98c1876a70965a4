"""Independent jobs on all cores, in threads: the kernel holds no lock while it runs."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

Progress = Callable[[float, str], None]
Stop = Callable[[], bool]
Found = TypeVar("Found")


def on_all_cores(
    jobs: Sequence[Callable[[], Found]],
    progress: Progress | None = None,
    told: Callable[[int], str] = lambda number: "",
    stop: Stop | None = None,
) -> list[Found]:
    """What the jobs give, in their order; ``told`` names a job, by its number, for the progress.

    Ctrl-C, ``stop`` or a job's error lets those under way end, begins no other, and
    is raised (``stop`` as KeyboardInterrupt).
    """
    found: list[Found] = []
    with ThreadPoolExecutor(os.cpu_count()) as pool:
        under_way = [pool.submit(job) for job in jobs]
        try:
            for number, job in enumerate(under_way):
                found.append(job.result())
                if stop is not None and stop():
                    raise KeyboardInterrupt
                if progress is not None:
                    progress(len(found) / len(jobs), told(number))
        except BaseException:
            pool.shutdown(wait=True, cancel_futures=True)
            raise
    return found
