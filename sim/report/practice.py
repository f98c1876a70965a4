"""An attempt and its mark as tables and JSON: what was read, what can be done next and what it costs, how it went."""

from __future__ import annotations

from rich.console import Group, RenderableType
from rich.text import Text

from sim.diagnosis.bench_tests import BenchTest
from sim.diagnosis.next_test import SURE
from sim.display_units import column_name, convert_si, format_si, unit_label
from sim.regulation.bench_minutes import minutes
from sim.report.diagnose import percent
from sim.report.formats.json_text import Document, clean
from sim.report.formats.tables import CAUTIONS, plain_table
from sim.teaching.adjustments import Hand
from sim.teaching.cheapest_path import Path
from sim.teaching.complaint import complaint
from sim.teaching.exercise import bench
from sim.teaching.mark import Mark, allowed_told
from sim.teaching.practice import Attempt, Line, take

WHERE = {False: "action in", True: "action out"}


def set_task(a: Attempt) -> str:
    """What is asked, in a sentence or two."""
    e = a.exercise
    faults = "One fault is" if e.count == 1 else f"{('', '', 'Two')[e.count]} faults are"
    return (
        f"{faults} hidden in {e.rule.told.partition(' in ')[2]}. "
        f"Find what is wrong, name it, mend it. Allowed: {allowed_told(e)}."
    )


def should_read(a: Attempt, test: BenchTest, inches: bool = False) -> str:
    """What the scenario's unit reads, which is as it should be."""
    right = bench(a.exercise).right
    return right.words[test.name] if test.words else format_si(right.numbers[test.name], test.unit, inches)


def notebook(a: Attempt, inches: bool = False) -> list[dict[str, str]]:
    """Every move in its order: what it gave, what a unit that is as it should be reads, what it took."""
    return [
        {"move": _what(a, line, inches), "reads": _gave(line, inches), "should read": _should(a, line, inches),
         "took": minutes(line.seconds), "so far": minutes(line.so_far)}
        for line in a.lines if line.move.kind != "cause"
    ]  # fmt: skip


def _what(a: Attempt, line: Line, inches: bool) -> str:
    if line.taken is not None:
        return line.taken.test.title
    hand = a.hands[line.move.name]
    return f"{hand.title}: {'by' if hand.relative else 'to'} {value_told(hand, line.move.value, inches)}"


def value_told(hand: Hand, value: float, inches: bool = False) -> str:
    """A hand's value as the bench writes it; changes with their sign."""
    return format_si(value, hand.unit, inches, sign="+" if hand.relative else "")


def _gave(line: Line, inches: bool) -> str:
    return "" if line.taken is None else line.taken.told(inches)


def _should(a: Attempt, line: Line, inches: bool) -> str:
    return "" if line.taken is None else should_read(a, line.taken.test, inches)


def readings_ahead(a: Attempt) -> list[dict[str, str]]:
    """Readings that can be taken, and what each would cost now."""
    return [
        {"name": n, "reading": t.title, "cost": minutes(a.cost(take(n))), "where": where(t)} for n, t in a.tests.items()
    ]


def where(test: BenchTest) -> str:
    return ", ".join(filter(None, (WHERE[test.out], test.parts)))


def hands_ahead(a: Attempt, inches: bool = False) -> list[dict[str, str]]:
    """What can be changed, how far, what a unit has that is as it should be, and how long it takes."""
    return [
        {"name": at, "hand": h.title, "cost": minutes(h.seconds), "reach": reach(h, inches),
         "should be": should_be(a, h, inches)}
        for at, h in a.hands.items()
    ]  # fmt: skip


def should_be(a: Attempt, hand: Hand, inches: bool = False) -> str:
    """Where a hand that is told as itself stands in the scenario's unit; "" for one told by its change."""
    return "" if hand.relative else value_told(hand, hand.now(bench(a.exercise).sound), inches)


def reach(hand: Hand, inches: bool = False) -> str:
    return f"{value_told(hand, hand.low, inches)} to {value_told(hand, hand.high, inches)}"


def _table(title: str, rows: list[dict[str, str]]) -> RenderableType:
    table = plain_table(title)
    for name in rows[0] if rows else ():
        table.add_column(name, no_wrap=name not in ("where", "reading", "move"))
    for row in rows:
        table.add_row(*row.values())
    return table


