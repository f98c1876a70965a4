"""Step against hammer speed, event times, peak force and ledger: ``python tests/convergence_tables.py [--keep]``.

Every shipped unit, every standard touch, pressed and struck, each against its own
run at the finest step.  The default step is the largest that meets ``RULE`` with
every finger's touch of every unit; what other ways of driving the key come to is
shown beside.  ``--keep`` writes shared/evidence/numerics.toml and costs.toml,
``--quick`` takes two units and the fingers only.
"""

from __future__ import annotations

import argparse
import os
import platform
import sys
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from sim.bench import strike
from sim.bench.predict import list_touches
from sim.bench.rest_pose import settle_at_rest
from sim.parallel import run_on_all_cores
from sim.physics.finger import TOUCH_KINDS, Touch
from sim.physics.run import DEFAULT_STEP
from sim.scenario.load import load
from tests import evidence

ROOT = Path(__file__).resolve().parents[1]
UNITS = ("concert-grand-natural", "concert-grand-sharp", "bass-heavy-hammer", "treble", "damped", "mixed-parts")
QUICK = ("concert-grand-natural", "treble")
STEPS = (100e-6, 80e-6, 60e-6, 40e-6, 20e-6, 10e-6, 5e-6)
FINEST = 1.25e-6
DURATION = 0.35

RULE = {"hammer_speed": 1 / 3, "travel_time": 0.1, "peak_force": 1.0, "ledger_remainder": 0.5}
"""Largest errors allowed: % of the hammer speed, ms, % of the peak force, % of the finger's work.

A third of what the independent twin has to agree to (1 %, 0.3 ms); 1 % of the sharpest peak that is read; the bound
of the ledger (readings.md)."""


@dataclass(frozen=True)
class Quantity:
    name: str
    unit: str
    relative: bool
    title: str


QUANTITIES = (
    Quantity("hammer_speed", "m/s", True, "hammer speed"),
    Quantity("travel_time", "ms", False, "travel time"),
    Quantity("string_contact", "ms", False, "crown touches string"),
    Quantity("escape", "ms", False, "escape"),
    Quantity("key_bottom", "ms", False, "key bottom"),
    Quantity("peak_force", "N", True, "peak force on the string"),
    Quantity("ledger_remainder", "%", False, "ledger remainder"),
)


def read_stroke(unit: str, touch: Touch, step: float) -> dict[str, float | None]:
    """The quantities of one stroke, each in its unit; None where it did not come about."""
    rest = settle_at_rest(load(ROOT / "scenarios" / f"{unit}.toml"), step)
    found, _ = strike.play_touch(rest, touch, DURATION)
    times = {n: found.events.get(n) for n in ("string_contact", "escape", "key_bottom")}
    return {
        "hammer_speed": found.hammer_speed,
        "travel_time": _ms(found.travel_time),
        **{n: _ms(t) for n, t in times.items()},
        "peak_force": found.peak_force,
        "ledger_remainder": None if found.ledger_remainder is None else 100 * found.ledger_remainder,
    }


def _ms(seconds: float | None) -> float | None:
    return None if seconds is None else 1e3 * seconds


@dataclass(frozen=True)
class Convergence:
    """One quantity of one stroke at every step, with its value at the finest."""

    unit: str
    touch: Touch
    quantity: Quantity
    finest: float | None
    values: tuple[float | None, ...]

    @property
    def errors(self) -> tuple[float | None, ...]:
        """In % where relative, else in the quantity's unit; the ledger's remainder is an error itself."""
        if self.quantity.name == "ledger_remainder":
            return tuple(None if v is None else abs(v) for v in self.values)
        out = []
        for value in self.values:
            if value is None or self.finest is None:
                out.append(None if value is self.finest else float("inf"))
            else:
                off = abs(value - self.finest)
                out.append(100 * off / abs(self.finest) if self.quantity.relative else off)
        return tuple(out)


def _job(unit: str, touch: Touch) -> list[dict[str, float | None]]:
    return [read_stroke(unit, touch, step) for step in (*STEPS, FINEST)]


def compute_convergence(units: Sequence[str], played: Sequence[Touch]) -> Iterator[Convergence]:
    """All quantities of all strokes."""
    pairs = [(u, t) for u in units for t in played]
    jobs = [partial(_job, u, t) for u, t in pairs]

    def say(share: float, what: str) -> None:
        print(f"\r{share:4.0%} of {len(jobs)} strokes", end="", file=sys.stderr, flush=True)

    found = run_on_all_cores(jobs, say)
    print(file=sys.stderr)
    for (unit, touch), at_steps in zip(pairs, found, strict=True):
        for q in QUANTITIES:
            *values, finest = (row[q.name] for row in at_steps)
            yield Convergence(unit, touch, q, finest, tuple(values))


