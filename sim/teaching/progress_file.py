"""Progress kept in a file: read, put together with what others wrote meanwhile, written whole or not at all."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

from sim.atomic_write import lock_folder, write_atomically
from sim.errors import InputError
from sim.fields.untrusted_text import LARGEST_FILE, make_input_error
from sim.teaching.progress import OtherFormError, Progress, format_progress, parse_progress


@dataclass(frozen=True)
class StoredProgress:
    """What the file holds now; ``aside`` is where an unreadable one was put, and ``why``."""

    progress: Progress
    aside: Path | None = None
    why: str = ""


def merge_progress(path: Path, mine: Progress) -> StoredProgress:
    """Put ``mine`` into the file beside what it holds, and give back all of it.

    One that cannot be read is set aside first, under a name of its own; one of another form is left alone
    (OtherFormError).  Raises InputError where it would grow too large, OSError where it cannot be written; what
    was there before then stays.
    """
    with lock_folder(path):
        there, aside, why = Progress(), None, ""
        if path.exists():
            data = _bytes(path)
            try:
                there = parse_progress(data, str(path))
            except OtherFormError:
                raise
            except InputError as error:
                aside, why = _set_aside(path), str(error)
        both = there | mine
        if both != there or not path.exists():
            text = format_progress(both)
            with write_atomically(path) as new:
                new.write_text(text, encoding="utf-8")
    return StoredProgress(both, aside, why)


def _bytes(path: Path) -> bytes:
    """What is in the file; of one that is too large a little more than is allowed."""
    if not path.is_file():
        raise make_input_error(str(path), "the file", "not an ordinary file", "an ordinary file", "name another")
    with path.open("rb") as file:
        return file.read(LARGEST_FILE + 1)


def _set_aside(path: Path) -> Path:
    """The file under another name, one that nothing had."""
    for count in range(1, 1000):
        other = path.with_name(f"{path.stem}.unreadable{'' if count == 1 else f'-{count}'}{path.suffix}")
        try:
            os.close(os.open(other, os.O_CREAT | os.O_EXCL | os.O_WRONLY))
        except FileExistsError:
            continue
        os.replace(path, other)
        return other
    raise make_input_error(
        str(path), "the file", "unreadable", "a file of progress", "put away those that were set aside before"
    )
