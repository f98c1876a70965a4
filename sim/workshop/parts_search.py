"""The shop's own measured parts, searched for combinations that make a unit as wanted.

Cheap screening first: arms and lines from the measures, then the whole geometry;
only what passes is set up and read by the engine.
"""

from __future__ import annotations

import itertools
import math
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

from sim.errors import Fault, InputError
from sim.unit.composite import PARTS, Base, Composite, Source, compose, source
from sim.unit.model import ActionUnit
from sim.workshop.fit import WISHES, Fit, play
from sim.workshop.fit_geometry import by_measures, clashes, from_fault

Progress = Callable[[float, str], None]
Parts = Mapping[str, Source]

MOST_COMBINATIONS = 20_000
MOST_PLAYED = 60
"""Combinations that are set up and read, those that go best together on paper first."""


@dataclass(frozen=True)
class Refused:
    """A combination that will not do: at which screening, and why."""

    parts: Mapping[str, str]
    stage: str
    """``lines``, ``geometry`` or ``engine``."""
    why: str
    title: str


@dataclass(frozen=True)
class Search:
    """What a search came to, best first."""

    found: tuple[Fit, ...]
    refused: tuple[Refused, ...]
    combinations: int
    not_played: int
    """Sound on paper, but left out since more than were asked for came before them."""
    bad_files: tuple[Fault, ...] = ()
    base: str = ""
    """Name of the base, which parts come from where nothing else is told."""

    @property
    def reasons(self) -> dict[str, int]:
        """How many were refused for what, commonest first."""
        return dict(Counter(r.title for r in self.refused).most_common())


def shop(folder: str | Path) -> tuple[tuple[Source, ...], tuple[Fault, ...]]:
    """The scenario files of a folder, and what is wrong with those that cannot be read."""
    where = Path(folder)
    if not where.is_dir():
        remedy = "name a folder of scenario files, one measured part or action a file"
        raise InputError([Fault(str(folder), None, "--search", "no folder", "a folder", remedy)])
    sources: list[Source] = []
    bad: list[Fault] = []
    for path in sorted(where.glob("*.toml")):
        try:
            sources.append(source(path))
        except InputError as error:
            bad += error.faults
    return tuple(sources), tuple(bad)


def own_parts(found: Source) -> tuple[str, ...]:
    """Parts that a file tells of itself, not only through the file it is based on."""
    told = {p[0] for p, leaf in found.leaves.items() if leaf.file == found.path}
    return tuple(part for part in PARTS if part in told)


def candidates(base: Base, folder: str | Path, fixed: Parts) -> tuple[dict[str, list[Source]], tuple[Fault, ...]]:
    """For each part the sources to choose from; equal ones once."""
    sources, bad = shop(folder)
    out: dict[str, list[Source]] = {}
    faults = list(bad)
    for part in PARTS:
        choices = [fixed[part]] if part in fixed else [base.source, *(s for s in sources if part in own_parts(s))]
        different: dict[str, Source] = {}
        for choice in choices:
            try:
                compose(base, {part: choice})
            except InputError as error:
                faults += error.faults
                continue
            different.setdefault(str(sorted((p, str(leaf.raw)) for p, leaf in choice.section(part).items())), choice)
        out[part] = list(different.values()) or [base.source]
    return out, tuple(dict.fromkeys(faults))


def search(
    base: Base,
    folder: str | Path,
    fixed: Parts | None = None,
    targets: Mapping[str, float] | None = None,
    wishes: Mapping[str, float] | None = None,
    most: int = MOST_PLAYED,
    progress: Progress | None = None,
) -> Search:
    """Every combination, screened; the best by how near they come to the wishes."""
    say = progress or (lambda fraction, what: None)
    choices, bad = candidates(base, folder, fixed or {})
    count = math.prod(len(c) for c in choices.values())
    if count > MOST_COMBINATIONS:
        remedy = "fix some parts (--key, --wippen ...) or search a smaller folder"
        raise InputError([Fault(str(folder), None, "--search", f"{count} combinations",
                                f"at most {MOST_COMBINATIONS}", remedy)])  # fmt: skip
    refused: list[Refused] = []
    sound: list[tuple[float, dict[str, Source], Composite, ActionUnit]] = []
    measured = _Measured(base)
    for i, combination in enumerate(itertools.product(*choices.values())):
        parts = dict(zip(choices, combination, strict=True))
        if i % 20 == 0:
            say(0.3 * i / count, f"on paper, {i} of {count}")
        passed = _on_paper(base, parts, measured)
        if isinstance(passed, Refused):
            refused.append(passed)
        else:
            sound.append(passed)
    sound.sort(key=lambda s: s[0])
    played: list[Fit] = []
    for i, (_, parts, made, unit) in enumerate(sound[:most]):
        say(0.3 + 0.7 * i / min(most, len(sound)), f"set up and read, {i} of {min(most, len(sound))}")
        played.append(play(base, named(parts), made, unit, targets, wishes or {}, say=_quiet, rooms=False))
    for made_of in (f for f in played if not f.together):
        worst = max((c for c in made_of.clashes if c.grave), key=lambda c: c.off)
        refused.append(Refused(made_of.parts, "engine", str(worst), worst.title))
    found = sorted((f for f in played if f.together), key=lambda f: merit(f, wishes or {}))
    return Search(tuple(found), tuple(refused), count, max(0, len(sound) - most), bad, base.source.name)


def merit(found: Fit, wishes: Mapping[str, float]) -> float:
    """How far from the wishes, in what is let pass; warnings count a little: less is better."""
    away = 0.0
    for name, asked in wishes.items():
        value = found.readings.value(name) if found.readings else None
        if name in WISHES and value is not None:
            away += ((value - asked) / WISHES[name]) ** 2
    return math.sqrt(away) + 0.1 * sum(min(c.off, 10.0) for c in found.clashes)


def named(parts: Parts) -> dict[str, str]:
    """Part to the name of where it comes from."""
    return {part: origin.name for part, origin in parts.items()}


def _quiet(fraction: float, what: str) -> None:
    """No word of single set-ups."""


class _Measured:
    """Measures of every candidate part, read once, so that lines can be screened by adding up."""

    def __init__(self, base: Base) -> None:
        self.base = base
        self.known: dict[tuple[str, str], Mapping[str, float]] = {}

    def of(self, parts: Parts) -> dict[str, float]:
        """The measures of a combination."""
        out = dict(self.base.measures)
        for part, origin in parts.items():
            key = part, origin.path
            if key not in self.known:
                made = compose(self.base, {part: origin}).measures
                self.known[key] = {p: v for p, v in made.items() if p.startswith((f"{part}.", "rails."))}
            own = self.known[key]
            out |= {p: v for p, v in own.items() if p.startswith(f"{part}.") or part == "wippen"}
        return out


def _on_paper(
    base: Base, parts: dict[str, Source], measured: _Measured
) -> Refused | tuple[float, dict[str, Source], Composite, ActionUnit]:
    lines = next((c for c in by_measures(measured.of(parts)) if c.grave), None)
    if lines is not None:
        return Refused(named(parts), "lines", str(lines), lines.title)
    try:
        made = compose(base, parts)
        unit = made.build()
    except InputError as error:
        first = from_fault(error.faults[0])
        return Refused(named(parts), "geometry", str(first), first.title)
    on_paper = clashes(unit, base.unit)
    grave = next((c for c in on_paper if c.grave), None)
    if grave is not None:
        return Refused(named(parts), "geometry", str(grave), grave.title)
    return sum(c.off for c in on_paper), parts, made, unit
