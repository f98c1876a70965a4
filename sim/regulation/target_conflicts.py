"""Targets that contradict: by how much, and the smallest moves that would make room."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from sim.regulation.moves import MOVES
from sim.regulation.regulate import Regulation, regulate
from sim.regulation.rigid_geometry import match_rigid_pose
from sim.unit.model import ActionUnit

Progress = Callable[[float, str], None]
AFTERTOUCH_TARGETS = ("blow", "dip", "let_off", "drop", "drop_at_bottom", "jack_address", "lever_height")
"""Targets that the aftertouch hangs on."""
PROBE_MOVE = 0.4e-3
"""Move of a part by which its effect is found, m."""


@dataclass(frozen=True)
class ConflictMargin:
    """A move (m) that would bring the aftertouch asked, the other targets met; ``confirmed`` by regulating again."""

    move: str
    title: str
    by: float
    confirmed: bool
    aftertouch: float | None


def _others(targets: Mapping[str, float]) -> dict[str, float]:
    return {t: v for t, v in targets.items() if t != "aftertouch"}


def _implied(done: Regulation) -> float | None:
    return done.readings.get("aftertouch") if done.met else None


def find_conflict_margins(
    unit: ActionUnit, targets: Mapping[str, float], asked: float, progress: Progress | None = None
) -> tuple[ConflictMargin, ...]:
    """Moves of dip, blow, rails, knuckle and capstan line that bring the aftertouch asked, smallest first.

    Blow, dip and let-off leave an aftertouch; each move is tried by a little, its
    effect taken as straight, and the move then confirmed by regulating with it.
    """
    say = progress or (lambda fraction, what: None)
    shape = {t: v for t, v in targets.items() if t in AFTERTOUCH_TARGETS}
    base = regulate(unit, _others(shape))
    here = _implied(base)
    if here is None:
        return ()
    candidates = ["dip", "blow", *MOVES]
    out = []
    for i, name in enumerate(candidates):
        say(i / len(candidates), f"room by {name.replace('_', ' ')}")
        found = _find_margin(base.unit, shape, name, here, asked)
        if found is not None:
            out.append(found)
    return tuple(sorted(out, key=lambda r: (not r.confirmed, abs(r.by))))


def _find_margin(
    unit: ActionUnit, shape: Mapping[str, float], name: str, here: float, asked: float
) -> ConflictMargin | None:
    title = MOVES[name].title if name in MOVES else name
    farthest = MOVES[name].farthest if name in MOVES else 3e-3
    tried = _with(unit, shape, name, PROBE_MOVE)
    if tried is None or abs(tried - here) < 1e-6:
        return None
    by = (asked - here) * PROBE_MOVE / (tried - here)
    if abs(by) > farthest:
        return None
    came = _with(unit, shape, name, by)
    return ConflictMargin(name, title, by, came is not None and abs(came - asked) < 1e-4, came)


def _with(unit: ActionUnit, shape: Mapping[str, float], name: str, by: float) -> float | None:
    """Aftertouch left with one thing moved, m."""
    if name in shape:
        return _implied(regulate(unit, {**_others(shape), name: shape[name] + by}, warm=True))
    if name in MOVES:
        return _implied(regulate(match_rigid_pose(MOVES[name].apply(unit, by), unit), _others(shape), warm=True))
    return None


def is_aftertouch_conflict(done: Regulation) -> bool:
    """Whether what is missed is only the aftertouch, which the other targets leave no choice."""
    return {m.target for m in done.misses} == {"aftertouch"}
