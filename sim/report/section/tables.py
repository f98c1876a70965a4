"""A section of notes as tables, JSON and rows: which stand out and why, what to turn on which note, evenness."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from rich.console import Group, RenderableType
from rich.text import Text

from sim.bench.readings import Prediction, list_reading_fields
from sim.diagnosis.bench_tests import list_bench_tests
from sim.display_units import choose_unit, convert_si, format_column_name, format_number, format_si, format_unit
from sim.regulation.regulate import Adjustment, Regulation
from sim.regulation.screws import SCREWS
from sim.regulation.targets import STOP_TARGETS, format_target, get_met_tolerance, get_target_unit
from sim.report.diagnose import format_percent
from sim.report.formats.json_text import Document, clean_document
from sim.report.formats.tables import CAUTIONS, new_plain_table
from sim.report.regulate import format_punchings
from sim.section.columns import list_columns
from sim.section.section import Section, SectionNote
from sim.section.sheet import NoteRow, format_key


@dataclass(frozen=True)
class SectionReading:
    """A reading of a section: its name, title, unit, accuracy."""

    name: str
    title: str
    unit: str
    accuracy: float | None

    def format_value(self, si: float | None, inches: bool = False) -> str:
        """Without its unit; a dash where nothing was read."""
        unit = choose_unit(self.unit, inches)
        return format_number(convert_si(si, unit), unit, self.accuracy if unit == self.unit else None)

    def head(self, inches: bool = False) -> str:
        unit = format_unit(choose_unit(self.unit, inches))
        return f"{self.title}, {unit}" if unit else self.title


EVENNESS_READINGS = (
    "down_weight", "up_weight", "blow", "dip", "let_off", "drop", "aftertouch", "checking_distance", "spring_rise",
    "reset_point", "return_time",
)  # fmt: skip
"""Readings that are shown over the notes."""
LIMIT, SPEED, TOUCH = "limit_hz", "hammer_speed", "medium"
"""Predicted only: repetition, and the crown's speed under a medium finger."""
SHORT_HEADS: Mapping[str, str] = {
    "down_weight": "D gf", "up_weight": "U gf", "blow": "blow", "dip": "dip", "let_off": "let-off", "drop": "drop",
    "aftertouch": "after-\ntouch", "checking_distance": "check", "spring_rise": "rise", "reset_point": "reset",
    "return_time": "return\nms", LIMIT: "a\nsecond", SPEED: "m/s",
}  # fmt: skip
"""Heads that leave room on a screen; lengths in mm or inches."""
TURN_TARGETS = (
    "jack_address", "lever_height", "blow", "dip", "let_off", "drop", "checking_distance", "spring_rise", "key_height",
)  # fmt: skip
"""Targets in the order in which their screws are told."""


def list_section_readings() -> tuple[SectionReading, ...]:
    """What is shown over the notes, with what is predicted only at the end."""
    tests = list_bench_tests()
    read = [SectionReading(n, tests[n].title, tests[n].unit, tests[n].accuracy) for n in EVENNESS_READINGS]
    limit = SectionReading(LIMIT, "repetition, strokes a second", "", 0.5)
    return (*read, limit, SectionReading(SPEED, f"hammer, {TOUCH} touch", "m_s", None))


def get_predicted(prediction: Prediction | None, name: str) -> float | None:
    """A reading of a prediction, SI."""
    if prediction is None:
        return None
    if name == "checking_distance":
        return next((s.checking_distance for s in prediction.strikes if s.touch == "moderate"), None)
    if name == SPEED:
        return next((s.hammer_speed for s in prediction.strikes if s.touch == TOUCH), None)
    for record in (prediction.settings, prediction.touch, prediction.repetition):
        if name in list_reading_fields(type(record)):
            found: float | None = getattr(record, name)
            return found
    return None


def get_entered(row: NoteRow | None, name: str) -> float | None:
    """A reading of the sheet, SI."""
    return None if row is None else row.numbers.get(name)


def get_expected(note: SectionNote, name: str) -> float | None:
    """What the section lets one expect of a note as it was found, SI."""
    found = note.expected.readings
    return None if found is None else found.numbers.get(name)


