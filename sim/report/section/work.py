"""The work on one note of a section: what to do in its order, before and after, and the curves of it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import cast

from matplotlib.figure import Figure

from sim.bench.predict import weigh
from sim.bench.readings import SlowPress
from sim.errors import UnitError
from sim.regulation.orders import load_orders
from sim.regulation.targets import format_target
from sim.report.drawing.draw import find_pose, new_axes
from sim.report.drawing.mechanism import draw_mechanism
from sim.report.section.figures import draw_presses
from sim.report.section.tables import (
    find_title,
    format_turns,
    get_entered,
    get_expected,
    get_predicted,
    list_section_readings,
)
from sim.section.section import SectionNote
from sim.unit.model import ActionUnit

ORDER = "dip-fixed"
"""The order of work that a section's notes are told in."""
PRESSES = "Force at the touch point against the key's travel, pressed slowly and let up"
LET_OFF_CAPTION = "After the work, as the jack lets go in a moderate blow"


def build_step_rows(note: SectionNote, inches: bool = False) -> list[dict[str, str]]:
    """The steps of the order: found (as expected, in brackets, where nothing was read), to be, and the turn."""
    if note.work is None:
        return []
    by, done, rows = format_turns(note.work, inches), set[str](), []
    for number, step in enumerate(load_orders()[ORDER].steps, start=1):
        name = step.sets[0]
        again = name in done or step.by not in ("", name)
        done.add(name)
        turn = "if it moved" if again else by.get(find_title(name), "") or "stays"
        rows.append(
            {
                "": str(number),
                "step": step.say,
                "found": _format_now(note, name, inches),
                "to be": _format_goal(note, name, inches),
                "turn": turn,
            }
        )
    return rows


def _format_now(note: SectionNote, target: str, inches: bool) -> str:
    found = get_entered(note.row, target)
    if found is not None:
        return format_target(target, found, inches)
    here = get_expected(note, target)
    return f"({format_target(target, here, inches)})" if here is not None else "–"


def _format_goal(note: SectionNote, target: str, inches: bool) -> str:
    value = note.goal.get(target)
    if value is None and note.work is not None:
        value = note.work.readings.get(target)
    return format_target(target, value, inches)


def build_before_and_after(note: SectionNote, inches: bool = False) -> list[dict[str, str]]:
    """Each reading as found, as expected of the note, and after the work."""
    return [
        {
            "reading": s.head(inches), "found": s.format_value(get_entered(note.row, s.name), inches),
            "expected of it": s.format_value(get_expected(note, s.name), inches),
            "after the work": s.format_value(get_predicted(note.prediction, s.name), inches),
        }
        for s in list_section_readings()
    ]  # fmt: skip


def draw_work_figures(note: SectionNote, inches: bool = False) -> Iterator[tuple[str, Figure]]:
    """What is drawn of the work on a note, each with its words: slow presses before and after, and the mechanism."""
    if note.work is None:
        return
    units: Mapping[str, ActionUnit] = {"as found": note.work.before, "after the work": note.work.unit}
    found = [(told, curve) for told, unit in units.items() if (curve := _press_slowly(unit)) is not None]
    if found:
        yield PRESSES, cast(Figure, draw_presses(found, inches).figure)
    try:
        axes = new_axes(8.0, 3.7)
        draw_mechanism(axes, note.work.unit, find_pose(note.work.unit, "escape"), names=True)
    except UnitError:
        return
    yield LET_OFF_CAPTION, cast(Figure, axes.figure)


def _press_slowly(unit: ActionUnit) -> SlowPress | None:
    try:
        return weigh(unit)[2]
    except UnitError:
        return None
