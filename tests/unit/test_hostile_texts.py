"""Texts that were made to do harm: refused in words, whoever reads them."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping
from pathlib import Path

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from sim.cli import screen
from sim.diagnosis import observations
from sim.errors import InputError
from sim.fields.quantity_field import CONTROL_CHARACTERS
from sim.fields.untrusted_text import DEEPEST_NAME, LARGEST_FILE, MOST_VALUES, decode_text, parse_toml
from sim.piano import sheet
from sim.scenario.load import load, loads
from sim.studies import parameter_grid
from tests.unit.test_broken_scenarios import GOOD, check_faults

Tell = Callable[..., None]
HEAD = 'name = "x"\nkey_number = 40\n'
FILE = "hostile.toml"
READERS: Mapping[str, Callable[[str], object]] = {
    "scenario": lambda text: loads(text, FILE),
    "sheet of readings": lambda text: observations.parse_observations(text, FILE),
    "sheet of a piano": lambda text: sheet.parse_sheet(text, FILE),
}
MANY, DEEP, LONG = f"at most {MOST_VALUES} values", "nested too deep", "number too long"
FIELDS = "".join(f"k{i}=1\n" for i in range(30_000))
TEXTS: Mapping[str, tuple[str, str]] = {
    "30,000 unknown fields": (FIELDS, MANY),
    "30,000 fields of one table": (f"[hammer]\n{FIELDS}", MANY),
    "20,000 tables": ("".join(f"[t{i}]\n" for i in range(20_000)), MANY),
    "30,000 tables of one list": ("[[a]]\n" * 30_000, MANY),
    "a list of 100,000 numbers": (f"hammer.bore = [{'1,' * 100_000}]\n", MANY),
    "10,000 leads": ("key.leads = [" + '{mass="15 g",place="9 mm"},' * 10_000 + "]\n", MANY),
    "a lead of 30,000 fields": (f"key.leads = [{{{FIELDS.strip().replace(chr(10), ',')}}}]\n", MANY),
    "a dotted name of 400,000 parts": (f"a{'.a' * 400_000}=1\n", DEEP),
    "30,000 fields under a name of 20,000 parts": (f"[{'a.' * 20_000}a]\n{FIELDS}", DEEP),
    "a name of 20,000 parts in quotes": ("[" + '"a" . ' * 20_000 + "'a']\nk=1\n", DEEP),
    "a deep name behind a text of four quotes": ('x = [""""a"""", {' + "a." * 5_000 + "a=1}]\n", DEEP),
    "a deep name in a table on one line": ("hammer = {" + "a." * 5_000 + "a=1}\n", DEEP),
    "50,000 tables in one another": (f"hammer = {'{a=' * 50_000}1{'}' * 50_000}\n", DEEP),
    "50,000 lists in one another": (f"hammer.bore = {'[' * 50_000}{']' * 50_000}\n", DEEP),
    "a whole number of 400 figures": (f"hammer.bore = 1{'0' * 400}\n", LONG),
    "the same where a number may stand": (f"contacts.string.exponent = 1{'0' * 400}\n", LONG),
    "the same in a table": (f"contacts.string.exponent = {{ value = 1{'0' * 400} }}\n", LONG),
    "a hexadecimal number of 900,000 figures": (f"hammer.bore = 0x{'f' * 900_000}\n", LONG),
    "a text of more than 1 MB": (f"# {'x' * LARGEST_FILE}", "1 MB"),
}


@pytest.mark.parametrize("what", TEXTS)
def test_a_text_that_would_keep_the_reader_busy_is_refused(what: str, tell: Tell) -> None:
    """By every reader of TOML, with one fault that names the limit."""
    text, words = TEXTS[what]
    tell(
        tried=f"{what}, in a scenario, a sheet of readings, a sheet of a piano", expected="one fault, naming the limit"
    )
    for read in READERS.values():
        with pytest.raises(InputError) as caught:
            read(HEAD + text)
        check_faults(caught.value, FILE)
        (fault,) = caught.value.faults
        assert words in str(fault) and len(str(fault)) < 300
    tell(happened=f"all three refuse it: {fault.value}; allowed: {fault.allowed}")


def test_as_many_unknown_fields_as_are_read_are_all_told(tell: Tell) -> None:
    count = MOST_VALUES - 2
    tell(tried=f"a scenario of {count} unknown fields, just within the limit", expected="every one is told")
    with pytest.raises(InputError) as caught:
        loads(HEAD + "".join(f"k{i}=1\n" for i in range(count)), FILE)
    assert len(caught.value.faults) == count
    tell(happened=f"{len(caught.value.faults)} faults told")


DOTS = ".".join("a" * 3 * DEEPEST_NAME)


@pytest.mark.parametrize(
    "line", [f'note = "{DOTS}"', f"note = '{DOTS}'", f'note = """x\n{DOTS}"""', f"# {DOTS}", f'note = "\\"{DOTS}"']
)
def test_dots_in_notes_and_remarks_are_no_depth(line: str) -> None:
    with pytest.raises(InputError) as caught:
        loads(f"{HEAD}{line}\nrails.string_height = '2 m'\n", FILE)
    assert [f.field for f in caught.value.faults] == ["rails.string_height"]


def test_a_whole_piano_is_few_enough() -> None:
    """Every reading there is, at all 88 keys and both places, and every hammer."""
    tables = [
        f"[sections.a.{key}.{place}]\n" + "".join(f'{name} = "1 mm"\n' for name in section.model_fields)
        for key in range(1, 89)
        for place, section in sheet.PLACES.items()
    ]
    assert set(parse_toml('name = "x"\n' + "".join(tables), FILE)) == {"name", "sections"}


@given(st.text(alphabet="ab.'\"\\#=[]{}\n \t", max_size=80))
@example('x = """"a"""" # "')
def test_only_what_is_deep_is_refused_as_deep(text: str) -> None:
    fault = ""
    try:
        parse_toml(text, FILE)
    except InputError as error:
        fault = str(error)
    assert DEEP not in fault or text.count(".") >= DEEPEST_NAME


BYTES: Mapping[str, tuple[bytes, str]] = {
    "a picture": (b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR", "binary"),
    "a program": (b"\x7fELF\x02\x01\x01\x00", "binary"),
    "a zip archive": (b"PK\x03\x04\x14\x00\x00\x00\x08\x00", "binary"),
    "a good file with a NUL byte": (GOOD.replace("key_number", "key\0number").encode(), "binary"),
    "UTF-16": (GOOD.encode("utf-16"), "binary"),
    "bytes that are no UTF-8": (b'name = "\xff\xfe"\n', "UTF-8"),
    "half a character": ('name = "é'.encode()[:-1], "UTF-8"),
    "a slash written too long": (b'based_on = "..\xc0\xafx"\n', "UTF-8"),
    "half a surrogate pair": (b'name = "\xed\xa0\x80"\n', "UTF-8"),
    "2 MB of blanks": (b" " * 2_000_000, "1 MB"),
}


@pytest.mark.parametrize("what", BYTES)
def test_bytes_that_are_no_text_are_refused(what: str, tell: Tell) -> None:
    data, words = BYTES[what]
    tell(tried=f"{what}, as a file", expected="one fault that says what it is")
    with pytest.raises(InputError) as caught:
        decode_text(data, FILE)
    check_faults(caught.value, FILE)
    assert words in str(caught.value) and len(caught.value.faults) == 1
    tell(happened=str(caught.value))


PATHS = (
    "../good.toml", "sub/../../good.toml", "..\\good.toml", "/etc/hostname", "//host/share/x.toml", "C:\\x.toml",
    "C:x.toml", "\\\\host\\share\\x.toml", "\\\\?\\C:\\x.toml", "\\\\.\\pipe\\x", "~/x.toml", "~root/x.toml",
    "file:///etc/hostname", "CON", "con.toml", "NUL.toml", "aux .toml", "sub/PRN.txt", "COM1", "com¹.toml", "LPT9.toml",
    "CONIN$", "good.toml.", "good.toml ", "good.toml:stream", "good.toml::$DATA", "go*d.toml", "good?.toml",
    "x" * 300 + ".toml", "a\0b.toml", "a\nb.toml", "go\u202eod.toml", "link.toml", "loop.toml", "pipe", ".", "sub", "",
    " ", "good.toml/x", "/dev/zero",
)  # fmt: skip


def quoted(text: str) -> str:
    """A TOML text of any characters."""
    return '"' + "".join(c if c.isalnum() or c in "./ " else f"\\U{ord(c):08x}" for c in text) + '"'


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes in folders here")
def test_no_trick_of_a_name_leads_out_of_the_folder(tmp_path: Path, tell: Tell) -> None:
    """``based_on``: a plain file at or below the folder of the file that names it, and nothing else."""
    tell(tried=f"{len(PATHS)} names in based_on: .., roots, drives, shares, devices, streams, links, pipes, long, odd",
         expected="each refused, the field named; a plain name, here and in a folder below, is read")  # fmt: skip
    folder = tmp_path / "scenarios"
    (folder / "sub").mkdir(parents=True)
    (folder / "link.toml").symlink_to(tmp_path / "good.toml")
    (folder / "loop.toml").symlink_to(folder / "loop.toml")
    os.mkfifo(folder / "pipe")
    names = [*PATHS, *(f"{odd}.toml" for odd in ("con", "NUL", "com1"))]
    for place in (tmp_path, folder, folder / "sub"):
        (place / "good.toml").write_text(GOOD, encoding="utf-8")
    for odd in ("con.toml", "NUL.toml", "good.toml ", "good.toml:stream"):  # there, on this system
        (folder / odd).write_text(GOOD, encoding="utf-8")
    hostile = folder / FILE
    for name in names:
        hostile.write_text(f"based_on = {quoted(name)}\n", encoding="utf-8")
        with pytest.raises(InputError) as caught:
            load(hostile)
        (fault,) = caught.value.faults
        assert (fault.field, fault.line) == ("based_on", 1), f"{name!r}: {fault}"
    for name in ("good.toml", "./good.toml", "sub/good.toml"):
        hostile.write_text(f"based_on = {quoted(name)}\n", encoding="utf-8")
        assert load(hostile).key_number == 40
    tell(happened=f"{len(PATHS)} refused, the plain ones read")


def test_names_that_steer_a_terminal_are_refused_and_never_printed(
    tell: Tell, capsys: pytest.CaptureFixture[str]
) -> None:
    names = ("\x1b[2J", "a\x1b]0;b\x07", "a\nb", "a\rb", "\0", "\x9b1m", "a\u202eb", "a\u2028b")
    tell(tried=f"{len(names)} names with escape sequences, line breaks, NUL or turned writing, of units, pianos, files",
         expected="refused; in messages a ? in place of each")  # fmt: skip
    for name in names:
        for read in (loads, sheet.parse_sheet):
            with pytest.raises(InputError) as caught:
                read(f'name = {quoted(name)}\nkey_number = 40\nsections.a.1.piano.key_height = "50 mm"\n', FILE)
            assert "name" in [f.field for f in caught.value.faults]
            assert not CONTROL_CHARACTERS.search(str(caught.value).replace("\n", " "))
        screen.print_note(f"{name}.toml: the name of a file")
    said = capsys.readouterr().err.splitlines()
    assert len(said) == len(names) and not any(map(CONTROL_CHARACTERS.search, said))
    tell(happened="refused; none of them printed")


TABLES: Mapping[str, tuple[str, str]] = {
    "100,000 columns of one path": ("springs.repetition" + ",springs.repetition" * 100_000 + "\n1\n", "each path once"),
    "a cell of 300,000 figures": (f'springs.repetition\n"{"9" * 300_000}"\n', "field larger"),
    "a NUL byte": ("springs.repetition\n\0\n", "binary"),
    "nothing": ("", "header"),
    "an unknown path of 300 kB": ("k" * 100_000 + "\n1\n", "field"),
}


@pytest.mark.parametrize("what", TABLES)
def test_hostile_tables_of_variants_are_refused(what: str, tmp_path: Path, tell: Tell) -> None:
    text, words = TABLES[what]
    tell(tried=f"batch --table with {what}", expected="refused in words")
    file = tmp_path / "t.csv"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=words) as caught:
        parameter_grid.read_input_table(file)
    tell(happened="; ".join(f"{fault.value}; allowed: {fault.allowed}"[:150] for fault in caught.value.faults))


@pytest.mark.parametrize("count", ["9" * 5000, "9" * 20, "²", "-3", "1e3"])
def test_a_span_of_too_many_values_is_refused(count: str) -> None:
    with pytest.raises(InputError, match="--vary"):
        parameter_grid.parse_span(f"springs.repetition=80%..120%/{count}")


def test_a_key_of_many_figures_is_no_key() -> None:
    for key in ("9" * 5000, "01", "٣"):
        with pytest.raises(InputError, match="1 to 88"):
            sheet.parse_sheet(f'name = "x"\n[sections.bass."{key}".piano]\nkey_height = "50 mm"\n', FILE)
