"""Printing, progress and files: what a person sees."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path

from rich.console import Console, RenderableType
from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

from sim.errors import InputError, OutputError
from sim.fields.quantity_field import CONTROL_CHARACTERS
from sim.fields.untrusted_text import make_input_error
from sim.physics.kernel_loader import prepare_kernel

ReportProgress = Callable[[float, str], None]
PLAIN_WIDTH = 110
"""Columns where the output is no terminal."""

refuse_option = partial(make_input_error, "command line")
"""An option, its value, what is allowed and what to do, as an InputError."""


def print_parts(*parts: RenderableType) -> None:
    """Tables and texts to standard output; plain, without trailing blanks, where that is no terminal."""
    if sys.stdout.isatty():
        out = Console(highlight=False, emoji=False, markup=False)
        for part in parts:
            out.print(part)
    else:
        print(render_plain(*parts))


def render_plain(*parts: RenderableType, width: int = PLAIN_WIDTH) -> str:
    """The same as plain text."""
    out = Console(width=width, color_system=None, force_terminal=False, highlight=False, emoji=False, markup=False)
    with out.capture() as captured:
        for part in parts:
            out.print(part)
    return "\n".join(line.rstrip() for line in captured.get().splitlines()).strip("\n")


def print_note(text: str) -> None:
    """A line to standard error, where it disturbs no output; what would steer the terminal is taken out of it."""
    print(CONTROL_CHARACTERS.sub("?", text), file=sys.stderr, flush=True)


def print_faults(error: InputError) -> None:
    """Every fault of an input, one a line."""
    for fault in error.faults:
        print_note(str(fault))
    if isinstance(error, OutputError):
        print_note("not written; what was there before stays, and what is printed stands.")
        return
    count = len(error.faults)
    print_note(f"{count} fault{'s' if count != 1 else ''} found; nothing was computed.")


def announce_compiling() -> None:
    """Say what the first run on a machine waits for."""
    if not prepare_kernel():
        print_note("compiling the kernel once for this machine (up to half a minute; later runs start at once) …")


@contextmanager
def show_progress_bar(what: str) -> Iterator[ReportProgress]:
    """A bar on standard error while something runs; nothing where that is no terminal."""
    err = Console(stderr=True, highlight=False)
    columns = (
        TextColumn("{task.description}"),
        BarColumn(),
        TextColumn("{task.percentage:>3.0f} %"),
        TimeElapsedColumn(),
    )
    with Progress(*columns, console=err, transient=True, disable=not err.is_terminal) as bar:
        task = bar.add_task(what, total=1.0)
        yield lambda fraction, doing: bar.update(task, completed=fraction, description=doing or what)


def check_out_file(name: str | None, suffixes: tuple[str, ...], option: str) -> Path | None:
    """The file to write, checked before anything is computed."""
    if name is None:
        return None
    path = Path(name)
    if CONTROL_CHARACTERS.search(name):
        raise refuse_option(option, name, "a name that a file can have", "write a plain name")
    if path.suffix.lower() not in suffixes:
        raise refuse_option(option, name, f"a file ending in {', '.join(suffixes)}", "choose one of these endings")
    try:
        if not path.parent.is_dir():
            raise refuse_option(option, name, "a file in a folder that exists", "make the folder first")
        if path.is_dir():
            raise refuse_option(option, name, "a file", "this is a folder: name a file in it")
        if path.exists() and not path.is_file():
            raise refuse_option(option, name, "an ordinary file", "this is none: name another")
        if not os.access(path if path.exists() else path.parent, os.W_OK):
            raise refuse_option(option, name, "a file that may be written", "name another, or see to its rights")
    except OSError as error:
        raise refuse_option(
            option, name, "a name that a file can have", (error.strerror or "no such").lower()
        ) from None
    return path


def add_paper_options(parser: argparse.ArgumentParser) -> None:
    """Options of a command that makes a sheet of paper."""
    parser.add_argument("--sheet", metavar="FILE", help="write it as a sheet to print to FILE (.pdf)")
    parser.add_argument("--paper", choices=("A4", "letter"), default="A4", help="size of the sheet (default A4)")


def write_output(what: str, option: str, path: Path, write: Callable[[Path], object]) -> None:
    """Write a file as a whole and say so; where that fails, what was there stays.  Raises OutputError."""
    from sim.atomic_write import write_atomically

    try:
        with write_atomically(path) as new:
            write(new)
    except OSError as error:
        raise make_write_error(option, path, error) from None
    print_note(f"{what} written to {path}")


def write_output_bytes(what: str, option: str, path: Path, data: bytes) -> None:
    """As ``write_output`` for what is made already."""
    write_output(what, option, path, lambda new: new.write_bytes(data))


def make_write_error(option: str, path: Path, error: OSError) -> OutputError:
    """The file could not be written after all."""
    remedy = (error.strerror or "cannot be written").lower()
    return OutputError(refuse_option(option, str(path), "a file that may be written", remedy).faults)
