"""A section of notes from a bench sheet: a few sample notes fix the rest, and each note is held against its neighbours.

Parts follow lines through the sample notes, drawn as offsets from the defaults of that part of the compass; what
nobody measured is fitted once, for all notes, to what the sample notes read on the whole.  A note that reads
otherwise than its neighbours and its own parts let one expect is diagnosed against its own healthy unit.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial

import numpy as np

from sim.bench.outcomes import Outcome
from sim.bench.predict import predict
from sim.bench.readings import Prediction
from sim.diagnosis.bench_tests import Symptoms, Word, try_symptoms
from sim.diagnosis.calibrate import Calibration, calibrate_unit
from sim.diagnosis.diagnose import Diagnosis, diagnose_evidence
from sim.diagnosis.faults import load_faults
from sim.diagnosis.inference import CauseGrid, build_cause_grid
from sim.diagnosis.library import compute_library
from sim.diagnosis.observations import Observations
from sim.errors import SimulationError, UnitError
from sim.fields.scenario_files import Leaves
from sim.parallel import run_on_all_cores
from sim.regulation.model_inputs import find_model_input
from sim.regulation.regulate import Regulation, find_missed_targets, regulate
from sim.regulation.targets import choose_screw
from sim.scenario.load import build_from_leaves
from sim.section.compass import find_usual_target
from sim.section.consistency_checks import ConsistencyFinding, check_consistency
from sim.section.measured_note import (
    OWN_PART_INPUTS,
    apply_own_parts,
    build_leaves,
    collect_observations,
    collect_targets,
)
from sim.section.section_lines import LEAST_NOTES, SectionLines, drop_aftertouch
from sim.section.sheet import BenchSheet, NoteRow, format_key
from sim.studies.healthy_variation import REGULATED_READINGS
from sim.unit.model import ActionUnit
from sim.value_records import value_record

Progress = Callable[[float, str], None]
Stop = Callable[[], bool]

HEALTHY_ODDS = 9.0
"""Odds that a note of a section is healthy: one in ten is not, whether that is felt or not (our convention)."""
REQUIRED_WORDS: Mapping[str, str] = {"slow_press": Outcome.PLAYS, "check": Word.CAUGHT, "home": Word.YES}
"""What every note says that is in order."""
FIELD_TOLERANCE = 1e-3
"""Share within which an input was not measured to be another than the section's."""
LIBRARY_REACH = 22
"""Keys on either side of the unit that a library is made of (our convention)."""


@value_record
@dataclass(frozen=True)
class ExpectedNote:
    """One note as the section has it: its unit, healthy and regulated, and what that reads."""

    key_number: int
    leaves: Leaves
    unit: ActionUnit
    readings: Symptoms | None
    unmet: tuple[str, ...] = ()
    """Readings of the section's line that these parts do not reach."""
    gains: Mapping[str, np.ndarray] = field(default_factory=dict, repr=False, compare=False)
    """What regulating it learned, for the next time and for its neighbours."""


@value_record
@dataclass(frozen=True)
class SectionNote:
    """One note: what was read, what is expected, what it is to become and by which turns."""

    expected: ExpectedNote
    row: NoteRow | None
    found: Diagnosis | None
    """With every reading taken as it is written; None where nothing was read that could be looked into."""
    slip: bool
    """Whether a slip of the pen in one reading is likelier than any fault."""
    apart: tuple[ConsistencyFinding, ...]
    """Entries that do not go together."""
    as_found: ActionUnit
    """As the readings have it; of a note that was not read, as its section lets one expect it."""
    goal: Mapping[str, float]
    work: Regulation | None
    """From as it was found, a cause that is no screw mended, to the goal; else from as it is expected."""
    prediction: Prediction | None
    """Of the note brought to its goal."""

    @property
    def key_number(self) -> int:
        return self.expected.key_number

    @property
    def outlier(self) -> bool:
        """Whether it is likelier to have a fault than none, or does not do what a note must."""
        if self.row is not None and any(self.row.words.get(n, w) != w for n, w in REQUIRED_WORDS.items()):
            return True
        return self.found is not None and (self.found.healthy < 0.5 or not self.found.explained)


