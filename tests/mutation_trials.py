"""Every small error of tests/mutants.py has to be noticed: ``python tests/mutation_trials.py [NAME ...] [--keep]``.

Each is made in a copy of the tree, the kernel written anew, and the physics tests run until
one fails, first those of the fast tier, then those of the full one; the record says which tier
noticed.  A mutant that no test notices is listed: it asks for a test.
``--keep`` writes shared/evidence/mutation.toml, and goes on where an earlier run
of the same version was stopped.
"""

from __future__ import annotations

import argparse
import hashlib
import os
import re
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from itertools import product
from pathlib import Path
from queue import SimpleQueue
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from sim.fingerprint import MECHANICS_PACKAGES, compute_version
from tests import evidence
from tests.mutants import MUTANTS, Mutant

ROOT = Path(__file__).resolve().parents[1]
PARTS = ("sim", "tests", "shared", "scenarios", "pyproject.toml", "README.md")
FIRST = (
    "test_equations_symbolic", "test_gaps", "test_reference", "test_shank", "test_string_and_felt", "test_joints",
    "test_records", "test_conservation", "test_convergence", "test_smooth_limit", "test_general_engine",
    "test_outcomes", "test_cause_and_effect",
)  # fmt: skip
"""Tests that look at the physics most closely, run before the others of their tier."""
TIERS = {"fast": "not full", "full": "full"}
ABOUT_MUTANTS = ("tests/physics/test_wide.py",)
"""Tests that look for the mutants' own text, and would notice any."""
MADE = "python tests/mutation_trials.py --keep"


def apply_mutant(mutant: Mutant, sim: Path) -> None:
    """Make the error in a copy of the folder ``sim``; ValueError where its text does not stand exactly once."""
    file = sim / mutant.file
    text = file.read_text(encoding="utf-8")
    if text.count(mutant.old) != 1:
        raise ValueError(f"{mutant.name}: its text stands {text.count(mutant.old)} times in {mutant.file}")
    file.write_text(text.replace(mutant.old, mutant.new), encoding="utf-8")


def copy_tree(tree: Path) -> Path:
    """What the physics tests need, in another folder."""
    for part in PARTS:
        source = ROOT / part
        if source.is_dir():
            shutil.copytree(source, tree / part, ignore=shutil.ignore_patterns("__pycache__", "app", "pictures"))
        else:
            shutil.copy(source, tree / part)
    return tree


def find_noticing_test(mutant: Mutant, tree: Path) -> tuple[str, str]:
    """The first test that fails with it in ``tree``, and its tier, or two ""; the tree is left as it was."""
    file = tree / "sim" / mutant.file
    sound = file.read_text(encoding="utf-8")
    apply_mutant(mutant, tree / "sim")
    try:
        return _find_failure(tree)
    finally:
        file.write_text(sound, encoding="utf-8")


def _find_failure(tree: Path) -> tuple[str, str]:
    made = _python(tree, "-m", "sim.physics.generate_step")
    if made.returncode:
        return "the kernel cannot be written", "fast"
    first = [f"tests/physics/{name}.py" for name in FIRST]
    others = ["tests/physics", *(f"--ignore={f}" for f in (*first, *ABOUT_MUTANTS))]
    for (tier, marked), files in product(TIERS.items(), (first, others)):
        failed = _run_tests(tree, "-m", marked, *files)
        if failed:
            return failed, tier
    return "", ""


def _run_tests(tree: Path, *asked: str) -> str:
    """The first of these tests that fails, or ""."""
    ran = _python(tree, "-m", "pytest", "-x", "-q", "-p", "no:cacheprovider", "-p", "no:xdist", *asked)
    if ran.returncode not in (0, 1, 2):  # nothing was tried: that is no test that notices
        raise RuntimeError(f"the tests do not run: {ran.stdout[-400:]}{ran.stderr[-400:]}")
    if ran.returncode == 2:
        found = re.search(r"^(?:ERROR|E  ) .*", ran.stdout, re.MULTILINE)
        return f"the tests cannot be read: {found[0] if found else ran.stdout[-200:]}"
    failed = re.search(r"^(?:FAILED|ERROR) tests/physics/(.+?)(?: - |$)", ran.stdout, re.MULTILINE)
    return "" if ran.returncode == 0 else failed[1] if failed else "a test"


def _python(tree: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    """A run in the tree, the compiled kernel kept by its text: most mutants outside the generators share one."""
    kernel = tree / "sim" / "physics" / "kernel.py"
    os.utime(kernel, (0, 0))
    cache = tree / "cache" / hashlib.sha256(kernel.read_bytes()).hexdigest()[:12]
    env = os.environ | {"PYTHONPATH": str(tree), "NUMBA_CACHE_DIR": str(cache)}
    return subprocess.run([sys.executable, *arguments], cwd=tree, env=env, capture_output=True, text=True)


def load_done() -> dict[str, tuple[str, str]]:
    """What an earlier run of this version noticed, and in which tier, by mutant; the others are tried again."""
    try:
        record = evidence.load_record("mutation")
    except FileNotFoundError:
        return {}
    if record["version"] != compute_version(MECHANICS_PACKAGES):
        return {}
    return {r["name"]: (r["caught_by"], r["tier"]) for r in record["row"] if r["met"] and "tier" in r}


def build_rows(found: dict[str, tuple[str, str]]) -> list[dict[str, Any]]:
    out = []
    for m in MUTANTS:
        if m.name in found:
            by, tier = found[m.name]
            out.append(
                {"name": m.name, "where": m.file, "what": m.what, "caught_by": by, "tier": tier, "met": bool(by)}
            )
    return out


def main(arguments: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n\n")[0])
    parser.add_argument("names", nargs="*", metavar="NAME", help="only these")
    parser.add_argument("--keep", action="store_true", help="write the record, one mutant after the other")
    args = parser.parse_args(arguments)
    unknown = set(args.names) - {m.name for m in MUTANTS}
    if unknown:
        parser.error(f"no such mutant: {', '.join(sorted(unknown))}")
    found = load_done() if args.keep and not args.names else {}
    left = [m for m in MUTANTS if m.name not in found and (not args.names or m.name in args.names)]
    workers = min(os.cpu_count() or 1, len(left)) or 1
    with tempfile.TemporaryDirectory() as folder, ThreadPoolExecutor(workers) as pool:
        trees: SimpleQueue[Path] = SimpleQueue()
        for number in range(workers):
            trees.put(copy_tree(Path(folder, str(number))))

        def one(mutant: Mutant) -> tuple[str, str]:
            tree = trees.get()
            try:
                return find_noticing_test(mutant, tree)
            finally:
                trees.put(tree)

        for mutant, caught in zip(left, pool.map(one, left), strict=True):
            found[mutant.name] = caught
            print(
                f"{mutant.name:18}{': '.join(caught[::-1]) if caught[0] else 'NOT NOTICED'}  ({mutant.what})",
                flush=True,
            )
            if args.keep and not args.names:
                evidence.write_record(
                    "mutation", "Deliberate errors in the physics, and the test that notices", MADE, build_rows(found)
                )
    missed = [m.name for m in left if not found[m.name][0]]
    print(f"{len(left) - len(missed)} of {len(left)} noticed" + (f"; not: {', '.join(missed)}" if missed else ""))
    return 1 if missed else 0


if __name__ == "__main__":
    raise SystemExit(main())