TURN_DIRECTIONS: Mapping[str, tuple[str, str]] = {
    "jack_address": ("toward the player", "away from the player"), "lever_height": ("higher", "lower"),
    "blow": ("higher", "lower"), "dip": ("lower", "higher"), "let_off": ("higher", "lower"),
    "drop": ("higher", "lower"), "checking_distance": ("away from the player", "toward the player"),
    "spring_rise": ("stronger", "weaker"), "key_height": ("higher", "lower"),
}  # fmt: skip
"""Which way a target's screw goes where its setting grows, and where it falls; of jack and lever, the reading."""


def build_outlier_rows(section: Section, inches: bool = False) -> list[dict[str, str]]:
    """Notes that stand out: the cause, how sure, how bad, and what to do."""
    return [_outlier(note, inches) for note in section.outliers]


def _outlier(note: SectionNote, inches: bool) -> dict[str, str]:
    found = note.found
    told = {
        "note": format_key(note.key_number),
        "cause": "no cause of the catalogue explains it",
        "sure": "",
        "how bad": "",
    }
    told["what to do"] = f"read {_format_farthest(note, inches)} again; then look at it by itself (diagnose)"
    if found is not None and found.explained and found.listed:
        first = found.listed[0]
        mean, low, high = first.sizes(inches)
        told |= {
            "cause": first.fault.title,
            "sure": format_percent(first.probability),
            "how bad": f"{mean} ({low} to {high})",
            "what to do": first.fault.cure,
        }
    if note.slip:
        told["what to do"] = (
            f"a slip of the pen is as likely: read {_format_farthest(note, inches)} again; then {told['what to do']}"
        )
    return told


def _format_farthest(note: SectionNote, inches: bool) -> str:
    """The reading that is farthest from what is expected, with both."""
    tests, offs = list_bench_tests(), []
    for name, value in (note.row.numbers if note.row is not None else {}).items():
        here = get_expected(note, name)
        if here is not None and name in tests and list_columns()[name].unit == tests[name].unit:
            offs.append((abs(value - here) / tests[name].si, name, value, here))
    if not offs:
        return "it"
    _, name, value, here = max(offs)
    unit = tests[name].unit
    return f"{tests[name].title} ({format_si(value, unit, inches)}, expected {format_si(here, unit, inches)})"


def build_inconsistency_rows(section: Section) -> list[dict[str, str]]:
    """Entries that do not go together."""
    return [
        {"note": format_key(s.key_number), "entries": s.told, "likely": s.likely}
        for n in section.notes
        for s in n.apart
    ]


def build_note_lines(section: Section, inches: bool = False) -> list[dict[str, str]]:
    """The same for a screen: a line a note for each of found, expected and after."""
    rows = []
    for note in section.notes:
        for told, take in (
            ("found", lambda n, name: get_entered(n.row, name)), ("expected", get_expected),
            ("after", lambda n, name: get_predicted(n.prediction, name)),
        ):  # fmt: skip
            values = {SHORT_HEADS[s.name]: s.format_value(take(note, s.name), inches) for s in list_section_readings()}
            if set(values.values()) != {"–"}:
                rows.append({"note": format_key(note.key_number), "": told} | values)
    return rows


def build_reading_rows(section: Section, inches: bool = False) -> list[dict[str, str]]:
    """A row a note and a pair of cells a reading: as found (or expected, in brackets), and after the work."""
    rows = []
    for note in section.notes:
        row = {"note": format_key(note.key_number)}
        for s in list_section_readings():
            found, here = get_entered(note.row, s.name), get_expected(note, s.name)
            after = get_predicted(note.prediction, s.name)
            now = (
                s.format_value(found, inches)
                if found is not None
                else f"({s.format_value(here, inches)})"
                if here is not None
                else ""
            )
            row[s.head(inches)] = f"{now} → {s.format_value(after, inches)}" if now else s.format_value(after, inches)
        rows.append(row)
    return rows


def build_turn_rows(section: Section, inches: bool = False) -> list[dict[str, str]]:
    """A row a note: what is turned, papered or bent, from as found to the goal."""
    return [
        {"note": format_key(n.key_number)} | format_turns(n.work, inches) for n in section.notes if n.row is not None
    ]


