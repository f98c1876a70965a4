"""What the README tells a reader to type and to write."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest

from sim.cli.parser import COMMANDS, build_parser
from sim.scenario import load

ROOT = Path(__file__).parents[2]
TEXT = (ROOT / "README.md").read_text(encoding="utf-8")
LINES = [line for block in re.findall(r"```\n(.*?)```", TEXT, re.DOTALL) for line in block.splitlines()]


def test_two_one_line_commands_come_first_and_use_the_pins() -> None:
    setups = [line for line in LINES if line.startswith("python3 -m venv")]
    assert len(setups) == 2
    assert LINES[:2] == setups
    assert all("-c shared/constraints.txt" in line for line in setups)
    assert "predict scenarios/" in setups[0]
    assert "pytest" in setups[1]
    tests = setups[1].split("&& ")[-1]
    assert f"`{tests} -m full`" in TEXT
    steps = (ROOT / ".ci" / "run").read_text(encoding="utf-8").splitlines()
    assert {tests, f"{tests} -m full"} <= set(steps), "CI runs the same tests, and the rest"


@pytest.mark.parametrize("line", [line for line in LINES if line.startswith("python -m sim")])
def test_commands_are_understood(line: str) -> None:
    typed = shlex.split(re.split(r"\s{4,}", line)[0])[3:]
    assert build_parser().parse_args(typed).command in COMMANDS


def test_scenario_example_loads() -> None:
    (example,) = re.findall(r"```toml\n(.*?)```", TEXT, re.DOTALL)
    unit = load.loads(example, "README", folder=ROOT / "scenarios")
    assert unit.targets["blow"] == pytest.approx(1.75 * 25.4e-3)


def test_pictures_and_links_exist() -> None:
    links = re.findall(r"\]\(([^)#:]+)\)", TEXT)
    assert links
    assert all((ROOT / link).is_file() for link in links)


def test_pins_are_exact_and_hold_no_address() -> None:
    pins = (ROOT / "shared" / "constraints.txt").read_text(encoding="utf-8").splitlines()
    assert all(re.fullmatch(r"[\w.-]+==[\w.]+(; .*)?|#.*", line) for line in pins)
    assert not any("://" in line or " -e" in line or "@" in line for line in pins)
