"""Scenario files: text to leaves, with the file and line each came from, and the files they are based on."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path, PurePosixPath, PureWindowsPath

from sim.errors import InputError
from sim.fields.definition import ALTERNATIVES
from sim.fields.field_paths import find_kind, is_table
from sim.fields.line_numbers import find_lines
from sim.fields.quantity_field import SOURCE_KINDS
from sim.fields.untrusted_text import make_input_error, parse_toml, read_text

LONGEST_CHAIN = 8
"""Files based on one another."""

_ODD_NAME = re.compile(
    r"""[<>:"|?*]|[. ]$|^\ |^(?:con|prn|aux|nul|conin\$|conout\$|com[0-9¹²³]|lpt[0-9¹²³])\ *(?:\.|$)""", re.IGNORECASE
)
"""Names that stand for a device, a stream or another name on one system or the other."""

FieldPath = tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Leaf:
    """One value as it stands in a file."""

    raw: object
    file: str
    line: int | None
    default_source: str = "measured"


Leaves = dict[FieldPath, Leaf]


def parse_leaves(text: str, name: str) -> Leaves:
    """The leaves of one file's text."""
    return _leaves(parse_toml(text, name), text, name)


def _leaves(tree: Mapping[str, object], text: str, name: str) -> Leaves:
    lines = find_lines(text)
    named = tree.get("default_source", "measured")
    default = named if isinstance(named, str) and named in SOURCE_KINDS else "measured"
    return {path: Leaf(raw, name, _line_of(path, lines), default) for path, raw in _flatten_table(tree, ())}


def _flatten_table(table: Mapping[str, object], path: FieldPath) -> Iterator[tuple[FieldPath, object]]:
    for name, raw in table.items():
        here = (*path, name)
        if isinstance(raw, dict) and raw and is_table(here):
            yield from _flatten_table(raw, here)
        else:
            yield here, raw


def _line_of(path: FieldPath, lines: Mapping[FieldPath, int]) -> int | None:
    """Line of a path, or of the nearest table around it."""
    return next((lines[path[:n]] for n in range(len(path), 0, -1) if path[:n] in lines), None)


def read_with_bases(path: Path) -> Leaves:
    """The leaves of a file and of those it is based on, the nearer one winning."""
    return _with_base(parse_leaves(read_text(path), str(path)), path, [])


def parse_with_bases(text: str, name: str, folder: Path | None) -> Leaves:
    """As ``read_with_bases`` for a text; without a folder it cannot be based on anything."""
    leaves = parse_leaves(text, name)
    if folder is None:
        if ("based_on",) in leaves:
            leaf = leaves["based_on",]
            remedy = "give all values here, or load it from a file"
            raise make_input_error(
                name, "based_on", leaf.raw, "nothing, for a text without a folder", remedy, leaf.line
            )
        return leaves
    return _with_base(leaves, folder / Path(name).name, [])


def _with_base(leaves: Leaves, path: Path, seen: list[Path]) -> Leaves:
    leaf = leaves.get(("based_on",))
    if leaf is None:
        return leaves
    base = _base_path(leaf, path)
    chain = [*seen, path.resolve()]
    if base.resolve() in chain:
        way = " → ".join(p.name for p in [*chain, base])
        raise _base_fault(leaf, f"goes round in a circle ({way}): base it on a file that stands alone")
    if len(chain) > LONGEST_CHAIN:
        raise _base_fault(leaf, f"more than {LONGEST_CHAIN} files based on one another: shorten the chain")
    below = _with_base(parse_leaves(read_text(base), str(base)), base, chain)
    return merge_leaves(below, leaves)


