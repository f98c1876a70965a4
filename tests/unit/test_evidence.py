"""The validation report: its data, its verdicts, its records and its page; no unit is run here."""

from __future__ import annotations

import inspect
import json
import re
import threading
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from markupsafe import escape

from sim.__main__ import main
from sim.fingerprint import compute_version
from sim.report.evidence import figures
from sim.report.evidence import tables as sheet
from sim.report.formats.json_text import format_json
from sim.studies.variants import BaseScenario
from sim.validation import evidence as workshop
from sim.validation.evidence import DrawnCurve, Evidence, KeyStroke, gather_evidence
from sim.validation.published import MEASURES, CheckResult, JudgedRow, PublishedCheck, load_curves, load_rows, load_tags
from sim.validation.records import EXPECTED, load_records, read_record
from tests.evidence import write_table
from tests.evidence_made_up import make_evidence
from tests.refresh_readme import list_evidence_lines, markdown

DRAWN = sheet.draw_figures


@cache
def drawn() -> list[tuple[str, str]]:
    return DRAWN(make_evidence())


@pytest.fixture(autouse=True)
def drawn_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Drawing takes a second, and the figures of what is made up are the same in every test."""
    monkeypatch.setattr(sheet, "draw_figures", lambda e: drawn())


def test_every_published_figure_has_its_row() -> None:
    """1 to 18 of the list of published figures, each held to something, or told why not."""
    numbers = {n for row in load_rows() for n in re.findall(r"\d+", row.number)}
    assert numbers == {str(n) for n in range(1, 19)}
    for row in load_rows():
        held = [c for c in row.checks if c.gate is not None]
        assert bool(held) != bool(row.incomparable), f"{row.title}: held to a gate, or incomparable, and not both"
        assert bool(held) == bool(row.why), f"{row.title}: a gate says where it comes from"
        assert row.sources and row.published and set(re.split(r"[/, ]+", row.tag)) <= set(load_tags()), row.title
        assert not row.incomparable or not any(c.miss for c in row.checks), row.title


def test_what_is_from_memory_is_held_to_nothing() -> None:
    assert all(row.incomparable for row in load_rows() if row.tag == "M")


@pytest.mark.parametrize(
    "check", [c for row in load_rows() for c in row.checks], ids=lambda c: f"{c.measure}, {c.what}"
)
def test_check_names_a_measure_that_takes_its_options(check: PublishedCheck) -> None:
    inspect.signature(MEASURES[check.measure]).bind(None, **check.options)
    assert check.gate is None or check.gate[0] <= check.gate[1]


def of(values: tuple[float | None, ...], miss: str = "") -> CheckResult:
    return CheckResult(PublishedCheck("a reading", "played", {}, "ms", (1.0, 2.0), miss), values)


@pytest.mark.parametrize(
    ("values", "verdict"),
    [
        ((1.0, 1.5, 2.0), "pass"),
        ((1.5,) * 9 + (3.0,), "pass"),
        ((1.5,) * 8 + (3.0, 3.0), "miss"),
        ((1.5,) * 8 + (None, None), "miss"),
        ((3.0, 3.0), "miss"),
    ],
)
def test_verdict_is_computed(values: tuple[float | None, ...], verdict: str) -> None:
    assert of(values).verdict == verdict


def test_reason_that_is_not_needed_is_stale_and_passes_all_the_same() -> None:
    met, missed = of((1.5,), "because"), of((3.0,), "because")
    assert met.verdict == "pass" and met.stale and not met.unexplained
    assert missed.verdict == "miss" and not missed.stale and not missed.unexplained
    assert of((3.0,)).unexplained
    row = replace(load_rows()[0], checks=(met.check,))
    assert JudgedRow(row, (met,)).verdict == "pass" and JudgedRow(row, (met,)).reasons == ()
    assert JudgedRow(row, (missed,)).reasons == ("because",)
    told = replace(make_evidence(), judged=(JudgedRow(row, (met,)),))
    assert len(told.stale) == 1 and row.title in told.stale[0]


def test_row_misses_when_one_of_its_checks_does() -> None:
    row = replace(load_rows()[0], incomparable="")
    assert JudgedRow(row, (of((1.5,)), of((3.0,)))).verdict == "miss"
    assert JudgedRow(row, ()).verdict == "not comparable"


def test_unreadable_units_are_counted_and_told() -> None:
    found = of((1.5, None, 1.7, None))
    assert found.share == 0.5 and found.middle == pytest.approx(1.6)
    assert sheet.format_share(found) == "50 %, 2 not read"
    assert of((None,)).middle is None and sheet.format_median_and_spread(of((None,))) == "not read"


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (184.2, "ms", "184"),
        (25.04, "ms", "25.0"),
        (0.6264, "m_s", "0.626"),
        (0.5567, "gf", "0.56"),
        (0.0, "ms", "0"),
        (-0.0004, "ms", "0.000"),
    ],
)
def test_numbers_as_a_reader_needs_them(value: float, unit: str, text: str) -> None:
    assert sheet.format_figure(value, unit) == text


def test_absent_record_says_what_to_run(tmp_path: Path) -> None:
    (tmp_path / "twin.toml").write_text('title = "Twin"\nversion = "0.0.1+00000000"\n[[row]]\nverdict = "pass"\n')
    (tmp_path / "own.toml").write_text(
        f'title = "Own"\nhow_made = "by hand"\nversion = "{compute_version("own")}"\nx = [1, 2]\n'
    )
    (tmp_path / "fuzz.toml").write_text("title = ")
    found = {r.name: r for r in load_records(tmp_path)}
    assert set(found) == set(EXPECTED) | {"own"}
    assert found["twin"].older and not found["own"].older
    assert found["own"].head == {"how_made": "by hand", "version": compute_version("own"), "x": "1, 2"}
    assert "cannot be read" in found["fuzz"].fault
    page = sheet.render_html(make_evidence(), tuple(found.values()))
    assert "Made by another version" in page and "0.0.1+00000000" in page
    assert f"Not made: run <code>{EXPECTED['numerics'][1]}</code>" in page
    assert "made, by another version; 1 pass" in re.sub(r"\s+", " ", page)


def test_a_record_is_read_as_it_was_kept_and_by_a_data_frame(tmp_path: Path) -> None:
    kept: list[dict[str, Any]] = [
        {"unit": "a, b", "runs": 3, "met": True, "error": 8.6e-05, "pins": "1.20"},
        {"unit": 'with "quotes"', "runs": 12345678, "error": 2.0, "pins": "2"},
        {"unit": "c", "runs": 0, "met": False, "error": 1, "pins": "3.4.5", "note": "a line\nand another"},
    ]
    file = write_table(tmp_path / "own.toml", {"title": "Own", "machine": {"cores": 2}}, kept)
    assert read_record(file) == {"title": "Own", "machine": {"cores": 2}, "row": kept}
    assert [type(v) for v in read_record(file)["row"][1].values()] == [str, int, float, str]
    (shown,) = [r for r in load_records(tmp_path) if r.name == "own"]
    assert shown.head == {"machine.cores": "2"} and shown.tables[0].rows[1][3:] == ("2", "2", "")
    frame = pd.read_csv(tmp_path / "own.csv")
    assert frame["error"].tolist() == [8.6e-05, 2.0, 1.0] and frame["runs"].dtype == int


def test_a_record_whose_rows_are_gone_or_another_is_told(tmp_path: Path) -> None:
    file = write_table(tmp_path / "twin.toml", {"title": "Twin"}, [{"error": 1.5}])
    for spoil in (
        lambda: file.with_suffix(".csv").write_text("error\nhalf\n"),
        lambda: file.with_suffix(".csv").write_text("errors\n1.5\n"),
        lambda: file.with_suffix(".csv").unlink(),
    ):
        spoil()
        (found,) = [r for r in load_records(tmp_path) if r.name == "twin"]
        assert found.fault.startswith("cannot be read") and EXPECTED["twin"][1] in found.fault


def test_record_of_any_shape_is_shown_and_escaped(tmp_path: Path) -> None:
    (tmp_path / "odd.toml").write_text(
        'title = "<script>alert(1)</script>"\n[machine]\ncores = 2\n'
        '[[span]]\nname = "a"\nmet = true\n[[span]]\nname = "b"\nlist = [0.123456, 2]\n[[row]]\n"un<der" = { x = 1 }\n'
    )
    (record,) = [r for r in load_records(tmp_path) if r.name == "odd"]
    assert record.head == {"machine.cores": "2"} and record.older
    assert [t.columns for t in record.tables] == [("name", "met", "list"), ("un<der",)]
    assert record.tables[0].rows == (("a", "yes", ""), ("b", "", "0.1235, 2"))
    page = sheet.render_html(make_evidence(), [record])
    assert "<script" not in page and "&lt;script&gt;" in page and "0.1235, 2" in page


def test_page_is_whole_in_one_file_and_says_every_row() -> None:
    e = make_evidence()
    page = sheet.render_html(e, load_records())
    assert not re.search(r"""(src|href)=["'](?!data:|#)""", page) and "@import" not in page and "<script" not in page
    for j in e.judged:
        assert page.count(str(escape(j.row.title))) >= 1
    assert page.count("<img ") == len(load_curves()) + 1
    assert page.index("What was held fixed") < page.index("The figures one by one")


