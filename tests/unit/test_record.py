"""A folder as archive: whole or not at all, nobody's changes overwritten, older forms read, newer ones refused."""

from __future__ import annotations

import hashlib
import os
import re
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path

import pytest
import tomli_w
from hypothesis import given
from hypothesis import strategies as st

from sim.errors import InputError, OutputError
from sim.fingerprint import compute_version
from sim.report.record import contents
from sim.report.record import folder as record_folder
from sim.report.record.contents import (
    CONTENTS,
    CONTENTS_UNFINISHED,
    FORM,
    UPGRADES,
    File,
    Record,
    Upgrade,
    build_contents,
    compute_digest,
    parse_contents,
)
from sim.report.record.folder import StoredRecord, read_folder, save_record
from tests.tiers import try_each

Tell = Callable[..., None]
ROOT = Path(__file__).parents[2]
FORM_1 = ROOT / "tests" / "data" / "record-form-1"
FILES = {
    "section.toml": File("the sample notes", b'title = "A section"\n'),
    "readings.csv": File("readings, a line a note", b"note,dip_mm\n1,10.1\n"),
    "note-40.png": File("the note as drawn", b"\x89PNG\r\n\x1a\n\r\n"),
}
MADE = Record("A made-up section", True, FILES, "First line.\nSecond – “line”.")
OTHER = Record(
    "Later", True, {**FILES, "readings.csv": File("readings", b"note\n2\n"), "new.txt": File("a note", b"x")}
)
WRITER = """
import sys
from pathlib import Path
from dataclasses import replace
from sim.errors import InputError
from sim.report.record.contents import File
from sim.report.record.folder import read_folder, save_record
path, name, count, done = Path(sys.argv[1]), sys.argv[2], int(sys.argv[3]), 0
print("begun", flush=True)
while done < count:
    found = read_folder(path)
    line = found.record.text("readings.csv") + f"{name}-{done}\\n"
    files = {**found.record.files, "readings.csv": File("readings", line.encode())}
    try:
        save_record(path, replace(found.record, files=files), found)
        done += 1
    except InputError as error:
        assert "changed since it was read" in str(error), error
"""


def on_disk(folder: Path) -> dict[str, bytes]:
    return {each.name: each.read_bytes() for each in folder.iterdir() if each.name != ".record.toml.lock"}


@pytest.fixture
def kept(tmp_path: Path) -> tuple[Path, StoredRecord]:
    """A folder with a record in it, and what it was kept as."""
    folder = tmp_path / "shop"
    return folder, save_record(folder, MADE)


def test_what_is_kept_is_read_back_and_kept_again_without_a_write(kept: tuple[Path, StoredRecord]) -> None:
    folder, base = kept
    found = read_folder(folder)
    assert (
        found == base and found.record == MADE and (found.form, found.made_by) == (FORM, compute_version("shop record"))
    )
    before = {each.name: each.stat().st_mtime_ns for each in folder.iterdir()}
    assert save_record(folder, found.record, found) == found
    assert {each.name: each.stat().st_mtime_ns for each in folder.iterdir()} == before
    assert found.record.text("section.toml") == 'title = "A section"\n' and set(on_disk(folder)) == {*FILES, CONTENTS}


def test_a_person_reads_the_list_and_finds_a_line_a_field(kept: tuple[Path, StoredRecord]) -> None:
    text = (kept[0] / CONTENTS).read_text(encoding="utf-8")
    data = FILES["readings.csv"].data
    assert (
        f'[file."readings.csv"]\nrole = "readings, a line a note"\nsha256 = "{hashlib.sha256(data).hexdigest()}"\n'
        in text
    )
    assert "form = 1\n" in text and "\nSecond – “line”." in text and text.startswith("# A shop's record")
    later = build_contents(
        replace(MADE, files={**FILES, "readings.csv": File("readings, a line a note", b"2")}),
        compute_version("shop record"),
    )
    assert len(set(later.text.splitlines()) ^ set(text.splitlines())) == 2, "one line of it differs"


