"""Getting the compiled kernel ready: is it compiled already, and where its cache goes."""

from __future__ import annotations

import atexit
import importlib
import shutil
import tempfile
from collections.abc import Callable
from contextlib import suppress
from types import ModuleType
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    kernel: ModuleType
    """``from sim.physics.kernel_loader import kernel`` finds it wherever its cache may go (see ``prepare_kernel``)."""

COMPILED = ("stroke", "energy", "gaps")
"""Functions of the kernel that are compiled on first use and cached."""


def prepare_kernel() -> bool:
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
        kernel = importlib.import_module("sim.physics.kernel")
    except RuntimeError as error:
        if "cache" not in str(error):
            raise
        kernel = _with_own_cache()
    for name in COMPILED:
        _run_uncached_where_full(getattr(kernel, name, None))
    return kernel


def _run_uncached_where_full(function: object) -> None:
    """Where the compiled function cannot be kept (a full disk), it serves this process all the same.

    numba lets the failure of keeping it end the call; there is no public way round it.
    """
    cache = getattr(function, "_cache", None)
    save = getattr(cache, "save_overload", None)
    if cache is None or save is None or isinstance(save, _Forgiving):
        return
    cache.save_overload = _Forgiving(save)


class _Forgiving:
    """A call whose OSError is passed over."""

    def __init__(self, call: Callable[..., object]) -> None:
        self.call = call

    def __call__(self, *args: object) -> None:
        with suppress(OSError):
            self.call(*args)


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
