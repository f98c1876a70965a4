"""An exercise by its code, as short as tests want it: 2-7."""

from __future__ import annotations

import re

from sim.teaching.exercise import USUAL_SCENARIO, Exercise, draw_exercise

_CODE = re.compile(r"(\d{1,3})-(\d{1,9})(?:-([a-z]+(?:-[a-z]+)*))?(?:@([\w.-]{1,80}))?")


def parse_code(text: str) -> Exercise:
    """The exercise of a code such as 2-7.  Raises InputError."""
    match = _CODE.fullmatch(text.strip())
    assert match is not None
    level, seed, fault, scenario = match.groups()
    return draw_exercise(int(level), int(seed), scenario or USUAL_SCENARIO, fault or "")
