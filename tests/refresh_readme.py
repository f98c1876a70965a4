"""Refresh the tables and the picture that the README shows: ``python tests/refresh_readme.py``, from the top folder."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from sim.report.evidence.tables import append_unit, format_gate, format_median_and_spread, format_sentence
from sim.studies.variants import BaseScenario
from sim.validation.evidence import Evidence, gather_evidence
from sim.validation.published import JudgedRow

README = Path(__file__).resolve().parents[1] / "README.md"
BEGIN, END = "<!-- evidence: python tests/refresh_readme.py -->", "<!-- end of evidence -->"
PICTURE = "shared/pictures/concert-grand-natural.png"


def run_predict(*words: str) -> list[str]:
    done = subprocess.run([sys.executable, "-m", "sim", "predict", *words], capture_output=True, text=True, check=False)
    return done.stdout.split("\n")


def find_starting(lines: list[str], words: str) -> int:
    return next(i for i, line in enumerate(lines) if line.startswith(words))


def list_evidence_lines(text: str) -> list[str]:
    """Lines of the table of published figures, a row each."""
    table = text.split("| figure [tag] |", 1)[-1].split("\n\n", 1)[0]
    return [line for line in table.split("\n")[2:] if line.startswith("| ")]


def markdown(e: Evidence) -> str:
    """For the README: what could be compared as a table, why what is missed is, and what cannot be compared."""
    lines = [
        f"{format_sentence(e)} ({e.units} healthy units, seed {e.seed}.)", "",
        "| figure [tag] | read | gate | median (5 to 95 %) | |", "|---|---|---|---|---|",
    ]  # fmt: skip
    for j in e.judged:
        if j.verdict != "not comparable":
            lines.append(line_of(j))
    reasons = [f"- {j.row.title}: {'; '.join(j.reasons)}." for j in e.judged if j.verdict == "miss"]
    lines += ["", "Missed, and why:", "", *reasons] if reasons else []
    apart = [f"{j.row.title} [{j.row.tag}]" for j in e.judged if j.verdict == "not comparable"]
    return "\n".join([*lines, "", f"Not comparable (the report says why): {'; '.join(apart)}."])


def line_of(j: JudgedRow) -> str:
    held = [f for f in j.found if f.check.gate is not None]
    columns = (
        [f.check.what for f in held],
        [append_unit(format_gate(f), f.check.unit) for f in held],
        [format_median_and_spread(f) for f in held],
    )
    return f"| {j.row.title} [{j.row.tag}] | {' | '.join('<br>'.join(c) for c in columns)} | {j.verdict} |"


def insert_evidence(text: str) -> str:
    """The README with the table of published figures computed anew."""
    table = markdown(gather_evidence(BaseScenario.of("concert-grand-natural").ready))
    before, rest = text.split(BEGIN)
    return f"{before}{BEGIN}\n\n{table}\n\n{END}{rest.split(END)[1]}"


def main() -> None:
    healthy = run_predict("concert-grand-natural", "--figure", PICTURE)
    mixed = run_predict("mixed-parts")
    tables = "\n".join(healthy[: find_starting(healthy, "Centres") - 1]).rstrip() + "\n..."
    marks = mixed[find_starting(mixed, "Out of the usual range") : find_starting(mixed, "Before touching") - 1]
    head = mixed[: find_starting(mixed, "Settings") - 1]
    words = "\n".join([*head, "...", *marks]).rstrip()
    text = README.read_text(encoding="utf-8")
    for block in re.findall(r"```\n(.*?)\n```", text, re.DOTALL):
        if block.startswith("Concert grand"):
            text = text.replace(block, tables)
        if block.startswith("Mixed parts"):
            text = text.replace(block, words)
    README.write_text(insert_evidence(text), encoding="utf-8")


if __name__ == "__main__":
    main()
