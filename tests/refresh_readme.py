"""Refresh the tables and the picture that the README shows: ``python tests/refresh_readme.py``, from the top folder."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

README = Path("README.md")
PICTURE = "shared/pictures/concert-grand-natural.png"


def predicted(*words: str) -> list[str]:
    done = subprocess.run([sys.executable, "-m", "sim", "predict", *words], capture_output=True, text=True, check=False)
    return done.stdout.split("\n")


def starting(lines: list[str], words: str) -> int:
    return next(i for i, line in enumerate(lines) if line.startswith(words))


def main() -> None:
    healthy = predicted("concert-grand-natural", "--figure", PICTURE)
    mixed = predicted("mixed-parts")
    tables = "\n".join(healthy[: starting(healthy, "Centres") - 1]).rstrip() + "\n..."
    marks = mixed[starting(mixed, "Out of the usual range") : starting(mixed, "Before touching") - 1]
    head = mixed[: starting(mixed, "Settings") - 1]
    words = "\n".join([*head, "...", *marks]).rstrip()
    text = README.read_text(encoding="utf-8")
    for block in re.findall(r"```\n(.*?)\n```", text, re.DOTALL):
        if block.startswith("Concert grand"):
            text = text.replace(block, tables)
        if block.startswith("Mixed parts"):
            text = text.replace(block, words)
    README.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
