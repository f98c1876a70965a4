"""Files of others that are no scenario: their bytes, and what is wrong with one that is made of lists."""

from __future__ import annotations

from pathlib import Path

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from sim.errors import Fault
from sim.fields.quantity_field import shorten_value
from sim.fields.untrusted_text import make_input_error


def read_bytes(path: Path, largest: int, wanted: str) -> bytes:
    """What is in a file, of a larger one one byte more than ``largest``.  Raises InputError that tells ``wanted``."""
    try:
        if path.exists() and not path.is_file():
            raise make_input_error(str(path), "the file", "no ordinary file", wanted, "name an ordinary file")
        with path.open("rb") as file:
            return file.read(largest + 1)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "unreadable name"
        raise make_input_error(
            str(path), "the file", reason.lower(), wanted, "check its name and that it may be read"
        ) from None


def collect_list_faults(error: ValidationError, file: str, remedy: str) -> list[Fault]:
    """Every fault of a file that is made of lists: ``lesson 2, tries``."""
    return [_in_list(detail, file, remedy) for detail in error.errors(include_url=False)]


def _in_list(detail: ErrorDetails, file: str, remedy: str) -> Fault:
    way = [str(part + 1) if isinstance(part, int) else str(part) for part in detail["loc"]]
    where = ", ".join([" ".join(way[:2]), *way[2:]])
    allowed = str(detail.get("ctx", {}).get("allowed", detail["msg"].lower()))
    return Fault(file, None, shorten_value(where).strip('"'), shorten_value(detail["input"]), allowed, remedy)
