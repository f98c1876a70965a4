"""A folder as the archive of a record: read and checked, kept whole or not at all, over nobody else's changes."""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator, Mapping
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from sim.atomic_write import lock_folder, write_atomically
from sim.errors import Fault, InputError, OutputError
from sim.fields.quantity_field import fit_on_line
from sim.fields.untrusted_files import read_bytes
from sim.fields.untrusted_text import LARGEST_FILE, make_input_error
from sim.fingerprint import compute_version
from sim.report.record.contents import (
    CONTENTS,
    CONTENTS_UNFINISHED,
    FORM,
    LARGEST,
    Contents,
    File,
    Record,
    build_contents,
    check_sizes,
    compute_digest,
    parse_contents,
    upgrade_files,
)

ORDINARY_FILE = "an ordinary file, no link"


@dataclass(frozen=True)
class StoredRecord:
    """A record as it was read from a folder, and what the next ``save_record`` has to know of it."""

    record: Record
    made_by: str
    """The version that made it."""
    form: int
    """Its form on the disk."""
    digests: Mapping[str, str]
    """The mark of each file on the disk, ``record.toml`` among them."""
    edited: tuple[str, ...] = ()
    """Files that are not as ``record.toml`` says, or no longer there."""


def read_folder(path: Path, edited: bool = False) -> StoredRecord:
    """The record in a folder; with ``edited`` its files as they are, whatever was done to them since it was kept.

    Raises InputError with every file that is not as it was kept, or with what else is wrong.
    """
    if not path.is_dir():
        raise make_input_error(
            str(path), "the folder", "missing" if not path.exists() else "a file", "a folder", "name another"
        )
    try:
        return _read_record(path, edited=False)
    except InputError:
        with _lock_folder(path):
            return _read_record(path, edited)


def save_record(path: Path, record: Record, base: StoredRecord | None = None) -> StoredRecord:
    """Put a record into its folder; ``base`` is what was read there before, None for a new or an empty folder.

    The next ``save_record`` takes what this one gives back.  All of it is written, or nothing: InputError with every
    file that somebody changed meanwhile, or for a folder that holds something else; OutputError where it cannot be
    written.
    """
    mine = build_contents(record, compute_version("shop record"))
    try:
        path.mkdir(exist_ok=True)
        with lock_folder(path / CONTENTS):
            return _save_locked(path, record, mine, base)
    except (OSError, ValueError) as error:
        why = str(getattr(error, "strerror", None) or error).lower()
        remedy = "see to it that nothing else holds its files open, and that there is room"
        raise OutputError(
            make_input_error(str(path), "the folder", why, "one that may be written", remedy).faults
        ) from None


@contextmanager
def _lock_folder(path: Path) -> Iterator[None]:
    """No other window is at it meanwhile; where a folder cannot be held, it is read all the same."""
    with ExitStack() as stack:
        with suppress(OSError):
            stack.enter_context(lock_folder(path / CONTENTS))
        yield


def _read_record(path: Path, edited: bool) -> StoredRecord:
    list_of_it, half = _bytes(path / CONTENTS, LARGEST_FILE), _read_unfinished(path)
    if list_of_it is None:
        raise _make_no_record_error(path, half)
    contents = parse_contents(list_of_it, str(path / CONTENTS))
    roles = {name: listed.role for name, listed in ((half.file if half and edited else {}) | contents.file).items()}
    there = _read_files(path, roles)
    digests = {name: compute_digest(name, data) for name, data in there.items()}
    differ = [name for name, listed in contents.file.items() if digests.get(name) != listed.sha256]
    if differ and not edited:
        raise InputError(_make_edit_fault(path, name, digests.get(name), half) for name in differ)
    files = upgrade_files({name: File(roles[name], data) for name, data in there.items()}, contents.form)
    record = Record(contents.title, contents.invented, files, contents.note)
    marks = digests | {CONTENTS: compute_digest(CONTENTS, list_of_it)}
    return StoredRecord(record, contents.made_by, contents.form, marks, tuple(differ))


def _save_locked(path: Path, record: Record, mine: Contents, base: StoredRecord | None) -> StoredRecord:
    """As ``save_record``, while nobody else is at the folder."""
    half = _read_unfinished(path)
    _check_ours(path, half)
    known = {name: listed.sha256 for name, listed in half.file.items()} if half else {}
    known |= base.digests if base else {}
    there = _read_files(path, dict.fromkeys([CONTENTS, CONTENTS_UNFINISHED, *known, *record.files]), records=2)
    before = {name: compute_digest(name, data) for name, data in there.items() if name != CONTENTS_UNFINISHED}
    marks = {name: listed.sha256 for name, listed in mine.file.items()}
    mine = _keep_old_contents(mine, there.get(CONTENTS)) or mine
    marks[CONTENTS] = compute_digest(CONTENTS, mine.text.encode())
    if changed := [name for name, mark in before.items() if mark not in (known.get(name), marks.get(name))]:
        raise InputError(_make_change_fault(path, name, known) for name in changed)
    new = {name: file.data for name, file in record.files.items() if before.get(name) != marks[name]}
    if new or before.get(CONTENTS) != marks[CONTENTS]:
        _write(path, new, mine.text.encode(), there)
    for name in there.keys() - marks.keys():
        with suppress(OSError):  # it is no longer the record's, and does no harm
            (path / name).unlink()
    return StoredRecord(record, mine.made_by, FORM, marks)


