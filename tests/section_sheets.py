"""Bench sheets of sections that do not exist: units drawn as healthy ones differ, some spoiled, read as benches do."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from sim.bench.outcomes import Outcome
from sim.diagnosis.bench_tests import list_bench_tests, try_symptoms
from sim.diagnosis.faults import apply_faults
from sim.diagnosis.trials import simulate_bench_reading
from sim.parallel import run_on_all_cores
from sim.regulation.regulate import regulate
from sim.scenario.load import build_from_leaves
from sim.section.columns import list_columns
from sim.section.compass import find_usual_target
from sim.section.measured_note import NoteParts, build_leaves
from sim.section.sheet import BenchSheet, NoteRow
from sim.studies.healthy_variation import load_variations, vary_unit
from sim.unit.model import GRAVITY, ActionUnit

WELL = 2.5
"""Standard deviations of healthy units beyond which nobody would call a part healthy."""
SLIGHT = ("leverage_6mm",)
"""Columns that a sheet of a section hardly has."""


def draw_healthy_note(key: int, own: Mapping[str, float], random: np.random.Generator) -> ActionUnit:
    """A note of a piano whose parts differ from the defaults by ``own`` (variation: standard deviations)."""
    targets = find_usual_target(key)
    unit = build_from_leaves(build_leaves(NoteParts(key, {}, {}), "invented", targets, invented=True), "invented")
    for v in load_variations():
        if v.at in own:
            unit = v.put(unit, own[v.at])
    z = np.clip(random.standard_normal(len(load_variations())), -WELL, WELL)
    return vary_unit(regulate(unit, targets, check=False).unit, z.tolist())


def read_note_row(unit: ActionUnit, random: np.random.Generator, leave_out: Sequence[str] = SLIGHT) -> NoteRow | None:
    """The unit as a technician would write it down; None for one that does not come to rest."""
    found = try_symptoms(unit)
    if found is None:
        return None
    numbers, tests = {}, list_bench_tests()
    for name, column in list_columns().items():
        value = found.numbers.get(name)
        if value is None or name in leave_out:
            continue
        numbers[name] = simulate_bench_reading(tests[name], value, random) * tests[name].si
        if column.unit == "g" and tests[name].unit == "gf":
            numbers[name] /= GRAVITY
    words = {n: w for n, w in found.words.items() if n in list_columns() and n not in leave_out}
    return NoteRow(unit.key_number, numbers, words)


def draw_section(
    keys: Sequence[int], ill: Mapping[int, tuple[str, float]], seed: int, leave_out: Sequence[str] = SLIGHT
) -> BenchSheet:
    """A sheet of these notes, some with a fault of the catalogue at a severity."""
    common = np.random.default_rng([seed, 0])
    own = {v.at: float(common.standard_normal()) for v in load_variations() if not v.left}

    def made(key: int) -> NoteRow:
        random = np.random.default_rng([seed, key])
        for _ in range(20):
            unit = draw_healthy_note(key, own, random)
            if key in ill:
                unit = apply_faults(unit, [ill[key]])
            row = read_note_row(unit, random, leave_out)
            if row is not None and (key in ill or row.words["slow_press"] == Outcome.PLAYS):
                return row
        raise RuntimeError(f"no such note {key}")

    rows = run_on_all_cores([lambda k=k: made(k) for k in keys])
    return BenchSheet("Invented section", tuple(rows), "invented: no such piano exists", True)
