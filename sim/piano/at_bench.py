"""One note's action at the bench and in the piano: all that a sheet read at the piano has to say about it."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass

from sim.piano.mismatch import Effect, Read, each_alone, effects, in_the_piano, lower_at_bench, read
from sim.piano.piano import Note, note, notes, other_hammer, to_read_as
from sim.piano.sheet import PianoSection, PianoSheet
from sim.piano.template import GAP, Line, Told, Touching, hang, told, touching
from sim.regulation.set_up import set_up
from sim.unit.model import ActionUnit

Progress = Callable[[float, str], None]


@dataclass(frozen=True)
class AtBench:
    """What was found (SI); ``note`` is the one whose action was moved, ``notes`` are all that were asked for."""

    sheet: str
    unit: ActionUnit
    note: Note
    notes: tuple[Note, ...]
    hammer: Mapping[str, str]
    """What was changed to give the unit the hammer read at its key; empty where it has that hammer."""
    bench: Read
    alone: tuple[Effect, ...]
    """Each mismatch that was read, alone."""
    piano: Read
    """All of them together."""
    half_millimetres: tuple[Effect, ...]
    lower: float
    """Crown at the bench under the same crown in the piano, heights over the bed."""
    lines: tuple[Line, ...]
    touching: tuple[Touching, ...]
    told: tuple[Told, ...]


def at_bench(
    sheet: PianoSheet,
    key: int,
    keys: Sequence[int],
    own: ActionUnit,
    reload: Callable[[Mapping[str, str]], ActionUnit],
    progress: Progress | None = None,
    *,
    angle: float = 0.0,
    blow: float | None = None,
    gap: float = GAP,
    held: Collection[str] = (),
) -> AtBench:
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
    unit, hammer = with_hammer_read(section, key, own, reload, held)
    here = note(section, key, unit, angle)
    say(0.3, "every half millimetre")
    bench, alone = read(unit), each_alone(unit, here.mismatch, here.string_slope)
    moved = effects(unit, here.string_slope)
    piano = read(in_the_piano(unit, here.mismatch, here.string_slope))
    say(0.7, "template")
    wanted = blow or bench.values["blow"] or 0.0
    lines = _lines(sheet, unit, {key, *(k for s in _sections(sheet, keys) for k in s)}, wanted, gap)
    curves = touching(unit)
    crown = next(line.crown for line in lines if line.key == key)
    return AtBench(
        sheet.name, unit, here, notes(sheet, unit, keys, angle), hammer, bench, alone, piano, moved,
        lower_at_bench(unit, here.mismatch), lines, curves, told(curves, crown, gap),
    )  # fmt: skip


def with_hammer_read(
    section: PianoSection,
    key: int,
    own: ActionUnit,
    reload: Callable[[Mapping[str, str]], ActionUnit],
    held: Collection[str] = (),
) -> tuple[ActionUnit, dict[str, str]]:
    """The unit set up, with the hammer read at a key where that is another one, and what was changed for it."""
    unit = set_up(own)
    hammer = {path: value for path, value in other_hammer(section, key, unit).items() if path not in held}
    return (set_up(to_read_as(reload(hammer), unit)) if hammer else unit), hammer


def _sections(sheet: PianoSheet, keys: Sequence[int]) -> tuple[tuple[int, ...], ...]:
    """Keys read in every section that one of the keys lies in."""
    return tuple(s.keys for s in sheet.sections if any(s.keys[0] <= k <= s.keys[-1] for k in keys))


def _lines(sheet: PianoSheet, unit: ActionUnit, keys: set[int], blow: float, gap: float) -> tuple[Line, ...]:
    found: list[Line] = []
    for s in sheet.sections:
        mine = sorted(k for k in keys if s.keys[0] <= k <= s.keys[-1])
        if mine:
            lower = {k: lower_at_bench(unit, note(s, k, unit).mismatch) for k in mine}
            found += hang(s, blow, lower, gap, mine)
    return tuple(found)
