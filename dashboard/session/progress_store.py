"""Where this server keeps progress: in a file that was named when it was started, or nowhere.  No streamlit here."""

from __future__ import annotations

from pathlib import Path

from sim.errors import OutputError
from sim.fields.quantity_field import CONTROL_CHARACTERS
from sim.fields.untrusted_text import make_input_error
from sim.teaching.progress import Progress
from sim.teaching.progress_file import StoredProgress, merge_progress

OPTION = "--progress"


class ProgressFile:
    """The file, named by ``python -m dashboard --progress FILE`` alone; without it the server writes nothing."""

    file: Path | None = None


def use_progress_file(name: str) -> StoredProgress:
    """Keep progress in this file from now on; it is made, and read, at once.  Raises InputError where it cannot be."""
    if not name.lower().endswith(".toml") or CONTROL_CHARACTERS.search(name):
        raise make_input_error("command line", OPTION, name, "a file ending in .toml", "choose such a name")
    path = Path(name).absolute()
    if not path.parent.is_dir():
        raise make_input_error("command line", OPTION, name, "a file in a folder that exists", "make the folder first")
    found = merge_into_file(path, Progress())
    ProgressFile.file = path
    return found


def merge_into_file(path: Path, mine: Progress) -> StoredProgress:
    """As ``merge_progress``; a file that cannot be written is an OutputError."""
    try:
        return merge_progress(path, mine)
    except OSError as error:
        why = (error.strerror or "it cannot be written").lower()
        raise OutputError(
            make_input_error(str(path), "the file", why, "a file that may be written", "see to it").faults
        ) from None
