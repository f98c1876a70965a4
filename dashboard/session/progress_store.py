"""Where this server keeps progress: in a file that was named when it was started, or nowhere.  No streamlit here."""

from __future__ import annotations

from pathlib import Path

from sim.errors import OutputError
from sim.fields.quantity_field import STEERS
from sim.fields.untrusted_text import refuse
from sim.teaching.progress import Progress
from sim.teaching.progress_file import Kept, keep

OPTION = "--progress"


class Place:
    """The file, named by ``python -m dashboard --progress FILE`` alone; without it the server writes nothing."""

    file: Path | None = None


def begin(name: str) -> Kept:
    """Keep progress in this file from now on; it is made, and read, at once.  Raises InputError where it cannot be."""
    if not name.lower().endswith(".toml") or STEERS.search(name):
        raise refuse("command line", OPTION, name, "a file ending in .toml", "choose such a name")
    path = Path(name).absolute()
    if not path.parent.is_dir():
        raise refuse("command line", OPTION, name, "a file in a folder that exists", "make the folder first")
    found = put(path, Progress())
    Place.file = path
    return found


def put(path: Path, mine: Progress) -> Kept:
    """As ``keep``; a file that cannot be written is an OutputError."""
    try:
        return keep(path, mine)
    except OSError as error:
        why = (error.strerror or "it cannot be written").lower()
        raise OutputError(
            refuse(str(path), "the file", why, "a file that may be written", "see to it").faults
        ) from None
