"""Repetition: fractions of strokes that sound over an ensemble of finger depths and rates (readings.md).

The highest rate at which *all* strokes sound is chaotic at its edge; a fraction
over many finger depths is not.
"""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sim.bench.rest_pose import Rest
from sim.bench.slow_press import find_bottom_travel
from sim.bench.strike import count_blows
from sim.physics.finger import TABLE_END, drive_finger_motion
from sim.physics.run import Run, run
from sim.value_records import value_record

Array = NDArray[np.float64]

RATES = (4.0, 5.0, 6.0, 7.0, 8.0, 9.0, 10.0, 12.0)
"""Strokes per second."""
SLOW_RATES = (2.0, 3.0)
"""... tried where the note does not even keep up with the slowest of those."""
DEPTHS = tuple(np.linspace(1e-3, 6e-3, 12))
"""How far under the key's rest the finger stays between strokes, touch point, m: it returns part of the way."""
RETURN_SHARE = 0.8
"""... or this share of a shorter way: it always returns part of it."""
STROKES = 8
BOTTOM_FORCE = 1.0
"""Force on the punching at the bottom of the finger's path, N."""
TIP_SPEED = 0.30
"""Greatest speed of the finger's tip on its way down and up, m/s: a moderate touch, the same at every rate
unless the period leaves no time for it."""
RIGID_TIP = (2.5e5, 1.0, 0.3)
"""Law of the tip (K, p, c): it does not give, so that its depth is the key's."""
HOLD_SHARE = 0.15
"""Share of the period that the finger stays at the bottom (less where the ways take more than the rest)."""
LEAD_IN = 0.02
LIMIT_FRACTION = 0.9
"""Sounded fraction that the limit stands for."""
LEAST_JACK_FORCE = 0.3
"""Force of the jack on the knuckle that counts as carrying it, N."""


@value_record
@dataclass(frozen=True)
class Ensemble:
    """Per depth and rate: strokes sounded, strokes begun with the jack home, and what came late first."""

    rates: tuple[float, ...]
    depths: tuple[float, ...]
    sounded: Array
    """(depth, rate) fraction of strokes."""
    home: Array
    late: tuple[tuple[str | None, ...], ...]
    failed_runs: tuple[str, ...]


def compute_kept_depth(rest: Rest, depth: float) -> float:
    """How far under the key's rest the finger stays on this unit, m."""
    return min(depth, RETURN_SHARE * find_bottom_travel(rest, BOTTOM_FORCE))


def build_finger_path(rest: Rest, rate: float, depth: float, strokes: int = STROKES) -> tuple[Array, Array]:
    """Path of the finger's tip (design pose, + down) and the times at which strokes begin."""
    start = rest.design_travel
    bottom, high = find_bottom_travel(rest, BOTTOM_FORCE) + start, compute_kept_depth(rest, depth) + start
    period = 1.0 / rate
    begins = LEAD_IN + period * np.arange(strokes)
    rows = [(0.0, start, 0.0)]
    for i, t in enumerate(begins):
        top = start if i == 0 else high
        # a cubic from rest to rest has a greatest speed of 1.5 times its mean
        down = min(1.5 * (bottom - top) / TIP_SPEED, 0.48 * period)
        up = min(1.5 * (bottom - high) / TIP_SPEED, 0.48 * period)
        hold = min(HOLD_SHARE * period, period - down - up)
        rows += [(t, top, 0.0), (t + down, bottom, 0.0), (t + down + hold, bottom, 0.0)]
        rows.append((t + down + hold + up, high, 0.0))
    rows.append((rows[-1][0] + TABLE_END, high, 0.0))
    return np.array(rows), begins


def play_series(rest: Rest, rate: float, depth: float, strokes: int = STROKES) -> tuple[Run, Array]:
    """One series of strokes from rest."""
    path, begins = build_finger_path(rest, rate, depth, strokes)
    end = float(begins[-1]) + 1.0 / rate
    p = rest.parameters.copy()
    p["K_finger"], p["p_finger"], p["c_finger"] = RIGID_TIP
    r = run(p, drive_finger_motion(path), end, rest.state, step=rest.step, every=1e-3, log_size=20000)
    return r, begins


def judge_series(rest: Rest, r: Run, begins: Array, rate: float, depth: float) -> tuple[float, float, str | None]:
    """Fraction sounded, fraction begun with the jack home, and the late part of the first stroke that failed."""
    t = r.trace["t"]
    home = rest.jack_home(r.trace)
    carried = home & (r.trace["N_jack_knuckle"] > LEAST_JACK_FORCE)
    makes = r.log.of("string", True)
    good, ready = 0, 0
    first_speed, late = 0.0, None
    for i, start in enumerate(begins):
        row = min(int(np.searchsorted(t, start)), len(t) - 1)
        mine = makes[(makes[:, 0] >= start) & (makes[:, 0] < start + 1.0 / rate)]
        lifted = carried[row : int(np.searchsorted(t, mine[0, 0]))].any() if len(mine) else False
        if i == 0 and len(mine):
            first_speed = float(mine[0, 4])
        ok = count_blows(mine) == 1 and lifted and float(mine[0, 4]) >= 0.5 * first_speed > 0
        good += bool(ok)
        ready += bool(home[row])
        if not ok and late is None:
            late = find_late_part(rest, r, row, depth)
    return good / len(begins), ready / len(begins), late


