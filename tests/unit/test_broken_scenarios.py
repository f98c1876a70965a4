"""Broken scenario files: each ends in an InputError that names file, field, value, range and remedy, never in another.

The files are made from a sound one by a fixed rule: every field in turn gets
some of the things that go wrong when people type.
"""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given
from hypothesis import strategies as st

from sim.__main__ import main
from sim.errors import InputError
from sim.fields.definition import ALTERNATIVES
from sim.fields.field_paths import index_fields
from sim.fields.quantity_field import shorten_value
from sim.scenario.load import load, loads
from tests.tiers import FULL, limit_draws, try_each

SCENARIOS = Path(__file__).parents[2] / "scenarios"
GOOD = (SCENARIOS / "concert-grand-natural.toml").read_text(encoding="utf-8")


def flat(tree: dict[str, Any], path: str = "") -> Iterator[tuple[str, Any]]:
    """The fields of a scenario, by path."""
    for name, value in tree.items():
        here = f"{path}.{name}" if path else name
        if isinstance(value, dict) and here not in index_fields():
            yield from flat(value, here)
        else:
            yield here, value


def toml(value: Any) -> str:
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{k} = {toml(v)}" for k, v in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(toml(v) for v in value) + "]"
    return json.dumps(value, ensure_ascii=False)


LEAVES = dict(flat(tomllib.loads(GOOD)))


def written(leaves: dict[str, Any]) -> str:
    """A scenario file, one field a line; a value of type ``Verbatim`` stands as it is."""
    return "\n".join(f"{p} = {v if isinstance(v, Verbatim) else toml(v)}" for p, v in leaves.items()) + "\n"


class Verbatim(str):
    """TOML text to be written as it is."""


BLUNDERS: list[tuple[str, Any]] = [
    ("no text", Verbatim("44.5")),
    ("nan", Verbatim("nan")),
    ("infinite", Verbatim("-inf")),
    ("nan in text", "nan mm"),
    ("infinite in text", "inf mm"),
    ("too big for a float", "1e999 mm"),
    ("far too big", "1e12 {unit}"),
    ("negative", "-1e9 {unit}"),
    ("wrong unit", "3 V"),
    ("wrong kind", "3 {other}"),
    ("no unit", "3"),
    ("comma", "44,5 {unit}"),
    ("words", "about {unit}"),
    ("empty", ""),
    ("blank", "   "),
    ("yes", Verbatim("true")),
    ("list", Verbatim('["44 mm"]')),
    ("date", Verbatim("1979-05-27")),
    ("empty table", Verbatim("{}")),
    ("table with a wrong key", Verbatim('{ valeu = "44 mm" }')),
    ("table with a bad source", Verbatim('{ value = "{good}", source = "hearsay" }')),
    ("table with a negative uncertainty", Verbatim('{ value = "{good}", uncertainty = "-1 {unit}" }')),
    ("table in a table", Verbatim('{ value = { value = "{good}" } }')),
    ("full-width digits", "４４ {unit}"),
    ("look-alike letters", "44 ｍｍ"),
    ("hidden character", "4\u200b4 {unit}"),
    ("right to left", "\u202e44 {unit}"),
    ("long", "9" * 300),
    ("division by zero", "1 3/0 {unit}"),
    ("two units", "44 {unit} {unit}"),
]
PER_FIELD = 4
QUANTITIES = [p for p in LEAVES if (f := index_fields().get(p)) is not None and f.kind is not None]


def spoiled(path: str, blunder: Any) -> Any:
    """The blunder fitted to a field's own unit."""
    kind = index_fields()[path].kind
    assert kind is not None
    unit = "N/m^2" if kind.form == "contact stiffness" else kind.unit
    other = "kg/s" if "g" not in unit or unit == "gf" else "ms"
    if not unit and str(blunder) in ("3", "44.5"):
        blunder = "300"
    if unit == "N/m^2":
        blunder = type(blunder)(str(blunder).replace("1e12", "1e17"))
    text = str(blunder).replace("{unit}", unit).replace("{other}", other).replace("{good}", kind.example)
    return type(blunder)(text)


