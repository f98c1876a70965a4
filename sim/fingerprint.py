"""Which version made a record: the release, and a mark of what a record of its kind rests on.

Code counts as its syntax, without comments, docstrings and layout; a data file as what it says, without comments and
spacing.  The mark is the same on every Python.
"""

from __future__ import annotations

import ast
import hashlib
import json
import sys
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from functools import cache
from pathlib import Path
from typing import Any

from sim.shared_files import find_scenario_folder, find_shared_folder

MECHANICS = (
    "sim/units.py", "sim/display_units.py", "sim/unit/*.py", "sim/fields/*.py", "sim/scenario/*.py",
    "sim/physics/*.py", "sim/bench/*.py", "shared/defaults.toml", "shared/touches.toml", "shared/usual_ranges.toml",
)  # fmt: skip
REGULATED = (*MECHANICS, "sim/regulation/*.py", "sim/studies/variants.py", "shared/orders.toml")
HEALTHY = (*REGULATED, "sim/studies/healthy_variation.py", "shared/healthy_variation.toml")
DIAGNOSIS = (*HEALTHY, "sim/diagnosis/*.py", "shared/faults.toml")
SECTION = (*DIAGNOSIS, "sim/section/*.py", "shared/compass.toml")
PRACTICE = tuple(
    f"sim/teaching/{name}.py"
    for name in ("adjustments", "cheapest_path", "exercise", "known_readings", "mark", "plain_typing", "practice")
)
SHIPPED = ("scenarios/*.toml",)
RECORD_INPUTS: Mapping[str, tuple[str, ...]] = {
    "mechanics": MECHANICS,
    "batch row": (*REGULATED, "sim/studies/parameter_grid.py", "sim/studies/batch.py"),
    "shop record": (*SECTION, "sim/photo/*.py"),
    "validation report": (*HEALTHY, "sim/validation/*.py", "shared/published.toml"),
    "diagnosis": (*DIAGNOSIS, *SHIPPED),
    "twin": (*MECHANICS, *SHIPPED),
    "numerics": (*MECHANICS, *SHIPPED),
    "costs": (*MECHANICS, *SHIPPED),
    "fuzz": MECHANICS,
    "mutation": (*MECHANICS, *SHIPPED),
    "practice": (*DIAGNOSIS, *PRACTICE, "shared/hands.toml", *SHIPPED),
    "section": (*SECTION, *SHIPPED),
    "security": ("sim/fields/*.py", "dashboard/**/*.py"),
    "dependencies": ("shared/constraints.txt",),
    "packaging": ("shared/constraints.txt",),
}
"""What each kind of record rests on: files of the package, its shared data and its scenarios."""
GENERATED = ("kernel.py",)
"""Written from other files that count."""


def list_inputs_of(record: str) -> tuple[str, ...]:
    """What a record rests on; one of no known kind, on all that any does."""
    return RECORD_INPUTS.get(record) or tuple(dict.fromkeys(p for each in RECORD_INPUTS.values() for p in each))


@cache
def compute_version(record: str) -> str:
    """``0.1.0+3f9a1c22``: changes with every edit of what a record of this kind rests on."""
    release = sys.modules["sim"].__version__  # the package itself lies above this layer: looked up, not imported
    listed = sorted(f"{file.name} {mark_content(file)}" for file in find_files(list_inputs_of(record)))
    return f"{release}+{_digest(listed)[:8]}"


def find_files(patterns: Iterable[str]) -> Iterator[Path]:
    """The files behind names such as ``sim/bench/*.py``; FileNotFoundError for a name without one."""
    checkout = Path(__file__).resolve().parents[1]
    folders = {"shared": find_shared_folder(), "scenarios": find_scenario_folder()}
    for pattern in patterns:
        top, _, rest = pattern.partition("/")
        found = sorted((folders.get(top) or checkout / top).glob(rest))
        if not found:
            raise FileNotFoundError(pattern)
        yield from (file for file in found if file.name not in GENERATED)


@cache
def mark_content(file: Path) -> str:
    """A mark of what a file says."""
    text = file.read_text(encoding="utf-8")
    if file.suffix == ".py":
        return _digest(_syntax(ast.parse(text)))
    if file.suffix == ".toml":
        return _digest([json.dumps(tomllib.loads(text), sort_keys=True, default=str)])
    return _digest(said for line in text.splitlines() if (said := line.partition("#")[0].strip()))


def _syntax(node: ast.AST) -> Iterator[str]:
    """The tree as words.  Fields that are empty are left out, since later Pythons add some."""
    yield type(node).__name__
    if isinstance(node, ast.Constant):
        yield repr(node.value)
        return
    for name, value in ast.iter_fields(node):
        items = value if isinstance(value, list) else [value] if value else []
        if said := [item for item in items if not _is_docstring(item)]:
            yield f"{name} {len(said)}"
            for item in said:
                yield from _syntax(item) if isinstance(item, ast.AST) else (repr(item),)


def _is_docstring(item: Any) -> bool:
    """A text that stands alone: of a module, a class, a function, or below a field."""
    return isinstance(item, ast.Expr) and isinstance(item.value, ast.Constant) and isinstance(item.value.value, str)


def _digest(words: Iterable[str]) -> str:
    mark = hashlib.sha256()
    for word in words:
        mark.update(word.encode() + b"\0")
    return mark.hexdigest()
