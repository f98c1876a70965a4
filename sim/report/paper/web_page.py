"""Pages that need nothing else: made from a template, every text in them escaped, what is drawn carried inside."""

from __future__ import annotations

import base64
from collections.abc import Callable
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined

TEMPLATES = Path(__file__).with_name("templates")


def load_template(name: str, **filters: Callable[..., Any]) -> Any:
    """A template of the folder, with filters of its own; a name that it does not know is an error."""
    made = Environment(
        loader=FileSystemLoader(TEMPLATES), autoescape=True, undefined=StrictUndefined, trim_blocks=True,
        lstrip_blocks=True,
    )  # fmt: skip
    made.filters |= filters
    return made.get_template(name)


def embed_data(data: bytes, kind: str) -> str:
    """An address that holds the data whole; ``kind`` as in ``image/png``."""
    return f"data:{kind};base64,{base64.b64encode(data).decode('ascii')}"