def test_files_of_before_go_and_those_of_others_stay(kept: tuple[Path, StoredRecord]) -> None:
    folder, base = kept
    (folder / "my own.odt").write_bytes(b"mine")
    fewer = replace(MADE, files={"section.toml": FILES["section.toml"]})
    save_record(folder, fewer, base)
    assert set(on_disk(folder)) == {"section.toml", CONTENTS, "my own.odt"} and read_folder(folder).record == fewer
    with pytest.raises(InputError, match="there already, and none of the record's"):
        save_record(folder, replace(MADE, files={"my-own.txt": File("x", b"y")}), _with(folder, "my-own.txt"))


def _with(folder: Path, name: str) -> StoredRecord:
    (folder / name).write_bytes(b"somebody's")
    return read_folder(folder)


def test_an_edited_file_is_named_and_taken_when_asked(kept: tuple[Path, StoredRecord]) -> None:
    folder, _ = kept
    (folder / "readings.csv").write_bytes(b"note,dip_mm\n1,10.2\n")
    (folder / "note-40.png").unlink()
    with pytest.raises(InputError) as refused:
        read_folder(folder)
    told = {fault.file: fault.value for fault in refused.value.faults}
    assert told == {str(folder / "readings.csv"): "edited since it was kept", str(folder / "note-40.png"): "missing"}
    found = read_folder(folder, edited=True)
    assert set(found.edited) == {"readings.csv", "note-40.png"} and b"10.2" in found.record.files["readings.csv"].data
    save_record(folder, found.record, found)
    assert read_folder(folder).record == found.record and set(found.record.files) == {"section.toml", "readings.csv"}


def test_ends_of_lines_that_copying_changed_are_no_edit(kept: tuple[Path, StoredRecord]) -> None:
    folder, base = kept
    for name in ("section.toml", "readings.csv", CONTENTS):
        (folder / name).write_bytes((folder / name).read_bytes().replace(b"\n", b"\r\n"))
    assert read_folder(folder).digests == base.digests
    (folder / "note-40.png").write_bytes(FILES["note-40.png"].data.replace(b"\r\n", b"\n"))
    with pytest.raises(InputError, match=r"note-40\.png: the file = edited since"):
        read_folder(folder)


edits = st.lists(
    st.tuples(
        st.sampled_from(["write", "remove", "keep", "same", "own"]),
        st.sampled_from([*FILES, CONTENTS, "new.txt", "other.txt"]), st.binary(max_size=6),
    ),
    max_size=4,
)  # fmt: skip


@given(edits)
def test_all_of_ours_is_written_or_all_is_as_it_was(made: list[tuple[str, str, bytes]]) -> None:
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "shop"
        base = save_record(folder, MADE)
        for what, name, data in made:
            _happens(folder, what, name, data)
        before = on_disk(folder)
        try:
            found = save_record(folder, OTHER, base)
        except InputError as error:
            assert on_disk(folder) == before
            named = {Path(fault.file).name for fault in error.faults}
            changed = {
                n for n, data in before.items() if n in {*FILES, CONTENTS, "new.txt"} and _foreign(n, data, base)
            }
            assert named == changed if CONTENTS in before else named == {"shop"} | named
        else:
            assert read_folder(folder) == found and found.record == OTHER
            assert {n: d for n, d in on_disk(folder).items() if n not in {*OTHER.files, CONTENTS}} == {
                n: d for n, d in before.items() if n not in {*OTHER.files, *FILES, CONTENTS}
            }


def _happens(folder: Path, what: str, name: str, data: bytes) -> None:
    """Something that somebody else does in the folder."""
    if what == "write":
        (folder / name).write_bytes(data)
    elif what == "remove":
        (folder / name).unlink(missing_ok=True)
    elif what == "own" and name in OTHER.files:
        (folder / name).write_bytes(OTHER.files[name].data)
    elif what == "keep":
        try:
            now = read_folder(folder, edited=True)
            save_record(folder, replace(now.record, note=data.hex()), now)
        except InputError:
            pass


def _foreign(name: str, data: bytes, base: StoredRecord) -> bool:
    ours = {
        **{n: f.data for n, f in OTHER.files.items()},
        CONTENTS: build_contents(OTHER, compute_version("shop record")).text.encode(),
    }
    return compute_digest(name, data) not in (base.digests.get(name), compute_digest(name, ours.get(name, b"none")))


class Killed(BaseException):
    """As when the machine is turned off: nothing after it is done."""


