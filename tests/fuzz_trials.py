"""Units drawn wide, played every way: ``python tests/fuzz_trials.py [--units 2400] [--seed 1] [--keep]``.

Every input is drawn over the whole range that its field allows (the ranges are read
from the fields), one, a few or all at once, from a shipped unit.  A unit that the
files' own checks refuse is counted; one that reaches the physics has to end in
readings or in a named outcome: no number that is not finite, no traceback, no hang,
no stroke that returns numbers with its energy unaccounted for.
"""

from __future__ import annotations

import argparse
import dataclasses
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
from sim.bench.predict import predict, touches
from sim.bench.rest import at_rest
from sim.errors import InputError, SimulationError
from sim.physics.finger import KINDS, Touch
from sim.physics.run import LEDGER_BOUND
from sim.unit.fields import fields
from sim.unit.given import Kind
from sim.unit.model import ActionUnit
from sim.unit.scenario import load
from sim.workshop.cores import on_all_cores
from tests import evidence

ROOT = Path(__file__).resolve().parents[1]
UNITS = ("concert-grand-natural", "concert-grand-sharp", "bass-heavy-hammer", "treble", "damped")
MANNERS = {"one": (1, 1), "some": (2, 6), "all": (10_000, 10_000)}
"""How many inputs are drawn anew."""
SHARE = {"one": 0.6, "some": 0.35, "all": 0.05}
WHOLE = 20
"""Every so many units get the full prediction, repetition with it."""


@dataclasses.dataclass(frozen=True)
class Tried:
    """One unit: how it was drawn, what became of it, and what is wrong with that ("" if nothing)."""

    manner: str
    scenario: str
    drawn: dict[str, str]
    end: str
    """"refused", or the outcome of the press."""
    strokes: tuple[str, ...] = ()
    remainders: tuple[float, ...] = ()
    """Ledger remainder of each stroke that gave numbers."""
    wrong: str = ""


def anywhere(kind: Kind, random: np.random.Generator) -> str:
    """A value within the field's range, its ends included now and then; in its logarithm where it spans decades."""
    low, high = kind.minimum, kind.maximum
    way = random.uniform()
    if way < 0.1:
        value = low if way < 0.05 else high
    elif low > 0 and high / low > 50:
        value = math.exp(random.uniform(math.log(low), math.log(high)))
    else:
        value = random.uniform(low, high)
    return f"{value!r} {kind.unit}".strip()


def drawn(manner: str, scenario: str, random: np.random.Generator) -> dict[str, str]:
    """Overrides of so many fields, picked at random."""
    names = [f for f in fields() if f.kind is not None]
    least, most = MANNERS[manner]
    count = min(len(names), int(random.integers(least, most + 1)))
    return {names[i].path: anywhere(names[i].kind, random) for i in random.permutation(len(names))[:count]}  # type: ignore[arg-type]


def played(random: np.random.Generator) -> Touch:
    """Some way of driving, from softer than the softest to louder than the loudest standard touch."""
    kind, struck = str(random.choice(KINDS)), bool(random.integers(2))
    known = sorted(t.strength for t in touches(kind, struck))
    strength = math.exp(random.uniform(math.log(0.5 * known[0]), math.log(2 * known[-1])))
    return Touch("fuzz", strength, struck, kind)


def not_finite(found: Any, at: str = "") -> Iterator[str]:
    """Places of numbers that are not finite in a record, wherever they lie."""
    if isinstance(found, float | np.floating):
        if not math.isfinite(found):
            yield at
    elif dataclasses.is_dataclass(found) and not isinstance(found, type):
        for field in dataclasses.fields(found):
            yield from not_finite(getattr(found, field.name), f"{at}.{field.name}")
    elif isinstance(found, dict):
        for key, value in found.items():
            yield from not_finite(value, f"{at}.{key}")
    elif isinstance(found, list | tuple):
        for i, value in enumerate(found):
            yield from not_finite(value, f"{at}[{i}]")


def examined(unit: ActionUnit, played_: Sequence[Touch], whole: bool) -> tuple[str, list[str], list[float], str]:
    """Outcome of the press, outcomes of the strokes, their remainders, and what is wrong."""
    wrong: list[str] = []
    try:
        rest = at_rest(unit)
    except SimulationError as error:
        return f"no rest: {error.name}", [], [], ""
    pressed = slow_press.press(rest)
    readings: list[Any] = [slow_press.settings(pressed), slow_press.touch_weight(pressed)[0]]
    ends, remainders = [], []
    for touch in played_:
        found, run = strike.play(rest, touch)
        readings.append(found)
        ends.append(found.outcome)
        if not found.outcome:
            wrong.append(f"{touch}: no outcome")
        if found.hammer_speed is not None:
            remainders.append(abs(run.ledger.remainder))
    if whole:
        readings.append(predict(unit))
    bad = [place for r in readings for place in not_finite(r, type(r).__name__)]
    if bad:
        wrong.append(f"not finite: {', '.join(bad[:4])}")
    return pressed.outcome, ends, remainders, "; ".join(wrong)


