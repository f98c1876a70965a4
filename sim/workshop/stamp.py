"""Which version made a number: the release, and a mark of the sources and data that numbers depend on."""

from __future__ import annotations

import hashlib
import json
import sys
from collections.abc import Mapping
from functools import cache
from pathlib import Path

from sim.unit.data import shared_folder
from sim.unit.scenario import Leaves

MECHANICS = ("unit", "physics", "bench")
ROOMS = (*MECHANICS, "workshop")
DATA = ("defaults.toml", "touches.toml")


@cache
def version(rooms: tuple[str, ...] = ROOMS) -> str:
    """``0.1.0+3f9a1c22``: changes with every edit of what numbers come from.

    What is measured on one unit, without any decision of the workshop, depends on ``MECHANICS`` alone.
    """
    package = Path(__file__).resolve().parents[1]
    release = sys.modules["sim"].__version__  # the package itself lies above this layer: looked up, not imported
    files = [package / "units.py", *(f for room in rooms for f in sorted((package / room).glob("*.py")))]
    mark = hashlib.sha256()
    for file in (*files, *(shared_folder() / name for name in DATA)):
        mark.update(file.name.encode() + file.read_bytes().replace(b"\r\n", b"\n"))
    return f"{release}+{mark.hexdigest()[:8]}"


def inputs_of(leaves: Leaves) -> dict[str, object]:
    """All that a scenario and the files it is based on say, by path, as they say it."""
    return {".".join(path): leaf.raw for path, leaf in leaves.items()}


def mark_of(leaves: Leaves, overrides: Mapping[str, str], kind: str) -> str:
    """One name for a full input: the scenario's texts, the overrides, what is read, and the version that reads it."""
    whole = [inputs_of(leaves), dict(sorted(overrides.items())), kind, version()]
    text = json.dumps(whole, sort_keys=True, ensure_ascii=True, default=str)
    return hashlib.sha256(text.encode()).hexdigest()[:24]
