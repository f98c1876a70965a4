"""An exercise as a teacher writes it: a few lines of TOML, read and checked; and the blank to begin from."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from sim.diagnosis.faults import load_faults
from sim.errors import Fault, InputError
from sim.fields.field_paths import suggest_name
from sim.fields.line_numbers import find_lines
from sim.fields.quantity_field import CONTROL_CHARACTERS, fit_on_line, shorten_value
from sim.fields.untrusted_text import decode_text, parse_toml, read_text
from sim.scenario.shipped import list_shipped_scenarios
from sim.shared_files import find_scenario_folder
from sim.teaching.exercise import LARGEST_SEED, LEVELS, USUAL_SCENARIO, Exercise, list_problems

LONGEST = {"title": 80, "owner": 400, "note": 400}
"""Characters of a text."""
ALLOWED = (1, 600)
"""Minutes that an exercise may allow."""
FIELDS = ("title", "owner", "note", "scenario", "level", "seed", "allowed_minutes", "fault")
FOLDER = "exercises"


def list_exercises() -> dict[str, Path]:
    """Those that come with the package, by name."""
    folder = find_scenario_folder()
    return {path.stem: path for path in sorted((folder / FOLDER).glob("*.toml"))} if folder else {}


def load_exercise(path: str | Path) -> Exercise:
    """From a file, or the name of a shipped one.  Raises InputError with everything that is wrong."""
    known = list_exercises()
    file = known[str(path)] if str(path) in known else Path(path)
    return parse_exercise(read_text(file), str(path))


def load_exercise_upload(name: str, data: bytes) -> Exercise:
    """From a file that was handed over as bytes.  Raises InputError."""
    shown = fit_on_line(name[-80:], 80)
    return parse_exercise(decode_text(data, shown), shown)


def parse_exercise(text: str, file: str) -> Exercise:
    """From a text.  Raises InputError."""
    tree = parse_toml(text, file)
    at = {path[0]: line for path, line in reversed(find_lines(text).items())}
    reader = _Reader(file, at)
    made = reader.read(tree)
    wrong = [*reader.faults, *list_problems(made, file, at)]
    if wrong:
        raise InputError(wrong)
    return made


class _Reader:
    """Reads one; faults gather, so that all are told at once."""

    def __init__(self, file: str, lines: Mapping[str, int]) -> None:
        self.file, self.lines = file, lines
        self.faults: list[Fault] = []

    def refuse(self, field: str, value: object, allowed: str, remedy: str) -> None:
        self.faults.append(
            Fault(self.file, self.lines.get(field), fit_on_line(field, 60), shorten_value(value), allowed, remedy)
        )

    def read(self, tree: Mapping[str, object]) -> Exercise:
        for name, value in tree.items():
            if name not in FIELDS:
                hint = suggest_name(name, FIELDS)
                self.refuse(name, value, hint.allowed, hint.remedy)
        for name, longest in LONGEST.items():
            self._text(tree, name, longest)
        minutes = self._number(tree, "allowed_minutes", *ALLOWED)
        return Exercise(
            level=int(self._number(tree, "level", min(LEVELS), max(LEVELS), whole=True) or 1),
            seed=int(self._number(tree, "seed", 0, LARGEST_SEED, whole=True) or 0),
            scenario=self._scenario(tree),
            ill=self._ill(tree.get("fault", [])),
            title=self._text(tree, "title", LONGEST["title"], tell=False) or Path(self.file).stem,
            owner=self._text(tree, "owner", LONGEST["owner"], tell=False),
            allowed=None if minutes is None else 60.0 * minutes,
        )

    def _text(self, tree: Mapping[str, object], name: str, longest: int, *, tell: bool = True) -> str:
        value = tree.get(name, "")
        if isinstance(value, str) and len(value) <= longest and not CONTROL_CHARACTERS.search(value):
            return value
        if tell:
            self.refuse(name, value, f"a text of one line, up to {longest} characters", "write it shorter, in quotes")
        return ""

    def _number(
        self, tree: Mapping[str, object], name: str, low: float, high: float, *, whole: bool = False
    ) -> float | None:
        value = tree.get(name)
        if value is None:
            return None
        right = isinstance(value, int) if whole else isinstance(value, int | float)
        if right and not isinstance(value, bool) and isinstance(value, int | float) and low <= value <= high:
            return value
        kind = "a whole number" if whole else "a number"
        self.refuse(name, value, f"{kind}, {low} to {high}", f"write it plain: {name} = {low:g}")
        return None

    def _scenario(self, tree: Mapping[str, object]) -> str:
        value = tree.get("scenario", USUAL_SCENARIO)
        if isinstance(value, str) and value in list_shipped_scenarios():
            return value
        hint = suggest_name(value if isinstance(value, str) else "", list_shipped_scenarios())
        self.refuse("scenario", value, hint.allowed, hint.remedy)
        return USUAL_SCENARIO

    def _ill(self, rows: object) -> tuple[tuple[str, float], ...]:
        allowed = 'tables [[fault]] with name = "…" and severity = 0 to 1'
        if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
            self.refuse("fault", rows, allowed, "write [[fault]] in double brackets, or leave it out to have one drawn")
            return ()
        ill = []
        for row in rows:
            for name in row:
                if name not in ("name", "severity"):
                    hint = suggest_name(name, ("name", "severity"))
                    self.refuse("fault", {name: row[name]}, hint.allowed, hint.remedy)
            named, severity = row.get("name"), row.get("severity", 0.5)
            if not isinstance(named, str):
                self.refuse("fault", row, allowed, "name a fault of the catalogue")
            elif isinstance(severity, bool) or not isinstance(severity, int | float) or not 0 <= severity <= 1:
                least, most = _span(named)
                remedy = f"0 is the least that is worth the name{least}, 1 the worst met{most}"
                self.refuse("fault", severity, "severity, a number from 0 to 1", remedy)
            else:
                ill.append((named, float(severity)))
        return tuple(ill)


def _span(name: str) -> tuple[str, str]:
    if name not in load_faults():
        return "", ""
    fault = load_faults()[name]
    return f" ({fault.magnitude(0.0)})", f" ({fault.magnitude(1.0)})"


def format_blank_exercise() -> str:
    """A small exercise to edit, with every fault of the catalogue and its least and worst in remarks."""
    levels = [f"#   {n}: {level.told}" for n, level in LEVELS.items()]
    listed = [f"#   {f.name:22} {f.title}, {f.magnitude(0.0)} to {f.magnitude(1.0)}" for f in load_faults().values()]
    return "\n".join(
        [
            "# An exercise: a note with something hidden in it, not to be read by whoever practises.",
            'title = "My exercise"',
            'owner = "It is heavier than its neighbours."        # what the owner says; leave it out to have it told',
            f"# scenario: one of {', '.join(list_shipped_scenarios())}",
            f'scenario = "{USUAL_SCENARIO}"',
            "level = 2                       # whether the unit differs as healthy ones do, and what reading may cost",
            *levels,
            "seed = 1                        # another seed: another unit and other slips of reading",
            "# allowed_minutes = 45          # for everything; leave it out for the level's rule",
            "",
            "[[fault]]                       # one or two; none at all: drawn by level and seed",
            'name = "tight-key"',
            "severity = 0.5                  # 0: the least that is worth the name, 1: the worst met",
            "",
            "# Faults, with least and worst:",
            *listed,
            "",
        ]
    )
