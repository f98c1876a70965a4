"""Which version made a number: the release, and a mark of the sources and data that numbers depend on."""

from __future__ import annotations

import hashlib
import sys
from functools import cache
from pathlib import Path

from sim.shared_files import find_shared_folder

MECHANICS_PACKAGES = ("unit", "fields", "scenario", "physics", "bench")
RESULT_PACKAGES = (
    *MECHANICS_PACKAGES,
    "regulation",
    "parts",
    "piano",
    "studies",
    "diagnosis",
    "section",
    "photo",
    "validation",
)
DATA_FILES = ("defaults.toml", "touches.toml")


@cache
def compute_version(rooms: tuple[str, ...] = RESULT_PACKAGES) -> str:
    """``0.1.0+3f9a1c22``: changes with every edit of what numbers come from.

    What is measured on one unit, without any decision of the workshop, depends on ``MECHANICS_PACKAGES`` alone.
    """
    package = Path(__file__).resolve().parent
    release = sys.modules["sim"].__version__  # the package itself lies above this layer: looked up, not imported
    files = [package / "units.py", *(f for room in rooms for f in sorted((package / room).glob("*.py")))]
    mark = hashlib.sha256()
    for file in (*files, *(find_shared_folder() / name for name in DATA_FILES)):
        mark.update(file.name.encode() + file.read_bytes().replace(b"\r\n", b"\n"))
    return f"{release}+{mark.hexdigest()[:8]}"