def test_same_run_gives_the_same_figures() -> None:
    e = make_evidence()
    assert sheet.draw_figures(e)[:1] == DRAWN(replace(e, curves=e.curves[:1], strokes=()))


def test_first_page_follows_the_verdicts() -> None:
    e = make_evidence()
    front = sheet.render_html(e, ()).split('id="held"')[0]
    rely, care = front.split("You can rely on")[1].split("Take with care")
    for j in e.judged:
        if j.row.plain and j.verdict in ("pass", "miss"):
            assert str(escape(j.row.plain)) in (rely if j.verdict == "pass" else care)


def test_json_has_no_nan_and_tells_units() -> None:
    e = make_evidence()
    told = json.loads(format_json(sheet.build_document(e, load_records())))
    assert told["counts"] == e.counts and len(told["rows"]) == len(load_rows())
    assert {c["unit"] for row in told["rows"] for c in row["checks"]} >= {"ms", "m/s", "gf", "Hz", ""}


def test_table_for_the_readme_has_a_line_a_compared_row_and_names_the_others() -> None:
    e = make_evidence()
    told = markdown(e)
    lines = list_evidence_lines(told)
    assert len(lines) == e.counts["pass"] + e.counts["miss"]
    assert all(line.count("|") == 6 for line in lines)
    assert all(j.row.title in told for j in e.judged)


