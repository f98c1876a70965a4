"""Where the rails go: at each place the unit is regulated and read, before anything is drilled."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np

from sim.bench import slow_press
from sim.bench import strike as blows
from sim.bench.predict import MODERATE, touch
from sim.bench.rest import Rest, at_rest
from sim.bench.sliding import sliding
from sim.errors import SimulationError
from sim.unit.model import ActionUnit
from sim.workshop.moves import move_hammer_rail, move_wippen_rail
from sim.workshop.regulate import STEP, of_settings, regulate, unmet

Progress = Callable[[float, str], None]
RAILS: Mapping[str, Callable[..., ActionUnit]] = {"wippen": move_wippen_rail, "hammer": move_hammer_rail}
SHAPE = ("blow", "dip", "let_off", "drop", "drop_at_bottom", "lever_height", "jack_address")
AFTERTOUCH = (0.8e-3, 1.4e-3)
"""Aftertouch that a place should leave, m (common practice 0.8 to 1.3, read to 0.1)."""
WINDOW = 1.0e-3
"""Room that should be left between jack and window cushion at the bottom, m.  Our convention."""
WEIGHTS: Mapping[str, float] = {"aftertouch": 1.0, "friction": 1.0, "slide": 1.0, "leverage": 1.0}
"""What makes one place better than another, each in its own usual step (see ``merit``)."""


@dataclass(frozen=True)
class Place:
    """What the unit does with a rail moved by dx rearward and dy up (SI)."""

    dx: float
    dy: float
    spread: float
    feasible: bool
    why: str
    """What stands in the way, or empty."""
    aftertouch: float | None = None
    leverage: float | None = None
    """Crown travel over front-edge travel, mean to let-off."""
    down_weight: float | None = None
    up_weight: float | None = None
    friction: float | None = None
    let_off_hump: float | None = None
    slide_capstan: float | None = None
    slide_knuckle: float | None = None
    slide_work: float | None = None
    jack_address: float | None = None
    window_left: float | None = None
    """Jack to its window cushion at the bottom of the key."""
    hammer_speed: float | None = None
    """Of the standard moderate finger."""
    unit: ActionUnit | None = None


def place(
    unit: ActionUnit,
    dx: float,
    dy: float,
    targets: Mapping[str, float],
    *,
    warm: bool,
    learned: dict[str, np.ndarray] | None = None,
) -> Place:
    """Regulate a unit whose rail has been moved, and read it: statics, slow press, one strike.

    ``warm`` and ``learned``: see ``regulate``.
    """
    spread = unit.rails.spread
    shape = {t: v for t, v in targets.items() if t in SHAPE}
    try:
        done = regulate(unit, shape, warm=warm, check=False, learned=learned)
        if done.misses:
            return Place(dx, dy, spread, False, done.misses[0].why)
        rest = at_rest(done.unit, STEP)
        pressed = slow_press.press(rest)
        s = slow_press.settings(pressed, wink=False)
    except SimulationError as e:
        return Place(dx, dy, spread, False, f"leaves what the model can follow: {e}")
    if pressed.outcome != "plays":
        return Place(dx, dy, spread, False, f"{pressed.outcome}: {pressed.reason}", unit=done.unit)
    missed = unmet(done.unit, shape, of_settings(s))
    w = slow_press.touch_weight(pressed)[0]
    slid = sliding(pressed)
    reading, _ = blows.play(rest, touch(MODERATE), 0.2)
    window = _window_left(rest, pressed)
    found = Place(
        dx,
        dy,
        spread,
        True,
        "",
        aftertouch=s.aftertouch,
        leverage=w.leverage_mean,
        down_weight=w.down_weight,
        up_weight=w.up_weight,
        friction=w.friction,
        let_off_hump=w.let_off_hump,
        slide_capstan=slid.length["capstan"],
        slide_knuckle=slid.length["jack_knuckle"] + slid.length["lever_knuckle"],
        slide_work=sum(slid.work.values()),
        jack_address=s.jack_address,
        window_left=window,
        hammer_speed=reading.hammer_speed,
        unit=done.unit,
    )
    why = f"{missed[0].target.replace('_', ' ')} not met: {missed[0].why}" if missed else _why_not(found)
    return replace(found, feasible=not why, why=why)


def _window_left(rest: Rest, pressed: slow_press.Pressed) -> float:
    turn = float((pressed.down.trace["j"] - pressed.down.trace["w"]).max())
    return (rest.unit.jack.largest_turn - turn) * abs(rest.unit.jack.top_rear[1])


def _why_not(p: Place) -> str:
    """The first reason why a place that regulates would still not do."""
    if p.aftertouch is not None and p.aftertouch < AFTERTOUCH[0]:
        return "too little aftertouch at this blow and dip"
    if p.aftertouch is not None and p.aftertouch > AFTERTOUCH[1]:
        return "too much aftertouch at this blow and dip"
    if p.up_weight is not None and p.up_weight <= 0:
        return "the key does not return"
    if p.window_left is not None and p.window_left < WINDOW:
        return "the jack runs into its window cushion"
    return ""


def grid(
    unit: ActionUnit,
    targets: Mapping[str, float],
    xs: Sequence[float],
    ys: Sequence[float],
    rail: str = "wippen",
    progress: Progress | None = None,
) -> tuple[tuple[Place, ...], ...]:
    """Places over a grid of moves (m), a row for each y; rows on all cores, each cell started from its neighbour."""
    move = RAILS[rail]
    start = regulate(unit, {t: v for t, v in targets.items() if t in SHAPE}, check=False)
    base = start.unit if not start.misses else unit
    middle = min(range(len(xs)), key=lambda i: abs(xs[i]))
    done = 0

    def row(y: float) -> tuple[Place, ...]:
        nonlocal done
        cells: dict[int, Place] = {}
        learned: dict[str, np.ndarray] = {}
        for side in (range(middle, len(xs)), range(middle - 1, -1, -1)):
            near, at = base, (0.0, 0.0)
            first = cells.get(middle)
            if first is not None and first.unit is not None:
                near, at = first.unit, (xs[middle], y)
            for i in side:
                here = move(near, dx=xs[i] - at[0], dy=y - at[1])
                cells[i] = place(here, xs[i], y, targets, warm=True, learned=learned)
                if not cells[i].feasible and cells[i].unit is None:
                    cells[i] = place(move(base, dx=xs[i], dy=y), xs[i], y, targets, warm=False)
                regulated = cells[i].unit
                if regulated is not None:
                    near, at = regulated, (xs[i], y)
                done += 1
                if progress is not None:
                    progress(done / (len(xs) * len(ys)), "rails")
        return tuple(cells[i] for i in range(len(xs)))

    with ThreadPoolExecutor(os.cpu_count()) as pool:
        return tuple(pool.map(row, ys))


def merit(p: Place, weights: Mapping[str, float] = WEIGHTS) -> float:
    """Smaller is better: aftertouch off 1.1 mm, friction, sliding and leverage off 4.9, each in a usual step."""
    if not p.feasible:
        return float("inf")
    parts = {
        "aftertouch": abs((p.aftertouch or 0.0) - 1.1e-3) / 0.2e-3,
        "friction": (p.friction or 0.0) / 9.8e-3 / 4.0,
        "slide": ((p.slide_capstan or 0.0) + (p.slide_knuckle or 0.0)) / 1e-3,
        "leverage": abs((p.leverage or 0.0) - 4.9) / 0.2,
    }
    return sum(weights.get(n, 0.0) * v for n, v in parts.items())


def best(cells: Sequence[Sequence[Place]], count: int = 3, weights: Mapping[str, float] = WEIGHTS) -> tuple[Place, ...]:
    """The best feasible places."""
    found = sorted((p for row in cells for p in row if p.feasible), key=lambda p: merit(p, weights))
    return tuple(found[:count])


def sway(unit: ActionUnit, at: Place, targets: Mapping[str, float], rail: str, by: float = 0.25e-3) -> dict[str, float]:
    """How far a bench tolerance (m) each way moves aftertouch, leverage, down weight and friction there (SI)."""
    out: dict[str, float] = {}
    if at.unit is None:
        return out
    for name, (dx, dy) in {"rearward": (by, 0.0), "up": (0.0, by)}.items():
        p = place(RAILS[rail](at.unit, dx=dx, dy=dy), at.dx + dx, at.dy + dy, targets, warm=True)
        for reading in ("aftertouch", "leverage", "down_weight", "friction"):
            here, there = getattr(at, reading), getattr(p, reading)
            if here is not None and there is not None:
                out[f"{reading} {name}"] = there - here
    return out
