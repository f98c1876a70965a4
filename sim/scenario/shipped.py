"""The scenarios that come with the package."""

from __future__ import annotations

from pathlib import Path

from sim.shared_files import find_scenario_folder


def list_shipped_scenarios() -> dict[str, Path]:
    """Shipped scenarios by name."""
    folder = find_scenario_folder()
    return {path.stem: path for path in sorted(folder.glob("*.toml"))} if folder else {}


def find_scenario(named: str | Path) -> Path:
    """The file that is meant: the path itself where it is a file, else a shipped scenario of that name."""
    path = Path(named)
    try:
        if path.exists():
            return path
    except (OSError, ValueError):
        return path
    plain = {"", ".", "scenarios"}
    return (
        list_shipped_scenarios().get(path.stem, path)
        if path.parent.as_posix() in plain and path.suffix in ("", ".toml")
        else path
    )
