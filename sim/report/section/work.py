"""The work on one note of a section: what to do in its order, before and after, and the curves of it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import cast

from matplotlib.figure import Figure

from sim.bench.predict import weigh
from sim.bench.readings import SlowPress
from sim.errors import SimulationError
from sim.regulation.orders import orders
from sim.regulation.targets import said
from sim.report.drawing.draw import find_pose, new_axes
from sim.report.drawing.mechanism import draw_mechanism
from sim.report.section.figures import draw_presses
from sim.report.section.tables import expected, shown, title_of, turns, was_read, will_read
from sim.section.section import SectionNote
from sim.unit.model import ActionUnit

ORDER = "dip-fixed"
"""The order of work that a section's notes are told in."""
PRESSES = "Force at the touch point against the key's travel, pressed slowly and let up"
LETTING_GO = "After the work, as the jack lets go in a moderate blow"


def step_rows(note: SectionNote, inches: bool = False) -> list[dict[str, str]]:
    """The steps of the order: found (as expected, in brackets, where nothing was read), to be, and the turn."""
    if note.work is None:
        return []
    by, done, rows = turns(note.work, inches), set[str](), []
    for number, step in enumerate(orders()[ORDER].steps, start=1):
        name = step.sets[0]
        again = name in done or step.by not in ("", name)
        done.add(name)
        turn = "if it moved" if again else by.get(title_of(name), "") or "stays"
        rows.append(
            {"": str(number), "step": step.say, "found": _now(note, name, inches), "to be": _to_be(note, name, inches),
             "turn": turn}
        )  # fmt: skip
    return rows


def _now(note: SectionNote, target: str, inches: bool) -> str:
    found = was_read(note.row, target)
    if found is not None:
        return said(target, found, inches)
    here = expected(note, target)
    return f"({said(target, here, inches)})" if here is not None else "–"


def _to_be(note: SectionNote, target: str, inches: bool) -> str:
    value = note.goal.get(target)
    if value is None and note.work is not None:
        value = note.work.readings.get(target)
    return said(target, value, inches)


def before_and_after(note: SectionNote, inches: bool = False) -> list[dict[str, str]]:
    """Each reading as found, as expected of the note, and after the work."""
    return [
        {
            "reading": s.head(inches), "found": s.told(was_read(note.row, s.name), inches),
            "expected of it": s.told(expected(note, s.name), inches),
            "after the work": s.told(will_read(note.prediction, s.name), inches),
        }
        for s in shown()
    ]  # fmt: skip


def figures(note: SectionNote, inches: bool = False) -> Iterator[tuple[str, Figure]]:
    """What is drawn of the work on a note, each with its words: slow presses before and after, and the mechanism."""
    if note.work is None:
        return
    units: Mapping[str, ActionUnit] = {"as found": note.work.before, "after the work": note.work.unit}
    found = [(told, curve) for told, unit in units.items() if (curve := _pressed(unit)) is not None]
    if found:
        yield PRESSES, cast(Figure, draw_presses(found, inches).figure)
    try:
        axes = new_axes(8.0, 3.7)
        draw_mechanism(axes, note.work.unit, find_pose(note.work.unit, "escape"), names=True)
    except SimulationError:
        return
    yield LETTING_GO, cast(Figure, axes.figure)


def _pressed(unit: ActionUnit) -> SlowPress | None:
    try:
        return weigh(unit)[2]
    except SimulationError:
        return None
