"""Numbers as a learner types them: with their unit, on a plain keyboard."""

from __future__ import annotations

_PLAIN = str.maketrans({"·": "*", "²": "^2", "°": " deg", "µ": "u", "−": "-"})


def replace_symbols(text: str) -> str:
    """The same with nothing that a plain keyboard has not: ``1.2 N·mm`` is ``1.2 N*mm``, and reads alike."""
    return text.translate(_PLAIN)


def format_unit_reminder(example: str) -> str:
    """That a number needs its unit, by an example; nothing where it has none."""
    return f"Numbers need their unit: {replace_symbols(example)}, for example." if " " in example else ""
