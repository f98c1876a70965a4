"""Shared data files are held to their models: a key that is unknown, missing or wrong is told by file and entry."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import tomli_w

from sim.bench import predict, usual_ranges
from sim.diagnosis import faults
from sim.errors import InputError
from sim.fields import catalogue, defaults
from sim.regulation import orders
from sim.section import compass
from sim.shared_files import find_shared_file, find_shared_folder
from sim.studies import healthy_variation, tolerances
from sim.teaching import adjustments, lesson, rough
from sim.validation import published

LESSON = "lessons/01-one-stroke.toml"
READERS: dict[str, Callable[[], Any]] = {
    "faults.toml": faults._load_catalogue.__wrapped__,
    "hands.toml": adjustments.load_adjustments.__wrapped__,
    "rough.toml": rough.load_roughness.__wrapped__,
    "healthy_variation.toml": healthy_variation.load_variations.__wrapped__,
    "bench_tolerances.toml": tolerances.load_entries.__wrapped__,
    "compass.toml": compass._load_compass.__wrapped__,
    "orders.toml": orders.load_orders.__wrapped__,
    "touches.toml": predict.list_touches.__wrapped__,
    "usual_ranges.toml": usual_ranges.load_usual_ranges.__wrapped__,
    "defaults.toml": defaults.load_defaults.__wrapped__,
    "published.toml": published._load_file.__wrapped__,
    LESSON: lambda: lesson._lesson(Path(LESSON)),
}
EXTRA = "priour = 1; allowed: no key of this name"


def refused(name: str, edit: Callable[[Any], Any], folder: Path, monkeypatch: pytest.MonkeyPatch) -> tuple[str, ...]:
    """What is told of a file after an edit of its tree."""
    tree = tomllib.loads(find_shared_file(name).read_text(encoding="utf-8"))
    edit(tree)
    file = folder / name
    file.parent.mkdir(exist_ok=True)
    file.write_text(tomli_w.dumps(tree), encoding="utf-8")
    monkeypatch.setattr(catalogue, "find_shared_file", lambda name: folder / name)
    with pytest.raises(InputError) as caught:
        READERS[name]()
    return tuple(map(str, caught.value.faults))


def test_every_shared_file_has_its_reader() -> None:
    assert {f.name for f in find_shared_folder().glob("*.toml")} == READERS.keys() - {LESSON}


@pytest.mark.parametrize(
    ("name", "way", "told"),
    [
        ("faults.toml", ("fault", 2), "fault 3 (tight-wippen-centre), "),
        ("faults.toml", ("pair", 0), "pair 1, "),
        ("faults.toml", (), ""),
        ("hands.toml", ("hand", 1), "hand 2 (screw.drop), "),
        ("rough.toml", ("rough", 0), "rough 1 (screw.lever_height), "),
        ("healthy_variation.toml", ("variation", 0), "variation 1 (friction.key), "),
        ("bench_tolerances.toml", ("tolerance", 0), "tolerance 1 (springs.repetition), "),
        ("compass.toml", ("asked", "blow"), "asked, blow, "),
        ("compass.toml", ("felt",), "felt, "),
        ("orders.toml", ("dip-fixed",), "dip-fixed, "),
        ("orders.toml", ("dip-fixed", "steps", 3), "dip-fixed, steps 4, "),
        ("usual_ranges.toml", ("pinning", "key"), "pinning.key, "),
        ("usual_ranges.toml", ("blow", "low"), "blow, low, "),
        ("defaults.toml", ("springs", "repetition"), "springs.repetition, "),
        ("published.toml", ("row", 0), "row 1 (key from rest to its bottom), "),
        ("published.toml", ("curve", 0), "curve 1 (travel_pressed), "),
        (LESSON, (), ""),
        (LESSON, ("part", 2, "claim", 0), "part 3, claim 1, "),
        (LESSON, ("task", "feedback", 0, "when"), "task, feedback 1, when, "),
    ],
)
def test_an_unknown_key_is_refused(
    name: str, way: tuple[str | int, ...], told: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def edit(tree: Any) -> None:
        for part in way:
            tree = tree[part]
        tree["priour"] = 1

    assert refused(name, edit, tmp_path, monkeypatch) == (f"shared/{name}: {told}{EXTRA}; {catalogue.REMEDY}",)


@pytest.mark.parametrize(
    ("name", "edit", "told"),
    [
        ("faults.toml", lambda t: t["fault"][0].pop("prior"), "(tight-hammer-centre), prior = missing"),
        ("faults.toml", lambda t: t["fault"][0].update(prior="3"), '(tight-hammer-centre), prior = "3"'),
        ("faults.toml", lambda t: t["fault"][0].update(by=["1", "2"]), "allowed: exactly one of to, by, share"),
        ("faults.toml", lambda t: t["fault"][0].pop("to"), "allowed: exactly one of to, by, share"),
        ("faults.toml", lambda t: t["fault"][0].update(to=["1 N·mm"]), "(tight-hammer-centre), to 2 = missing"),
        ("faults.toml", lambda t: t["fault"][0]["signs"].update(friction="up"), "signs, friction = "),
        ("touches.toml", lambda t: t.update(hammer={"soft": 1.0}), "hammer"),
        ("touches.toml", lambda t: t["finger"].update(soft="1 N"), 'finger, soft = "1 N"'),
        ("defaults.toml", lambda t: t["springs"].update(repetitio="33 N·mm"), "springs"),
        ("compass.toml", lambda t: t["felt"].update(at=[[16, 50]]), "felt, at 1 3 = missing"),
        ("bench_tolerances.toml", lambda t: t["tolerance"][0].update(shape="flat"), "shape = "),
        ("published.toml", lambda t: t["row"][0]["checks"][1].update(vv=1.0), "its bottom), checks 2"),
        ("published.toml", lambda t: t["row"][0]["checks"][0].update(measure="guessed"), "checks 1, measure = "),
        ("published.toml", lambda t: t["row"][0]["checks"][0].update(unit="yard"), "checks 1, unit = "),
        ("published.toml", lambda t: t["row"][0].update(part="tuning"), "part = "),
    ],
)
def test_a_missing_or_a_wrong_key_is_told(
    name: str, edit: Callable[[Any], Any], told: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (found, *_) = refused(name, edit, tmp_path, monkeypatch)
    assert found.startswith(f"shared/{name}: ") and told in found


def test_all_that_is_wrong_is_told_at_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def edit(tree: Any) -> None:
        tree["hand"][0]["turn"] = 1
        tree["hand"][3].pop("step")

    found = refused("hands.toml", edit, tmp_path, monkeypatch)
    assert len(found) == 2 and "hand 1 (screw.let_off), turn" in found[0] and "hand 4 (screw.dip), step" in found[1]
