"""The shop's own measured parts, searched for combinations that make a unit as wanted.

Cheap screening first: arms and lines from the measures, then the whole geometry;
only what passes is set up and read by the engine, on all cores.
"""

from __future__ import annotations

import itertools
import math
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from sim.errors import Fault, InputError, NoUnitError
from sim.parallel import Progress, Stop, run_on_all_cores
from sim.parts.fit import WISHES, PartsFit, read_base_inertia, set_up_and_read
from sim.parts.geometry import check_lines, clash_from_fault, find_clashes
from sim.scenario.composite import PARTS, Base, Composite, Source, compose_unit, load_source
from sim.unit.model import ActionUnit

Parts = Mapping[str, Source]

MOST_COMBINATIONS = 20_000
MOST_PLAYED = 60
"""Combinations that are set up and read, those that go best together on paper first."""


@dataclass(frozen=True)
class RejectedCombination:
    """A combination that will not do: at which screening, and why."""

    parts: Mapping[str, str]
    stage: str
    """``lines``, ``geometry`` or ``engine``."""
    why: str
    title: str


@dataclass(frozen=True)
class SearchResult:
    """What a search came to, best first."""

    found: tuple[PartsFit, ...]
    refused: tuple[RejectedCombination, ...]
    combinations: int
    not_played: int
    """Sound on paper, but left out since more than were asked for came before them."""
    bad_files: tuple[Fault, ...] = ()
    base: str = ""
    """Name of the base, which parts come from where nothing else is told."""
    stopped: bool = False
    """Stopped before all that were sound had been set up."""

    @property
    def reasons(self) -> dict[str, int]:
        """How many were refused for what, commonest first."""
        return dict(Counter(r.title for r in self.refused).most_common())


def load_parts_folder(folder: str | Path) -> tuple[tuple[Source, ...], tuple[Fault, ...]]:
    """The scenario files of a folder, and what is wrong with those that cannot be read."""
    where = Path(folder)
    if not where.is_dir():
        remedy = "name a folder of scenario files, one measured part or action a file"
        raise InputError([Fault(str(folder), None, "--search", "no folder", "a folder", remedy)])
    sources: list[Source] = []
    bad: list[Fault] = []
    for path in sorted(where.glob("*.toml")):
        try:
            sources.append(load_source(path))
        except InputError as error:
            bad += error.faults
    return tuple(sources), tuple(bad)


def list_own_parts(found: Source) -> tuple[str, ...]:
    """Parts that a file tells of itself, not only through the file it is based on.

    A file that tells no more of a hammer than its shank is a shank to put under any head; so a flange.
    """
    told = {p for p, leaf in found.leaves.items() if leaf.file == found.path}
    out = []
    for section in dict.fromkeys(part.section for part in PARTS.values()):
        mine = [p for p in told if p[0] == section]
        if mine:
            holding = [n for n, part in PARTS.items() if all(part.holds(p) for p in mine)]
            out.append(holding[-1])
    return tuple(out)


Choices = dict[str, list[Source | None]]
"""Part to the sources it may come from; None: as it comes with its section."""


def list_candidates(base: Base, folder: str | Path, fixed: Parts) -> tuple[Choices, tuple[Fault, ...]]:
    """For each part the sources to choose from; equal ones once."""
    sources, bad = load_parts_folder(folder)
    out: Choices = {}
    faults = list(bad)
    for part in PARTS:
        own = None if PARTS[part].fields else base.source
        choices = [fixed[part]] if part in fixed else [own, *(s for s in sources if part in list_own_parts(s))]
        different: dict[str, Source | None] = {}
        for choice in choices:
            try:
                compose_unit(base, _drop_unset_parts({part: choice}))
            except NoUnitError as error:
                faults += error.faults
                continue
            told = [] if choice is None else sorted((p, str(leaf.raw)) for p, leaf in choice.section(part).items())
            different.setdefault(str(told), choice)
        out[part] = list(different.values()) or [own]
    if not fixed and all(len(c) == 1 for c in out.values()):
        remedy = "put scenario files in it that tell of a key, wippen, flange, jack, lever, hammer or shank"
        nothing = Fault(str(folder), None, "--search", "no part but the base's own", "a measured part or more", remedy)
        raise InputError([*dict.fromkeys(faults), nothing])
    return out, tuple(dict.fromkeys(faults))


def _drop_unset_parts(parts: Mapping[str, Source | None]) -> dict[str, Source]:
    return {part: origin for part, origin in parts.items() if origin is not None}


SoundCombination = tuple[float, Parts, Composite, ActionUnit]


