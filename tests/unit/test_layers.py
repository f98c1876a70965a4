"""The floors of the house: what may import what, and what an import may cost."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

from tests.tiers import try_each

ROOT = Path(__file__).parents[2]
HEAVY = ("matplotlib", "pandas", "pyarrow", "rich", "streamlit")
ENGINE = ("numba", "numpy", "scipy")


def python(code: str, **environment: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-c", code],
        cwd=ROOT,
        env=os.environ | environment,
        capture_output=True,
        text=True,
        timeout=300,
    )


def test_contracts_of_pyproject_hold() -> None:
    """The layers and the banned libraries, as declared for import-linter."""
    from importlinter.cli import lint_imports

    assert lint_imports(config_filename=str(ROOT / "pyproject.toml"), no_cache=True) == 0


@try_each("module", ["sim.regulation.set_up", "sim.bench.predict", "sim.scenario.load", "sim.physics.run"])
def test_engine_loads_no_tables_figures_or_screens(module: str) -> None:
    done = python(f"import sys, {module}; print(*[m for m in {HEAVY} if m in sys.modules])")
    assert done.stdout.strip() == "", done.stderr


def test_import_sim_loads_the_standard_library_alone() -> None:
    """The name alone costs next to nothing: no compiler, so that nothing is compiled, no arrays, tables or screens."""
    done = python(
        "import sys; before = set(sys.modules); import sim\n"
        "print(*sorted({m.partition('.')[0] for m in sys.modules.keys() - before} - set(sys.stdlib_module_names)))"
    )
    assert done.stdout.split() == ["sim"], done.stderr


def test_help_loads_no_compiler_and_no_arrays() -> None:
    heavy = {*HEAVY, *ENGINE} - {"rich"}
    done = python(
        f"import sys; from sim.cli.parser import build_parser; build_parser(); print(*{heavy} & sys.modules.keys())"
    )
    assert done.stdout.strip() == "", done.stderr


def test_loading_a_scenario_compiles_nothing() -> None:
    done = python("import sys, sim; sim.load('concert-grand-natural'); print('numba' in sys.modules)")
    assert done.stdout.strip() == "False", done.stderr


def test_verbs_are_at_most_a_dozen_and_documented() -> None:
    import sim

    assert len(sim.__all__) <= 12
    assert all(getattr(sim, name).__doc__ for name in sim.__all__)


def test_kernel_loads_where_no_cache_may_be_written() -> None:
    """With neither the source's folder nor the user's cache writable, a folder of the process serves."""
    done = python(
        "import os; from numba.core import config; from sim.physics.kernel_loader import prepare_kernel\n"
        "print(prepare_kernel(), os.path.isdir(config.CACHE_DIR))",
        NUMBA_CACHE_LOCATOR_CLASSES="UserProvidedCacheLocator",
        NUMBA_CACHE_DIR="",
    )
    assert done.stdout.split() == ["False", "True"], done.stderr
