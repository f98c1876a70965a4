"""Words of others (names, values, file names) made harmless before they are drawn: no markup, pictures or links."""

from __future__ import annotations

import re

from sim.errors import ActionUnitError, Fault, InputError

MARKUP = re.compile(r"([\\`*_\[\]<>$~:#|!{}])")
MOST = 12
"""Faults told at once."""
LONGEST = 400


def escape_text(text: str) -> str:
    """A text on one line that is drawn as it stands."""
    return MARKUP.sub(r"\\\1", " ".join(text.split())[:LONGEST])


def format_faults(head: str, error: ActionUnitError) -> str:
    """What is wrong, fault by fault."""
    faults: tuple[Fault | ActionUnitError, ...] = error.faults if isinstance(error, InputError) else (error,)
    lines = [f"- {escape_text(str(fault))}" for fault in faults[:MOST]]
    more = [f"- and {len(faults) - MOST} more"] if len(faults) > MOST else []
    return "\n".join([head, "", *lines, *more])