def tables(a: Attempt) -> RenderableType:
    """An attempt on the way."""
    parts: list[RenderableType] = [
        Text(a.exercise.name, style="bold"),
        Text(set_task(a)),
        Text(f"The owner says: {complaint(a.exercise)}"),
        Text(""),
    ]
    if a.lines:
        parts += [_table("So far", notebook(a)), Text("")]
    parts += [_table("Readings that can be taken: --take NAME", readings_ahead(a)), Text("")]
    parts += [_table("What can be changed: --mend NAME=VALUE", hands_ahead(a)), Text("")]
    parts += [Text("Causes that can be named: --cause NAME"), Text(", ".join(a.causes)), Text("")]
    return Group(*parts, Text(" ".join(CAUTIONS.split())))


def mark_tables(a: Attempt, mark: Mark) -> RenderableType:
    """A mark."""
    verdict = Text(f"{mark.exercise.name}: {'passed' if mark.passed else 'not passed'}", style="bold")
    parts: list[RenderableType] = [verdict, Text(""), *(Text(line) for line in mark_lines(mark)), Text("")]
    if a.lines:
        parts += [_table("Your path", notebook(a)), Text("")]
    return Group(*parts, *(Text(line) for line in path_lines(mark.path, a)))


def mark_lines(mark: Mark) -> list[str]:
    """What was looked at, one a line, and what was hidden."""
    rows = [f"{'right' if row.passed else 'WRONG'}  {row.what}: {row.words}" for row in mark.rows]
    return [*rows, f"Hidden was: {'; '.join(mark.truth)}."]


def path_lines(path: Path | None, a: Attempt) -> list[str]:
    """The cheapest path, beside the learner's."""
    if path is None:
        return []
    sure = f"{percent(path.sure)} sure" + (
        "" if path.sure >= SURE else ": no set of readings that was tried makes it surer"
    )
    reading = sum(line.seconds for line in a.lines if line.move.kind == "take")
    return [
        f"Cheapest path, with hindsight: {', '.join(path.readings)} ({sure}), {minutes(path.reading_seconds)}; "
        f"then {' and '.join(path.mends)}, {minutes(path.mending_seconds)}. In all {minutes(path.seconds)}.",
        f"Yours: {sum(m.kind == 'take' for m in a.moves)} readings, {minutes(reading)}; "
        f"{len(a.mends)} mends, {minutes(a.seconds - reading)}. In all {minutes(a.seconds)}.",
    ]  # fmt: skip


def document(a: Attempt, mark: Mark | None = None) -> Document:
    """The same as JSON; nothing of what is hidden before there is a mark."""
    body: Document = {
        "exercise": a.exercise.name,
        "code": a.exercise.code,
        "faults": a.exercise.count,
        "owner": complaint(a.exercise),
        "allowed": allowed_told(a.exercise),
        "moves": [str(move) for move in a.moves],
        "notebook": [_line(line) for line in a.lines],
        "seconds": a.seconds,
    }
    if mark is None:
        body["can_take"] = {n: {"seconds": a.cost(take(n)), "where": where(t)} for n, t in a.tests.items()}
        body["can_mend"] = {at: {"seconds": h.seconds, "unit": h.unit, "reach": reach(h)} for at, h in a.hands.items()}
        body["causes"] = dict(a.causes)
        return clean(body)
    return clean(body | {"mark": _mark(mark)})


def _line(line: Line) -> Document:
    told: Document = {"move": str(line.move), "seconds": line.seconds, "stage": line.stage}
    if line.taken is not None:
        unit = line.taken.test.unit
        told["word"] = line.taken.word
        told[column_name("value", unit)] = convert_si(line.taken.value, unit)
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
            {"reading": b.test.name, "unit": unit_label(b.test.unit), "passed": b.passed}
            | {n: convert_si(v, b.test.unit) for n, v in (("now", b.now), ("low", b.low), ("high", b.high))}
            for b in mark.backs
        ],
        "cheapest": None if path is None else {
            "readings": list(path.readings), "mends": list(path.mends), "sure": path.sure,
            "reading_s": path.reading_seconds, "mending_s": path.mending_seconds,
        },
    }  # fmt: skip