def find_late_part(rest: Rest, r: Run, row: int, depth: float) -> str:
    """What had not come back when the stroke began (in the order in which each waits for the one before)."""
    trace = r.trace
    if rest.travel(r)[row] > compute_kept_depth(rest, depth) + 0.5e-3:
        return "key return"
    if trace["N_backcheck"][row] > 0:
        return "check release"
    if rest.jack_home(trace)[row]:
        return "hammer fall"
    if trace["N_lever_knuckle"][row] <= 0 and trace["v_h"][row] < 0:
        return "hammer fall"
    sunk = trace["l"][row] - trace["w"][row] - rest.unit.lever.stop_angle
    return "lever lift" if sunk > 0.01 else "jack return"


def play_ensemble(
    rest: Rest,
    rates: tuple[float, ...] = RATES,
    depths: tuple[float, ...] = DEPTHS,
    progress: Callable[[float, str], None] | None = None,
    stop: Callable[[], bool] | None = None,
    *,
    every_rate: bool = True,
) -> Ensemble:
    """Play all rates and depths on all cores.  Raises KeyboardInterrupt when ``stop`` says so.

    Not ``every_rate``: rates are tried from the lowest up, and what the limits do not hang on is left out: rates above
    the first at which too few of all strokes sound, for each depth from its own such rate on.  There the fractions are
    not numbers.
    """
    sounded, home = (np.full((len(depths), len(rates)), np.nan) for _ in range(2))
    late: list[list[str | None]] = [[None] * len(rates) for _ in depths]
    failed: list[str] = []

    def one(job: tuple[int, int]) -> tuple[Run, Array]:
        if stop is not None and stop():
            raise KeyboardInterrupt
        i, j = job
        return play_series(rest, rates[j], depths[i])

    tried, done, columns = list(range(len(depths))), 0, range(len(rates))
    with ThreadPoolExecutor(os.cpu_count()) as pool:
        try:
            for together in [columns] if every_rate else [columns[j : j + 1] for j in columns]:
                jobs = [(i, j) for j in together for i in tried]
                for (i, j), (r, begins) in zip(jobs, pool.map(one, jobs), strict=True):
                    sounded[i, j], home[i, j] = 0.0, 0.0
                    if r.outcome.fine:
                        sounded[i, j], home[i, j], late[i][j] = judge_series(rest, r, begins, rates[j], depths[i])
                    else:
                        failed.append(str(r.outcome))
                    done += 1
                    if progress is not None:
                        progress(done / sounded.size, "repetition")
                if (sounded.mean(axis=0) < LIMIT_FRACTION).any():
                    tried = [i for i in tried if not (sounded[i] < LIMIT_FRACTION).any()]
        except KeyboardInterrupt:
            pool.shutdown(wait=True, cancel_futures=True)
            raise
    return Ensemble(tuple(rates), tuple(depths), sounded, home, tuple(map(tuple, late)), tuple(failed))


def play_down_to_limit(
    rest: Rest,
    progress: Callable[[float, str], None] | None = None,
    stop: Callable[[], bool] | None = None,
    *,
    every_rate: bool = True,
) -> Ensemble:
    """The ensemble, with slower rates too where the note does not keep up with the slowest of it."""
    e = play_ensemble(rest, RATES, DEPTHS, progress, stop, every_rate=every_rate)
    if find_limit(e.rates, e.sounded.mean(axis=0)) is not None:
        return e
    slow = play_ensemble(rest, SLOW_RATES, DEPTHS, progress, stop)
    return Ensemble(
        slow.rates + e.rates,
        e.depths,
        np.hstack([slow.sounded, e.sounded]),
        np.hstack([slow.home, e.home]),
        tuple(a + b for a, b in zip(slow.late, e.late, strict=True)),
        slow.failed_runs + e.failed_runs,
    )


def find_limit(rates: tuple[float, ...], fraction: Array, level: float = LIMIT_FRACTION) -> float | None:
    """Rate at which the fraction first falls through ``level`` (straight lines between rates).

    None when it is below from the start; the highest rate tried when it never falls.
    """
    below = np.nonzero(fraction < level)[0]
    if not len(below):
        return float(rates[-1])
    i = int(below[0])
    if i == 0:
        return None
    y0, y1 = fraction[i - 1], fraction[i]
    return float(rates[i - 1] + (y0 - level) / (y0 - y1) * (rates[i] - rates[i - 1]))


def find_ensemble_limit(e: Ensemble) -> tuple[float | None, float | None, str | None]:
    """Limit of the whole ensemble, its spread over the depths, and the part that came late most often."""
    whole = find_limit(e.rates, e.sounded.mean(axis=0))
    each = [find_limit(e.rates, row) or e.rates[0] for row in e.sounded]
    low, high = np.percentile(each, (16, 84))
    first = next((j for j, f in enumerate(e.sounded.mean(axis=0)) if f < LIMIT_FRACTION), None)
    columns = [first] if first is not None else range(len(e.rates))
    parts = Counter(row[j] for row in e.late for j in columns if row[j])
    return whole, float(high - low) / 2, parts.most_common(1)[0][0] if parts else None