def format_turns(work: Regulation | None, inches: bool = False) -> dict[str, str]:
    """By target, what its screw is turned by; "" where it stays."""
    moves = work.moves if work is not None else {}
    told = {}
    for target in TURN_TARGETS:
        screw = SCREWS[target]
        move = moves.get(screw.path)
        felt = move is not None and abs((move.after - move.before) * screw.gain) > get_met_tolerance(target)
        told[find_title(target)] = _turn(target, screw.path, move, inches) if felt and move is not None else ""
    return told


def find_title(target: str) -> str:
    """A target as the bench calls it."""
    return list_bench_tests()[target].title if target in list_bench_tests() else target.replace("_", " ")


def _turn(target: str, path: str, move: Adjustment, inches: bool) -> str:
    change = move.after - move.before
    if move.punchings:
        return format_punchings(move.punchings)
    if path == "springs.repetition":
        return f"{abs(100 * change / move.before):.1f} % {TURN_DIRECTIONS[target][change < 0]}"
    if move.turns is not None:
        return f"{abs(move.turns):.2f} turn {TURN_DIRECTIONS[target][change < 0]}"
    by = change * SCREWS[target].gain if target in STOP_TARGETS else change
    return f"{format_si(abs(by), get_target_unit(target), inches)} {TURN_DIRECTIONS[target][by < 0]}"


def build_evenness_rows(section: Section, inches: bool = False) -> list[dict[str, str]]:
    """Evenness of each reading over the notes, as found and after the work: least, greatest, largest step."""
    rows = []
    for s in list_section_readings():
        found = {n.key_number: v for n in section.notes if (v := get_entered(n.row, s.name)) is not None}
        after = {n.key_number: v for n in section.notes if (v := get_predicted(n.prediction, s.name)) is not None}
        for told, values in (("found", found), ("after", after)):
            if len(values) > 1:
                rows.append({"reading": s.head(inches), "": told} | _spread(s, values, inches))
    return rows


def _spread(s: SectionReading, values: Mapping[int, float], inches: bool) -> dict[str, str]:
    least, most = (min(values, key=values.__getitem__), max(values, key=values.__getitem__))
    keys = sorted(values)
    step, at = max((abs(values[b] - values[a]), (a, b)) for a, b in zip(keys, keys[1:], strict=False))
    return {
        "least": f"{s.format_value(values[least], inches)} at {least}",
        "greatest": f"{s.format_value(values[most], inches)} at {most}",
        "largest step": f"{s.format_value(step, inches)} from {at[0]} to {at[1]}",
    }


def list_section_lines(section: Section, inches: bool = False) -> list[str]:
    """What was fitted for the whole section, and what it reads besides, in sentences."""
    out = []
    if section.fitted is not None:
        moved = [i for i in section.fitted.inputs if abs(i.z) >= 0.5]
        moved.sort(key=lambda i: -abs(i.z))
        told = ", ".join(
            f"{i.variation.at.removeprefix('move.').replace('.', ' ').replace('_', ' ')} {i.z:+.1f}" for i in moved[:6]
        )
        out.append(
            "Fitted to what the notes read on the whole, in standard deviations of healthy units: "
            f"{told or 'nothing had to move'}."
        )
    elif section.unfitted:
        out.append(f"Nothing was fitted: {section.unfitted}.")
    tests = list_bench_tests()
    rest = {n: v for n, v in section.whole.items() if abs(v) >= tests[n].si}
    if rest:
        told = "; ".join(
            f"{tests[n].title} {format_si(v, tests[n].unit, inches, sign='+')}" for n, v in sorted(rest.items())
        )
        out.append(f"The whole section reads otherwise than the model by: {told}. Notes are held against that.")
    return out


def list_unmet_lines(section: Section) -> list[str]:
    """What cannot be reached, note by note."""
    out = []
    for note in section.notes:
        if note.expected.unmet:
            names = ", ".join(find_title(t) for t in note.expected.unmet)
            out.append(
                f"Note {format_key(note.key_number)}: with these parts the model does not reach {names} as read."
            )
        for miss in note.work.misses if note.work is not None else ():
            out.append(
                f"Note {format_key(note.key_number)}: {find_title(miss.target)} "
                f"{format_target(miss.target, miss.asked)} cannot be "
                f"met, it comes to {format_target(miss.target, miss.reached)}: {miss.why}."
            )
    return out