@value_record
@dataclass(frozen=True)
class Section:
    """All notes, the lowest first."""

    sheet: BenchSheet
    notes: tuple[SectionNote, ...]
    fitted: Calibration | None
    """What nobody measured, fitted for the whole section; None where there was too little to fit."""
    unfitted: str
    """Why not."""
    whole: Mapping[str, float]
    """Reading to what the whole section reads more than the fitted model, SI."""

    @property
    def outliers(self) -> tuple[SectionNote, ...]:
        return tuple(n for n in self.notes if n.outlier)


def analyse_section(
    sheet: BenchSheet,
    keys: Sequence[int] = (),
    goal: Mapping[str, float] | None = None,
    progress: Progress | None = None,
    stop: Stop | None = None,
    *,
    look: bool = True,
    play: bool = True,
    repetition: bool = True,
) -> Section:
    """The notes asked for, or all from the lowest of the sheet to the highest.

    ``goal``: what to regulate to (SI), else the usual of the compass.  ``look``: fit, and look for outliers, which
    takes a library of some hundred runs; ``play``: regulate to the goal and predict.  Raises InputError for parts that
    make no unit, KeyboardInterrupt when stopped.
    """
    rows = {r.key_number: r for r in sheet.rows}
    wanted = sorted(set(keys or range(min(rows), max(rows) + 1)) | rows.keys())
    lines = SectionLines.through(sheet)
    say = _split_progress(progress, (0.1, 0.35 if look else 0.0, 0.15, 0.4 if play else 0.0))
    grids: dict[int, CauseGrid] = {}
    fitted, unfitted, whole = None, "", {}
    measured = _build_expected_notes(lines, sorted(rows), sheet, None, say(0), stop)
    if look:
        grids = _build_grids(measured, rows, say(1), stop)
        fitted, unfitted = _fit_unmeasured(measured, rows, grids)
    done = {} if fitted is not None else {n.key_number: n for n in measured}  # nothing about them has changed since
    others = _build_expected_notes(lines, [k for k in wanted if k not in done], sheet, fitted, say(2), stop, measured)
    notes = sorted([*done.values(), *others], key=lambda n: n.key_number)
    if look:
        whole = _compute_section_offset(notes, rows)
    jobs = [
        partial(_evaluate_note, e, rows.get(e.key_number), grids, whole, goal or {}, play, repetition) for e in notes
    ]
    found = run_on_all_cores(jobs, say(3), lambda i: f"note {format_key(notes[i].key_number)}", stop)
    return Section(sheet, tuple(found), fitted, unfitted, whole)


def _split_progress(progress: Progress | None, shares: Sequence[float]) -> Callable[[int], Progress]:
    """The progress of each part of the work."""
    total = sum(shares) or 1.0

    def part(i: int) -> Progress:
        begin = sum(shares[:i])

        def say(fraction: float, what: str) -> None:
            if progress is not None:
                progress((begin + fraction * shares[i]) / total, what)

        return say

    return part


def _build_expected_notes(
    lines: SectionLines,
    keys: Sequence[int],
    sheet: BenchSheet,
    fitted: Calibration | None,
    say: Progress,
    stop: Stop | None,
    near: Sequence[ExpectedNote] = (),
) -> list[ExpectedNote]:
    """Notes of the section; of notes ``near`` to them the screws are tried first."""
    jobs = [partial(_build_expected_note, lines, k, sheet, fitted, near) for k in keys]
    return run_on_all_cores(jobs, say, lambda i: f"setting up note {format_key(keys[i])}", stop)


def _build_expected_note(
    lines: SectionLines, key: int, sheet: BenchSheet, fitted: Calibration | None, near: Sequence[ExpectedNote]
) -> ExpectedNote:
    targets = lines.targets_at(key)
    leaves = build_leaves(lines.parts_at(key), sheet.file or "bench sheet", targets, invented=sheet.invented)
    unit = apply_fitted_inputs(build_from_leaves(leaves, sheet.file or "bench sheet"), fitted)
    alike = [n for n in near if n.unit.key.sharp == unit.key.sharp]
    if alike:
        like = min(alike, key=lambda n: abs(n.key_number - key))
        begun = _copy_screws(like.unit, unit, targets)
        found = _set_up_note(key, leaves, begun, targets, dict(like.gains), warm=True)
        if found.readings is not None and not found.unmet:
            return found
    return _set_up_note(key, leaves, unit, targets, {}, warm=False)