@pytest.mark.parametrize("first", [False, True])
def test_killed_at_any_point_it_is_told_and_nothing_is_lost(
    first: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, tell: Tell
) -> None:
    tell(
        tried="a record's writing killed between any two of its files",
        expected="told at reading, never taken for whole",
    )
    replaced, outcomes = os.replace, []
    for point in range(7):
        folder = tmp_path / f"shop-{point}"
        base = None if first else save_record(folder, MADE)
        left = [point]

        def until(source: Path, target: Path, left: list[int] = left) -> None:
            left[0] -= 1
            if left[0] < 0:
                raise Killed
            replaced(source, target)

        with monkeypatch.context() as going:
            going.setattr(os, "replace", until)
            going.setattr(record_folder, "_restore_files", lambda *_: None)
            try:
                save_record(folder, OTHER, base)
            except Killed:
                outcomes.append(_after_the_kill(folder, base))
            else:
                outcomes.append("whole")
        again = OTHER if point % 2 else replace(OTHER, files=OTHER.files | {"new.txt": File("note", b"another")})
        if point % 2 or outcomes[-1] != "whole":
            assert save_record(folder, again, base).record == again == read_folder(folder).record
        assert not (folder / CONTENTS_UNFINISHED).exists()
    assert outcomes == (["none", *["told"] * 5, "whole"] if first else ["old", "old", "old", "told", *["whole"] * 3])
    tell(happened=f"by the point at which it was killed: {', '.join(outcomes)}")


def _after_the_kill(folder: Path, base: StoredRecord | None) -> str:
    try:
        found = read_folder(folder)
    except InputError as error:
        said = str(error)
        if base is None and not (folder / CONTENTS_UNFINISHED).exists():
            assert 'record.toml = "missing"' in said
            return "none"
        assert "was broken off" in said and "keep the" in said
        if base is not None:
            taken = read_folder(folder, edited=True)
            assert taken.edited == ("readings.csv",) and set(FILES) <= set(taken.record.files)
        return "told"
    assert found.record == MADE
    return "old"


@pytest.mark.parametrize("point", range(6))
def test_where_a_file_cannot_be_written_all_is_put_back(
    point: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "shop"
    base = save_record(folder, MADE)
    (folder / CONTENTS_UNFINISHED).write_text(
        build_contents(replace(MADE, note="broken off"), compute_version("shop record")).text, encoding="utf-8"
    )
    before, replaced, left = on_disk(folder), os.replace, [point]

    def once(source: Path, target: Path) -> None:
        left[0] -= 1
        if left[0] == -1:
            raise PermissionError(13, "The file is open in another program")
        replaced(source, target)

    monkeypatch.setattr(os, "replace", once)
    if point < 4:
        with pytest.raises(OutputError, match="open in another program"):
            save_record(folder, OTHER, base)
        assert on_disk(folder) == before
    else:
        assert save_record(folder, OTHER, base).record == OTHER == read_folder(folder).record


def test_a_first_record_that_cannot_be_written_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(path: Path, data: bytes) -> int:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "write_bytes", full)
    with pytest.raises(OutputError, match="no space left"):
        save_record(tmp_path, MADE)
    assert not on_disk(tmp_path)


def test_two_windows_that_write_at_once_lose_nothing(kept: tuple[Path, StoredRecord]) -> None:
    folder, count = kept[0], 12
    command = [sys.executable, "-c", WRITER, str(folder)]
    both = [subprocess.Popen([*command, name, str(count)], cwd=ROOT, stdout=subprocess.DEVNULL) for name in "ab"]
    assert [each.wait(120) for each in both] == [0, 0]
    lines = read_folder(folder).record.text("readings.csv").splitlines()
    assert sorted(lines[2:]) == sorted(f"{name}-{i}" for name in "ab" for i in range(count))


def test_a_window_that_read_before_another_wrote_is_told_so(kept: tuple[Path, StoredRecord]) -> None:
    folder, base = kept
    save_record(folder, OTHER, base)
    before = on_disk(folder)
    with pytest.raises(InputError) as refused:
        save_record(folder, replace(MADE, note="mine"), base)
    assert {Path(fault.file).name for fault in refused.value.faults} == {CONTENTS, "readings.csv"}
    assert on_disk(folder) == before and "nothing was written" in str(refused.value)


