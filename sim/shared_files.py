"""Where the data files stand: inside an installed package, or beside it in a checkout."""

from __future__ import annotations

from pathlib import Path


def find_shared_folder() -> Path:
    """The folder of shared data: ``sim/_shared`` in a wheel, ``shared`` beside ``sim`` in a checkout."""
    if folder := _folder("shared"):
        return folder
    raise FileNotFoundError("the package's shared data are missing: install it again")


def find_scenario_folder() -> Path | None:
    """The folder of shipped scenarios: ``sim/_scenarios`` in a wheel, ``scenarios`` beside ``sim`` in a checkout."""
    return _folder("scenarios")


def find_shared_file(name: str) -> Path:
    """Path of one shared data file."""
    return find_shared_folder() / name


def _folder(name: str) -> Path | None:
    package = Path(__file__).resolve().parent
    return next((f for f in (package / f"_{name}", package.parent / name) if f.is_dir()), None)
