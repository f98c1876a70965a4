"""Settings of all tests.

Hypothesis draws the same examples on every run, so that a landing does not fail by
luck; ``pytest --hypothesis-profile=explore`` draws new ones.
"""

from __future__ import annotations

from hypothesis import settings

settings.register_profile("steady", derandomize=True, deadline=None)
settings.register_profile("explore", deadline=None, max_examples=1000)
settings.load_profile("steady")
