"""This simulator beside its twin in a general engine: ``python tests/twin_trials.py [--keep] [--quick]``.

Three shipped units, rigid and bending shank: a slow press, and three motions of a
led key at three dynamics (tests/twin).  ``--keep`` writes shared/evidence/twin.toml,
``--quick`` takes the demo unit alone.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from functools import partial
from pathlib import Path

import mujoco

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from tests import evidence
from tests.twin import beside
from tests.twin.beside import LED, Row

STOCK = (
    "The engine's own contacts are weak evidence: they give far less than felts, so that hammer speeds differ by up to "
    "a third from the unit as it is; and with surfaces hardened to match, either side moves by up to 6 % with how hard "
    "that is, which was chosen after trying several. With the same laws nothing was chosen."
)


def list_jobs(quick: bool) -> list[Callable[[], Iterator[Row]]]:
    """All that is compared; where the motion is t³ the twin tells how steady it is itself."""
    units, stock = (names[:1] if quick else names for names in (beside.UNITS, beside.STOCK_UNITS))
    out: list[Callable[[], Iterator[Row]]] = []
    for name in units:
        for shank in beside.SHANKS:
            out.append(partial(beside.compare_statics, name, shank))
            out += [partial(beside.compare_stroke, name, shank, led, steady=led.shape == "t³") for led in LED]
    for name in stock:
        out.append(partial(beside.compare_stock_weights, name))
        out += [partial(beside.compare_stock_stroke, name, led) for led in LED]
    return out


def run_job(job: Callable[[], Iterator[Row]]) -> list[Row]:
    return list(job())


def run_jobs(work: Sequence[Callable[[], Iterator[Row]]]) -> list[Row]:
    """Rows of all jobs, in their order; in processes, since the twin's loop is Python's."""
    with ProcessPoolExecutor(min(len(work), os.cpu_count() or 1)) as pool:
        waiting = [pool.submit(run_job, job) for job in work]
        for n, _ in enumerate(as_completed(waiting), 1):
            print(f"\r{n} of {len(work)} comparisons", end="", file=sys.stderr, flush=True)
        print(file=sys.stderr)
        return [line for one in waiting for line in one.result()]


def format_differences(rows: Sequence[Row]) -> Iterator[str]:
    """Largest difference of every quantity, by whose contacts and which shank."""
    groups: dict[tuple[str, str, str], list[Row]] = {}
    for line in rows:
        groups.setdefault((line["contacts"], line["shank"], line["quantity"]), []).append(line)
    for (contacts, shank, quantity), lines in groups.items():
        worst = max(lines, key=lambda r: abs(r["difference"]))
        allowed = worst["tolerance"]
        told = "told beside" if allowed is None else f"allowed {allowed:g}, met {sum(r['met'] for r in lines)}"
        off = f"{worst['difference']:+.4f} {worst['difference_in']}"
        where = f"{worst['unit']}, {worst['touch']}"
        yield f"{contacts} | {shank} | {quantity}: largest {off} ({where}); {told} of {len(lines)}"


def main(arguments: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n\n")[0])
    parser.add_argument("--quick", action="store_true", help="the demo unit alone")
    parser.add_argument("--keep", action="store_true", help="write the record")
    args = parser.parse_args(arguments)
    rows = run_jobs(list_jobs(args.quick))
    print(*format_differences(rows), sep="\n")
    if args.keep and args.quick:
        parser.error("--keep needs all units: leave out --quick")
    if args.keep:
        evidence.write_record(
            "twin", "The same unit in a general-purpose engine", "python tests/twin_trials.py --keep", rows,
            engine=f"MuJoCo {mujoco.__version__}", stock=STOCK,
        )  # fmt: skip
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
