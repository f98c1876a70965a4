"""The piano's sheet: what was read at the piano, section by section, again at the bench, and of the hammers.

    [sections.bass.1.piano]           a section, a key of it, and where it was read
    string_height = "236.4 mm"
    [sections.bass.1.hammer]          the hammer of that key
    bore = "51.5 mm"

The lowest and the highest key of a section are its ends.  Validated as a scenario
is: quantities with units, unknown names refused, every fault at once.
"""

from __future__ import annotations

import copy
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any

from pydantic import Field, ValidationError
from pydantic_core import ErrorDetails

from sim.errors import Fault, InputError
from sim.fields.field_paths import suggest_name
from sim.fields.line_numbers import find_lines
from sim.fields.quantity_field import QuantityField, fit_on_line, shorten_value
from sim.fields.section_base import Measured, Name, Section, quantity
from sim.fields.untrusted_text import parse_toml, read_text

Way = tuple[str, ...]
"""The path of a field in the sheet."""

LOWEST, HIGHEST = 1, 88
KEYS = tuple(str(key) for key in range(LOWEST, HIGHEST + 1))
NEEDED_AT_ENDS = ("string_height", "strike_line")
"""What the ends of a section must give at the piano."""


class Station(Section):
    """Readings at one key; the action stands against its stop.

    Heights of strings, hammer centres and damper blocking count from the straight line that the bed's own readings
    count from, or from the bed where that was not read; the key's height from the bed under the front rail.
    """

    bed_front: Measured = quantity("mm", -10, 10, "bed under the front rail over a straight line through the section")
    bed_balance: Measured = quantity("mm", -10, 10, "bed under the balance rail over the same line")
    bed_back: Measured = quantity("mm", -10, 10, "bed under the back rail over the same line")
    key_height: Measured = quantity("mm", 30, 110, "bed to the underside of the key's top at its front edge, at rest")
    string_height: Measured = quantity("mm", 120, 380, "underside of the string at the strike line over the bed")
    string_slope: Measured = quantity("deg", -6, 6, "string off the level, + rising away from the player")
    strike_line: Measured = quantity("mm", 200, 900, "front of the key bed to the strike line, level")
    action_stop: Measured = quantity("mm", 50, 500, "front of the key bed to the balance pins, level")
    hammer_centre_height: Measured = quantity("mm", 80, 300, "hammer centre over the bed")
    damper_blocking: Measured = quantity("mm", 300, 1000, "front of the key bed to the damper blocking, level")
    damper_blocking_height: Measured = quantity("mm", 10, 200, "underside of the damper blocking over the bed")
    key_end_height: Measured = quantity("mm", 20, 120, "top of the key at its rear end over the bed, at rest")
    key_end_clearance: Measured = quantity("mm", -5, 80, "rear end of the key to the damper blocking, level")


class HammerMeasurements(Section):
    """The hammer of one key, as measured."""

    bore: Measured = quantity("mm", 25, 80, "axis of the shank to the crown, along the moulding")
    hanging_distance: Measured = quantity("mm", 90, 170, "hammer centre to the line of strike, along the shank")
    weight: Measured = quantity("g", 2, 25, "hammer with shank, weighed at the strike radius, shank level")


class KeyMeasurements(Section):
    """The same key at the piano and at the bench, and its hammer."""

    piano: Station | None = None
    bench: Station | None = None
    hammer: HammerMeasurements | None = None


PLACES: Mapping[str, type[Section]] = {"piano": Station, "bench": Station, "hammer": HammerMeasurements}
HAMMER = tuple(HammerMeasurements.model_fields)
Row = Mapping[str, QuantityField]


class PianoFile(Section):
    """The sheet as a file."""

    name: Name
    note: Annotated[str, Field(max_length=4000)] = ""
    invented: bool = False
    sections: Annotated[dict[Name, dict[str, KeyMeasurements]], Field(min_length=1, max_length=8)]


@dataclass(frozen=True)
class PianoSection:
    """One section: keys read, lowest first, and by place what was read (SI) at each of them."""

    name: str
    keys: tuple[int, ...]
    rows: Mapping[str, tuple[Row, ...]]

    def at(self, key: int, name: str, place: str = "piano") -> float | None:
        """A reading at a key, straight between the keys where it was read; None beyond those."""
        known = [(k, row[name].value) for k, row in zip(self.keys, self.rows[place], strict=True) if name in row]
        for (k0, a), (k1, b) in zip(known, known[1:] or known, strict=False):
            if k0 <= key <= k1:
                return a if k1 == k0 else a + (b - a) * (key - k0) / (k1 - k0)
        return None

    def from_pins(self, key: int, name: str, place: str = "piano") -> float | None:
        """A reading from the front of the bed as a distance from the balance pins, action at its stop, m."""
        there, stop = self.at(key, name, place), self.at(key, "action_stop", place)
        return None if there is None or stop is None else there - stop


@dataclass(frozen=True)
class PianoSheet:
    """The sheet, its sections from the bass up."""

    name: str
    note: str
    path: str
    sections: tuple[PianoSection, ...]

    def section_of(self, key: int) -> PianoSection:
        """The section a key lies in; a key outside all of them is an InputError."""
        for section in self.sections:
            if section.keys[0] <= key <= section.keys[-1]:
                return section
        spans = ", ".join(f"{s.name} {s.keys[0]} to {s.keys[-1]}" for s in self.sections)
        remedy = "name a key of these sections, or read this one and write it into the sheet"
        raise InputError([Fault(self.path, None, "note", str(key), spans, remedy)])


def load_sheet(path: str | Path) -> PianoSheet:
    """The sheet of a file; an InputError holds everything that is wrong."""
    return parse_sheet(read_text(Path(path)), str(path))


