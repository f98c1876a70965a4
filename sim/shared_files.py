"""Where the data files stand: inside an installed package, or beside it in a checkout."""

from __future__ import annotations

from pathlib import Path


def find_shared_folder() -> Path:
    """The folder of shared data: ``sim/_shared`` in a wheel, ``shared`` beside ``sim`` in a checkout."""
    package = Path(__file__).resolve().parent
    for folder in (package / "_shared", package.parent / "shared"):
        if folder.is_dir():
            return folder
    raise FileNotFoundError("the package's shared data are missing: install it again")


def find_shared_file(name: str) -> Path:
    """Path of one shared data file."""
    return find_shared_folder() / name
