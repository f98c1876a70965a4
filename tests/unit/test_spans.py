"""What varies in a study: spans, lists, tables, and their combinations."""

from __future__ import annotations

from pathlib import Path

import pytest

from sim.errors import InputError
from sim.studies.parameter_grid import build_grid, parse_span, read_input_table


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("springs.repetition=30..36 N·mm/4", ["30 N·mm", "32 N·mm", "34 N·mm", "36 N·mm"]),
        ("springs.repetition=85%..115%/3", ["85 %", "100 %", "115 %"]),
        ("rails.spread=4 3/8 in..4 1/2 in/2", ["111.125 mm", "114.3 mm"]),
        ("friction.capstan_of_none=1", None),
        ("contacts.capstan.friction=0.1..0.3/3", ["0.1", "0.2", "0.3"]),
        ("key.sharp=true,false", ["true", "false"]),
    ],
)
def test_what_varies_is_read(text: str, expected: list[str] | None) -> None:
    if expected is None:
        with pytest.raises(InputError, match="no such field"):
            parse_span(text)
    else:
        assert parse_span(text) == (text.partition("=")[0], expected)


@pytest.mark.parametrize(
    "text",
    [
        "springs.repetition", "springs.repetition=", "springs.repetition=30..36 N·mm", "springs.repetition=30..36 g/3",
        "springs.repetition=30..36 N·mm/1", "springs.repetition=30..36 N·mm/x", "springs.repetition=..36 N·mm/3",
        "key.sharp=true..false/2", "key.leads=1", "rails.spread=nan..1 mm/3",
    ],
)  # fmt: skip
def test_what_is_no_span_is_refused(text: str) -> None:
    with pytest.raises(InputError):
        parse_span(text)


def test_every_combination_the_last_fastest() -> None:
    rows = build_grid([("friction.key", ["1 N·mm", "2 N·mm"]), ("friction.jack", ["0 N·mm", "1 N·mm", "2 N·mm"])])
    assert len(rows) == 6
    assert rows[1] == {"friction.key": "1 N·mm", "friction.jack": "1 N·mm"}


def test_a_table_names_paths_and_leaves_out_what_is_empty(tmp_path: Path) -> None:
    file = tmp_path / "units.csv"
    file.write_text("springs.repetition,friction.lever\n30 N·mm,1 N·mm\n90%,\n", encoding="utf-8")
    assert read_input_table(file) == (
        {"springs.repetition": "30 N·mm", "friction.lever": "1 N·mm"},
        {"springs.repetition": "90%"},
    )


@pytest.mark.parametrize(
    "text",
    [
        "",
        "springs.repetition\n",
        "springs.repetitio\n1\n",
        "friction.key\n1 N·mm,2\n",
        "friction.key,friction.key\n1 N·mm,2 N·mm\n",
    ],
)
def test_a_table_that_is_none_is_refused(tmp_path: Path, text: str) -> None:
    file = tmp_path / "units.csv"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(InputError):
        read_input_table(file)
