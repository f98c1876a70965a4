"""One note's action at the bench and in the piano: all that a sheet read at the piano has to say about it."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass

from sim.piano.mismatch import (
    MismatchEffect,
    SlowPressReading,
    compute_crown_drop,
    compute_each_alone,
    compute_effects,
    move_into_piano,
    read_slow_press,
)
from sim.piano.piano import PianoNote, evaluate_note, evaluate_notes, list_hammer_changes, set_targets_from
from sim.piano.sheet import PianoSection, PianoSheet
from sim.piano.template import (
    DEFAULT_GAP,
    TemplateContact,
    TemplateLine,
    TemplateSetting,
    hang_template,
    lower_template,
    tabulate_settings,
)
from sim.regulation.set_up import set_up
from sim.unit.model import ActionUnit
from sim.value_records import value_record

Progress = Callable[[float, str], None]


@value_record
@dataclass(frozen=True)
class BenchComparison:
    """What was found (SI); ``note`` is the one whose action was moved, ``notes`` are all that were asked for."""

    sheet: str
    unit: ActionUnit
    note: PianoNote
    notes: tuple[PianoNote, ...]
    hammer: Mapping[str, str]
    """What was changed to give the unit the hammer read at its key; empty where it has that hammer."""
    bench: SlowPressReading
    alone: tuple[MismatchEffect, ...]
    """Each mismatch that was read, alone."""
    piano: SlowPressReading
    """All of them together."""
    half_millimetre_effects: tuple[MismatchEffect, ...]
    lower: float
    """Crown at the bench under the same crown in the piano, heights over the bed."""
    lines: tuple[TemplateLine, ...]
    touching: tuple[TemplateContact, ...]
    told: tuple[TemplateSetting, ...]


def compare_bench_and_piano(
    sheet: PianoSheet,
    key: int,
    keys: Sequence[int],
    own: ActionUnit,
    reload: Callable[[Mapping[str, str]], ActionUnit],
    progress: Progress | None = None,
    *,
    angle: float = 0.0,
    blow: float | None = None,
    gap: float = DEFAULT_GAP,
    held: Collection[str] = (),
) -> BenchComparison:
    """Read the scenario ``own`` as the action of ``key``, at the bench and in the piano (m, rad).

    ``reload`` gives the scenario again with changes by path: where another hammer was
    read at the key, the unit gets it, but for the paths ``held``, and is regulated to
    what it read before.  Bores are told for ``angle`` of shank against string; the template hangs for ``blow``
    (None: the unit's own), at least ``gap`` over the crowns.
    Raises InputError when the unit cannot be regulated with that hammer.
    """
    say = progress or (lambda fraction, what: None)
    section = sheet.section_of(key)
    say(0.0, "the hammer that was read")
    unit, hammer = fit_measured_hammer(section, key, own, reload, held)
    here = evaluate_note(section, key, unit, angle)
    say(0.3, "every half millimetre")
    bench, alone = read_slow_press(unit), compute_each_alone(unit, here.mismatch, here.string_slope)
    moved = compute_effects(unit, here.string_slope)
    piano = read_slow_press(move_into_piano(unit, here.mismatch, here.string_slope))
    say(0.7, "template")
    wanted = blow or bench.values["blow"] or 0.0
    lines = _hang_templates(sheet, unit, {key, *(k for s in _list_section_keys(sheet, keys) for k in s)}, wanted, gap)
    curves = lower_template(unit)
    crown = next(line.crown for line in lines if line.key == key)
    return BenchComparison(
        sheet.name, unit, here, evaluate_notes(sheet, unit, keys, angle), hammer, bench, alone, piano, moved,
        compute_crown_drop(unit, here.mismatch), lines, curves, tabulate_settings(curves, crown, gap),
    )  # fmt: skip


def fit_measured_hammer(
    section: PianoSection,
    key: int,
    own: ActionUnit,
    reload: Callable[[Mapping[str, str]], ActionUnit],
    held: Collection[str] = (),
) -> tuple[ActionUnit, dict[str, str]]:
    """The unit set up, with the hammer read at a key where that is another one, and what was changed for it."""
    unit = set_up(own)
    hammer = {path: value for path, value in list_hammer_changes(section, key, unit).items() if path not in held}
    return (set_up(set_targets_from(reload(hammer), unit)) if hammer else unit), hammer


def _list_section_keys(sheet: PianoSheet, keys: Sequence[int]) -> tuple[tuple[int, ...], ...]:
    """Keys read in every section that one of the keys lies in."""
    return tuple(s.keys for s in sheet.sections if any(s.keys[0] <= k <= s.keys[-1] for k in keys))


def _hang_templates(
    sheet: PianoSheet, unit: ActionUnit, keys: set[int], blow: float, gap: float
) -> tuple[TemplateLine, ...]:
    found: list[TemplateLine] = []
    for s in sheet.sections:
        mine = sorted(k for k in keys if s.keys[0] <= k <= s.keys[-1])
        if mine:
            lower = {k: compute_crown_drop(unit, evaluate_note(s, k, unit).mismatch) for k in mine}
            found += hang_template(s, blow, lower, gap, mine)
    return tuple(found)