def _keep_old_contents(mine: Contents, data: bytes | None) -> Contents | None:
    """The list on the disk, where it differs in nothing but the version that made it."""
    if data is None:
        return None
    with suppress(InputError):
        theirs = parse_contents(data, CONTENTS)
        if theirs.model_copy(update={"made_by": mine.made_by}) == mine:
            return theirs
    return None


def _write(path: Path, new: Mapping[str, bytes], contents: bytes, there: Mapping[str, bytes]) -> None:
    """The files, each as a whole once all are on the disk, then the list of them; where that fails all is put back."""
    try:
        with ExitStack() as all_of_them:
            for name, data in new.items():
                all_of_them.enter_context(write_atomically(path / name)).write_bytes(data)
            with write_atomically(path / CONTENTS_UNFINISHED) as begun:
                begun.write_bytes(contents)
        os.replace(path / CONTENTS_UNFINISHED, path / CONTENTS)
    except BaseException:
        _restore_files(path, {**new, CONTENTS_UNFINISHED: contents}, there)
        raise


def _restore_files(path: Path, new: Mapping[str, bytes], there: Mapping[str, bytes]) -> None:
    """Files as they were, unless the list of the new ones is in its place already."""
    if not (path / CONTENTS_UNFINISHED).exists():
        return
    for name, data in new.items():
        old, now = there.get(name), _bytes(path / name, LARGEST)
        if old is None:
            (path / name).unlink(missing_ok=True)
        elif now != old and now in (None, data):
            with write_atomically(path / name) as again:
                again.write_bytes(old)


def _check_ours(path: Path, half: Contents | None) -> None:
    """Raises InputError for a folder with something in it that is no record; what begins with a dot does not count."""
    ours = {CONTENTS_UNFINISHED, *(half.file if half else ())}
    foreign = sorted(each.name for each in path.iterdir() if not each.name.startswith(".") and each.name not in ours)
    if foreign and CONTENTS not in foreign:
        more = f" and {len(foreign) - 1} more" if len(foreign) > 1 else ""
        found = f"no {CONTENTS}, but {fit_on_line(foreign[0], 24)}{more}"
        raise make_input_error(
            str(path), "the folder", found, "a new or an empty folder, or one of a record", "name such a one"
        )


def _make_change_fault(path: Path, name: str, known: Mapping[str, str]) -> Fault:
    """A file that is not to be written over."""
    if name in known:
        found, allowed = "changed since it was read", "as it was read"
        remedy = "read the record again and put your changes to it; nothing was written"
    elif name == CONTENTS:
        found, allowed = "there already", "a new or an empty folder"
        remedy = "read the record in this folder first, or name another folder; nothing was written"
    else:
        found, allowed = "there already, and none of the record's", "a name that is free"
        remedy = "give it another name, or move it away; nothing was written"
    return Fault(str(path / name), None, "the file", found, allowed, remedy)


def _make_edit_fault(path: Path, name: str, mark: str | None, half: Contents | None) -> Fault:
    """A file that is not as it was kept, and what to do."""
    found = "missing" if mark is None else "edited since it was kept"
    remedy = "see whether it is as you want it and read it as edited (--edited), or put the one that was kept back"
    if half is not None and name in half.file and half.file[name].sha256 == mark:
        found = "of a new record, whose writing was broken off"
        remedy = "keep the new record again, or read the files as they are, as edited (--edited)"
    return Fault(str(path / name), None, "the file", found, f"as {CONTENTS} says", remedy)


def _make_no_record_error(path: Path, half: Contents | None) -> InputError:
    if half is None:
        return make_input_error(
            str(path), CONTENTS, "missing", "a folder of a record", "name the folder that holds one"
        )
    remedy = "keep the record again, or empty the folder"
    return make_input_error(str(path), CONTENTS, "missing: writing the record was broken off", "a whole record", remedy)


def _read_unfinished(path: Path) -> Contents | None:
    """The list of a record whose writing was broken off."""
    data = _bytes(path / CONTENTS_UNFINISHED, LARGEST_FILE)
    return None if data is None else parse_contents(data, str(path / CONTENTS_UNFINISHED))


def _read_files(path: Path, names: Iterable[str], records: int = 1) -> dict[str, bytes]:
    """Those of the files that are there; looked at before they are read, so that a record too large is not read."""
    sizes = {}
    for name in names:
        with suppress(FileNotFoundError):
            sizes[name] = (path / name).lstat().st_size
    check_sizes(sizes, str(path), records)
    found = {name: _bytes(path / name, LARGEST) for name in sizes}
    there = {name: data for name, data in found.items() if data is not None}
    check_sizes({name: len(data) for name, data in there.items()}, str(path), records)
    return there


def _bytes(path: Path, largest: int) -> bytes | None:
    """What is in a file of the folder; None where there is none.  A link is not followed."""
    if path.is_symlink():
        raise make_input_error(str(path), "the file", "a link", ORDINARY_FILE, "put the file itself in its place")
    return read_bytes(path, largest, ORDINARY_FILE) if path.exists() else None
