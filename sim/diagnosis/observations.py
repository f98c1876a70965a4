"""What was read at the bench of one note: a small sheet as TOML or CSV, checked for slips of the pen.

    [readings]
    down_weight = "52 gf"
    slow_press = "plays"
    [accuracy]                   # where it is another than a bench's own
    down_weight = "2 gf"

As CSV: columns reading, value and, if wanted, accuracy.  An empty value is a reading not taken.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

from sim.diagnosis.bench_tests import BenchTest, list_bench_tests
from sim.diagnosis.inference import Evidence
from sim.display_units import UNITS, convert_si, format_si, format_unit
from sim.errors import Fault, InputError, QuantityError
from sim.fields.field_paths import suggest_name
from sim.fields.line_numbers import find_lines
from sim.fields.quantity_field import fit_on_line, shorten_value
from sim.fields.untrusted_text import check_value_count, decode_text, make_input_error, parse_toml, read_text
from sim.units import parse_quantity
from sim.value_records import value_record

Refuse = Callable[[str, str, str, str], None]
HEAD = "reading,value,accuracy"
LARGEST_ACCURACY = 20.0
"""An accuracy is at most so many times a bench's own, and at least its own over this."""


@value_record
@dataclass(frozen=True)
class Observations:
    """Numbers (SI), words, and accuracies (SI) that differ from the bench's own."""

    numbers: Mapping[str, float]
    words: Mapping[str, str]
    accuracy: Mapping[str, float]

    @property
    def evidence(self) -> Evidence:
        """In units of each reading's accuracy; a number says by itself that it could be taken."""
        tests = list_bench_tests()
        words = dict(self.words)
        for name in self.numbers:
            needs = tests[name].needs
            if needs is not None:
                words.setdefault(*needs)
        return Evidence(
            {n: v / tests[n].si for n, v in self.numbers.items()},
            words,
            {n: a / tests[n].si for n, a in self.accuracy.items()},
        )


def load_observations(path: str | Path, tests: Mapping[str, BenchTest] | None = None) -> Observations:
    """A sheet from a file, by its ending: .csv, else TOML.  Raises InputError with everything that is wrong."""
    text = read_text(Path(path))
    return parse_observations(text, str(path), tests, comma=Path(path).suffix.lower() == ".csv")


def load_uploaded_observations(name: str, data: bytes, tests: Mapping[str, BenchTest]) -> Observations:
    """A sheet that was handed over as bytes.  Raises InputError."""
    shown = fit_on_line(name[-80:], 80)
    return parse_observations(decode_text(data, shown), shown, tests, comma=shown.lower().endswith(".csv"))


def parse_observations(
    text: str, name: str, tests: Mapping[str, BenchTest] | None = None, *, comma: bool = False
) -> Observations:
    """The same of a text; ``tests`` are those that the unit can be put to (default: all)."""
    rows, lines = _parse_csv(text, name) if comma else _parse_toml(text, name)
    reader = _Reader(name, lines, list_bench_tests() if tests is None else tests)
    found = reader.read(rows)
    if reader.faults:
        raise InputError(reader.faults)
    return found


def parse_typed_readings(texts: Mapping[str, str], name: str, tests: Mapping[str, BenchTest]) -> Observations:
    """Of what was typed, by reading.  Raises InputError."""
    reader = _Reader(name, {}, tests)
    found = reader.read({n: (t, "") for n, t in texts.items()})
    if reader.faults:
        raise InputError(reader.faults)
    return found


Rows = dict[str, tuple[object, object]]
"""Reading to value and accuracy as they were written."""