def _set_up_note(
    key: int, leaves: Leaves, unit: ActionUnit, targets: Mapping[str, float], gains: dict[str, np.ndarray], *,
    warm: bool,
) -> ExpectedNote:  # fmt: skip
    done = regulate(unit, targets, check=False, warm=warm, learned=gains)
    found = try_symptoms(done.unit)
    readings = {} if found is None else {t: found.numbers.get(REGULATED_READINGS.get(t, t)) for t in targets}
    misses = done.misses or find_missed_targets(done.unit, targets, readings)
    return ExpectedNote(key, leaves, done.unit, found, tuple(m.target for m in misses), gains)


def _copy_screws(other: ActionUnit, unit: ActionUnit, targets: Mapping[str, float]) -> ActionUnit:
    """A unit with the screws of the targets where those of another stand."""
    for target in targets:
        screw = choose_screw(target, targets)
        unit = screw.move(unit, screw.value(other) - screw.value(unit))
    return unit


def apply_fitted_inputs(unit: ActionUnit, fitted: Calibration | None) -> ActionUnit:
    """A unit with what was fitted of its neighbours' parts: each input off by as many standard deviations."""
    for one in fitted.inputs if fitted is not None else ():
        if not one.variation.left and one.z:
            unit = one.variation.put(unit, one.z)
    return unit


def _build_grids(
    notes: Sequence[ExpectedNote], rows: Mapping[int, NoteRow], say: Progress, stop: Stop | None
) -> dict[int, CauseGrid]:
    """Libraries of a few notes that play, so that each note read is near one, by key number."""
    can = [n for n in notes if n.readings is not None and n.readings.words["slow_press"] == Outcome.PLAYS]
    spans: list[list[ExpectedNote]] = []
    for note in can:
        if not spans or note.key_number - spans[-1][0].key_number > 2 * LIBRARY_REACH:
            spans.append([])
        spans[-1].append(note)
    out: dict[int, CauseGrid] = {}
    for i, span in enumerate(spans):
        middle = 0.5 * (span[0].key_number + span[-1].key_number)
        at = min(span, key=lambda n: (n.unit.key.sharp, abs(n.key_number - middle)))

        def part(fraction: float, what: str, i: int = i) -> None:
            say((i + fraction) / len(spans), what)

        try:
            out[at.key_number] = build_cause_grid(compute_library(at.unit, part, stop), well=HEALTHY_ODDS, felt=False)
        except UnitError:
            continue
    return out


def _find_nearest_grid(grids: Mapping[int, CauseGrid], key: int) -> CauseGrid | None:
    return grids[min(grids, key=lambda k: abs(k - key))] if grids else None


def _compute_offsets(note: ExpectedNote, row: NoteRow) -> dict[str, float]:
    """What a note reads more than expected, SI."""
    if note.readings is None:
        return {}
    have = note.readings.numbers
    return {n: v - e for n, v in collect_observations(row).numbers.items() if (e := have.get(n)) is not None}


def _compute_median_offsets(notes: Sequence[ExpectedNote], rows: Mapping[int, NoteRow], least: int) -> dict[str, float]:
    """The median of what notes read more than expected, by reading, where enough of them were read."""
    offs = [_compute_offsets(n, rows[n.key_number]) for n in notes if n.key_number in rows]
    names = {n for off in offs for n in off}
    return {
        n: float(np.median(values)) for n in sorted(names) if len(values := [o[n] for o in offs if n in o]) >= least
    }


def _fit_unmeasured(
    notes: Sequence[ExpectedNote], rows: Mapping[int, NoteRow], grids: Mapping[int, CauseGrid]
) -> tuple[Calibration | None, str]:
    """What nobody measured, fitted to what the notes read on the whole."""
    if not grids:
        return None, "no note of the sheet plays as it was read: nothing to fit to"
    middle = min(grids, key=lambda k: abs(k - float(np.median(list(rows)))))
    grid = grids[middle]
    typical = _compute_median_offsets(notes, rows, 1 if len(rows) < LEAST_NOTES else LEAST_NOTES)
    healthy = {n: grid.library.healthy[i] * grid.library.tests[n].si for i, n in enumerate(grid.library.numbers)}
    wanted = {n: healthy[n] + off for n, off in typical.items() if n in healthy and math.isfinite(healthy[n])}
    if not {"down_weight", "up_weight"} & wanted.keys():
        return None, "neither down nor up weight was read of enough notes"
    try:
        return calibrate_unit(grid, Observations(wanted, {}, {})), ""
    except SimulationError as error:
        return None, error.detail


