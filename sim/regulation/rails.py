"""Where the rails go: at each place the unit is regulated and read, before anything is drilled.

A map is spanned by any two moves of ``moves.MOVES``: wippen rail, hammer rail,
capstan line, knuckle, heel.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from threading import Event

import numpy as np

from sim.bench import slow_press
from sim.bench import strike as blows
from sim.bench.inertia import read_inertia
from sim.bench.outcomes import Outcome
from sim.bench.predict import MODERATE, find_touch
from sim.bench.rest_pose import settle_at_rest
from sim.bench.sliding import measure_sliding
from sim.errors import UnitError
from sim.parallel import run_on_all_cores
from sim.regulation.clearances import find_obstruction, measure_clearances
from sim.regulation.moves import MOVES
from sim.regulation.regulate import find_missed_targets, regulate
from sim.regulation.rigid_geometry import match_rigid_pose
from sim.regulation.targets import PRESS_TARGETS, REST_TARGETS, SEARCH_STEP, select_settings
from sim.unit.model import GRAVITY, ActionUnit

Progress = Callable[[float, str], None]
RAILS: Mapping[str, tuple[str, str]] = {
    "wippen": ("wippen_rail_back", "wippen_rail_up"),
    "hammer": ("hammer_rail_back", "hammer_rail_up"),
}
"""A rail and the two moves that span its plane."""
USUAL_TARGETS: Mapping[str, float] = {
    "blow": 44.5e-3, "dip": 10.2e-3, "let_off": 1.6e-3, "drop": 2.2e-3, "lever_height": 0.2e-3, "jack_address": 0.0,
}  # fmt: skip
"""Targets at each place where nothing else is asked, m (common practice: trade's usual dimensions)."""
AFTERTOUCH = (0.8e-3, 1.4e-3)
"""Aftertouch that a place should leave, m (common practice 0.8 to 1.3, read to 0.1)."""
AIMED_AFTERTOUCH = 1.1e-3
"""Aftertouch aimed at, m (common practice)."""
DROP_ALLOWANCE = 1e-3
"""The drop at the bottom of the key may be deeper by this than past escape, m: else the lever lets the hammer fall."""
MAP_TARGETS = (*REST_TARGETS, *PRESS_TARGETS)
"""Targets that a map can ask for: those that a slow press shows."""
WEIGHTS: Mapping[str, float] = {"aftertouch": 1.0, "friction": 1.0, "slide": 1.0, "leverage": 1.0}
"""What makes one place better than another, each in its own usual step (see ``score_place``)."""


def choose_targets(unit: ActionUnit, more: Mapping[str, float] | None = None) -> dict[str, float]:
    """Targets at each place (SI): the usual ones, over them the unit's own, over them ``more``.

    A sharp's dip follows from the aftertouch.  Where blow and dip are both asked the
    aftertouch is what the map shows, so that it is not asked for as well.
    """
    mine = {t: v for t, v in unit.targets.items() if t in MAP_TARGETS} | dict(more or {})
    out = dict(USUAL_TARGETS) | mine
    if unit.key.sharp and "dip" not in mine:
        del out["dip"]
        out.setdefault("aftertouch", AIMED_AFTERTOUCH)
    elif "dip" in mine or "aftertouch" not in mine:
        out.pop("aftertouch", None)
    else:
        del out["dip"]
    if "drop_at_bottom" in mine:
        del out["drop"]
    return out


@dataclass(frozen=True)
class Place:
    """What the unit does with its parts moved by dx along the first move of the map and dy along the second (SI)."""

    dx: float
    dy: float
    spread: float
    feasible: bool
    why: str
    """What stands in the way, or empty."""
    aftertouch: float | None = None
    leverage: float | None = None
    """As travel: crown travel over front-edge travel, mean to let-off."""
    leverage_force: float | None = None
    """As force: what a weight at the strike point weighs at the touch point (virtual work, over 2-5 mm)."""
    down_weight: float | None = None
    up_weight: float | None = None
    friction: float | None = None
    slide_friction: float | None = None
    """What sliding at capstan and knuckle adds to the force at the touch point, mean over 2-5 mm as the weights, N."""
    let_off_hump: float | None = None
    slide_capstan: float | None = None
    slide_knuckle: float | None = None
    inertia: float | None = None
    """Felt at the touch point, kg."""
    jack_address: float | None = None
    drop_at_bottom: float | None = None
    hammer_speed: float | None = None
    """Of the standard moderate finger."""
    clear: Mapping[str, float] = field(default_factory=dict)
    """Clearances (``clearances.CLEARANCES``), m."""
    unit: ActionUnit | None = None

    @property
    def slide(self) -> float | None:
        """Way slid at capstan and knuckle together, m."""
        return None if self.slide_capstan is None else self.slide_capstan + (self.slide_knuckle or 0.0)


def evaluate_place(
    unit: ActionUnit,
    dx: float,
    dy: float,
    targets: Mapping[str, float],
    *,
    warm: bool,
    learned: dict[str, np.ndarray] | None = None,
) -> Place:
    """Regulate a unit whose parts have been moved, and read it: statics, slow press, one strike.

    ``warm`` and ``learned``: see ``regulate``.
    """
    spread = unit.rails.spread
    try:
        done = regulate(unit, targets, warm=warm, check=False, learned=learned)
        if done.misses:
            return Place(dx, dy, spread, False, done.misses[0].why)
        rest = settle_at_rest(done.unit, SEARCH_STEP)
        pressed = slow_press.press_slowly(rest)
        if not pressed.plays:
            return Place(dx, dy, spread, False, f"{pressed.outcome}: {pressed.reason}", unit=done.unit)
        found = _read(pressed, Place(dx, dy, spread, True, "", unit=done.unit))
        s = slow_press.read_settings(pressed, wink=False)
    except UnitError as e:
        return Place(dx, dy, spread, False, f"{Outcome.NOT_FOLLOWED}: {e}")
    missed = find_missed_targets(done.unit, targets, select_settings(s))
    why = f"{missed[0].target.replace('_', ' ')} not met: {missed[0].why}" if missed else _why_not(found, s.drop)
    return replace(found, feasible=not why, why=why)


def _read(pressed: slow_press.PressRun, found: Place) -> Place:
    w = slow_press.read_touch_weight(pressed)[0]
    s = slow_press.read_settings(pressed, drop=False, wink=False)
    slid = measure_sliding(pressed)
    reading, _ = blows.play_touch(pressed.rest, find_touch(MODERATE), 0.2)
    span = slow_press.WEIGHT_SPAN
    return replace(
        found,
        aftertouch=s.aftertouch,
        leverage=w.leverage_mean,
        leverage_force=compute_force_leverage(pressed),
        down_weight=w.down_weight,
        up_weight=w.up_weight,
        friction=w.friction,
        slide_friction=sum(measure_sliding(pressed, span).work.values()) / (span[1] - span[0]),
        let_off_hump=w.let_off_hump,
        slide_capstan=slid.length["capstan"],
        slide_knuckle=slid.length["jack_knuckle"] + slid.length["lever_knuckle"],
        inertia=read_inertia(pressed).felt,
        jack_address=s.jack_address,
        drop_at_bottom=s.drop_at_bottom,
        hammer_speed=reading.hammer_speed,
        clear=measure_clearances(pressed),
    )


def compute_force_leverage(pressed: slow_press.PressRun) -> float:
    """Rise of the strike point's place on the shank over touch-point travel, by virtual work a ratio of forces."""
    travel = pressed.rest.travel(pressed.down)[: pressed.peak]
    height = pressed.rest.unit.hammer.strike_point[0] * np.sin(pressed.down.trace["h"][: pressed.peak])
    low, high = np.interp(slow_press.WEIGHT_SPAN, np.maximum.accumulate(travel), height)
    return float((high - low) / (slow_press.WEIGHT_SPAN[1] - slow_press.WEIGHT_SPAN[0]))


def _why_not(p: Place, drop: float | None) -> str:
    """The first reason why a place that regulates would still not do."""
    if p.aftertouch is not None and p.aftertouch < AFTERTOUCH[0]:
        return "too little aftertouch at this blow and dip"
    if p.aftertouch is not None and p.aftertouch > AFTERTOUCH[1]:
        return "too much aftertouch at this blow and dip"
    if p.up_weight is not None and p.up_weight <= 0:
        return "the key does not return"
    if p.drop_at_bottom is not None and drop is not None and p.drop_at_bottom > drop + DROP_ALLOWANCE:
        return "the lever lets the hammer fall at the bottom of the key"
    return find_obstruction(p.clear)


def evaluate_grid(
    unit: ActionUnit,
    targets: Mapping[str, float],
    xs: Sequence[float],
    ys: Sequence[float],
    moves: tuple[str, str] = RAILS["wippen"],
    progress: Progress | None = None,
) -> tuple[tuple[Place, ...], ...]:
    """Places over a grid of two moves (m), a row for each y; rows on all cores, each cell started from its neighbour.

    ``progress`` is called at least after each row and may raise to give up, which ends a row at its next place.
    Raises ValueError for a target that cannot be read in a slow press.
    """
    across, up = (MOVES[m].apply for m in moves)
    start = regulate(unit, targets, check=False)
    base = start.unit if not start.misses else unit
    middle = min(range(len(xs)), key=lambda i: abs(xs[i]))
    given_up = Event()

    def row(y: float) -> tuple[Place, ...]:
        cells: dict[int, Place] = {}
        learned: dict[str, np.ndarray] = {}
        for side in (range(middle, len(xs)), range(middle - 1, -1, -1)):
            near, at = base, (0.0, 0.0)
            first = cells.get(middle)
            if first is not None and first.unit is not None:
                near, at = first.unit, (xs[middle], y)
            for i in side:
                if given_up.is_set():
                    return ()
                here = match_rigid_pose(up(across(near, xs[i] - at[0]), y - at[1]), near)
                cells[i] = evaluate_place(here, xs[i], y, targets, warm=True, learned=learned)
                regulated = cells[i].unit
                if regulated is not None:
                    near, at = regulated, (xs[i], y)
        return tuple(cells[i] for i in range(len(xs)))

    rows = [partial(row, y) for y in ys]
    return tuple(run_on_all_cores(rows, progress, lambda number: f"row {number + 1} of the map", given_up=given_up))


def score_place(p: Place, weights: Mapping[str, float] = WEIGHTS) -> float:
    """Smaller is better: aftertouch off 1.1 mm, friction, sliding and leverage off 4.9, each in a usual step.

    The steps (0.2 mm, 4 gf, 1 mm, 0.2) are what a technician tells apart (common practice, no source).
    """
    if not p.feasible:
        return float("inf")
    parts = {
        "aftertouch": abs((p.aftertouch or 0.0) - AIMED_AFTERTOUCH) / 0.2e-3,
        "friction": (p.friction or 0.0) / (4e-3 * GRAVITY),
        "slide": (p.slide or 0.0) / 1e-3,
        "leverage": abs((p.leverage or 0.0) - 4.9) / 0.2,
    }
    return sum(weights.get(n, 0.0) * v for n, v in parts.items())


def find_best_places(
    cells: Sequence[Sequence[Place]], count: int = 3, weights: Mapping[str, float] = WEIGHTS
) -> tuple[Place, ...]:
    """The best feasible places, under stated weights."""
    found = sorted((p for row in cells for p in row if p.feasible), key=lambda p: score_place(p, weights))
    return tuple(found[:count])


def compute_tolerance_effects(
    at: Place, targets: Mapping[str, float], moves: tuple[str, str] = RAILS["wippen"], by: float = 0.25e-3
) -> dict[str, dict[str, float]]:
    """How far a bench tolerance (m) along each move of MOVES shifts aftertouch, leverage, weights and sliding there.

    By move, then by reading (SI); the map's own two moves come first.  A move that
    would leave the place unplayable is told by an empty entry.
    """
    out: dict[str, dict[str, float]] = {}
    if at.unit is None:
        return out
    for name in (*moves, *(m for m in MOVES if m not in moves)):
        p = evaluate_place(match_rigid_pose(MOVES[name].apply(at.unit, by), at.unit), at.dx, at.dy, targets, warm=True)
        out[name] = {}
        for reading in TOLERANCE_READINGS:
            here, there = getattr(at, reading), getattr(p, reading)
            if here is not None and there is not None:
                out[name][reading] = there - here
    return out


TOLERANCE_READINGS = ("aftertouch", "leverage", "down_weight", "friction", "slide")
"""Readings of which the sway is told."""
