"""A section's parts and settings as lines through its sample notes, drawn as offsets from the compass's defaults."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from sim.diagnosis.bench_tests import list_bench_tests
from sim.fields.defaults import find_default, is_sharp
from sim.regulation.targets import get_met_tolerance
from sim.section.columns import CENTRES, MEASURED_FIELDS, PINNING_RADIUS_TEXT, list_columns
from sim.section.compass import find_usual_target
from sim.section.line_fit import Line, fit_line
from sim.section.measured_note import TARGETS, NoteParts, collect_parts, collect_targets
from sim.section.sheet import BenchSheet, NoteRow
from sim.unit.model import GRAVITY
from sim.value_records import value_record

LEAST_NOTES = 5
"""Notes from which what they all read is taken for the piano's own."""
OWN_PART_ACCURACIES = 3.0
"""A part that was measured is taken as it is within so many of its accuracies of the section's line; else it tells."""


@value_record
@dataclass(frozen=True)
class SectionLines:
    """Scenario fields and regulated readings as lines over the section, as offsets from their defaults (SI)."""

    parts: Mapping[str, Line]
    targets: Mapping[tuple[str, bool], Line]
    """By target and whether for sharps: what the compass knows no usual value of has a line for each."""
    rows: Mapping[int, NoteRow]
    fixed: Mapping[int, NoteParts]

    @classmethod
    def through(cls, sheet: BenchSheet) -> SectionLines:
        rows = {r.key_number: r for r in sheet.rows}
        fixed = {k: collect_parts(r) for k, r in rows.items()}
        parts = {}
        for name, path in MEASURED_FIELDS.items():
            offsets = {k: p.values[path][0] - _find_usual_value(path, k) for k, p in fixed.items() if path in p.values}
            if offsets:
                parts[path] = fit_line(offsets, _find_resolution(name))
        targets = {}
        for target in TARGETS:
            found = {k: t[target] for k, r in rows.items() if target in (t := collect_targets(r))}
            for sharp in (False, True):
                offsets = {
                    k: v - find_usual_target(k).get(target, 0.0)
                    for k, v in found.items()
                    if target in find_usual_target(k) or is_sharp(k) == sharp
                }
                if offsets:
                    targets[target, sharp] = fit_line(offsets, get_met_tolerance(target))
        return cls(parts, targets, rows, fixed)

    def parts_at(self, key: int) -> NoteParts:
        """What is known of the parts of any note of the section."""
        own = self.fixed.get(key)
        values = {}
        for name, path in MEASURED_FIELDS.items():
            along = self.parts.get(path)
            if along is None:
                continue
            smooth = _find_usual_value(path, key) + along(key)
            mine = own.values[path][0] if own is not None and path in own.values else None
            if mine is not None and (
                name not in list_bench_tests() or abs(mine - smooth) <= OWN_PART_ACCURACIES * _find_resolution(name)
            ):
                values[path] = (mine, "measured", "")
            else:
                values[path] = (smooth, "assumed", "from the line through the notes of the bench sheet")
        raw = dict(own.raw) if own is not None else {}
        return NoteParts(key, values, {p: told for p, told in raw.items() if p == "key.leads"} | self._frictions())

    def _frictions(self) -> dict[str, object]:
        """Pinning of the section on the whole, where enough notes were read: a tight one then stands out."""
        out: dict[str, object] = {}
        for centre in CENTRES:
            found = [r.numbers[n] for r in self.rows.values() if (n := f"pinning_{centre}") in r.numbers]
            if len(found) >= LEAST_NOTES:
                force = f"{float(np.median(found)) / (1e-3 * GRAVITY):.6g} gf"
                told = {"source": "assumed", "note": "the middle of the notes of the bench sheet"}
                out[f"friction.{centre}"] = {
                    "force": force,
                    **({} if centre == "key" else {"radius": PINNING_RADIUS_TEXT}),
                    **told,
                }
        return out

    def targets_at(self, key: int) -> dict[str, float]:
        """What the section is regulated to at a note (SI), as it was found."""
        usual = find_usual_target(key)
        found = {t: usual.get(t, 0.0) + at(key) for (t, sharp), at in self.targets.items() if sharp == is_sharp(key)}
        return drop_aftertouch(usual | found)


def drop_aftertouch(targets: Mapping[str, float]) -> dict[str, float]:
    return {t: v for t, v in targets.items() if t != "aftertouch"}


def _find_usual_value(path: str, key: int) -> float:
    given = find_default(path, key, is_sharp(key))
    return 0.0 if given is None else given.value


def _find_resolution(name: str) -> float:
    """How finely a part is read, SI: as the bench test does, else a fifth of a millimetre or gram."""
    test, column = list_bench_tests().get(name), list_columns()[name]
    if test is not None and column.unit == test.unit:
        return test.si
    return 0.2 * column.dimension.factor(column.label)
