"""Getting the compiled kernel ready: is it compiled already, and where its cache goes."""

from __future__ import annotations

import atexit
import importlib
import shutil
import tempfile
from types import ModuleType
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    kernel: ModuleType
    """``from sim.physics.ready import kernel`` imports it wherever its cache may go (see ``prepare``)."""

COMPILED = ("stroke", "energy", "gaps")
"""Functions of the kernel that are compiled on first use and cached."""


def prepare() -> bool:
    """Import the kernel; whether this machine holds it compiled, so that the first call will not have to.

    The cache lies beside the source, or in the user's cache folder where that
    is read-only.  Where neither may be written, a folder for this process alone
    serves: then every process compiles anew.
    """
    kernel = _imported()
    return all(_is_cached(getattr(kernel, name, None)) for name in COMPILED)


def __getattr__(name: str) -> ModuleType:
    if name == "kernel":
        return _imported()
    raise AttributeError(name)


def _imported() -> ModuleType:
    try:
        return importlib.import_module("sim.physics.kernel")
    except RuntimeError as error:
        if "cache" not in str(error):
            raise
        return _with_own_cache()


def _with_own_cache() -> ModuleType:
    from numba.core import config

    folder = tempfile.mkdtemp(prefix="action-unit-")
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    config.CACHE_DIR = folder  # type: ignore[attr-defined]
    return importlib.import_module("sim.physics.kernel")


def _is_cached(function: object) -> bool:
    """Whether a compiled version of the function, as its source stands, lies in the cache.

    Asks numba's cache index, which has no public reading; where it cannot be
    asked, or nothing is compiled at all, the answer is yes: nothing to announce.
    """
    try:
        return bool(function._cache._cache_file._load_index())  # type: ignore[attr-defined]
    except (AttributeError, OSError, ValueError, EOFError):
        return True