def find_largest_errors(tables: Sequence[Convergence], name: str) -> list[float]:
    """Largest error of a quantity at each step; none where it was not read at all."""
    rows = [c.errors for c in tables if c.quantity.name == name]
    return [max((e for e in column if e is not None), default=0.0) for column in zip(*rows, strict=True)] or [
        0.0 for _ in STEPS
    ]


def find_step_by_rule(tables: Sequence[Convergence]) -> float:
    """Largest step that keeps the rule with every finger's touch (s); ValueError where none does."""
    fingers = [c for c in tables if c.touch.kind == "finger"]
    for i, step in enumerate(STEPS):
        if all(find_largest_errors(fingers, name)[i] <= allowed for name, allowed in RULE.items()):
            return step
    raise ValueError("no step keeps the rule")


def build_rows(tables: Sequence[Convergence]) -> Iterator[dict[str, Any]]:
    """One row a stroke and quantity: the finest value, the error at each step (% where relative).

    Of ways of driving that are not a finger's only the hammer's speed and the ledger.
    """
    for c in tables:
        if c.touch.kind != "finger" and c.quantity.name not in ("hammer_speed", "ledger_remainder"):
            continue
        if c.finest is None and all(v is None for v in c.values):
            continue
        errors = {
            f"error_{round(s * 1e6)}": None if e is None else float(f"{e:.2g}")
            for s, e in zip(STEPS, c.errors, strict=True)
        }
        yield {
            "unit": c.unit,
            "touch": f"{c.touch.kind}, {c.touch.name}, {'struck' if c.touch.struck else 'pressed'}",
            "quantity": c.quantity.title,
            "unit_of": c.quantity.unit,
            "error_in": "%" if c.quantity.relative else c.quantity.unit,
            "finest": c.finest,
            **errors,
        }


COSTS = (
    {
        "solver": "non-smooth, set-valued friction (Moreau-Jean), seven bodies",
        "told": "a few hundred times faster than those reported before it; no ratio to real time read",
        "machine": "not read",
        "source": "Thorin, Boutillon, Lozada & Merlhiot, Meccanica 52 (2017) 2837, abstract",
        "tag": "read",
    },
    {
        "solver": "multibody model of five bodies with force laws, in a haptic key",
        "told": "ran in real time, so a ratio of 1 or more",
        "machine": "the key's own controller",
        "source": "Timmermans, Dehez & Fisette, Machines 8 (2020) 76, abstract",
        "tag": "read",
    },
)


def measure_cost() -> dict[str, Any]:
    """Simulated over elapsed time of a 300 ms stroke of the demo unit at the default step, least of ten."""
    rest = settle_at_rest(load(ROOT / "scenarios" / "concert-grand-natural.toml"))
    touch = list_touches()[2]
    best = float("inf")
    for _ in range(10):
        start = time.perf_counter()
        strike.run_blow(rest, touch, 0.3)
        best = min(best, time.perf_counter() - start)
    return {
        "solver": f"this one, ten coordinates and a string, step {DEFAULT_STEP * 1e6:.0f} µs, with its trace",
        "told": f"{0.3 / best:.0f} times faster than real time",
        "machine": f"one core of {os.cpu_count()}, {platform.machine()}, shared",
        "source": "measured with this command",
        "tag": "own",
    }


def main(arguments: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n\n")[0])
    parser.add_argument("--quick", action="store_true", help="two units, fingers only")
    parser.add_argument("--keep", action="store_true", help="write the records")
    args = parser.parse_args(arguments)
    kinds = ("finger",) if args.quick else TOUCH_KINDS
    played = [t for kind in kinds for struck in (False, True) for t in list_touches(kind, struck)]
    tables = list(compute_convergence(QUICK if args.quick else UNITS, played))
    print("largest error over units and touches of the finger; of all ways of driving")
    print("step µs    " + "".join(f"{round(s * 1e6):>9}" for s in STEPS))
    fingers = [c for c in tables if c.touch.kind == "finger"]
    for q in QUANTITIES:
        for group in (fingers, tables):
            shown = "".join(f"{e:9.4f}" for e in find_largest_errors(group, q.name))
            print(f"{q.name[:16]:16}{shown}  {'%' if q.relative else q.unit}")
    step = find_step_by_rule(tables)
    print(f"largest step that keeps the rule {RULE}: {step * 1e6:.0f} µs; default {DEFAULT_STEP * 1e6:.0f} µs")
    cost = measure_cost()
    print(f"cost: {cost['told']}")
    if args.keep:
        made = "python tests/convergence_tables.py --keep"
        rule = ", ".join(f"{n.replace('_', ' ')} {a:.3g}" for n, a in RULE.items())
        evidence.write_record(
            "numerics", "Convergence with the step", made, list(build_rows(tables)),
            finest_us=FINEST * 1e6, rule=f"largest error (%, ms, %, %): {rule}", step_us=step * 1e6,
            default_step_us=DEFAULT_STEP * 1e6,
        )  # fmt: skip
        evidence.write_record("costs", "Cost, as ratio to real time", made, [cost, *COSTS])
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