def tried(number: int, seed: int, manner: str = "") -> Tried:
    """One unit, the same for the same number and seed."""
    random = np.random.default_rng([seed, number])
    manner = manner or str(random.choice(list(SHARE), p=list(SHARE.values())))
    scenario = str(random.choice(UNITS))
    over = drawn(manner, scenario, random)
    try:
        unit = load(ROOT / "scenarios" / f"{scenario}.toml", over)
    except InputError as error:
        blank = not error.faults or any(not f.field or not f.allowed for f in error.faults)
        return Tried(manner, scenario, over, "refused", wrong="a fault without its field or range" if blank else "")
    except Exception:
        return Tried(manner, scenario, over, "traceback", wrong=traceback.format_exc(limit=-3))
    try:
        end, strokes, remainders, wrong = examined(unit, [played(random), played(random)], number % WHOLE == 0)
    except Exception:
        return Tried(manner, scenario, over, "traceback", wrong=traceback.format_exc(limit=-3))
    over_bound = [r for r in remainders if r > LEDGER_BOUND]
    if over_bound:
        wrong = f"ledger open by {max(over_bound):.3g}; {wrong}"
    return Tried(manner, scenario, over, end, tuple(strokes), tuple(remainders), wrong)


def family(outcome: str) -> str:
    """An outcome without its numbers and names of parts."""
    return outcome.split(":")[0].split(" at ")[0]


def rows(found: Sequence[Tried]) -> Iterator[dict[str, Any]]:
    """One row a manner of drawing."""
    for manner in MANNERS:
        mine = [t for t in found if t.manner == manner]
        reached = [t for t in mine if t.end not in ("refused", "traceback")]
        strokes = [s for t in reached for s in t.strokes]
        rests = [r for t in reached for r in t.remainders]
        yield {
            "inputs_drawn": manner,
            "units": len(mine),
            "reached_physics": len(reached),
            "play": sum(t.end == "plays" for t in reached),
            "strokes": len(strokes),
            "strokes_with_readings": len(rests),
            "worst_ledger_remainder_percent": 100 * max(rests, default=0.0),
            "counterexamples": sum(bool(t.wrong) for t in mine),
        }


def outcomes(found: Sequence[Tried]) -> list[dict[str, Any]]:
    """How often each outcome came, of presses and of strokes."""
    presses = Counter(family(t.end) for t in found)
    strokes = Counter(family(s) for t in found for s in t.strokes)
    return [{"of": "slow press", "outcome": n, "count": c} for n, c in presses.most_common()] + [
        {"of": "stroke", "outcome": n, "count": c} for n, c in strokes.most_common()
    ]


def main(arguments: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n\n")[0])
    parser.add_argument("--units", type=int, default=2400, help="how many are drawn")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", type=int, help="this one of the seed, with everything told")
    parser.add_argument("--keep", action="store_true", help="write the record")
    args = parser.parse_args(arguments)
    if args.only is not None:
        print(tried(args.only, args.seed))
        return 0

    def say(share: float, what: str) -> None:
        print(f"\r{share:4.0%} of {args.units} units", end="", file=sys.stderr, flush=True)

    found = on_all_cores([partial(tried, i, args.seed) for i in range(args.units)], say)
    print(file=sys.stderr)
    table = list(rows(found))
    for row in table:
        print("  ".join(f"{k} {v if isinstance(v, str | int) else f'{v:.3g}'}" for k, v in row.items()))
    for row in outcomes(found):
        print(f"{row['of']:12}{row['count']:6}  {row['outcome']}")
    for number, t in enumerate(found):
        if t.wrong:
            print(f"--only {number}: {t.manner} {t.scenario} {t.drawn if len(t.drawn) < 8 else ''}\n    {t.wrong}")
    if args.keep:
        made = f"python tests/fuzz_trials.py --units {args.units} --seed {args.seed} --keep"
        evidence.keep(
            "fuzz", "Units drawn over the whole allowed ranges", made, table,
            ledger_bound_percent=100 * LEDGER_BOUND, outcomes=outcomes(found),
        )  # fmt: skip
    return 1 if any(t.wrong for t in found) else 0


if __name__ == "__main__":
    raise SystemExit(main())
