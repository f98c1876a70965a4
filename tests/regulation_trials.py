"""Trials of virtual regulation: ``python tests/regulation_trials.py [--reachable 500] [--unreachable 200] [--seed 1]``.

Reachable targets are the readings of a unit whose screws were set at random; the
regulation starts from another unit, detuned at random, and must meet them.
Unreachable ones are such targets with one of them moved to where it cannot be: a
dip that ends before the jack can escape, an aftertouch that the others do not
leave, a spring rise beyond the string.  Both kinds must be told apart.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from sim.errors import SimulationError
from sim.regulation.regulate import Regulation, regulate
from sim.regulation.screws import SCREWS
from sim.regulation.targets import read_all
from sim.scenario.load import load
from sim.unit.model import ActionUnit

DEMO = Path(__file__).resolve().parents[1] / "scenarios" / "concert-grand-natural.toml"
NAMES = (
    "blow", "let_off", "drop", "dip", "checking_distance", "spring_rise", "lever_height", "jack_address",
    "balance_weight",
)  # fmt: skip
SPREAD = {
    "blow": (-2.4e-4, 2.4e-4), "let_off": (-1.5e-4, 1.5e-4), "drop": (-2e-4, 2e-4), "dip": (-3e-4, 6e-4),
    "checking_distance": (-4e-4, 3e-4), "spring_rise": (-5e-4, 2e-3), "lever_height": (-4e-3, 4e-3),
    "jack_address": (-0.01, 0.01), "balance_weight": (-5e-3, 5e-3),
}  # fmt: skip
"""Moves of each screw from the healthy unit (m, rad, N·m, kg): the stated ranges of the reachable targets."""
DETUNED = {
    "blow": 8e-4, "let_off": 1.2e-3, "drop": 1.2e-3, "dip": 1.2e-3, "checking_distance": 1e-3, "spring_rise": 4e-3,
    "lever_height": 0.02, "jack_address": 0.03, "balance_weight": 5e-3,
}  # fmt: skip


def draw_reachable(unit: ActionUnit, rng: np.random.Generator) -> dict[str, float]:
    """Readings of a unit with its screws somewhere: targets that can be met."""
    while True:
        u = unit
        for name, (low, high) in SPREAD.items():
            u = SCREWS[name].move(u, float(rng.uniform(low, high)))
        try:
            got = read_all(u, dict.fromkeys(NAMES, 0.0))
        except SimulationError:
            continue
        found = {n: got.get(n) for n in NAMES}
        values = {n: float(v) for n, v in found.items() if v is not None}
        if len(values) == len(NAMES) and 0.5e-3 < values["spring_rise"] < 9e-3 and values["let_off"] > 0.5e-3:
            return values | {"aftertouch": float(got["aftertouch"] or 0.0)}


def detune_unit(unit: ActionUnit, rng: np.random.Generator) -> ActionUnit:
    for name, most in DETUNED.items():
        unit = SCREWS[name].move(unit, float(rng.uniform(-most, most)))
    return unit


def make_unreachable(targets: dict[str, float], rng: np.random.Generator) -> dict[str, float]:
    """The same targets with one of them out of reach."""
    kind = int(rng.integers(3))
    out = {n: targets[n] for n in NAMES}
    if kind == 0:  # the key lands before the end of let-off
        out["dip"] = targets["dip"] - targets["aftertouch"] - float(rng.uniform(0.5e-3, 2e-3))
    elif kind == 1:  # blow, dip and let-off leave another aftertouch
        out["aftertouch"] = targets["aftertouch"] + float(rng.choice([-1, 1]) * rng.uniform(0.2e-3, 0.6e-3))
    else:  # the hammer would have to rise through the string
        out["spring_rise"] = targets["checking_distance"] + float(rng.uniform(1e-3, 5e-3))
    return out


def run_trial(unit: ActionUnit, rng: np.random.Generator, can: bool) -> tuple[dict[str, float], Regulation]:
    targets = draw_reachable(unit, rng)
    wanted = {n: targets[n] for n in NAMES} if can else make_unreachable(targets, rng)
    return wanted, regulate(detune_unit(unit, rng), wanted)


def format_done(done: Regulation) -> str:
    return "; ".join(
        f"{m.target} {m.asked * 1e3:.2f} -> {m.reached and round(m.reached * 1e3, 2)}" for m in done.misses
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--reachable", type=int, default=500)
    parser.add_argument("--unreachable", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    unit, rng = load(DEMO), np.random.default_rng(options.seed)
    for can, count in ((True, options.reachable), (False, options.unreachable)):
        right = 0
        for i in range(count):
            wanted, done = run_trial(unit, rng, can)
            right += done.met == can
            if done.met != can:
                print(f"{'reachable' if can else 'unreachable'} {i}: {wanted} {format_done(done)}")
        print(f"{'reachable met' if can else 'unreachable refused'}: {right} of {count}", flush=True)


if __name__ == "__main__":
    main()