def test_a_folder_that_holds_something_else_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "letters.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(InputError, match=r"no record.toml, but letters.txt\"; allowed: a new or an empty"):
        save_record(tmp_path, MADE)
    with pytest.raises(InputError, match=r'record\.toml = "missing"'):
        read_folder(tmp_path)
    assert on_disk(tmp_path) == {"letters.txt": b"mine"}


def test_a_record_that_is_there_is_read_before_it_is_written_over(kept: tuple[Path, StoredRecord]) -> None:
    with pytest.raises(InputError, match="read the record in this folder first"):
        save_record(kept[0], OTHER)
    assert read_folder(kept[0]) == kept[1]


NO_FILE = re.compile("a link|ordinary file|a folder")
NAMES = (
    "../x.txt",
    "..",
    ".x.txt",
    "/etc/x.txt",
    "a/b.txt",
    "a\\b.txt",
    "C:x.txt",
    "x.txt\0",
    "x\n.txt",
    "nul.txt",
    "COM1.csv",
    "con.toml",
    "x.exe",
    "x",
    "",
    "x.txt.",
    "x.txt ",
    "record.toml",
    "Record.TOML",
    CONTENTS_UNFINISHED,
    "é.txt",
    "x" * 90 + ".txt",
    "\u202ex.txt",
    "-x.txt",
    "a..b.txt",
    "x.txt:stream",
)


@pytest.mark.parametrize("name", NAMES)
def test_a_name_that_leaves_the_folder_or_is_none_is_refused(name: str, kept: tuple[Path, StoredRecord]) -> None:
    folder, base = kept
    before = on_disk(folder)
    with pytest.raises(InputError, match="letters, figures"):
        save_record(folder, replace(MADE, files={name: File("x", b"y")}), base)
    assert on_disk(folder) == before
    listed = {"file": {name: {"role": "x", "sha256": "0" * 64}}}
    text = tomli_w.dumps(build_contents(MADE, compute_version("shop record")).model_dump() | listed)
    with pytest.raises(InputError, match="letters, figures"):
        parse_contents(text.encode(), "record.toml")


def test_names_that_one_disk_takes_for_the_same_are_refused() -> None:
    with pytest.raises(InputError, match="differ in more than capitals"):
        build_contents(
            replace(MADE, files={"a.txt": File("x", b""), "A.txt": File("x", b"")}), compute_version("shop record")
        )


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no links and pipes here without rights")
@pytest.mark.parametrize("kind", ["a link", "a link to nothing", "a pipe", "a folder"])
@try_each("name", ["readings.csv", CONTENTS])
def test_what_is_no_ordinary_file_is_neither_read_nor_written_over(
    kind: str, name: str, kept: tuple[Path, StoredRecord], tmp_path: Path
) -> None:
    folder, base = kept
    outside = tmp_path / "outside.csv"
    shutil.move(folder / name, outside)
    if kind == "a link to nothing":
        outside.unlink()
    {"a pipe": os.mkfifo, "a folder": Path.mkdir}.get(kind, lambda path: path.symlink_to(outside))(folder / name)
    for edited in (False, True):
        with pytest.raises(InputError, match=NO_FILE):
            read_folder(folder, edited)
    with pytest.raises(InputError, match=NO_FILE):
        save_record(folder, OTHER, base)


def test_what_is_too_much_is_refused_before_it_is_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    base = save_record(tmp_path / "shop", MADE)
    for name, most, words in (("LARGEST", 15, "19 bytes"), ("LARGEST_RECORD", 30, "bytes; allowed: at most 3e-05 MB")):
        with monkeypatch.context() as small:
            small.setattr(contents, name, most)
            for attempt in (lambda: save_record(tmp_path / "shop", MADE, base), lambda: read_folder(tmp_path / "shop")):
                with pytest.raises(InputError, match=words):
                    attempt()
    many = {f"{i}.txt": File("x", b"") for i in range(contents.MOST_FILES + 1)}
    with pytest.raises(InputError, match="400 items"):
        save_record(tmp_path / "many", replace(MADE, files=many))
    assert not (tmp_path / "many").exists()
    most = replace(MADE, files=dict([*many.items()][1:]))
    save_record(tmp_path / "many", most)
    assert read_folder(tmp_path / "many").record == most


