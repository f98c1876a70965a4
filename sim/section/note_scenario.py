"""A note of a bench sheet as a scenario, as it was found: measured, fitted and assumed values each marked as such."""

from __future__ import annotations

from dataclasses import replace

from sim.diagnosis.calibrate import PATHS, Calibration, Fitted, scenario
from sim.fields.scenario_files import Leaf, Leaves
from sim.scenario.writing import with_unit
from sim.section.measured_note import measured_leaves, parts_of
from sim.section.section import Section, SectionNote
from sim.studies.variants import Origin

STILL = 0.05
"""An input that was fitted by less, in standard deviations, stays as it was."""


def scenario_of(section: Section, note: SectionNote) -> Leaves:
    """The scenario of one note, its screws where the readings put them.  Raises InputError."""
    file = section.sheet.file or "bench sheet"
    leaves = {path: leaf for path, leaf in note.expected.leaves.items() if path[0] != "targets"}
    if note.row is not None:
        leaves |= measured_leaves(parts_of(note.row), file)
    fitted = _not_measured(section.fitted, leaves)
    if fitted is None:
        made = with_unit(leaves, note.as_found)
    else:
        made = scenario(Origin(leaves, file, {}), replace(fitted, unit=note.as_found))
    if note.row is not None and note.row.remark:
        made["note",] = Leaf(f"{made['note',].raw} {note.row.remark}", file, None)
    return made


def _not_measured(fitted: Calibration | None, leaves: Leaves) -> Calibration | None:
    """What was fitted of what nobody measured."""
    if fitted is None:
        return None
    inputs = tuple(i for i in fitted.inputs if abs(i.z) >= STILL and _path(i) not in leaves)
    return replace(fitted, inputs=inputs) if inputs else None


def _path(one: Fitted) -> tuple[str, ...]:
    kind, _, name = one.variation.at.partition(".")
    return tuple(PATHS[kind].format(name).split(".")) if kind in PATHS else ()
