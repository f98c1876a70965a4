"""What the program rests on, looked through: ``python tests/dependencies_audit.py [--keep]``.

Every pin of shared/constraints.txt with its use, licence, newest version and the day of it, and what is judged of
it.  Needs the extra ``release`` (uv), which asks the package index.  Known faults come from pip-audit where its data
can be reached; where not, the record says so.  ``--keep`` writes shared/evidence/dependencies.toml.
"""

from __future__ import annotations

import argparse
import json
import re
import subprocess
import sys
import tempfile
import tomllib
from collections import deque
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cache
from importlib import metadata
from pathlib import Path
from typing import Any

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name
from packaging.version import Version

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from tests import evidence

ROOT = Path(__file__).resolve().parents[1]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
UV = [sys.executable, "-m", "uv"]
NEWEST_PYTHON = max((c.rpartition(" ")[2] for c in PROJECT["project"]["classifiers"] if "3." in c), key=Version)
QUIET = 24
"""Months without a release from which on a package is told to be quiet (our convention)."""
COPYLEFT = re.compile(r"GPL|MPL|EPL|Mozilla", re.IGNORECASE)
REMARKS: Mapping[str, str] = {
    "axe-playwright-python": "its licence is not in its metadata; used by tests only, not handed over",
    "mpmath": "held back by sympy",
    "mujoco-core": "held to the version of mujoco",
    "pypdfium2": "BSD-3-Clause and Apache-2.0 by the files it brings; used by tests only, not handed over",
    "tomli-w": "TOML 1.0 does not change; small, without dependencies of its own",
}
"""What the numbers alone do not tell."""


@dataclass(frozen=True)
class Newest:
    """The newest version in the index, and the day it came out."""

    version: str
    day: str

    @property
    def months(self) -> int:
        """Whole months since."""
        return (datetime.now(UTC).date() - datetime.fromisoformat(self.day).date()).days * 12 // 365


def read_pins() -> dict[str, str]:
    """Package to its pin; where pins differ by interpreter, the highest."""
    found: dict[str, str] = {}
    for line in (ROOT / "shared" / "constraints.txt").read_text(encoding="utf-8").splitlines():
        if not line.startswith("#"):
            pin = Requirement(line)
            name, version = canonicalize_name(pin.name), str(pin.specifier).removeprefix("==")
            found[name] = max(found.get(name, version), version, key=Version)
    return found


def find_newest(names: Iterable[str]) -> dict[str, Newest]:
    """The newest versions, each by itself, that the newest interpreter named in pyproject.toml can take."""
    with tempfile.TemporaryDirectory() as folder:
        asked = Path(folder) / "names.in"
        asked.write_text("\n".join(sorted(names)), encoding="utf-8")
        how = ["--no-deps", "--format", "pylock.toml", "--python-version", NEWEST_PYTHON]
        done = subprocess.run([*UV, "pip", "compile", "-q", *how, str(asked)], capture_output=True, text=True)
    if done.returncode != 0:
        raise SystemExit(f"uv could not ask the package index (python -m pip install -e '.[release]'?): {done.stderr}")
    return {p["name"]: Newest(p["version"], _day(p)) for p in tomllib.loads(done.stdout)["packages"]}


def _day(package: Mapping[str, Any]) -> str:
    files = [*package.get("wheels", []), *([package["sdist"]] if "sdist" in package else [])]
    return min(file["upload-time"] for file in files).date().isoformat()


def read_licence(name: str) -> str:
    """As the package's metadata tell it: the expression, else the classifier, else the field where it is short."""
    try:
        told = metadata.metadata(name)
    except metadata.PackageNotFoundError:
        return "not installed here"
    classes = [c.rpartition(" :: ")[2] for c in told.get_all("Classifier") or [] if c.startswith("License")]
    field = (told.get("License") or "").strip()
    short = field if 0 < len(field) < 40 else ""
    return told.get("License-Expression") or ", ".join(classes) or short or "not stated in its metadata"