@pytest.mark.parametrize(
    "wrong", [{"title": ""}, {"title": "a\nb"}, {"title": "\x1b[2J"}, {"note": "\x1b[2J"}, {"note": "x" * 10_001}]
)
def test_a_title_or_note_that_could_not_be_read_back_is_not_written(wrong: Mapping[str, str], tmp_path: Path) -> None:
    with pytest.raises(InputError, match=next(iter(wrong))):
        save_record(tmp_path, replace(MADE, **wrong))
    assert not on_disk(tmp_path)


def test_every_earlier_form_is_still_read() -> None:
    """The folder was made once; whatever changes later has to read it."""
    found = read_folder(FORM_1)
    assert found.form == 1 and found.record.title == "A made-up section" and found.record.invented
    assert set(found.record.files) == {"section.toml", "readings.csv", "note.txt"} and "First" in found.record.note
    assert found.record.text("readings.csv").splitlines()[1] == "40,10.05,yes"
    assert set(UPGRADES) == set(range(1, FORM))


def test_an_older_form_is_upgraded_in_what_it_says_and_holds(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def retitled(tree: contents.TomlTree) -> contents.TomlTree:
        return {**tree, "title": f"{tree['title']}, upgraded"}

    def renamed(files: contents.Files) -> contents.Files:
        return {name.replace("note.txt", "remarks.txt"): file for name, file in files.items()}

    folder = tmp_path / "old"
    shutil.copytree(FORM_1, folder)
    monkeypatch.setattr(contents, "FORM", 3)
    monkeypatch.setattr(contents, "UPGRADES", {1: Upgrade(contents=retitled), 2: Upgrade(files=renamed)})
    found = read_folder(folder)
    assert found.record.title.endswith(", upgraded") and "remarks.txt" in found.record.files and found.form == 1
    save_record(folder, found.record, found)
    again = read_folder(folder)
    assert again.form == 3 and again.record == found.record and not (folder / "note.txt").exists()


@pytest.mark.parametrize(("form", "words"), [
    ("2", 'form = 2; allowed: 1, which this version writes; it was made by "9.9.0'),
    ("0", "no record.toml of a record"),
    ("true", "no record.toml"), ('"1"', "no record.toml"), ("1.0", "no record.toml"),
])  # fmt: skip
def test_another_form_is_refused_with_what_to_do(form: str, words: str, kept: tuple[Path, StoredRecord]) -> None:
    folder, base = kept
    text = (folder / CONTENTS).read_text(encoding="utf-8").replace(compute_version("shop record"), "9.9.0")
    (folder / CONTENTS).write_text(text.replace("form = 1", f"form = {form}"), encoding="utf-8")
    for edited in (False, True):
        with pytest.raises(InputError, match=words):
            read_folder(folder, edited)
    with pytest.raises(InputError, match="changed since it was read"):
        save_record(folder, OTHER, base)


def test_every_fault_of_the_list_is_told_with_its_place(kept: tuple[Path, StoredRecord]) -> None:
    text = 'form = 1\ntitle = ""\ninvented = "no"\nhost = "x"\n[file."../x.txt"]\nrole = "x"\nsha256 = "abc"\n'
    with pytest.raises(InputError) as refused:
        parse_contents(text.encode(), CONTENTS)
    told = "\n".join(fault.field for fault in refused.value.faults)
    for field in ("title", "invented", "host", "made_by", "file ../x.txt"):
        assert field in told


@pytest.mark.parametrize("path", ["missing", "a\0b", "a file"])
def test_a_folder_that_is_none_is_told(path: str, tmp_path: Path) -> None:
    (tmp_path / "a file").write_text("x", encoding="utf-8")
    with pytest.raises(InputError, match="the folder = "):
        read_folder(tmp_path / path)
    if path != "missing":
        with pytest.raises(OutputError, match="the folder = "):
            save_record(tmp_path / path, MADE)


def test_a_record_is_read_where_its_folder_cannot_be_held(
    kept: tuple[Path, StoredRecord], monkeypatch: pytest.MonkeyPatch
) -> None:
    def none(path: Path) -> None:
        raise OSError(30, "Read-only file system")

    monkeypatch.setattr(record_folder, "lock_folder", none)
    assert read_folder(kept[0], edited=True) == kept[1]
    (kept[0] / "readings.csv").write_bytes(b"x")
    assert read_folder(kept[0], edited=True).edited == ("readings.csv",)