def field_cases() -> Iterator[Any]:
    for i, path in enumerate(QUANTITIES):
        for j in range(PER_FIELD):
            title, blunder = BLUNDERS[(i * PER_FIELD + j + 7 * i) % len(BLUNDERS)]
            yield pytest.param(path, spoiled(path, blunder), id=f"{path}: {title}", marks=FULL if j else ())


def check_faults(error: InputError, file: str) -> None:
    """Every fault names all that a fault must name, and no traceback hides in it."""
    assert error.faults
    for fault in error.faults:
        assert file in fault.file or fault.file.startswith("--set")
        for words in (fault.field, fault.value, fault.allowed, fault.remedy):
            assert words.strip()
            assert "\n" not in words
            assert "Traceback" not in words
        for words in (fault.file, fault.field, fault.value, fault.allowed, fault.remedy):
            assert words in str(error)


CASES = list(field_cases())
"""A blunder a field, and each blunder in some field, are in the fast tier."""


def test_there_are_enough_broken_files() -> None:
    assert len(CASES) >= 300


@pytest.mark.parametrize(("path", "value"), CASES)
def test_a_spoiled_field_is_named(path: str, value: Any) -> None:
    leaves = {**LEAVES, path: value}
    with pytest.raises(InputError) as caught:
        loads(written(leaves), "broken.toml")
    check_faults(caught.value, "broken.toml")
    assert [f.field for f in caught.value.faults] == [path]
    fault = caught.value.faults[0]
    assert fault.line == list(leaves).index(path) + 1
    if not isinstance(value, Verbatim):
        assert fault.value == shorten_value(value)