def test_run_tells_how_far_it_is_and_stops(monkeypatch: pytest.MonkeyPatch) -> None:
    unit, begun, lock = BaseScenario.of("concert-grand-natural").loaded, [], threading.Lock()

    def quick(
        unit: object, seed: int, number: int, checks: list[PublishedCheck], over: list[object]
    ) -> workshop.UnitFigures:
        with lock:
            begun.append(number)
        return [1.0] * len(checks), [[1.0] * len(c.speeds) for c in load_curves()], 0

    monkeypatch.setattr(workshop, "_one", quick)
    monkeypatch.setattr(workshop, "compute_key_strokes", lambda s: ())
    said: list[tuple[float, str]] = []
    found = gather_evidence(unit, 5, progress=lambda share, what: said.append((share, what)))
    assert [round(share, 1) for share, _ in said] == [0.2, 0.4, 0.6, 0.8, 1.0] and said[-1][1] == "unit 5 of 5"
    assert all(len(f.values) == 5 for j in found.judged for f in j.found)
    with pytest.raises(KeyboardInterrupt):
        gather_evidence(unit, 500, stop=lambda: True)


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--out", "report.pdf"), ".html"),
        (("--out", "nowhere/report.html"), "folder that exists"),
        (("--set", "hammer.weigth=9 g"), "hammer.weight"),
    ],
)
def test_command_refuses_before_it_computes(
    capsys: pytest.CaptureFixture[str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    words: tuple[str, ...],
    told: str,
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["evidence", *words]) == 2
    assert told in capsys.readouterr().err


@pytest.mark.parametrize("words", [("--units", "0"), ("--units", "x"), ("--seed", "-1")])
def test_command_refuses_numbers(capsys: pytest.CaptureFixture[str], words: tuple[str, ...]) -> None:
    with pytest.raises(SystemExit):
        main(["evidence", *words])
    assert words[0] in capsys.readouterr().err


def test_command_writes_the_report(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[tuple[object, ...]] = []

    def made(unit: object, count: int, seed: int, progress: object, *, changed: dict[str, str]) -> Evidence:
        asked.append((count, seed, changed))
        return replace(make_evidence(), units=count, seed=seed, changed=changed)

    monkeypatch.setattr(workshop, "gather_evidence", made)
    out = tmp_path / "report.html"
    words = ["evidence", "--quick", "--seed", "4", "--set", "friction.hammer=2 N·mm", "--out", str(out), "--json"]
    assert main(words) == 0
    assert asked == [(workshop.QUICK, 4, {"friction.hammer": "2 N·mm"})]
    assert json.loads(capsys.readouterr().out)["units"] == workshop.QUICK
    page = out.read_text("utf-8")
    assert "friction.hammer = 2 N·mm" in page and "too few units to judge by" in page
    assert main(["evidence"]) == 0
    assert asked[-1][0] == workshop.UNITS and "figures are met" in capsys.readouterr().out


def test_units_none_of_which_plays_are_told(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """With so shallow a dip the jack never escapes, whatever is drawn."""
    monkeypatch.setattr(workshop, "MOST_DRAWS", 2)
    assert main(["evidence", "--units", "1", "--set", "settings.punching=7 mm"]) == 3
    assert "none of 2 units drawn about" in capsys.readouterr().err


def test_curve_that_no_unit_plays_is_drawn_all_the_same() -> None:
    c = load_curves()[0]
    figure = figures.draw_curve(DrawnCurve(c, np.full((2, len(c.speeds)), np.nan)))
    assert "cannot be played" in figure.axes[0].get_legend().get_texts()[-1].get_text()


def test_curve_of_units_that_cannot_be_played_has_holes() -> None:
    drawn = DrawnCurve(load_curves()[0], np.array([[1.0, np.nan], [3.0, np.nan]]))
    assert drawn.percentile(50).tolist()[0] == 2.0 and np.isnan(drawn.percentile(50)[1])
    assert KeyStroke("pressed", np.zeros(1), np.zeros(1)).name == "pressed"
