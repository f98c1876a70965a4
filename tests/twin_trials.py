"""A unit in a general-purpose engine beside the same unit here: ``python tests/twin_trials.py [--keep]``.

Two shipped units, rigid and bending shank, three dynamics of three prescribed motions and
a slow press; with the same laws of felt, leather and string (worked out anew in tests/twin),
and for one unit with the engine's own contacts.  ``--keep`` writes shared/evidence/twin.toml.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from itertools import product
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from sim.unit.scenario import load
from tests import evidence
from tests.twin.compare import MOTIONS, TOUCHES, Compared, press, strike, with_shank
from tests.twin.engine import Twin

ROOT = Path(__file__).resolve().parents[1]
UNITS = ("concert-grand-natural", "bass-heavy-hammer")
STEP, PRESS_STEP = 20e-6, 40e-6
SLOW = 6e-3
"""Speed of the slow press, m/s."""


def strokes(name: str, bends: bool, stock: bool) -> list[Compared]:
    u = with_shank(load(ROOT / "scenarios" / f"{name}.toml"), bends)
    twin = Twin(u, STEP, stock=stock)
    return [c for motion, touch in product(MOTIONS, TOUCHES) for c in strike(name, u, twin, motion, touch)]


def pressed(name: str, bends: bool, stock: bool) -> list[Compared]:
    u = with_shank(load(ROOT / "scenarios" / f"{name}.toml"), bends)
    return press(name, u, Twin(u, PRESS_STEP, stock=stock), SLOW)


def main(arguments: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n\n")[0])
    parser.add_argument("--keep", action="store_true", help="write the record")
    args = parser.parse_args(arguments)
    kinds = [(name, bends, False) for name in UNITS for bends in (False, True)] + [(UNITS[0], False, True)]
    jobs = [(what, kind) for kind in kinds for what in (pressed, strokes)]
    found: dict[int, list[Compared]] = {}
    with ProcessPoolExecutor(os.cpu_count()) as pool:
        waiting = {pool.submit(what, *kind): i for i, (what, kind) in enumerate(jobs)}
        for done in as_completed(waiting):
            found[waiting[done]] = done.result()
            print(f"\r{len(found)} of {len(jobs)} runs", end="", file=sys.stderr, flush=True)
    print(file=sys.stderr)
    compared = [c for i in sorted(found) for c in found[i]]
    for c in compared:
        allowed = "" if c.tolerance is None else f"of {c.tolerance:g}"
        print(
            f"{c.unit:22}{c.shank:8}{c.contacts:10}{c.touch:22}{c.quantity:13}"
            f"{c.ours:10.4f}{c.theirs:10.4f} {c.unit_of:4}"
            f"{c.difference:+9.4f} {allowed:8}{'' if c.met else 'NOT MET'}"
        )
    if args.keep:
        evidence.keep(
            "twin", "The same unit in a general-purpose engine", "python tests/twin_trials.py --keep",
            [c.row() for c in compared], engine="MuJoCo (Todorov, Erez & Tassa, IROS 2012)", step_us=STEP * 1e6,
        )  # fmt: skip
    return 0 if all(c.met for c in compared if c.contacts != "stock") else 1


if __name__ == "__main__":
    raise SystemExit(main())
