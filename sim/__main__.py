"""``python -m sim``: parse, call, print."""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from contextlib import suppress

BAD_INPUT = 2


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; returns its exit code."""
    try:
        return _run(argv)
    except KeyboardInterrupt:
        print("interrupted; nothing is left half done", file=sys.stderr)
        return 130
    except BrokenPipeError:
        _drop_output()
        return 0
    except OSError as error:
        _drop_output()
        print(f"{error.filename or 'the output'}: {(error.strerror or str(error)).lower()}", file=sys.stderr)
        return BAD_INPUT


def _drop_output() -> None:
    """What is still buffered has nowhere to go: the reader of the pipe has gone, or the disk is full."""
    with suppress(OSError, ValueError):  # an output that is no file has nothing buffered
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _run(argv: Sequence[str] | None) -> int:
    from sim.cli.parser import COMMANDS, build_parser

    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(encoding="utf-8" if not stream.isatty() else None, errors="replace")
    args = build_parser().parse_args(argv)
    from sim.cli import screen
    from sim.cli.command import ExitCode
    from sim.errors import InputError, UnitError

    try:
        code = COMMANDS[args.command].run(args)
        sys.stdout.flush()
    except InputError as error:
        screen.print_faults(error)
        return ExitCode.BAD_INPUT
    except UnitError as error:
        screen.print_note(f"this unit cannot play: {error}")
        return ExitCode.CANNOT_PLAY
    return code


if __name__ == "__main__":
    sys.exit(main())
