"""A shop's record: plain files with a list of what they are, which a later version still reads.

``record.toml`` lists them: form, version that made it, title, note, and each file with its
role and the mark of its bytes.  No disk here; ``folder.py`` reads and keeps.
"""

from __future__ import annotations

import hashlib
import re
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Annotated

import tomli_w
from pydantic import AfterValidator, Field, ValidationError

from sim.errors import Fault, InputError
from sim.fields.quantity_field import CONTROL_CHARACTERS, make_field_error, shorten_value
from sim.fields.section_base import Name, Section
from sim.fields.untrusted_files import collect_list_faults
from sim.fields.untrusted_text import decode_text, make_input_error, parse_toml

FORM = 1
"""Form of ``record.toml`` and of what the files hold; older ones are upgraded, newer ones refused."""
CONTENTS, CONTENTS_UNFINISHED = "record.toml", "record.begun.toml"
"""The list of the files; and the list of those that are just being written, which then takes its place."""
TEXTS = (".csv", ".html", ".svg", ".toml", ".txt")
ENDINGS = (*TEXTS, ".jpeg", ".jpg", ".parquet", ".pdf", ".png")
MOST_FILES = 400
"""A section of 88 notes with four files each has some 350."""
LARGEST = 20_000_000
"""Bytes of one file; a photograph has a few million."""
LARGEST_RECORD = 200_000_000
LONGEST_NOTE = 10_000
HEAD = """\
# A shop's record, kept by the action-unit simulator: plain files, to be read, compared and copied like any others.
# sha256 tells whether a file is still as it was kept; in files of text the ends of lines do not count.
"""
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]*(?:\.[A-Za-z0-9_-]+)*", re.ASCII)
_DEVICE = re.compile(r"(?:con|prn|aux|nul|com\d|lpt\d)(?:\..*)?", re.IGNORECASE)
NAMES = f"letters, figures, - and _, at most 80, ending in {', '.join(ENDINGS)}"

TomlTree = Mapping[str, object]


@dataclass(frozen=True)
class File:
    """One file of a record: what it is for, in words, and what is in it."""

    role: str
    data: bytes


Files = Mapping[str, File]


@dataclass(frozen=True)
class Record:
    """What a record says; ``invented`` where its data are.  Files by name, which is no path."""

    title: str
    invented: bool
    files: Files
    note: str = ""

    def text(self, name: str) -> str:
        """The text of one file.  Raises InputError where it is none, KeyError for a name that is not there."""
        return decode_text(self.files[name].data, name, LARGEST)


@dataclass(frozen=True)
class Upgrade:
    """From one form to the next: what ``record.toml`` says, and what the files hold.

    ``[[file]]`` with name, role and sha256 stays as it is in every form: by it the files are read and checked first.
    """

    contents: Callable[[TomlTree], TomlTree] = dict
    files: Callable[[Files], Files] = dict


UPGRADES: Mapping[int, Upgrade] = {}
"""By the form that each begins from; every form below ``FORM`` has one."""


def _file_name(name: str) -> str:
    plain = _NAME.fullmatch(name) and name.lower().endswith(ENDINGS) and len(name) <= 80
    if not plain or _DEVICE.fullmatch(name) or name.lower() in (CONTENTS, CONTENTS_UNFINISHED):
        raise make_field_error("no file name of a record", name, NAMES, "give the file such a name, without a folder")
    return name


def _note(text: str) -> str:
    if CONTROL_CHARACTERS.search(text.replace("\n", "")):
        raise make_field_error(
            "not plain", text, "a text of letters, figures and signs", "take out the control characters"
        )
    return text


class _ListedFile(Section):
    role: Name
    sha256: Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]


class Contents(Section):
    """What ``record.toml`` says: a table a file, a line a field, so that two records are compared line by line."""

    form: int
    """Of the file it was read from; what is written has ``FORM``."""
    made_by: Name
    title: Name
    note: Annotated[str, Field(max_length=LONGEST_NOTE), AfterValidator(_note)] = ""
    invented: bool
    file: dict[Annotated[str, AfterValidator(_file_name)], _ListedFile] = Field(
        default_factory=dict, max_length=MOST_FILES
    )

    @property
    def text(self) -> str:
        """As it stands in the file."""
        return HEAD + tomli_w.dumps(self.model_dump(), multiline_strings=True)


def build_contents(record: Record, made_by: str) -> Contents:
    """The list of a record's files.  Raises InputError with all for which it could not be read back."""
    listed = {
        name: {"role": f.role, "sha256": compute_digest(name, f.data)} for name, f in sorted(record.files.items())
    }
    tree = {
        "form": FORM, "made_by": made_by, "title": record.title, "note": record.note, "invented": record.invented,
        "file": listed,
    }  # fmt: skip
    found = _validate_contents(tree, "the record")
    check_sizes({name: len(file.data) for name, file in record.files.items()}, "the record")
    return found


def parse_contents(data: bytes, name: str) -> Contents:
    """What the bytes of a ``record.toml`` say, upgraded to this form.  Raises InputError with all that is wrong."""
    tree: TomlTree = parse_toml(decode_text(data, name), name)
    form = tree.get("form")
    if not isinstance(form, int) or isinstance(form, bool) or form < 1:
        remedy = f"this is no {CONTENTS} of a record: name the folder of one"
        raise make_input_error(name, "form", "missing" if form is None else form, _forms(), remedy)
    if form > FORM:
        remedy = (
            f"it was made by {shorten_value(tree.get('made_by', 'a newer version'))}: read it with that "
            f"version or a newer one"
        )
        raise make_input_error(name, "form", form, _forms(), remedy)
    for each in range(form, FORM):
        tree = {**UPGRADES[each].contents(tree), "form": form}
    return _validate_contents(tree, name)


def _forms() -> str:
    return f"{FORM}, which this version writes" + (", and all below" if FORM > 1 else "")


def upgrade_files(files: Files, form: int) -> Files:
    """What files of this form hold, as this version reads it."""
    for each in range(form, FORM):
        files = UPGRADES[each].files(files)
    return files


def _validate_contents(tree: TomlTree, name: str) -> Contents:
    try:
        found = Contents.model_validate(tree)
    except ValidationError as error:
        raise InputError(collect_list_faults(error, name, "mend it, or keep the record anew")) from None
    alike = Counter(each.lower() for each in found.file)
    if twice := [each for each in found.file if alike[each.lower()] > 1]:
        raise make_input_error(
            name, "file", " and ".join(twice), "names that differ in more than capitals", "rename one of them"
        )
    return found


def check_sizes(sizes: Mapping[str, int], where: str, records: int = 1) -> None:
    """Raises InputError where files (bytes by name) are larger than a record's, or than those of so many records."""
    remedy, most = "make it smaller, or leave it out", f"at most {LARGEST / 1e6:g} MB"
    faults = [Fault(where, None, name, f"{n} bytes", most, remedy) for name, n in sizes.items() if n > LARGEST]
    if (whole := sum(sizes.values())) > records * LARGEST_RECORD:
        most = f"at most {LARGEST_RECORD / 1e6:g} MB"
        faults.append(Fault(where, None, "all files", f"{whole} bytes", most, "divide it into several records"))
    if faults:
        raise InputError(faults)


def compute_digest(name: str, data: bytes) -> str:
    """The mark of a file's bytes; of a text without regard to how its lines end, which copying may change."""
    plain = data.replace(b"\r\n", b"\n") if name.lower().endswith(TEXTS) else data
    return hashlib.sha256(plain).hexdigest()