@cache
def list_uses() -> dict[str, str]:
    """Package to what it is for: the tables of DEVELOPERS.md for what we name, else who brings it along."""
    table = re.findall(r"^\| (.+?) \| (.+?) \|$", (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8"), re.MULTILINE)
    project = PROJECT["project"]
    named = {"": project["dependencies"], "build": PROJECT["build-system"]["requires"]}
    named |= project["optional-dependencies"]
    found: dict[str, str] = {}
    for group, lines in named.items():
        for line in lines:
            name = canonicalize_name(Requirement(line).name)
            if name != project["name"]:
                why = next((why for names, why in table if re.search(rf"(?<![\w-]){name}(?![\w-])", names)), "")
                found.setdefault(name, f"{group}: {why}" if group else why)
    return found | _list_indirect(found)


def _list_indirect(named: Mapping[str, str]) -> dict[str, str]:
    """What comes along with the packages that we name, and with which: breadth first."""
    found: dict[str, str] = {}
    left = deque(named)
    while left:
        name = left.popleft()
        try:
            lines = metadata.requires(name) or []
        except metadata.PackageNotFoundError:
            continue
        for needed in map(Requirement, lines):
            other = canonicalize_name(needed.name)
            here = needed.marker is None or needed.marker.evaluate({"extra": ""})
            if here and other not in named and other not in found:
                group = named.get(name, found.get(name, "")).partition(": ")
                found[other] = f"{group[0]}: comes with {name}" if group[1] else f"comes with {name}"
                left.append(other)
    return found


def judge_package(name: str, version: str, latest: Newest, terms: str) -> str:
    """Kept or not, and why."""
    age = f"last release {latest.months} months ago" if latest.months > 1 else "released within two months"
    quiet = f"; quiet for more than {QUIET} months, comes along with another" if latest.months > QUIET else ""
    behind = f"; {latest.version} is out" if Version(version) < Version(latest.version) else ""
    weak = "; copyleft on its own files, used unchanged" if COPYLEFT.search(terms) else ""
    remark = f"; {REMARKS[name]}" if name in REMARKS else ""
    return f"kept: {age}{quiet}{behind}{weak}{remark}"


def list_known_faults(found: Mapping[str, str]) -> tuple[dict[str, list[str]], str]:
    """Identifiers of known faults by package, and how they were looked up: one package first, then all."""
    faults: dict[str, list[str]] = {}
    first = dict(list(found.items())[:1])
    for part in (first, dict(found)):
        answer = _pip_audit(part)
        looked = [d for d in answer if "vulns" in d]
        if len(looked) < len(part):
            why = next((d["skip_reason"] for d in answer if "skip_reason" in d), "no answer")
            why = why.partition(":")[0]
            return {}, f'not looked up: pip-audit could not reach its data where this was made ("{why}")'
        faults = {d["name"]: [v["id"] for v in d["vulns"]] for d in looked}
    return faults, f"pip-audit, {datetime.now(UTC).date().isoformat()}"


def _pip_audit(found: Mapping[str, str]) -> list[dict[str, Any]]:
    with tempfile.TemporaryDirectory() as folder:
        asked = Path(folder) / "pins.txt"
        asked.write_text("".join(f"{n}=={v}\n" for n, v in found.items()), encoding="utf-8")
        how = ["-r", str(asked), "--no-deps", "--disable-pip", "-f", "json", "--progress-spinner", "off"]
        done = subprocess.run([*UV, "tool", "run", "-q", "pip-audit", *how], capture_output=True, text=True)
    try:
        return list(json.loads(done.stdout)["dependencies"])
    except (json.JSONDecodeError, KeyError):
        return []


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--keep", action="store_true", help="write shared/evidence/dependencies.toml")
    options = parser.parse_args()
    found = read_pins()
    latest = find_newest(found)
    faults, how = list_known_faults(found)
    rows = []
    for name, version in found.items():
        terms = read_licence(name)
        row = {
            "name": name, "version": version, "use": list_uses().get(name, "not needed on this platform"),
            "licence": terms, "newest": latest[name].version, "last_release": latest[name].day,
            "judged": judge_package(name, version, latest[name], terms),
        }  # fmt: skip
        rows.append(row | ({"known_faults": ", ".join(faults[name]) or "none"} if name in faults else {}))
    for row in rows:
        print(f"{row['name']} {row['version']} ({row['licence']}): {row['judged']}")
    print(f"known faults: {how}")
    if options.keep:
        title = "What the program rests on: versions, licences, maintenance"
        evidence.write_record(
            "dependencies", title, "python tests/dependencies_audit.py --keep", rows, known_faults=how
        )


if __name__ == "__main__":
    main()