def list_assumed_lines(notes: Sequence[SectionNote]) -> list[str]:
    """What the sheet did not give, in a sentence or two."""
    assumed = {p for n in notes for p in n.expected.unit.assumed}
    tables: dict[str, list[str]] = {}
    for path in sorted(assumed):
        table, _, name = path.rpartition(".")
        if table.startswith("contacts."):
            table, name = "felts and leathers", table.removeprefix("contacts.")
        if name not in tables.setdefault(table, []):
            tables[table].append(name)
    told = "; ".join(f"{t}: {', '.join(n.replace('_', ' ') for n in names)}" for t, names in tables.items())
    return [f"Assumed, from the defaults of that part of the compass or the line through the notes: {told}."]


def build_tables(section: Section, inches: bool = False) -> RenderableType:
    """All of it for a screen."""
    parts: list[RenderableType] = [Text(f"{section.sheet.title}: {_format_count(section)}", style="bold"), Text("")]
    parts += [Text(line) for line in list_section_lines(section, inches)]
    if section.outliers:
        parts += [Text(""), _table("Notes that stand out", build_outlier_rows(section, inches))]
    elif any(n.found is not None for n in section.notes):
        parts += [Text(""), Text("No note stands out.")]
    if rows := build_inconsistency_rows(section):
        parts += [Text(""), _table("Entries that do not go together", rows)]
    if any(n.prediction is not None for n in section.notes):
        for title, rows in (
            (f"Readings ({'in' if inches else 'mm'})", build_note_lines(section, inches)),
            ("To turn", build_turn_rows(section, inches)),
            ("Evenness", build_evenness_rows(section, inches)),
        ):
            parts += [Text(""), _table(title, rows)]
    parts += [Text(line) for line in list_unmet_lines(section)]
    parts += [Text(""), *(Text(line) for line in list_assumed_lines(section.notes)), Text(""), Text(CAUTIONS)]
    return Group(*parts)


def _format_count(section: Section) -> str:
    read = len(section.sheet.rows)
    return f"{len(section.notes)} notes, {read} of them read"


def _table(title: str, rows: list[dict[str, str]]) -> RenderableType:
    table = new_plain_table(title)
    for name in rows[0] if rows else ():
        table.add_column(name)
    for row in rows:
        table.add_row(*row.values())
    return table


def build_file_rows(section: Section) -> list[dict[str, object]]:
    """A row a note for files: found, expected and after, by reading with its unit."""
    rows = []
    for note in section.notes:
        row: dict[str, object] = {"note": note.key_number, "read": note.row is not None, "stands_out": note.outlier}
        row["cause"] = note.found.verdict if note.found is not None and note.outlier else None
        for s in list_section_readings():
            values = (
                ("found", get_entered(note.row, s.name)), ("expected", get_expected(note, s.name)),
                ("after", get_predicted(note.prediction, s.name)),
            )  # fmt: skip
            row |= {format_column_name(f"{s.name}_{what}", s.unit): convert_si(v, s.unit) for what, v in values}
        rows.append(row)
    return rows


def build_document(section: Section) -> Document:
    """All of it as JSON."""
    return clean_document(
        {
            "title": section.sheet.title,
            "invented": section.sheet.invented,
            "notes": [_note_document(n, flat) for n, flat in zip(section.notes, build_file_rows(section), strict=True)],
            "slips": build_inconsistency_rows(section),
            "whole": list_section_lines(section),
            "unmet": list_unmet_lines(section),
        }
    )


def _note_document(note: SectionNote, flat: Mapping[str, object]) -> Document:
    told: Document = dict(flat)
    if note.outlier:
        told["causes"] = list(_build_causes_document(note))
        told["slip_as_likely"] = note.slip
    if note.work is not None and note.row is not None:
        told["turns"] = {name: text for name, text in format_turns(note.work).items() if text}
    return told


def _build_causes_document(note: SectionNote) -> Iterator[Document]:
    for one in note.found.listed if note.found is not None else ():
        yield {
            "cause": one.fault.name,
            "title": one.fault.title,
            "probability": one.probability,
            "size": one.sizes()[0],
        }
