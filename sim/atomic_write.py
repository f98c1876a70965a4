"""Files written as a whole: beside the old one first, in its place once all of it is on the disk; one at a time."""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from uuid import uuid4


@contextmanager
def write_atomically(path: Path) -> Iterator[Path]:
    """A new file to write to, of the same ending in the same folder; it becomes ``path`` when the block ends well.

    When the block fails, or the disk is full, what was at ``path`` stays and nothing is left over.  A link at ``path``
    is replaced, not followed; a file that may not be written is not replaced.  Raises OSError.
    """
    if path.exists() and not os.access(path, os.W_OK):
        raise PermissionError(13, "it may not be written", str(path))
    new = path.with_name(f".new-{uuid4().hex[:12]}{path.suffix}")
    try:
        yield new
        with new.open("rb+") as file:
            os.fsync(file.fileno())
        if path.is_file() and not path.is_symlink():
            shutil.copymode(path, new)
        os.replace(new, path)
    finally:
        new.unlink(missing_ok=True)


@contextmanager
def lock_folder(path: Path) -> Iterator[None]:
    """Nobody else of this machine is between reading and writing the files of this folder meanwhile."""
    if sys.platform == "win32":
        import msvcrt

        held = os.open(path.with_name(f".{path.name}.lock"), os.O_CREAT | os.O_RDWR)
        try:
            msvcrt.locking(held, msvcrt.LK_LOCK, 1)
            yield
            msvcrt.locking(held, msvcrt.LK_UNLCK, 1)
        finally:
            os.close(held)
        return
    import fcntl

    held = os.open(path.parent, os.O_RDONLY)
    try:
        fcntl.flock(held, fcntl.LOCK_EX)
        yield
    finally:
        os.close(held)
