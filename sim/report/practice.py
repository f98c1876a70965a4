"""An attempt and its mark as tables and JSON: what was read, what can be done next and what it costs, how it went."""

from __future__ import annotations

from rich.console import Group, RenderableType
from rich.text import Text

from sim.diagnosis.bench_tests import BenchTest
from sim.diagnosis.next_test import SURE_CHANCE
from sim.display_units import convert_si, format_column_name, format_si, format_unit
from sim.regulation.duration_text import format_bench_time
from sim.report.diagnose import format_percent
from sim.report.formats.json_text import Document, clean_document
from sim.report.formats.tables import CAUTIONS, new_plain_table
from sim.teaching.adjustments import Adjustment
from sim.teaching.cheapest_path import CheapestPath
from sim.teaching.complaint import choose_complaint
from sim.teaching.exercise import prepare_bench
from sim.teaching.mark import Mark, format_allowed
from sim.teaching.practice import Attempt, NotebookLine, take_reading

WHERE = {False: "action in", True: "action out"}


def format_task(a: Attempt) -> str:
    """What is asked, in a sentence or two."""
    e = a.exercise
    faults = "One fault is" if e.count == 1 else f"{('', '', 'Two')[e.count]} faults are"
    return (
        f"{faults} hidden in {e.rule.told.partition(' in ')[2]}. "
        f"Find what is wrong, name it, mend it. Allowed: {format_allowed(e)}."
    )


def format_right_reading(a: Attempt, test: BenchTest, inches: bool = False) -> str:
    """What the scenario's unit reads, which is as it should be."""
    right = prepare_bench(a.exercise).right
    return right.words[test.name] if test.words else format_si(right.numbers[test.name], test.unit, inches)


def build_notebook_rows(a: Attempt, inches: bool = False) -> list[dict[str, str]]:
    """Every move in its order: what it gave, what a unit that is as it should be reads, what it took."""
    return [
        {
            "move": _format_move(a, line, inches),
            "reads": _format_taken(line, inches),
            "should read": _format_right(a, line, inches),
            "took": format_bench_time(line.seconds),
            "so far": format_bench_time(line.so_far),
        }
        for line in a.lines
        if line.move.kind != "cause"
    ]


def _format_move(a: Attempt, line: NotebookLine, inches: bool) -> str:
    if line.taken is not None:
        return line.taken.test.title
    hand = a.adjustments[line.move.name]
    return f"{hand.title}: {'by' if hand.relative else 'to'} {format_adjustment_value(hand, line.move.value, inches)}"


def format_adjustment_value(hand: Adjustment, value: float, inches: bool = False) -> str:
    """A hand's value as the bench writes it; changes with their sign."""
    return format_si(value, hand.unit, inches, sign="+" if hand.relative else "")


def _format_taken(line: NotebookLine, inches: bool) -> str:
    return "" if line.taken is None else line.taken.format_value(inches)


def _format_right(a: Attempt, line: NotebookLine, inches: bool) -> str:
    return "" if line.taken is None else format_right_reading(a, line.taken.test, inches)


def list_readings_ahead(a: Attempt) -> list[dict[str, str]]:
    """Readings that can be taken, and what each would cost now."""
    return [
        {"name": n, "reading": t.title, "cost": format_bench_time(a.cost(take_reading(n))), "where": format_where(t)}
        for n, t in a.tests.items()
    ]


def format_where(test: BenchTest) -> str:
    return ", ".join(filter(None, (WHERE[test.out], test.parts)))


def list_adjustments_ahead(a: Attempt, inches: bool = False) -> list[dict[str, str]]:
    """What can be changed, how far, what a unit has that is as it should be, and how long it takes."""
    return [
        {"name": at, "hand": h.title, "cost": format_bench_time(h.seconds), "reach": format_reach(h, inches),
         "should be": format_right_adjustment(a, h, inches)}
        for at, h in a.adjustments.items()
    ]  # fmt: skip


def format_right_adjustment(a: Attempt, hand: Adjustment, inches: bool = False) -> str:
    """Where a hand that is told as itself stands in the scenario's unit; "" for one told by its change."""
    return "" if hand.relative else format_adjustment_value(hand, hand.now(prepare_bench(a.exercise).sound), inches)


def format_reach(hand: Adjustment, inches: bool = False) -> str:
    return f"{format_adjustment_value(hand, hand.low, inches)} to {format_adjustment_value(hand, hand.high, inches)}"


def _table(title: str, rows: list[dict[str, str]]) -> RenderableType:
    table = new_plain_table(title)
    for name in rows[0] if rows else ():
        table.add_column(name, no_wrap=name not in ("where", "reading", "move"))
    for row in rows:
        table.add_row(*row.values())
    return table


