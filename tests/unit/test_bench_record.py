"""The bench sheet at the command line, on paper and in its folder: every figure there, nothing lost, nothing over."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path

import pyarrow.parquet as pq
import pytest

from sim.__main__ import main
from sim.bench.predict import weigh
from sim.errors import InputError
from sim.report.paper import pdf, print_page
from sim.report.record import folder as record_folder
from sim.report.record.contents import File
from sim.report.section import paper as bench_paper
from sim.report.section import sheet
from sim.report.section import tables as told
from sim.scenario import load as scenario
from sim.section.compass import find_hammer_felt, find_usual_target
from sim.section.line_fit import fit_line
from sim.section.section import Section, analyse_section
from sim.section.sheet import BenchSheet, NoteRow, load_sheet, tabulate_cells
from tests.printed import check_document
from tests.tiers import try_each

REMARK = 'capstan <b>loose</b> {{ 7*7 }} & "stiff"'
PICTURES = len(bench_paper.FIGURE_READINGS)
READ = {"blow": 45.5e-3, "dip": 10.3e-3, "let_off": 1.9e-3, "drop": 2.1e-3, "checking_distance": 16e-3}


@pytest.fixture(scope="module")
def found() -> Section:
    rows = (
        NoteRow(40, READ | {"spread": 0.1122, "pinning_hammer": 0.04, "capstan_pitch": 1.0e-3}, {}, None, REMARK),
        NoteRow(42, {"blow": 44e-3}),
    )
    return analyse_section(
        BenchSheet("Two <i>notes</i>", rows, "invented", True), [40, 42], look=False, repetition=False
    )


def _figures(rows: Iterable[dict[str, str]]) -> set[str]:
    return {f for row in rows for cell in row.values() for f in re.findall(r"\d+\.\d+", cell)}


def _all_figures(found: Section, inches: bool) -> set[str]:
    rows = (
        told.build_reading_rows(found, inches),
        told.build_turn_rows(found, inches),
        told.build_evenness_rows(found, inches),
    )
    return {f for part in rows for f in _figures(part)}


@try_each("size, inches", [("A4", False), ("letter", True)])
def test_every_figure_is_on_the_paper_and_nothing_lies_over_anything(
    found: Section, size: pdf.Size, inches: bool
) -> None:
    data = bench_paper.make_paper(pdf.make_pdf, found, size, inches)
    text = check_document(data, PICTURES)
    assert _all_figures(found, inches) <= set(re.findall(r"\d+\.\d+", text))
    for words in ("Before touching the action", "Assumed", "Invented demo data", "as it came out", "Two <i>notes</i>"):
        assert words in text


def test_the_page_to_print_says_the_same(found: Section) -> None:
    page = bench_paper.make_paper(print_page.render_page, found).decode()
    assert _all_figures(found, False) <= set(re.findall(r"\d+\.\d+", page))
    assert "<i>notes" not in page and "Before touching the action" in page


def test_a_sheet_of_one_note_has_its_remark_and_a_turn_of_its_capstan(found: Section) -> None:
    one = replace(found, notes=found.notes[:1])
    text = check_document(bench_paper.make_paper(pdf.make_pdf, one), 2)
    assert "7*7" in text and "turn higher" in text


def test_a_blank_sheet_can_be_written_on() -> None:
    text = check_document(pdf.make_pdf("Bench sheet", bench_paper.build_blank_blocks()), 0)
    assert "pinning force, hammer, gf" in text and "down weight, gf" in text


def test_the_folder_gives_back_what_was_put_in(found: Section, tmp_path: Path) -> None:
    folder = tmp_path / "record"
    first = sheet.save_section(folder, found, None, more={"photo.png": File("a picture", b"\x89PNG")})
    back = load_sheet(folder / "sheet.csv")
    assert (
        list(tabulate_cells(back)) == list(tabulate_cells(found.sheet))
        and back.title == found.sheet.title
        and back.invented
    )
    assert pq.read_table(folder / "readings.parquet").num_rows == 2
    sheet.save_section(folder, found, sheet.load_previous(folder))
    assert (folder / "photo.png").read_bytes() == b"\x89PNG"
    (folder / "note-40.toml").write_text("# mine\n")
    with pytest.raises(InputError, match="note-40"):
        sheet.load_previous(folder)
    edited = sheet.load_previous(folder, edited=True)
    assert edited is not None and record_folder.read_folder(folder, True).edited == ("note-40.toml",)
    with pytest.raises(InputError, match="note-40"):
        sheet.save_section(folder, replace(found, sheet=replace(found.sheet, title="new")), first)
    assert (folder / "note-40.toml").read_text() == "# mine\n"


def test_a_scenario_of_the_folder_plays_as_its_note(found: Section, tmp_path: Path) -> None:
    sheet.save_section(tmp_path / "record", found, None)
    for note in found.notes:
        unit = scenario.load(tmp_path / "record" / f"note-{note.key_number}.toml")
        (touch, reads, _), (mine, set_to, _) = weigh(unit), weigh(note.as_found)
        assert reads.blow == pytest.approx(set_to.blow, abs=1e-5) and reads.let_off == pytest.approx(
            set_to.let_off, abs=2e-5
        )
        assert touch.down_weight == pytest.approx(mine.down_weight, abs=3e-3)
    first = scenario.load(tmp_path / "record" / "note-40.toml")
    assert first.sources["rails.spread"].kind == "measured" and first.sources["friction.hammer"].kind == "measured"
    assert "key.mass" in first.assumed


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        (["import", "no-such.csv"], "check its name"),
        (["sheet", "--out", "a.doc"], ".pdf"),
        (["sheet", "scenarios/sheets/invented-middle.csv", "--note", "H9", "--out", "a.pdf"], "A0 to C8"),
        (["section", "scenarios/sheets/invented-middle.csv", "--notes", "49-30"], "the lower first"),
        (["section", "scenarios/sheets/invented-middle.csv", "--ask", "blwo=44mm"], "did you mean blow?"),
        (["section", "scenarios/sheets/invented-middle.csv", "--ask", "blow=4mm"], "25 to 65 mm"),
        (["import", "scenarios/sheets/invented-middle.csv", "--add", "a.png"], "--into"),
    ],
)
def test_what_is_typed_wrongly_is_told_in_one_message(
    typed: list[str], says: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(typed) == 2
    assert says in capsys.readouterr().err


def test_a_sheet_goes_from_csv_to_toml_and_back(tmp_path: Path) -> None:
    shipped = Path("scenarios/sheets/invented-middle.csv")
    assert main(["sheet", str(shipped), "--out", str(tmp_path / "a.toml")]) == 0
    assert main(["sheet", str(tmp_path / "a.toml"), "--out", str(tmp_path / "b.csv")]) == 0
    assert (tmp_path / "b.csv").read_text() == shipped.read_text()
    assert load_sheet(shipped).invented


def test_a_line_through_enough_notes_is_bent_by_none_of_them() -> None:
    straight = {k: 2.0 + 0.1 * k for k in range(30, 50, 2)}
    assert all(fit_line(straight)(k) == pytest.approx(2 + 0.1 * k) for k in range(30, 49))
    spoilt = straight | {36: 20.0, 44: -5.0}
    assert all(fit_line(spoilt)(k) == pytest.approx(2 + 0.1 * k, abs=1e-3) for k in range(30, 49))
    assert fit_line({40: 3.0})(10) == 3.0
    assert fit_line({40: 3.0, 50: 4.0})(45) == pytest.approx(3.5) and fit_line({40: 3.0, 50: 4.0})(60) == 4.0


def test_the_compass_is_smooth_and_stays_in_the_fields_range() -> None:
    for key in range(1, 89):
        assert 1.4e-3 < find_usual_target(key)["let_off"] < 2.6e-3
        unit = loads_felt(key)
        assert 2.2 < unit.contacts["string"].exponent < 3.1


def loads_felt(key: int):  # type: ignore[no-untyped-def]
    """A default unit with the felt of its place."""
    rows = find_hammer_felt(key)
    text = "\n".join(f'{p.rsplit(".", 1)[1]} = "{row["value"]}"' for p, row in rows.items())  # type: ignore[index]
    return scenario.loads(f'name = "felt"\nkey_number = {key}\n[contacts.string]\n{text}\n')