def _parse_toml(text: str, file: str) -> tuple[Rows, Mapping[str, int]]:
    tree, lines = parse_toml(text, file), find_lines(text)
    remedy, whole = "begin from the blank sheet", "a table [readings], a table [accuracy], and a note"
    tables: dict[str, dict[str, object]] = {"readings": {}, "accuracy": {}}
    faults = []
    for key, value in tree.items():
        if key in tables and isinstance(value, dict):
            tables[key] = value
        elif key != "note":
            faults.append(Fault(file, lines.get((key,)), shorten_value(key), shorten_value(value), whole, remedy))
    readings, accuracy = tables["readings"], tables["accuracy"]
    for key in accuracy:
        if key not in readings:
            at, allowed = lines.get(("accuracy", key)), "an accuracy of a reading that is on the sheet"
            faults.append(
                Fault(
                    file, at, f"accuracy of {shorten_value(key)}", shorten_value(accuracy[key]), allowed, "enter it too"
                )
            )
    if faults:
        raise InputError(faults)
    at_lines = {path[-1]: at for path, at in lines.items() if path[0] == "readings"}
    return {n: (v, accuracy.get(n, "")) for n, v in readings.items()}, at_lines


def _parse_csv(text: str, file: str) -> tuple[Rows, Mapping[str, int]]:
    table = csv.reader(io.StringIO(text))
    try:
        rows = [(table.line_num, [cell.strip() for cell in row]) for row in table if any(cell.strip() for cell in row)]
    except csv.Error as error:
        raise make_input_error(file, "the file", "broken CSV", HEAD, str(error), table.line_num) from None
    check_value_count(len(rows), file, "lines", "take out what is no reading")
    head = rows[0][1] if rows else []
    if head not in (HEAD.split(","), HEAD.split(",")[:2]):
        raise make_input_error(file, "the first line", ",".join(head) or "empty", HEAD, "begin from the blank sheet", 1)
    found: Rows = {}
    lines: dict[str, int] = {}
    for line, row in rows[1:]:
        if row[0] in found:
            twice = f"it stands on line {lines[row[0]]} too"
            raise make_input_error(file, row[0], "twice", "each reading once", twice, line)
        if len(row) > len(head):
            remedy = "put a value with a comma in quotation marks"
            raise make_input_error(file, row[0], f"{len(row)} columns", f"{len(head)} columns", remedy, line)
        name, value, fine = [*row, "", ""][:3]
        found[name], lines[name] = (value, fine), line
    return found, lines


class _Reader:
    """Reads one sheet; faults gather, so that all are told at once."""

    def __init__(self, file: str, lines: Mapping[str, int], tests: Mapping[str, BenchTest]) -> None:
        self.file, self.lines, self.tests = file, lines, tests
        self.faults: list[Fault] = []

    def refuse(self, name: str, value: str, allowed: str, remedy: str) -> None:
        self.faults.append(Fault(self.file, self.lines.get(name), fit_on_line(name, 80), value, allowed, remedy))

    def read(self, rows: Rows) -> Observations:
        numbers: dict[str, float] = {}
        words: dict[str, str] = {}
        accuracy: dict[str, float] = {}
        for name, (value, fine) in rows.items():
            test = self.tests.get(name)
            if test is None:
                hint = suggest_name(name, self.tests)
                of_all = list_bench_tests().get(name)
                why = hint.remedy if of_all is None else "this unit has no such part: take it out"
                self.refuse(name, shorten_value(value), hint.allowed, why)
            elif value != "":
                if test.words:
                    self._word(test, value, words)
                else:
                    self._number(test, value, fine, numbers, accuracy)
        if not self.faults:
            for check in CHECKS:
                check(numbers, words, self.refuse)
        return Observations(numbers, words, accuracy)

    def _word(self, test: BenchTest, value: object, words: dict[str, str]) -> None:
        told = {True: "yes", False: "no"}.get(value, value) if isinstance(value, bool) else value
        if told not in test.words:
            self.refuse(test.name, shorten_value(value), ", ".join(test.words), "choose one of these words")
        else:
            words[test.name] = str(told)

    def _number(
        self, test: BenchTest, value: object, fine: object, numbers: dict[str, float], accuracy: dict[str, float]
    ) -> None:
        si = self._quantity(test, test.name, value)
        if si is None:
            return
        told, (low, high) = convert_si(si, test.unit), test.limits
        if told is None or not low <= told <= high:
            self.refuse(
                test.name,
                shorten_value(value),
                _format_range(test),
                guess_entry_error(test.name, told, test.limits, test.unit),
            )
            return
        numbers[test.name] = si
        if fine == "":
            return
        read_to = self._quantity(test, f"accuracy of {test.name}", fine)
        if read_to is not None and not test.si / LARGEST_ACCURACY <= read_to <= test.si * LARGEST_ACCURACY:
            least, most = (format_si(test.si * f, test.unit) for f in (1 / LARGEST_ACCURACY, LARGEST_ACCURACY))
            self.refuse(
                f"accuracy of {test.name}",
                shorten_value(fine),
                f"{least} to {most}",
                "half of what two careful readings differ by",
            )
        elif read_to is not None:
            accuracy[test.name] = read_to

    def _quantity(self, test: BenchTest, name: str, value: object) -> float | None:
        spelling, dimension, _ = UNITS[test.unit]
        if isinstance(value, bool) or not isinstance(value, str | int | float):
            self.refuse(
                name,
                shorten_value(value),
                f"a quantity in {spelling or 'plain numbers'}",
                "write a number with its unit",
            )
            return None
        try:
            return parse_quantity(value if isinstance(value, str) else str(value), dimension)
        except QuantityError as error:
            self.refuse(name, shorten_value(value), f"a quantity such as {dimension.example}", error.remedy)
            return None


