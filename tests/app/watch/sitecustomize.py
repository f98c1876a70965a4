"""In a server that is watched: what it writes to, whom it asks and where it listens, one line each, to WATCHED_TO."""

from __future__ import annotations

import os
import sys
from typing import Any

WRITES = os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC | os.O_APPEND
CHANGES = ("os.mkdir", "os.rename", "os.remove", "os.rmdir", "os.link", "os.symlink", "os.truncate", "os.chmod")
STARTS = ("subprocess.Popen", "os.system", "os.exec", "os.posix_spawn", "os.spawn", "os.startfile")
_to = os.environ.get("WATCHED_TO")


def _watch(event: str, args: tuple[Any, ...]) -> None:
    told = ""
    by_name = event == "open" and not isinstance(args[0], int)  # a file of a number was opened by its name before
    if event in CHANGES or (by_name and isinstance(args[2], int) and args[2] & WRITES):
        told = f"writes {args[0]}"
    elif event in STARTS:
        told = f"starts {args[0]}"
    elif event in ("socket.connect", "socket.bind") and isinstance(args[1], tuple):
        told = f"{event.removeprefix('socket.')}s {args[1][0]}"
    elif event == "socket.getaddrinfo":
        told = f"asks {args[0]}"
    if told:
        os.write(_log, (told.replace("\n", "?") + "\n").encode(errors="replace"))


if _to:
    _log = os.open(_to, os.O_WRONLY | os.O_CREAT | os.O_APPEND)
    sys.addaudithook(_watch)
