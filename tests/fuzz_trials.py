"""Units drawn wide, played every way: ``python tests/fuzz_trials.py [--units 3200] [--seed 1] [--keep]``.

Every input is drawn over the whole range that its field allows (tests/wide_draws.py).
A unit that the files' own checks refuse is counted; one that reaches the physics has
to end in readings or in a named outcome: no number that is not finite, no division by
nought on the way, no traceback, no hang, no stroke that returns numbers with its
energy unaccounted for.
"""

from __future__ import annotations

import argparse
import dataclasses
import faulthandler
import math
import sys
import traceback
from collections import Counter
from collections.abc import Iterator, Sequence
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from sim.bench import slow_press, strike
from sim.bench.friction_budget import compute_friction_budget
from sim.bench.inertia import read_inertia
from sim.bench.outcomes import Outcome
from sim.bench.predict import predict
from sim.bench.rest_pose import settle_at_rest
from sim.bench.sliding import measure_sliding
from sim.errors import InputError, SimulationError
from sim.parallel import run_on_all_cores
from sim.physics.finger import Touch
from sim.physics.run import LEDGER_BOUND
from sim.unit.model import ActionUnit
from tests import evidence
from tests.wide_draws import SHARE, DrawnUnit, draw_touch, draw_unit

WHOLE = 20
"""Every so many units get the full prediction, repetition with it."""
HANGS = 900.0
"""s without a finished unit after which the trials tell where they are and end."""


@dataclasses.dataclass(frozen=True)
class TriedUnit:
    """One unit: how it was drawn, what became of it, and what is wrong with that ("" if nothing)."""

    draw: DrawnUnit
    end: str
    """"refused", or the outcome of the press."""
    touches: tuple[str, ...] = ()
    strokes: tuple[str, ...] = ()
    remainders: tuple[float, ...] = ()
    """Ledger remainder of each stroke that gave numbers."""
    steps: int = 0
    """Of the longest run."""
    wrong: str = ""

    @property
    def reached(self) -> bool:
        """Whether the physics ran."""
        return self.end not in ("refused", "traceback")


def list_not_finite(found: Any, at: str = "") -> Iterator[str]:
    """Places of numbers that are not finite in a record, wherever they lie."""
    if isinstance(found, float | np.floating):
        if not math.isfinite(found):
            yield at
    elif isinstance(found, np.ndarray):
        if found.dtype.kind == "f" and not np.isfinite(found).all():
            yield at
    elif dataclasses.is_dataclass(found) and not isinstance(found, type):
        for field in dataclasses.fields(found):
            yield from list_not_finite(getattr(found, field.name), f"{at}.{field.name}")
    elif isinstance(found, dict):
        for key, value in found.items():
            yield from list_not_finite(value, f"{at}.{key}")
    elif isinstance(found, list | tuple):
        for i, value in enumerate(found):
            yield from list_not_finite(value, f"{at}[{i}]")


def examine_unit(draw: DrawnUnit, unit: ActionUnit, touches: Sequence[Touch], whole: bool) -> TriedUnit:
    """The unit pressed slowly and played; ``whole``: every reading that the bench takes."""
    try:
        rest = settle_at_rest(unit)
    except SimulationError as error:
        return TriedUnit(draw, f"no rest: {error.name}")
    pressed = slow_press.press_slowly(rest)
    weight, curve = slow_press.read_touch_weight(pressed)
    readings: list[Any] = [slow_press.read_settings(pressed), weight, curve]
    ends, remainders, wrong = [], [], []
    runs = [r for r in (pressed.down, pressed.up) if r is not None]
    for touch in touches:
        found, run = strike.play_touch(rest, touch)
        readings.append(found)
        runs.append(run)
        ends.append(found.outcome)
        if not found.outcome:
            wrong.append(f"{touch}: no outcome")
        if found.hammer_speed is not None:
            remainders.append(abs(run.ledger.remainder))
    if whole:
        readings.append(predict(unit))
        if pressed.plays:
            readings += [read_inertia(pressed), compute_friction_budget(pressed), measure_sliding(pressed)]
    bad = [place for r in readings for place in list_not_finite(r, type(r).__name__)]
    if bad:
        wrong.append(f"not finite: {', '.join(bad[:4])}")
    if over_bound := [r for r in remainders if r > LEDGER_BOUND]:
        wrong.append(f"ledger open by {max(over_bound):.3g}")
    steps = max(round(r.end / r.step) for r in runs)
    kinds = tuple(f"{t.kind}, {'struck' if t.struck else 'pressed'}" for t in touches)
    return TriedUnit(draw, pressed.outcome, kinds, tuple(ends), tuple(remainders), steps, "; ".join(wrong))


