"""What a command is, and the ways in which one can end."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from dataclasses import dataclass
from enum import IntEnum


class ExitCode(IntEnum):
    """What the shell is told."""

    FINE = 0
    BAD_INPUT = 2
    CANNOT_PLAY = 3
    INTERRUPTED = 130


@dataclass(frozen=True)
class Command:
    """One command: modules of this package declare theirs in ``COMMANDS``; ``parser.py`` lists the modules."""

    name: str
    summary: str
    add_arguments: Callable[[argparse.ArgumentParser], None]
    run: Callable[[argparse.Namespace], int]
    more: str = ""
    """Sentences after the summary, where a command's own help is asked for."""
    sheet: bool = False
    """Takes what was read at the piano before all else."""
    scenario: bool = True
    """Takes a scenario."""
    settable: bool = True
    """Takes ``--set`` changes."""