def search_combinations(
    base: Base,
    folder: str | Path,
    fixed: Parts | None = None,
    targets: Mapping[str, float] | None = None,
    wishes: Mapping[str, float] | None = None,
    most: int = MOST_PLAYED,
    progress: Progress | None = None,
    stop: Stop | None = None,
) -> SearchResult:
    """Every combination, screened; the best by how near they come to the wishes.

    Ctrl-C (or ``stop``) while they are set up ends it with those that were finished.
    """
    say = progress or (lambda fraction, what: None)
    choices, bad = list_candidates(base, folder, fixed or {})
    count = math.prod(len(c) for c in choices.values())
    if count > MOST_COMBINATIONS:
        remedy = "fix some parts (--key, --wippen ...) or search a smaller folder"
        raise InputError([Fault(str(folder), None, "--search", f"{count} combinations",
                                f"at most {MOST_COMBINATIONS}", remedy)])  # fmt: skip
    sound, refused = _screen_combinations(base, choices, lambda i: say(0.3 * i / count, f"on paper, {i} of {count}"))
    played, stopped = _play_combinations(base, sound[:most], targets, wishes or {}, say, stop)
    for made_of in (f for f in played if not f.together):
        worst = max((c for c in made_of.clashes if c.grave), key=lambda c: c.off)
        refused.append(RejectedCombination(made_of.parts, "engine", str(worst), worst.title))
    found = sorted((f for f in played if f.together), key=lambda f: score_fit(f, wishes or {}))
    left = len(sound) - len(played)
    return SearchResult(tuple(found), tuple(refused), count, left, bad, base.source.name, stopped)


def _screen_combinations(
    base: Base, choices: Choices, say: Callable[[int], None]
) -> tuple[list[SoundCombination], list[RejectedCombination]]:
    """Combinations that are sound on paper, the best of them first, and those that are not."""
    refused: list[RejectedCombination] = []
    sound: list[SoundCombination] = []
    measured = _MeasureCache(base)
    for i, combination in enumerate(itertools.product(*choices.values())):
        if i % 20 == 0:
            say(i)
        passed = _check_on_paper(base, _drop_unset_parts(dict(zip(choices, combination, strict=True))), measured)
        if isinstance(passed, RejectedCombination):
            refused.append(passed)
        else:
            sound.append(passed)
    return sorted(sound, key=lambda s: s[0]), refused


def _play_combinations(
    base: Base,
    sound: Sequence[SoundCombination],
    targets: Mapping[str, float] | None,
    wishes: Mapping[str, float],
    say: Progress,
    stop: Stop | None,
) -> tuple[list[PartsFit], bool]:
    """What was set up and read, in order, and whether it was stopped before the last."""
    done: dict[int, PartsFit] = {}
    felt_on = read_base_inertia(base)

    def job(number: int) -> None:
        _, parts, made, unit = sound[number]
        done[number] = set_up_and_read(
            base, name_sources(parts), made, unit, targets, wishes, _ignore_progress, rooms=False, felt_on=felt_on
        )

    try:
        run_on_all_cores(
            [partial(job, number) for number in range(len(sound))],
            lambda share, what: say(0.3 + 0.7 * share, what),
            lambda number: f"set up and read, {number + 1} of {len(sound)}",
            stop,
        )
    except KeyboardInterrupt:
        return [done[n] for n in sorted(done)], len(done) < len(sound)
    return [done[n] for n in sorted(done)], False


def score_fit(found: PartsFit, wishes: Mapping[str, float]) -> float:
    """How far from the wishes, in what is let pass; warnings count a little: less is better."""
    away = 0.0
    for name, asked in wishes.items():
        value = found.readings.value(name) if found.readings else None
        if name in WISHES and value is not None:
            away += ((value - asked) / WISHES[name]) ** 2
    return math.sqrt(away) + 0.1 * sum(min(c.off, 10.0) for c in found.clashes)


def name_sources(parts: Parts) -> dict[str, str]:
    """Part to the name of where it comes from."""
    return {part: origin.name for part, origin in parts.items()}


def _ignore_progress(fraction: float, what: str) -> None:
    """No word of single set-ups."""


class _MeasureCache:
    """Measures of every candidate part, read once, so that lines can be screened by adding up."""

    def __init__(self, base: Base) -> None:
        self.base = base
        self.known: dict[tuple[str, str], Mapping[str, float]] = {}

    def of(self, parts: Parts) -> dict[str, float]:
        """The measures of a combination."""
        out = dict(self.base.measures)
        for name, origin in parts.items():
            key = name, origin.path
            if key not in self.known:
                self.known[key] = self._own(name, origin)
            out |= self.known[key]
        return out

    def _own(self, name: str, origin: Source) -> Mapping[str, float]:
        """What a part brings: its own measures, and what its flange does to where the rails count from."""
        part = PARTS[name]
        made = compose_unit(self.base, {name: origin}).measures
        return {
            p: v for p, v in made.items()
            if part.holds(tuple(p.split("."))) or (part.section == "wippen" and p.startswith("rails."))
        }  # fmt: skip


def _check_on_paper(base: Base, parts: Parts, measured: _MeasureCache) -> RejectedCombination | SoundCombination:
    lines = next((c for c in check_lines(measured.of(parts)) if c.grave), None)
    if lines is not None:
        return RejectedCombination(name_sources(parts), "lines", str(lines), lines.title)
    try:
        made = compose_unit(base, parts)
        unit = made.build()
    except NoUnitError as error:
        first = clash_from_fault(error.faults[0])
        return RejectedCombination(name_sources(parts), "geometry", str(first), first.title)
    on_paper = find_clashes(unit, base.unit)
    grave = next((c for c in on_paper if c.grave), None)
    if grave is not None:
        return RejectedCombination(name_sources(parts), "geometry", str(grave), grave.title)
    return sum(c.off for c in on_paper), parts, made, unit
