"""Modules that take long to load, loaded where a test first uses them: collecting the tests waits for none of them."""

from __future__ import annotations

from importlib import import_module
from typing import Any


class Lazily:
    """``mujoco = Lazily("mujoco")``: stands for the module, whose names are looked up as they are used."""

    def __init__(self, module: str) -> None:
        self._module = module

    def __getattr__(self, name: str) -> Any:
        if name.startswith("_"):  # pytest asks every object of a test's module whether it is a fixture
            raise AttributeError(name)
        return getattr(import_module(self._module), name)
