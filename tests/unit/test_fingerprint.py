"""The version of a record: what it rests on is named, whole, and counts by what it says."""

from __future__ import annotations

import ast
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from sim import fingerprint
from sim.fingerprint import RECORD_INPUTS, find_files, list_inputs_of, mark_content
from sim.shared_files import find_shared_folder

PACKAGE = Path(fingerprint.__file__).parent
NO_NUMBERS = {"errors", "parallel", "atomic_write", "shared_files", "fingerprint", "value_records", "studies/cluster"}
"""Modules that change no number: how work is spread, files are found and written, how errors and records look."""
COUNTED = [name for name in RECORD_INPUTS if name not in ("security", "dependencies", "packaging")]
"""Records made of numbers that the package works out."""
CODE = '''"""A module."""
WEIGHT = 2.5
"""What it weighs."""


def weigh(load, /, *, twice=False, **more):
    """Weigh it."""
    # heavy
    return {"load": [load, f"{WEIGHT:.3f}"], **more} if not twice else -1
'''


def mark(folder: Path, name: str, text: str) -> str:
    (folder / name).write_bytes(text.encode())
    return mark_content.__wrapped__(folder / name)


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("# heavy", "# light"),
        ("    # heavy\n", ""),
        ('"""A module."""', "# A module."),
        ("What it weighs", "Its weight"),
        ('    """Weigh it."""\n', ""),
        ("[load, f", "[\n        load,  f"),
        ("\n", "\r\n"),
    ],
)
def test_comments_docstrings_and_layout_do_not_count(tmp_path: Path, old: str, new: str) -> None:
    assert old in CODE
    assert mark(tmp_path, "a.py", CODE) == mark(tmp_path, "a.py", CODE.replace(old, new))


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("2.5", "2.6"),
        ("-1", "1"),
        (".3f", ".2f"),
        ("load, /, *", "load, *"),
        ("=False", "=True"),
        ("not twice", "twice"),
        ('{"load": [load, f"{WEIGHT:.3f}"], **more}', '{**[load, f"{WEIGHT:.3f}"], "load": more}'),
        ("weigh(", "weight("),
    ],
)
def test_every_edit_of_the_code_counts(tmp_path: Path, old: str, new: str) -> None:
    assert old in CODE
    assert mark(tmp_path, "a.py", CODE) != mark(tmp_path, "a.py", CODE.replace(old, new))


def test_the_mark_is_the_same_on_every_python(tmp_path: Path) -> None:
    """Worked out once, on Python 3.11."""
    assert mark(tmp_path, "a.py", CODE)[:8] == "51976e6c"


def test_data_count_by_what_they_say(tmp_path: Path) -> None:
    said = mark(tmp_path, "a.toml", "# of a bench\n[key]\nlead = 2.5\ndip = 10\n")
    assert mark(tmp_path, "a.toml", "[key]\r\ndip  = 10  # as usual\r\n\r\nlead=2.50\r\n") == said
    assert mark(tmp_path, "a.toml", "[key]\nlead = 2.6\ndip = 10\n") != said
    pins = mark(tmp_path, "a.txt", "numpy==2.5.5\n")
    assert mark(tmp_path, "a.txt", "# pins\r\n\r\nnumpy==2.5.5  # arrays\r\n") == pins
    assert mark(tmp_path, "a.txt", "numpy==2.5.6\n") != pins


def test_an_edit_reaches_the_records_that_rest_on_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def versions(name: str, edited: Callable[[str], str]) -> dict[str, str]:
        folder = tmp_path / name
        shutil.copytree(find_shared_folder(), folder, ignore=shutil.ignore_patterns("pictures", "evidence"))
        text = (folder / "faults.toml").read_text(encoding="utf-8")
        (folder / "faults.toml").write_text(edited(text), encoding="utf-8")
        assert edited(text) != text
        monkeypatch.setattr(fingerprint, "find_shared_folder", lambda: folder)
        return {record: fingerprint.compute_version.__wrapped__(record) for record in RECORD_INPUTS}

    here = {record: fingerprint.compute_version(record) for record in RECORD_INPUTS}
    assert versions("remark", lambda text: "# the catalogue\n" + text.replace("\n\n", "\n\n\n")) == here
    there = versions("number", lambda text: text.replace('"6 N·mm"', '"6.1 N·mm"', 1))
    assert {name for name in here if here[name] != there[name]} == {"diagnosis", "practice", "section", "shop record"}


def test_the_kernel_counts_by_what_it_is_written_from() -> None:
    names = {file.name for file in find_files(list_inputs_of("mechanics"))}
    assert "kernel.py" not in names
    assert names >= {"mechanism.py", "generate.py", "generate_step.py", "defaults.toml"}


@pytest.mark.parametrize("record", COUNTED)
def test_what_a_named_module_imports_or_reads_is_named(record: str) -> None:
    files = set(find_files(list_inputs_of(record)))
    code = {file for file in files if file.suffix == ".py"}
    trees = [ast.parse(file.read_text(encoding="utf-8")) for file in code]
    imported = {found for tree in trees for found in _imported(tree)}
    assert {_name(file) for file in imported - code} - NO_NUMBERS == set()
    read = {find_shared_folder() / text for tree in trees for text in _texts(tree) if text.endswith(".toml")}
    data = {file for file in files if file.parent == find_shared_folder()}
    assert {file for file in read if file.is_file()} == data


@pytest.mark.parametrize("record", RECORD_INPUTS)
def test_every_name_stands_for_a_file(record: str) -> None:
    assert len(set(list_inputs_of(record))) == len(list_inputs_of(record))
    assert list(find_files(list_inputs_of(record)))


def test_a_record_of_no_known_kind_rests_on_all() -> None:
    assert set(find_files(list_inputs_of("own"))) == {
        f for name in RECORD_INPUTS for f in find_files(list_inputs_of(name))
    }
    with pytest.raises(FileNotFoundError, match=r"sim/bench/none\.py"):
        list(find_files(["sim/bench/none.py"]))


def _imported(tree: ast.Module) -> set[Path]:
    """Files of ``sim`` that a module imports."""
    froms = [node for node in ast.walk(tree) if isinstance(node, ast.ImportFrom) and node.module]
    names = {name for node in froms for name in (node.module, *(f"{node.module}.{a.name}" for a in node.names))}
    names |= {a.name for node in ast.walk(tree) if isinstance(node, ast.Import) for a in node.names}
    files = {PACKAGE.parent / f"{name.replace('.', '/')}.py" for name in names if name and name.startswith("sim.")}
    return {file for file in files if file.is_file() and file.name != "kernel.py"}


def _texts(tree: ast.Module) -> set[str]:
    return {node.value for node in ast.walk(tree) if isinstance(node, ast.Constant) and isinstance(node.value, str)}


def _name(file: Path) -> str:
    return file.relative_to(PACKAGE).with_suffix("").as_posix()