def try_unit(number: int, seed: int, manner: str = "") -> TriedUnit:
    """One unit, the same for the same number and seed."""
    random = np.random.default_rng([seed, number])
    wanted = draw_unit(manner or str(random.choice(list(SHARE), p=list(SHARE.values()))), random)
    try:
        with np.errstate(divide="raise", invalid="raise", over="raise"):
            return examine_unit(wanted, wanted.unit(), [draw_touch(random), draw_touch(random)], number % WHOLE == 0)
    except InputError as error:
        blank = not error.faults or any(not f.field or not f.allowed for f in error.faults)
        return TriedUnit(wanted, "refused", wrong="a fault without its field or range" if blank else "")
    except Exception:
        return TriedUnit(wanted, "traceback", wrong=traceback.format_exc(limit=-3))


def classify_outcome(outcome: str) -> str:
    """An outcome without its numbers and names of parts."""
    if outcome.startswith(Outcome.SOUNDS) and outcome != Outcome.SOUNDS:
        return "sounds more than once"
    name, _, cause = outcome.partition(": ")
    return f"{name}: {cause.partition(':')[0].partition(' at ')[0]}" if cause else name


def build_rows(found: Sequence[TriedUnit]) -> Iterator[dict[str, Any]]:
    """One row a manner of drawing."""
    for manner in SHARE:
        mine = [t for t in found if t.draw.manner == manner]
        reached = [t for t in mine if t.reached]
        rests = [r for t in reached for r in t.remainders]
        yield {
            "inputs_drawn": manner,
            "units": len(mine),
            "reached_physics": len(reached),
            "play": sum(t.end == Outcome.PLAYS for t in reached),
            "strokes": sum(len(t.strokes) for t in reached),
            "strokes_with_readings": len(rests),
            "worst_ledger_remainder_percent": 100 * max(rests, default=0.0),
            "longest_run_steps": max((t.steps for t in reached), default=0),
            "counterexamples": sum(bool(t.wrong) for t in mine),
        }


def count_outcomes(found: Sequence[TriedUnit]) -> list[dict[str, Any]]:
    """How often each outcome came, of presses and of strokes, and how often each touch was played."""
    told = {
        "slow press": [classify_outcome(t.end) for t in found],
        "stroke": [classify_outcome(s) for t in found for s in t.strokes],
        "touch": [s for t in found for s in t.touches],
    }
    return [{"of": of, "outcome": n, "count": c} for of, all_ in told.items() for n, c in Counter(all_).most_common()]


def main(arguments: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n\n")[0])
    parser.add_argument("--units", type=int, default=3200, help="how many are drawn")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", type=int, help="this one of the seed, with everything told")
    parser.add_argument("--keep", action="store_true", help="write the record")
    args = parser.parse_args(arguments)
    if args.only is not None:
        print(try_unit(args.only, args.seed))
        return 0

    def say(share: float, what: str) -> None:
        faulthandler.dump_traceback_later(HANGS, exit=True)
        if sys.stderr.isatty():
            print(f"\r{share:4.0%} of {args.units} units", end="", file=sys.stderr, flush=True)

    found = run_on_all_cores([partial(try_unit, i, args.seed) for i in range(args.units)], say)
    faulthandler.cancel_dump_traceback_later()
    table = list(build_rows(found))
    for row in table:
        print("  ".join(f"{k} {v if isinstance(v, str | int) else f'{v:.3g}'}" for k, v in row.items()))
    for row in count_outcomes(found):
        print(f"{row['of']:12}{row['count']:6}  {row['outcome']}")
    for number, t in enumerate(found):
        if t.wrong:
            print(f"--only {number}: {t.draw}\n    {t.wrong}")
    if args.keep:
        made = f"python tests/fuzz_trials.py --units {args.units} --seed {args.seed} --keep"
        evidence.write_record(
            "fuzz", "Units drawn over the whole allowed ranges", made, table,
            ledger_bound_percent=100 * LEDGER_BOUND, outcomes=count_outcomes(found),
        )  # fmt: skip
    return 1 if any(t.wrong for t in found) else 0


if __name__ == "__main__":
    raise SystemExit(main())
