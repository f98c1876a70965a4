"""Reading what others wrote: a file's bytes to text, a text to tables; whatever is wrong with it is one InputError.

A text is refused before the parser, or whoever checks its fields, could be kept busy by it: by its size, by the depth
of its names, by the number of its values.
"""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

from sim.errors import Fault, InputError
from sim.fields.quantity_field import shorten_value

LARGEST_FILE = 1_000_000
"""Bytes; a scenario has a few thousand."""
MOST_VALUES = 4000
"""Values and tables of one text; a piano's sheet with every reading at every key has some 2,800."""
DEEPEST_NAME = 16
"""Parts of a dotted name; a scenario needs three.  The parser's time grows with the square of it."""
LONGEST_NUMBER = 63
"""Bits of a whole number."""
_LITERAL = re.compile(
    r'"""(?:[^\\"]|\\.|"{1,2}+(?!"))*+(?:"{3,5}+|\Z)|' + r"'''(?:[^']|'{1,2}+(?!'))*+(?:'{3,5}+|\Z)|"
    r'"(?:[^\\"\n]|\\.)*+(?:"|$)|' + r"'[^'\n]*+(?:'|$)|#[^\n]*+",
    re.DOTALL | re.MULTILINE,
)
"""A text in quotes, closed or not, or a remark."""
_DEEP_NAME = re.compile(rf"(?<![\w-])[\w-]++(?:[ \t]*+\.[ \t]*+[\w-]++){{{DEEPEST_NAME}}}")


def make_input_error(
    file: str, field: str, value: object, allowed: str, remedy: str, line: int | None = None
) -> InputError:
    """An InputError of one fault."""
    return InputError([Fault(file, line, field, shorten_value(value), allowed, remedy)])


def read_text(path: Path, largest: int = LARGEST_FILE) -> str:
    """The text of a file; whatever is wrong with the file itself is one InputError.  ``largest`` counts bytes."""
    name, wanted = str(path), _wanted(largest)
    try:
        if path.is_dir():
            raise make_input_error(name, "the file", "a folder", wanted, "name the file in it")
        if not path.exists():
            raise make_input_error(name, "the file", "missing", wanted, "check the name and the folder")
        if not path.is_file():
            raise make_input_error(name, "the file", "not an ordinary file", wanted, "name an ordinary file")
        with path.open("rb") as file:
            data = file.read(largest + 1)
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else "unreadable name"
        raise make_input_error(name, "the file", reason, wanted, "check its name and that it may be read") from None
    return decode_text(data, name, largest)


def decode_text(data: bytes, name: str, largest: int = LARGEST_FILE) -> str:
    """Bytes to text; an InputError for too many, or for what is no text."""
    wanted = _wanted(largest)
    if len(data) > largest:
        raise make_input_error(
            name, "the file", f"more than {largest} bytes", wanted, "take out what does not belong in it"
        )
    if b"\0" in data:
        raise make_input_error(name, "the file", "binary data", wanted, "name a file of plain text")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        remedy = "save the file as UTF-8"
        raise make_input_error(
            name, "the file", f"byte {data[error.start]:#x}, no UTF-8", wanted, remedy, line
        ) from None


def _wanted(largest: int) -> str:
    return f"a plain text file in UTF-8 of at most {largest / 1e6:g} MB"


def parse_toml(text: str, name: str) -> dict[str, object]:
    """The tables of one file's text; what is no TOML, or far more of it than any file needs, is an InputError."""
    if len(text) > LARGEST_FILE:
        raise make_input_error(
            name, "the file", f"{len(text)} characters", "at most 1 MB", "take out what does not belong in it"
        )
    if deep := _DEEP_NAME.search(_LITERAL.sub("_", text)):
        remedy = "keep to tables of fields"
        raise make_input_error(name, "the file", f"{deep[0][:24]}… nested too deep", "TOML, a few tables deep", remedy)
    try:
        tree = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        at = re.search(r"at line (\d+)", str(error))
        line = int(at[1]) if at else None
        remedy = 'mend the line: name = "value", one a line, tables in [brackets], no name twice'
        raise make_input_error(name, "the file", f"not TOML: {error}", "TOML 1.0", remedy, line) from None
    except (RecursionError, ValueError):
        remedy = "keep to tables of fields, and to numbers of ordinary size"
        wanted = "TOML, a few tables deep"
        raise make_input_error(name, "the file", "nested too deep, or a number too long", wanted, remedy) from None
    _look_through(tree, name)
    return tree


def check_value_count(values: int, name: str, what: str, remedy: str) -> None:
    """Raises InputError for a text that holds more than any such text needs."""
    if values > MOST_VALUES:
        raise make_input_error(name, "the file", f"{values} {what}", f"at most {MOST_VALUES} {what}", remedy)


def _look_through(tree: dict[str, object], name: str) -> None:
    """Raises InputError for too many values, or for a whole number longer than TOML has them (64 bits)."""
    count = 0
    waiting: list[object] = [tree]
    while waiting:
        inner = waiting.pop()
        if isinstance(inner, dict | list):
            count += len(inner)
            waiting.extend(inner.values() if isinstance(inner, dict) else inner)
        elif isinstance(inner, int) and inner.bit_length() > LONGEST_NUMBER:
            raise make_input_error(
                name, "the file", "a number too long", "whole numbers of 18 figures", "write it shorter"
            )
    check_value_count(count, name, "values", "take out what is no field")
