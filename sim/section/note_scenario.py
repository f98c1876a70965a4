"""A note of a bench sheet as a scenario, as it was found: measured, fitted and assumed values each marked as such."""

from __future__ import annotations

from dataclasses import replace

from sim.diagnosis.calibrate import Calibration, write_calibrated_scenario
from sim.fields.scenario_files import Leaf, Leaves
from sim.scenario.writing import update_leaves
from sim.section.measured_note import build_measured_leaves, collect_parts
from sim.section.section import Section, SectionNote
from sim.studies.variants import BaseScenario

LEAST_FITTED_STEP = 0.05
"""An input that was fitted by less, in standard deviations, stays as it was."""


def write_note_scenario(section: Section, note: SectionNote) -> Leaves:
    """The scenario of one note, its screws where the readings put them.  Raises InputError."""
    file = section.sheet.file or "bench sheet"
    leaves = {path: leaf for path, leaf in note.expected.leaves.items() if path[0] != "targets"}
    if note.row is not None:
        leaves |= build_measured_leaves(collect_parts(note.row), file)
    fitted = _select_unmeasured(section.fitted, leaves)
    if fitted is None:
        made = update_leaves(leaves, note.as_found)
    else:
        made = write_calibrated_scenario(BaseScenario(leaves, file, {}), replace(fitted, unit=note.as_found))
    if note.row is not None and note.row.remark:
        made["note",] = Leaf(f"{made['note',].raw} {note.row.remark}", file, None)
    return made


def _select_unmeasured(fitted: Calibration | None, leaves: Leaves) -> Calibration | None:
    """What was fitted of what nobody measured."""
    if fitted is None:
        return None
    inputs = tuple(
        i for i in fitted.inputs if abs(i.z) >= LEAST_FITTED_STEP and tuple(i.variation.at.split(".")) not in leaves
    )
    return replace(fitted, inputs=inputs) if inputs else None
