"""Records of what the trials found, as the validation report reads them: shared/evidence/NAME.toml.

A record has a head (title, version of the mechanics, how it was made, and what
else it needs to tell) and ``[[row]]`` tables.  Numbers are kept to six digits.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import tomli_w

from sim.fingerprint import MECHANICS_PACKAGES, compute_version

FOLDER = Path(__file__).resolve().parents[1] / "shared" / "evidence"


def write_record(name: str, title: str, made: str, rows: Sequence[Mapping[str, Any]], **head: Any) -> Path:
    """Write a record; ``made`` is the command that makes it.  Values that are None or not finite are left out."""
    told = {
        "title": title,
        "version": compute_version(MECHANICS_PACKAGES),
        "made": made,
        **head,
        "row": [_simplify_row(row) for row in rows],
    }
    file = FOLDER / f"{name}.toml"
    file.parent.mkdir(exist_ok=True)
    file.write_text(tomli_w.dumps(told), encoding="utf-8")
    return file


def load_record(name: str) -> dict[str, Any]:
    """A record that is there."""
    return tomllib.loads((FOLDER / f"{name}.toml").read_text(encoding="utf-8"))


def _simplify_row(row: Mapping[str, Any]) -> dict[str, Any]:
    out = {}
    for key, value in row.items():
        if isinstance(value, str | bool | int):
            out[key] = value
        elif value is not None and math.isfinite(value):
            out[key] = float(f"{value:.6g}")
    return out
