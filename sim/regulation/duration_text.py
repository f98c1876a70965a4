"""Times at the bench in words."""

from __future__ import annotations

SECONDS_LIMIT = 95.0
"""Less than this is told in seconds, s."""


def format_bench_time(seconds: float) -> str:
    """``40 s``, ``3 min``; nothing is ``0 min``."""
    return f"{seconds:.0f} s" if 0 < seconds < SECONDS_LIMIT else f"{seconds / 60:.0f} min"
