"""Shared data files (shared/*.toml) as models: entries whole, no key unknown, a fault named by file, entry and key."""

from __future__ import annotations

import tomllib
from collections.abc import Collection, Iterator
from typing import Any, TypeVar

from pydantic import AfterValidator, BaseModel, ConfigDict, TypeAdapter, ValidationError, model_validator
from pydantic_core import ErrorDetails

from sim.errors import Fault, InputError
from sim.fields.quantity_field import shorten_value
from sim.shared_files import find_shared_file

T = TypeVar("T")
E = TypeVar("E", bound="Entry")
REMEDY = "mend the file, or install the package again"


class Entry(BaseModel):
    """One table of a shared data file."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)


def load_catalogue(name: str, form: type[T]) -> T:
    """A file as a whole.  Raises InputError with everything that is wrong in it."""
    return _checked(_read(name), name, form)


def load_entries(name: str, form: type[E]) -> dict[str, E]:
    """The entries of a file by their path: each table that holds more than tables.  Raises InputError."""
    return _checked(dict(_entries(_read(name), "")), name, dict[str, form])  # type: ignore[valid-type]


def one_of(*keys: str) -> Any:
    """A validator of an entry: it has exactly one of these keys."""

    def check(entry: Any) -> Any:
        if sum(getattr(entry, key) is not None for key in keys) != 1:
            raise ValueError(f"exactly one of {', '.join(keys)}")
        return entry

    return model_validator(mode="after")(check)


def known(words: Collection[str]) -> AfterValidator:
    """A validator of a key: its value is one of these."""

    def check(word: str) -> str:
        if word not in words:
            raise ValueError(f"one of {', '.join(words)}")
        return word

    return AfterValidator(check)


def _read(name: str) -> Any:
    return _frozen(tomllib.loads(find_shared_file(name).read_text(encoding="utf-8")))


def _frozen(tree: Any) -> Any:
    """With tuples in place of lists."""
    if isinstance(tree, dict):
        return {key: _frozen(value) for key, value in tree.items()}
    return tuple(map(_frozen, tree)) if isinstance(tree, list) else tree


def _entries(tree: dict[str, Any], path: str) -> Iterator[tuple[str, dict[str, Any]]]:
    for key, value in tree.items():
        here = f"{path}.{key}" if path else key
        if isinstance(value, dict) and all(isinstance(part, dict) for part in value.values()):
            yield from _entries(value, here)
        else:
            yield here, value


def _checked(tree: Any, name: str, form: type[T]) -> T:
    try:
        return TypeAdapter(form).validate_python(tree)
    except ValidationError as error:
        raise InputError(_fault(detail, tree, name) for detail in error.errors(include_url=False)) from None


def _fault(detail: ErrorDetails, tree: Any, name: str) -> Fault:
    """``shared/faults.toml: fault 3 (weak-spring), priour = 2; allowed: no key of this name``."""
    words: list[str] = []
    here: Any = tree
    for part in detail["loc"]:
        table = dict(enumerate(here)) if isinstance(here, tuple) else here
        here = table.get(part) if isinstance(table, dict) else None
        if isinstance(part, int):
            keys = ("name", "at", "title", "number") if isinstance(here, dict) else ()
            called = next((f" ({here[k]})" for k in keys if k in here), "")
            words[-1:] = [f"{words[-1] if words else ''} {part + 1}{called}"]
        else:
            words.append(str(part))
    value = "missing" if detail["type"] == "missing" else shorten_value(detail["input"])
    plain = {"missing": "an entry that has it", "extra_forbidden": "no key of this name"}
    allowed = plain.get(detail["type"], detail["msg"].removeprefix("Value error, "))
    return Fault(f"shared/{name}", None, ", ".join(words), value, allowed[:1].lower() + allowed[1:], REMEDY)