def build_tables(a: Attempt) -> RenderableType:
    """An attempt on the way."""
    parts: list[RenderableType] = [
        Text(a.exercise.name, style="bold"),
        Text(format_task(a)),
        Text(f"The owner says: {choose_complaint(a.exercise)}"),
        Text(""),
    ]
    if a.lines:
        parts += [_table("So far", build_notebook_rows(a)), Text("")]
    parts += [_table("Readings that can be taken: --take NAME", list_readings_ahead(a)), Text("")]
    parts += [_table("What can be changed: --mend NAME=VALUE", list_adjustments_ahead(a)), Text("")]
    parts += [Text("Causes that can be named: --cause NAME"), Text(", ".join(a.causes)), Text("")]
    return Group(*parts, Text(" ".join(CAUTIONS.split())))


def build_mark_tables(a: Attempt, mark: Mark) -> RenderableType:
    """A mark."""
    verdict = Text(f"{mark.exercise.name}: {'passed' if mark.passed else 'not passed'}", style="bold")
    parts: list[RenderableType] = [verdict, Text(""), *(Text(line) for line in format_mark_lines(mark)), Text("")]
    if a.lines:
        parts += [_table("Your path", build_notebook_rows(a)), Text("")]
    return Group(*parts, *(Text(line) for line in format_path_lines(mark.path, a)))


def format_mark_lines(mark: Mark) -> list[str]:
    """What was looked at, one a line, and what was hidden."""
    rows = [f"{'right' if row.passed else 'WRONG'}  {row.what}: {row.words}" for row in mark.rows]
    return [*rows, f"Hidden was: {'; '.join(mark.truth)}."]


def format_path_lines(path: CheapestPath | None, a: Attempt) -> list[str]:
    """The cheapest path, beside the learner's."""
    if path is None:
        return []
    sure = f"{format_percent(path.sure)} sure" + (
        "" if path.sure >= SURE_CHANCE else ": no set of readings that was tried makes it surer"
    )
    reading = sum(line.seconds for line in a.lines if line.move.kind == "take")
    return [
        f"Cheapest path, with hindsight: {', '.join(path.readings)} ({sure}), "
        f"{format_bench_time(path.reading_seconds)}; "
        f"then {' and '.join(path.repairs)}, {format_bench_time(path.repair_seconds)}. In all "
        f"{format_bench_time(path.seconds)}.",
        f"Yours: {sum(m.kind == 'take' for m in a.moves)} readings, {format_bench_time(reading)}; "
        f"{len(a.repairs)} mends, {format_bench_time(a.seconds - reading)}. In all {format_bench_time(a.seconds)}.",
    ]


def build_document(a: Attempt, mark: Mark | None = None) -> Document:
    """The same as JSON; nothing of what is hidden before there is a mark."""
    body: Document = {
        "exercise": a.exercise.name,
        "code": a.exercise.code,
        "faults": a.exercise.count,
        "owner": choose_complaint(a.exercise),
        "allowed": format_allowed(a.exercise),
        "moves": [str(move) for move in a.moves],
        "notebook": [_build_line_document(line) for line in a.lines],
        "seconds": a.seconds,
    }
    if mark is None:
        body["can_take"] = {
            n: {"seconds": a.cost(take_reading(n)), "where": format_where(t)} for n, t in a.tests.items()
        }
        body["can_mend"] = {
            at: {"seconds": h.seconds, "unit": h.unit, "reach": format_reach(h)} for at, h in a.adjustments.items()
        }
        body["causes"] = dict(a.causes)
        return clean_document(body)
    return clean_document(body | {"mark": _mark(mark)})


def _build_line_document(line: NotebookLine) -> Document:
    told: Document = {"move": str(line.move), "seconds": line.seconds, "stage": line.stage}
    if line.taken is not None:
        unit = line.taken.test.unit
        told["word"] = line.taken.word
        told[format_column_name("value", unit)] = convert_si(line.taken.value, unit)
    return told


def _mark(mark: Mark) -> Document:
    path = mark.path
    return {
        "passed": mark.passed,
        "cost_s": mark.cost,
        "allowed_s": mark.allowed,
        "rows": [{"what": r.what, "passed": r.passed, "words": r.words} for r in mark.rows],
        "hidden": list(mark.truth),
        "readings": [
            {"reading": b.test.name, "unit": format_unit(b.test.unit), "passed": b.passed}
            | {n: convert_si(v, b.test.unit) for n, v in (("now", b.now), ("low", b.low), ("high", b.high))}
            for b in mark.backs
        ],
        "cheapest": None if path is None else {
            "readings": list(path.readings), "mends": list(path.repairs), "sure": path.sure,
            "reading_s": path.reading_seconds, "mending_s": path.repair_seconds,
        },
    }  # fmt: skip