def _base_path(leaf: Leaf, path: Path) -> Path:
    raw = leaf.raw
    if not isinstance(raw, str) or not raw.strip():
        raise _base_fault(leaf, "no file name: write the name of a scenario file in quotes")
    if not raw.isprintable():
        raise _base_fault(leaf, "characters that no file name has: write a plain name")
    parts = re.split(r"[/\\]", raw)
    rooted = PurePosixPath(raw).is_absolute() or PureWindowsPath(raw).drive or raw.startswith(("\\", "~"))
    if rooted or ".." in parts:
        raise _base_fault(leaf, "leads out of this file's folder: put the base file beside this one")
    if any(_ODD_NAME.search(part) for part in parts if part != "."):
        raise _base_fault(leaf, "means something else, or nothing, on another system: write a plain file name")
    base = path.parent / raw
    try:
        inside = base.resolve().is_relative_to(path.parent.resolve())
        there = base.is_file()
    except (OSError, RuntimeError, ValueError):
        raise _base_fault(leaf, "cannot be followed: write a plain file name") from None
    if not inside:
        raise _base_fault(leaf, "leads out of this file's folder: put the base file beside this one")
    if not there:
        raise _base_fault(leaf, "no such file: check the name")
    return base


def _base_fault(leaf: Leaf, remedy: str) -> InputError:
    return make_input_error(leaf.file, "based_on", leaf.raw, "a scenario file of the same folder", remedy, leaf.line)


def merge_leaves(below: Leaves, above: Leaves) -> Leaves:
    """Leaves of ``above`` over those of ``below``; another way of giving the same thing drops the one below."""
    dropped = find_alternatives({".".join(p) for p in above}) | {"based_on", "note"}
    one = above.get(("springs", "arrangement"))
    if one is not None and one.raw == "one":
        dropped.add("springs.jack")
    return {p: leaf for p, leaf in below.items() if ".".join(p) not in dropped and not _replaced(p, above)} | above


def _replaced(path: FieldPath, above: Leaves) -> bool:
    """Whether a field, or a table around it, is given anew."""
    return any(path[:n] in above and above[path[:n]].raw != {} for n in range(1, len(path) + 1))


def find_alternatives(given: set[str]) -> set[str]:
    """Fields that are another way of giving what ``given`` gives."""
    found: set[str] = set()
    for ways in ALTERNATIVES:
        chosen = [way for way in ways if given & set(way)]
        if chosen:
            found |= {name for way in ways if way not in chosen for name in way}
    return found


def find_double_definitions(leaves: Leaves) -> Iterator[tuple[str, str]]:
    """Pairs of fields that give one thing in two ways."""
    given = {".".join(p) for p in leaves}
    for ways in ALTERNATIVES:
        chosen = [next(name for name in way if name in given) for way in ways if given & set(way)]
        if len(chosen) > 1:
            chosen.sort(key=lambda name: _place(name, leaves))
            yield chosen[0], chosen[1]


def _place(name: str, leaves: Leaves) -> int:
    leaf = leaves[tuple(name.split("."))]
    return leaf.line or 0


def nest_leaves(leaves: Leaves) -> dict[str, object]:
    """Leaves as nested tables again, each value tagged with its file's default source."""
    root: dict[str, object] = {}
    for path, leaf in leaves.items():
        table = root
        for name in path[:-1]:
            inner = table.setdefault(name, {})
            if not isinstance(inner, dict):
                break
            table = inner
        else:
            if leaf.raw == {} and isinstance(table.get(path[-1]), dict):
                continue
            table[path[-1]] = _tagged(path, leaf)
    return root


def _tagged(path: FieldPath, leaf: Leaf) -> object:
    """The raw value, with the default source of its file where it names none itself."""
    vector = path[0] == "coordinates" and isinstance(leaf.raw, list)
    if leaf.default_source == "measured" or (find_kind(".".join(path)) is None and not vector):
        return leaf.raw
    if isinstance(leaf.raw, str) or vector:
        return {"value": leaf.raw, "source": leaf.default_source}
    if isinstance(leaf.raw, dict) and "source" not in leaf.raw:
        return leaf.raw | {"source": leaf.default_source}
    return leaf.raw