def _compute_section_offset(notes: Sequence[ExpectedNote], rows: Mapping[int, NoteRow]) -> dict[str, float]:
    """What is left over for the whole section, SI; the piano's own."""
    return _compute_median_offsets(notes, rows, LEAST_NOTES) if len(rows) >= LEAST_NOTES else {}


def _evaluate_note(
    expected: ExpectedNote, row: NoteRow | None, grids: Mapping[int, CauseGrid], whole: Mapping[str, float],
    goal: Mapping[str, float], play: bool, repetition: bool,
) -> SectionNote:  # fmt: skip
    key = expected.key_number
    to = drop_aftertouch(find_usual_target(key) | dict(goal))
    found, slip, grid = None, False, _find_nearest_grid(grids, key)
    apart = check_consistency(row, expected.unit) if row is not None and grid is not None else ()
    if row is not None and grid is not None:
        found = diagnose_note(expected, row, grid, whole, slips=False)
        again = diagnose_note(expected, row, grid, whole, slips=True)
        slip = found is not None and again is not None and found.healthy < 0.5 <= again.healthy
    gains = dict(expected.gains)
    unit, begun = _reconstruct_as_found(expected, row, found, gains)
    note = SectionNote(expected, row, found, slip, apart, unit, to, None, None)
    if not play:
        return note
    try:
        work = regulate(begun, to, warm=True, learned=gains)
        if work.misses:
            work = regulate(begun, to)
    except UnitError:
        return note
    return replace(note, work=work, prediction=predict(work.unit, repetition=repetition, every_rate=False))


def _reconstruct_as_found(
    expected: ExpectedNote, row: NoteRow | None, found: Diagnosis | None, gains: dict[str, np.ndarray]
) -> tuple[ActionUnit, ActionUnit]:
    """The unit as it was read, and as it is once a cause that is no screw and no spring is mended."""
    if row is None:
        return expected.unit, expected.unit
    mine, own = drop_aftertouch(collect_targets(row)), apply_own_parts(expected.unit, row)
    cause = load_faults().get(found.verdict) if found is not None else None
    if found is None or cause is None or cause.at.startswith(("screw.", "spring.")):
        unit = _regulate_to(own, mine, gains)
        return unit, unit
    model_input, severity = find_model_input(cause.at), float(np.clip(found.found.severity(cause.name)[0], 0.0, 1.0))
    if cause.how == "by" or abs(model_input.get(own) - model_input.get(expected.unit)) < FIELD_TOLERANCE * abs(
        model_input.get(own)
    ):
        own = cause.spoil(expected.unit if cause.at in OWN_PART_INPUTS.values() else own, severity)
    unit = _regulate_to(own, mine, gains)
    right = model_input.get(expected.unit)
    return unit, model_input.put(unit, right if cause.how != "by" else right - cause.value(severity))


def _regulate_to(unit: ActionUnit, targets: Mapping[str, float], gains: dict[str, np.ndarray]) -> ActionUnit:
    return regulate(unit, targets, warm=True, check=False, learned=gains).unit if targets else unit


def diagnose_note(
    expected: ExpectedNote, row: NoteRow, grid: CauseGrid, whole: Mapping[str, float], *, slips: bool
) -> Diagnosis | None:
    """The diagnosis of a note against its own healthy unit; None where nothing was read that tells."""
    if expected.readings is None:
        return None
    names = grid.library.numbers
    own, _ = grid.library.pack(expected.readings)
    shift = np.nan_to_num(own - grid.library.healthy)
    here = replace(grid, mean=grid.mean + shift)
    seen = collect_observations(row)
    numbers = {n: v - whole.get(n, 0.0) for n, v in seen.numbers.items() if n in names}
    words = {n: w for n, w in seen.words.items() if n in grid.library.words}
    if not numbers and not words:
        return None
    return diagnose_evidence(here, Observations(numbers, words, seen.accuracy), slips=slips)