def _format_range(test: BenchTest) -> str:
    return f"{test.limits[0]:g} to {test.limits[1]:g} {format_unit(test.unit)}".strip()


def guess_entry_error(name: str, told: float | None, limits: tuple[float, float], unit: str) -> str:
    """The likely slip of the pen in a number (in ``unit`` of ``edge``) that lies outside its limits."""
    low, high = limits
    if name.startswith("swings") and told == 0:
        return (
            "a part that turns swings at least once: leave it empty where it does not move, and enter the pinning force"
        )
    if told is not None:
        for factor, likely in (
            (0.1, "a decimal point was probably left out"),
            (10, "a figure too few: centimetres perhaps"),
            (25.4, "inches perhaps: write the unit"),
        ):
            if low <= told * factor <= high and told * factor > 0:
                return f"{likely}: {told * factor:g} {format_unit(unit)}?".replace(" ?", "?")
        if low <= -told <= high:
            return "the sign is probably the wrong way round"
    return "read it again"


Check = Callable[[Mapping[str, float], Mapping[str, str], Refuse], None]


def _require_greater(more: str, less: str, slip: str) -> Check:
    """``more`` has to be greater than ``less``."""

    def check(numbers: Mapping[str, float], words: Mapping[str, str], refuse: Refuse) -> None:
        if more in numbers and less in numbers and numbers[less] >= numbers[more]:
            tests = list_bench_tests()
            said, limit = (format_si(numbers[n], tests[n].unit) for n in (less, more))
            refuse(less, said, f"less than {tests[more].title}, {limit}", slip)

    return check


def _refuse_unreadable(numbers: Mapping[str, float], words: Mapping[str, str], refuse: Refuse) -> None:
    """A number of what a word says cannot be read."""
    for name in numbers:
        test = list_bench_tests()[name]
        if test.needs is not None and words.get(test.needs[0], test.needs[1]) != test.needs[1]:
            word = words[test.needs[0]]
            said = format_si(numbers[name], test.unit)
            title = list_bench_tests()[test.needs[0]].title
            refuse(
                name,
                said,
                f'nothing, where "{title}" says "{word}"',
                "one of the two is a slip of the pen: take it out",
            )


CHECKS: tuple[Check, ...] = (
    _require_greater("down_weight", "up_weight", "the two were probably changed over: the down weight is the greater"),
    _require_greater("blow", "drop", "a decimal point was probably left out: a drop is a few millimetres"),
    _require_greater("blow", "let_off", "a decimal point was probably left out: let-off is a millimetre or two"),
    _require_greater(
        "blow", "checking_distance", "measured from the rest, perhaps: checking is from the crown up to the string"
    ),
    _require_greater("blow", "spring_rise", "the hammer cannot rise further than its blow: read it again"),
    _require_greater("dip", "aftertouch", "the whole dip, perhaps: aftertouch is what is left after let-off"),
    _require_greater(
        "dip", "reset_point", "measured from the bottom, perhaps: the reset point is a depth under the key's rest"
    ),
    _require_greater("dip", "damper_start", "a decimal point was probably left out"),
    _refuse_unreadable,
)