@try_each("cases", (CASES[:: PER_FIELD * 4], CASES), ids=("some", "all"))
def test_every_broken_file_ends_the_command_with_exit_code_2(
    cases: list[Any], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Through the command line itself: exit code 2, the field named, no traceback."""
    for number, case in enumerate(cases):
        path, value = case.values
        file = tmp_path / f"broken-{number}.toml"
        file.write_text(written(LEAVES | {path: value}), encoding="utf-8")
        code = main(["predict", str(file)])
        said = capsys.readouterr()
        assert code == 2, f"{path} = {value}: exit code {code}"
        assert file.name in said.err and "Traceback" not in said.err, said.err
        assert not said.out, said.out


def without(*paths: str) -> dict[str, Any]:
    return {p: v for p, v in LEAVES.items() if p not in paths}


CONTRADICTIONS: list[tuple[str, dict[str, Any], str, str]] = [
    ("jack off its triangle", {"wippen.heel_to_jack": "10 mm"}, "wippen.heel_to_jack", "does not close"),
    ("lever off its triangle", {"wippen.jack_to_lever": "20 mm", "wippen.centre_to_lever": "30 mm"},
     "wippen.jack_to_lever", "does not close"),
    ("toe off its triangle", {"jack.toe_to_top": "90 mm"}, "jack.toe_to_top", "does not close"),
    ("spread shorter than the heights", {"rails.wippen_centre_height": "60 mm"}, "rails.spread", "does not close"),
    ("heel lower than its arm", {"wippen.heel_drop": "59 mm", "wippen.centre_to_heel": "50 mm"},
     "wippen.heel_drop", "does not close"),
    ("string within the hammer", {"rails.string_height": "180 mm"}, "rails.string_height", "string"),
    ("string out of reach", {"rails.string_height": "340 mm"}, "rails.string_height", "cannot reach"),
    ("jack too short", {"jack.length": "30 mm", "jack.toe_to_top": "30 mm", "jack.balance_length": "12 mm"},
     "jack.length", "knuckle"),
    ("capstan beside the heel", {"key.balance_to_capstan": "100 mm"}, "key.balance_to_capstan", "misses"),
    ("capstan far below", {"settings.capstan_height": "30 mm"}, "settings.capstan_height", "heel"),
    ("punching before the key", {"key.balance_to_punching": "280 mm"}, "key.balance_to_punching", "263"),
    ("head heavier than hammer", {"hammer.head_mass": "12 g"}, "hammer.weight", "head"),
    ("three weights", {"hammer.shank_weight": "4 g"}, "hammer.shank_weight", "add up"),
    ("wippen lighter than its parts", {"wippen.weight": "6 g"}, "wippen.weight", "more than this"),
    ("lead outside the key", {"key.leads": [{"mass": "15 g", "place": "300 mm"}]}, "key.leads[0].place", "lead"),
    ("strike line elsewhere", {"rails.strike_line": "220 mm"}, "rails.strike_line", "strike line"),
    ("exponent against stiffness", {"contacts.string.exponent": "2"}, "contacts.string.exponent", "N/m^2.5"),
    ("stiffness of no power", {"contacts.string.stiffness": "4e9 N/m^9"}, "contacts.string.stiffness", "power"),
    ("let-off twice", {"settings.let_off_button": "5 mm"}, "settings.let_off_button", "two ways"),
    ("drop screw twice", {"settings.drop_screw": "5 mm"}, "settings.drop_screw", "two ways"),
    ("wippen weighed twice", {"wippen.mass": "12 g"}, "wippen.mass", "two ways"),
    ("rail twice", {"rails.balance_to_wippen_screw": "200 mm"}, "rails.balance_to_wippen_screw", "two ways"),
    ("string twice", {"string.tension": "700 N"}, "string.tension", "two ways"),
    ("one spring, two torques", {"springs.arrangement": "one"}, "springs.jack", "one spring"),
    ("button below the toe", {"settings.let_off_button_height": "100 mm"}, "settings.let_off_button_height", "toe"),
    ("screw in the lever", {"settings.drop_screw_height": "150 mm"}, "settings.drop_screw_height", "lever"),
    ("screw off the lever", {"rails.balance_to_drop_screw": "60 mm"}, "rails.balance_to_drop_screw", "lever"),
    ("check before the tail", {"settings.backcheck_place": "200 mm"}, "settings.backcheck_place", "tail"),
    ("lever short of the knuckle", {"lever.front_reach": "25 mm"}, "lever.front_reach", "knuckle"),
    ("caught below its rest", {"targets.blow": "25 mm", "targets.checking_distance": "30 mm"},
     "targets.checking_distance", "check"),
    ("aftertouch beyond the dip", {"targets.aftertouch": "6 mm", "targets.dip": "5 mm"}, "targets.aftertouch", "dip"),
    ("place of no drop", {"targets.drop_at": "bottom"}, "targets.drop_at", "targets.drop"),
    ("too many swings for a joint", {"friction.hammer": {"swings": 0.5, "from": "90 deg"}}, "friction.hammer", "N·mm"),
    ("force without a radius", {"friction.hammer": {"force": "3 gf"}}, "friction.hammer", "radius"),
    ("swings without an angle", {"friction.hammer": {"swings": 5}}, "friction.hammer", "from"),
    ("force and swings", {"friction.hammer": {"force": "3 gf", "swings": 5}}, "friction.hammer", "keep one"),
    ("hammer friction at the key", {"friction.hammer": "3 gf"}, "friction.hammer", "radius"),
    ("key by swings", {"friction.key": {"swings": 5, "from": "40 deg"}}, "friction.key", "swings"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("changes", "field", "words"), [pytest.param(c, f, w, id=title) for title, c, f, w in CONTRADICTIONS]
)
def test_contradictions_are_named(changes: dict[str, Any], field: str, words: str) -> None:
    with pytest.raises(InputError) as caught:
        loads(written({**LEAVES, **changes}), "broken.toml")
    check_faults(caught.value, "broken.toml")
    named = [f for f in caught.value.faults if f.field == field]
    assert named, str(caught.value)
    assert words in str(named[0])


UNKNOWN = [(p, re.sub(r"\.(\w)(\w)(\w*)$", r".\2\1\3", p)) for p in QUANTITIES[::5]]


@pytest.mark.parametrize(("path", "wrong"), [(p, w) for p, w in UNKNOWN if p != w])
def test_unknown_fields_get_a_suggestion(path: str, wrong: str) -> None:
    with pytest.raises(InputError) as caught:
        loads(written({**without(path), wrong: LEAVES[path]}), "broken.toml")
    check_faults(caught.value, "broken.toml")
    unknown = [f for f in caught.value.faults if f.field == wrong]
    assert unknown
    assert "did you mean" in unknown[0].remedy


WHOLE = {
    "empty": b"",
    "blank": b"\n\n   \n",
    "comment only": b"# nothing\n",
    "no TOML": b"name: x\nkey_number: 40\n",
    "half a line": b'name = "x"\nkey_number =\n',
    "open quote": b'name = "x\nkey_number = 40\n',
    "open bracket": b'name = "x"\n[hammer\nbore = "50 mm"\n',
    "twice": b'name = "x"\nname = "y"\nkey_number = 40\n',
    "table twice": b'name = "x"\nkey_number = 40\n[hammer]\n[hammer]\n',
    "binary": bytes(range(256)) * 4,
    "picture": b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR",
    "not UTF-8": 'name = "Flügel"\nkey_number = 40\n'.encode("latin-1"),
    "UTF-16": 'name = "x"\nkey_number = 40\n'.encode("utf-16"),
    "huge": b"# " + b"x" * 1_100_000,
    "deep list": b'name = "x"\nkey_number = 40\nhammer.bore = ' + b"[" * 5000 + b"]" * 5000 + b"\n",
    "less deep list": b'name = "x"\nkey_number = 40\nhammer.bore = ' + b"[" * 150 + b"]" * 150 + b"\n",
    "deep tables": b'name = "x"\nkey_number = 40\n' + b".".join([b"a"] * 3000) + b" = 1\n",
    "deep field": b'name = "x"\nkey_number = 40\nhammer.bore.' + b".".join([b"a"] * 3000) + b" = 1\n",
    "long integer": b'name = "x"\nkey_number = ' + b"9" * 5000 + b"\n",
    "many unknown": b'name = "x"\nkey_number = 40\n' + b"".join(b"z%d = 1\n" % i for i in range(500)),
    "no key number": b'name = "x"\n',
    "no name": b"key_number = 40\n",
    "empty name": b'name = ""\nkey_number = 40\n',
    "long name": b'name = "' + b"x" * 5000 + b'"\nkey_number = 40\n',
    "key 0": b'name = "x"\nkey_number = 0\n',
    "key 89": b'name = "x"\nkey_number = 89\n',
    "key as text": b'name = "x"\nkey_number = "40"\n',
    "key as fraction": b'name = "x"\nkey_number = 40.5\n',
    "key as yes": b'name = "x"\nkey_number = true\n',
    "key as nan": b'name = "x"\nkey_number = nan\n',
    "name as number": b"name = 4\nkey_number = 40\n",
    "section as text": b'name = "x"\nkey_number = 40\nhammer = "heavy"\n',
    "section as list": b'name = "x"\nkey_number = 40\nhammer = [1, 2]\n',
    "sections in a list": b'name = "x"\nkey_number = 40\n[[hammer]]\nbore = "50 mm"\n',
    "contact as text": b'name = "x"\nkey_number = 40\ncontacts.string = "hard"\n',
    "unknown contact": b'name = "x"\nkey_number = 40\n[contacts.strings]\nloss = "1 s/m"\n',
    "unknown section": b'name = "x"\nkey_number = 40\n[hamer]\nbore = "50 mm"\n',
    "field at the top": b'name = "x"\nkey_number = 40\nbore = "50 mm"\n',
    "odd key": b'name = "x"\nkey_number = 40\n"hammer.bore" = "50 mm"\n',
    "empty key": b'name = "x"\nkey_number = 40\n"" = "50 mm"\n',
    "control key": b'name = "x"\nkey_number = 40\n"a\\u0007\\nb" = "50 mm"\n',
    "bad default source": b'name = "x"\nkey_number = 40\ndefault_source = "guess"\n',
    "too many strings": b'name = "x"\nkey_number = 40\nstring.count = 7\n',
    "half a string": b'name = "x"\nkey_number = 40\nstring.length = "620 mm"\n',
    "sharp as text": b'name = "x"\nkey_number = 40\nkey.sharp = "yes"\n',
    "leads as text": b'name = "x"\nkey_number = 40\nkey.leads = "two"\n',
    "lead without a place": b'name = "x"\nkey_number = 40\nkey.leads = [{ mass = "15 g" }]\n',
    "lead of no mass": b'name = "x"\nkey_number = 40\nkey.leads = [{ mass = 15, place = "100 mm" }]\n',
    "too many leads": b'name = "x"\nkey_number = 40\nkey.leads = ['
    + b'{ mass = "15 g", place = "100 mm" },' * 20
    + b"]\n",
    "three springs": b'name = "x"\nkey_number = 40\nsprings.arrangement = "three"\n',
    "one coordinate": b'name = "x"\nkey_number = 40\ncoordinates.wippen.centre = "3 mm"\n',
    "three coordinates": b'name = "x"\nkey_number = 40\ncoordinates.wippen.centre = ["3 mm", "4 mm", "5 mm"]\n',
    "bare coordinates": b'name = "x"\nkey_number = 40\ncoordinates.wippen.centre = [3, 4]\n',
    "far coordinates": b'name = "x"\nkey_number = 40\ncoordinates.wippen.centre = ["3 mm", "4 m"]\n',
    "unknown coordinate": b'name = "x"\nkey_number = 40\ncoordinates.wippen.center = ["3 mm", "4 mm"]\n',
    "string below the hammer": b'name = "x"\nkey_number = 40\ncoordinates.rails.string_y = "10 mm"\n',
    "based on nothing": b'based_on = ""\n',
    "based on a number": b"based_on = 3\n",
    "based on a missing file": b'based_on = "none.toml"\n',
    "based on itself": b'based_on = "broken.toml"\n',
    "based on a folder": b'based_on = "."\n',
    "based on the parent": b'based_on = "../good.toml"\n',
    "based on a hidden parent": b'based_on = "sub/../../good.toml"\n',
    "based on the root": b'based_on = "/etc/hostname"\n',
    "based on a drive": b'based_on = "C:\\\\good.toml"\n',
    "based on a share": b'based_on = "\\\\\\\\host\\\\good.toml"\n',
    "based on a home": b'based_on = "~/good.toml"\n',
    "based on a control character": b'based_on = "go\\u0000od.toml"\n',
    "based on a circle": b'based_on = "circle.toml"\n',
    "based on a link outside": b'based_on = "link.toml"\n',
    "based on a broken file": b'based_on = "spoiled.toml"\n',
}


@pytest.mark.parametrize("content", [pytest.param(c, id=title) for title, c in WHOLE.items()])
def test_broken_files(content: bytes, tmp_path: Path) -> None:
    folder = tmp_path / "scenarios"
    folder.mkdir()
    (tmp_path / "good.toml").write_text(GOOD, encoding="utf-8")
    (folder / "circle.toml").write_text('based_on = "broken.toml"\n', encoding="utf-8")
    (folder / "spoiled.toml").write_text('name = "x"\nkey_number = 40\nhammer.bore = "5 mm"\n', encoding="utf-8")
    (folder / "link.toml").symlink_to(tmp_path / "good.toml")
    path = folder / "broken.toml"
    path.write_bytes(content)
    with pytest.raises(InputError) as caught:
        load(path)
    check_faults(caught.value, ".toml")
    assert len(str(caught.value)) < 200_000


@pytest.mark.parametrize("name", ["missing.toml", ".", "a\0b.toml", "x" * 300 + ".toml", "good.toml/inner.toml"])
def test_files_that_cannot_be_read(name: str, tmp_path: Path) -> None:
    (tmp_path / "good.toml").write_text(GOOD, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        load(tmp_path / name)
    check_faults(caught.value, str(tmp_path))
    assert len(caught.value.faults) == 1


def test_faults_of_a_base_file_name_that_file(tmp_path: Path) -> None:
    (tmp_path / "base.toml").write_text('name = "x"\nkey_number = 40\n\nhammer.bore = "5 mm"\n', encoding="utf-8")
    (tmp_path / "child.toml").write_text('based_on = "base.toml"\nhammer.rake = "99 deg"\n', encoding="utf-8")
    with pytest.raises(InputError) as caught:
        load(tmp_path / "child.toml")
    found = {f.field: (Path(f.file).name, f.line) for f in caught.value.faults}
    assert found == {"hammer.bore": ("base.toml", 4), "hammer.rake": ("child.toml", 2)}


def test_all_faults_at_once() -> None:
    changes = {
        "key_number": 99,
        "hammer.bore": "5 mm",
        "hammer.rake": Verbatim("3"),
        "hammer.tial": "3 mm",
        "wippen.heel_to_jack": "10 mm",
        "targets.aftertouch": "6 mm",
        "targets.dip": "5 mm",
        "settings.let_off_button": "5 mm",
    }
    with pytest.raises(InputError) as caught:
        loads(written({**LEAVES, **changes}), "broken.toml")
    assert {f.field for f in caught.value.faults} == set(changes) - {"targets.dip"}
    assert len(str(caught.value).splitlines()) == len(changes) - 1


def test_a_left_out_value_raises_no_second_fault() -> None:
    """A field out of range is told once, and nothing that only follows from its absence."""
    with pytest.raises(InputError) as caught:
        loads(written({**LEAVES, "rails.string_height": "2 m", "hammer.bore": "78 mm"}), "broken.toml")
    assert [f.field for f in caught.value.faults] == ["rails.string_height"]


def test_each_way_of_giving_one_thing_is_a_known_field() -> None:
    assert {name for ways in ALTERNATIVES for way in ways for name in way} <= set(index_fields())


@limit_draws(150, suppress_health_check=[HealthCheck.too_slow])
@given(st.data())
def test_torn_files_load_or_are_refused(data: st.DataObject) -> None:
    """Cut, doubled and overwritten pieces of a sound file."""
    text = GOOD
    for _ in range(data.draw(st.integers(1, 3))):
        at = data.draw(st.integers(0, len(text)))
        span = data.draw(st.integers(0, 40))
        text = text[:at] + data.draw(st.text(max_size=6)) + text[at + span :]
    try:
        loads(text, "torn.toml")
    except InputError as error:
        check_faults(error, "torn.toml")


@limit_draws(150)
@given(st.dictionaries(st.sampled_from(QUANTITIES), st.floats(0.2, 5.0), min_size=1, max_size=6))
def test_scaled_values_load_or_are_refused(shares: dict[str, float]) -> None:
    """Any sizes within or beyond the ranges: a unit comes out, or faults do."""
    try:
        loads(written(LEAVES), "scaled.toml", {path: f"{100 * share:.4f}%" for path, share in shares.items()})
    except InputError as error:
        check_faults(error, "scaled.toml")


def test_a_share_of_one_spring_where_there_are_two_is_refused() -> None:
    """The share takes the place of the torque that the file gives, and nothing is left for the jack."""
    with pytest.raises(InputError) as refused:
        load(SCENARIOS / "damped.toml", {"springs.jack_share": "0.2"})
    (fault,) = refused.value.faults
    assert "springs.jack_share" in str(fault) and "one" in fault.remedy