def parse_sheet(text: str, name: str = "piano") -> PianoSheet:
    """As ``load_sheet`` for a text."""
    tree = parse_toml(text, name)
    reader = _Reader(name, find_lines(text))
    file = reader.validated(tree)
    sections = reader.sections(file) if file is not None else ()
    if reader.faults or file is None:
        raise InputError(sorted(dict.fromkeys(reader.faults), key=lambda f: f.line or 0))
    return PianoSheet(file.name, file.note, name, sections)


class _Reader:
    """Reads one sheet; faults gather, so that all are told at once."""

    def __init__(self, file: str, lines: Mapping[Way, int]) -> None:
        self.file, self.lines = file, lines
        self.faults: list[Fault] = []
        self.dropped: set[Way] = set()

    def refuse(self, way: Way, value: str, allowed: str, remedy: str) -> None:
        """Note a fault at the line of a field, of the table around it, or of the first table in it."""
        line = next((self.lines[way[:n]] for n in range(len(way), 1, -1) if way[:n] in self.lines), None)
        if line is None:
            line = next((at for path, at in self.lines.items() if path[: len(way)] == way), None)
        name = fit_on_line(".".join(part or '""' for part in way), 80)
        self.faults.append(Fault(self.file, line, name, value, allowed, remedy))

    def validated(self, tree: Mapping[str, object]) -> PianoFile | None:
        """The file without what is faulty; None where nothing is left to look at."""
        sound: dict[str, Any] = copy.deepcopy(dict(tree))
        while True:
            try:
                return PianoFile.model_validate(sound)
            except ValidationError as error:
                ways = [self._validation_fault(e) for e in error.errors(include_url=False)]
            for way in ways:
                self.dropped.add(way)
                if way == ("name",):
                    sound["name"] = "unnamed"
                elif not _remove_path(sound, way) or not sound.get("sections"):
                    return None

    def sections(self, file: PianoFile) -> tuple[PianoSection, ...]:
        """The sections from the bass up; a key lies in one of them only."""
        found = [self._section(name, stations) for name, stations in file.sections.items()]
        sections = sorted((s for s in found if s is not None), key=lambda s: s.keys[0])
        for a, b in zip(sections, sections[1:], strict=False):
            if b.keys[0] <= a.keys[-1]:
                remedy = f"the section {a.name} goes up to key {a.keys[-1]}: a key lies in one section only"
                allowed = f"from {a.keys[-1] + 1}"
                self.refuse(("sections", b.name, str(b.keys[0])), f"from {b.keys[0]}", allowed, remedy)
        return tuple(sections)

    def _section(self, name: str, stations: Mapping[str, KeyMeasurements]) -> PianoSection | None:
        here, before = ("sections", name), len(self.faults)
        wrong = [k for k in stations if k not in KEYS]
        for key in wrong:
            remedy = "name the table after the key it was read at, as in [sections.bass.1.piano]"
            self.refuse((*here, key), shorten_value(key), f"a key number, {LOWEST} to {HIGHEST}", remedy)
        by_key = {int(k): places for k, places in stations.items() if k not in wrong}
        keys = sorted(by_key)
        if len(keys) < 2:
            remedy = "read a section at least at both of its ends"
            self.refuse(here, f"{len(keys)} key{'s' if len(keys) != 1 else ''}", "2 or more", remedy)
            return None
        for end in (keys[0], keys[-1]):
            piano = by_key[end].piano
            for what in NEEDED_AT_ENDS:
                way = (*here, str(end), "piano", what)
                if (piano is None or getattr(piano, what) is None) and not self._dropped(way):
                    self.refuse(way, "missing", "given at both ends", "the ends of a section need it: read it")
        if len(self.faults) > before:
            return None
        rows = {place: tuple(_list_readings(getattr(by_key[k], place)) for k in keys) for place in PLACES}
        return PianoSection(name, tuple(keys), rows)

    def _dropped(self, way: Way) -> bool:
        return any(way[:n] in self.dropped for n in range(1, len(way) + 1))

    def _validation_fault(self, detail: ErrorDetails) -> Way:
        way = tuple(str(part) for part in detail["loc"] if part != "[key]")
        context: dict[str, Any] = detail.get("ctx", {})
        value = shorten_value(detail.get("input"))
        if detail["type"] == "scenario":
            value, allowed = str(context["value"]), str(context["allowed"])
            remedy = f"{context['problem']}: {context['remedy']}"
        elif detail["type"] == "extra_forbidden":
            hint = suggest_name(way[-1], _list_allowed_names(way))
            allowed, remedy = f"the fields {hint.allowed}", f"unknown field: {hint.remedy}"
        elif detail["type"] == "missing":
            value, allowed, remedy = "missing", "given", "every sheet needs it: write it"
        else:
            allowed, remedy = "what the example sheet shows", f"{detail['msg'].lower()}: write it as the example does"
        self.refuse(way, value, allowed, remedy)
        return way


def _remove_path(tree: dict[str, Any], way: Way) -> bool:
    """Take one path out of a tree; False where there is no such path."""
    table: Any = tree
    for part in way[:-1]:
        table = table.get(part) if isinstance(table, dict) else None
    if not isinstance(table, dict) or way[-1] not in table:
        return False
    del table[way[-1]]
    return True


def _list_readings(station: Section | None) -> dict[str, QuantityField]:
    names = type(station).model_fields if station is not None else ()
    return {n: getattr(station, n) for n in names if getattr(station, n) is not None}


def _list_allowed_names(way: Way) -> tuple[str, ...]:
    """Names that may stand beside the last one of a path."""
    if len(way) == 1:
        return tuple(PianoFile.model_fields)
    return tuple((PLACES[way[3]] if len(way) >= 5 else KeyMeasurements).model_fields)
