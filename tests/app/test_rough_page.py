"""The page of the rough unit, and progress as pages keep it: done, shown, taken away, opened, kept in a file."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from dashboard.session.progress_store import ProgressFile
from dashboard.session.work import Work
from sim.teaching import rough as lesson
from sim.teaching.progress import Progress, format_progress, parse_progress
from tests.app.on_screen import Bench
from tests.unit.test_progress import BROKEN, SOME

if TYPE_CHECKING:
    pass

ORDER = ("lever_height", "jack_address", "blow", "dip", "drop", "let_off", "drop", "checking_distance", "spring_rise")


@pytest.fixture
def bench() -> Bench:
    return Bench().open("rough")


def set_it(bench: Bench, what: str, to: str = "") -> Bench:
    bench.at.selectbox(key="keep_rough_what").set_value(what)
    bench.at.text_input(key="keep_rough_to").set_value(to)
    return bench.press("do_rough")


def path_of(bench: Bench) -> lesson.RegulationPath:
    found = bench.at.session_state["path_rough"][1]
    assert isinstance(found, lesson.RegulationPath)
    return found


@pytest.fixture(scope="module")
def nearly() -> lesson.RegulationPath:
    """A path to the last step but one: what is off is set, in a sensible order."""
    mine = lesson.make_path(lesson.draw_rough_unit(Work().start(), 3), ["blow=42 mm"])
    for what in (*ORDER, *ORDER):
        if what in mine.off:
            mine = mine.then(lesson.make_step(what))
    assert mine.finished
    return mine.back()


def finish(bench: Bench, nearly: lesson.RegulationPath) -> Bench:
    """Do the last step."""
    key, _ = bench.at.session_state["path_rough"]
    bench.at.session_state["path_rough"] = key, nearly
    bench.run()
    return set_it(bench, nearly.off[0])


def test_steps_are_those_of_the_python_interface_and_are_noted_once(
    bench: Bench, nearly: lesson.RegulationPath
) -> None:
    finish(set_it(bench, "blow", "42 mm"), nearly)
    mine = path_of(bench)
    begun = lesson.draw_rough_unit(Work().start(), 3)
    assert mine == lesson.make_path(begun, [lesson.format_step(s) for s in mine.steps]) and mine.steps[0].value == 42e-3
    assert mine.finished and "Every reading is right" in bench.words()
    assert bench.at.button(key="do_rough").disabled
    (noted,) = bench.state.progress.rough
    assert (noted.seed, noted.steps, noted.rework) == (3, len(mine.lines), mine.rework)
    set_it(bench.press("back_rough"), mine.steps[-1].sets[0])
    assert path_of(bench).finished and len(bench.state.progress.rough) == 1
    assert "python -m sim rough concert-grand-natural --seed 3 --do blow=42 mm" in "".join(
        c.value for c in bench.at.code
    ).replace("'", "")
    assert not bench.press("anew_rough").at.button(key="do_rough").disabled and not path_of(bench).lines


def test_what_cannot_be_set_is_told_and_costs_nothing(bench: Bench) -> None:
    from dashboard.pages.rough import WAYS

    set_it(bench, "blow", "3 kg")
    assert "not a length" in bench.errors() and not path_of(bench).lines
    assert not set_it(bench, "blow").errors() and len(path_of(bench).lines) == 1
    bench.at.number_input(key="keep_rough_seed").set_value(4)
    bench.run()
    assert path_of(bench).rough.seed == 4 and not path_of(bench).lines
    assert WAYS.count("aftertouch") == 1 and "aftertouch by blow" in WAYS


def test_a_unit_that_does_not_play_is_refused() -> None:
    bench = Bench()
    bench.choose("bench", "mixed-parts").open("rough")
    assert "spring does not lift the hammer" in bench.errors()


def test_progress_is_opened_again_and_what_is_wrong_is_said(bench: Bench) -> None:
    for kind in ("cut off", "a wrong field"):
        bench.upload("p.toml", BROKEN[kind], "open_progress")
        assert "This file was not opened" in bench.errors() and bench.state.progress == Progress()
    bench.upload("p.toml", format_progress(SOME).encode(), "open_progress")
    assert not bench.errors() and bench.state.progress == SOME
    assert "let-off" in bench.at.dataframe[-3].value.to_string() and "(3)" in bench.at.expander[-2].label


def test_kept_in_a_file_it_survives_and_windows_see_each_other(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, nearly: lesson.RegulationPath
) -> None:
    path = tmp_path / "p.toml"
    path.write_text(format_progress(SOME), encoding="utf-8")
    monkeypatch.setattr(ProgressFile, "file", path)
    one, other = Bench().open("rough"), Bench().open("rough")
    assert one.state.progress == SOME and str(path) in one.words().replace("\\", "")
    finish(one, nearly)
    both = parse_progress(path.read_bytes())
    assert len(both.rough) == 2 and other.run().state.progress == both
    path.write_bytes(BROKEN["cut off"])
    other.run()
    assert (
        parse_progress(path.read_bytes()) == both and (tmp_path / "p.unreadable.toml").read_bytes() == BROKEN["cut off"]
    )
    path.unlink()
    path.mkdir()
    assert "It could not be kept there" in other.run().errors() and other.state.progress == both
