"""Commands on a full disk, in a process of its own: ``python full_disk.py FOLDER WAY`` prints what came of it.

WAY is ``mounted``: FOLDER becomes a disk of 4 MB, which is filled; or ``limited``: no file may grow.
"""

from __future__ import annotations

import io
import json
import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager, redirect_stderr, redirect_stdout
from pathlib import Path
from typing import Any

from sim.__main__ import main

DEMO = "concert-grand-natural"
OLD = {name: f"what was there before: {name}\n" for name in ("note.svg", "press.csv", "press.parquet")}
BATCH = ("batch", DEMO, "--kind", "weigh", "--out", "rows.parquet", "--vary")
COMMANDS = {
    "note.svg": ("predict", DEMO, "--no-repetition", "--json", "--figure", "note.svg"),
    "press.csv": ("weigh", DEMO, "--json", "--traces", "press.csv"),
    "press.parquet": ("weigh", DEMO, "--json", "--traces", "press.parquet"),
    "rows.parquet": (*BATCH, "springs.repetition=90%,95%,100%"),
}


@contextmanager
def fill_disk(folder: Path, way: str) -> Iterator[None]:
    """No room for as long as the block lasts."""
    if way == "limited":
        import resource

        soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
        resource.setrlimit(resource.RLIMIT_FSIZE, (0, hard))
        yield
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
        return
    filler = folder / "filler"
    with filler.open("wb", buffering=0) as file:
        try:
            while True:
                file.write(b"x" * 512)
        except OSError:
            pass
    yield
    filler.unlink()


def run_command(*argv: str) -> dict[str, Any]:
    """Exit code, output and messages of a command."""
    out, err = io.StringIO(), io.StringIO()
    with redirect_stdout(out), redirect_stderr(err):
        code = main(argv)
    return {"code": code, "out": out.getvalue(), "err": err.getvalue()}


def run_trial(folder: Path, way: str) -> dict[str, Any]:
    """Each command without room, what is in the folder then, and each again with room."""
    for name, text in OLD.items():
        (folder / name).write_text(text, encoding="utf-8")
    run_command(*BATCH, "springs.repetition=90%")
    before = {name: (folder / name).read_bytes() for name in COMMANDS}
    with fill_disk(folder, way):
        without = {name: run_command(*command) for name, command in COMMANDS.items()}
        kept = {name: (folder / name).read_bytes() == content for name, content in before.items()}
        there = sorted(path.name for path in folder.iterdir())
    return {"without": without, "kept": kept, "there": there, "with": {n: run_command(*c) for n, c in COMMANDS.items()}}


if __name__ == "__main__":
    here, how = Path(sys.argv[1]), sys.argv[2]
    if how == "mounted":
        subprocess.run(["mount", "-t", "tmpfs", "-o", "size=4m", "tmpfs", str(here)], check=True)
    os.chdir(here)
    print(json.dumps(run_trial(here, how)))
