"""A client that keeps to no rules: bytes to the server's port, as no browser would send them."""

from __future__ import annotations

import base64
import os
import socket
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from urllib.parse import urlsplit

STREAM = "/_stcore/stream"
TEXT, BINARY, CLOSE = 0x1, 0x2, 0x8
WAITS = 30.0
"""Longest time for an answer, s: far more than it takes."""


def send_request(url: str, path: str, method: str = "GET", body: bytes = b"", **headers: str) -> tuple[int, bytes]:
    """Status and body of a request whose path goes out as it stands; ``headers`` as ``x_xsrftoken="…"``."""
    told = {"host": urlsplit(url).netloc, "connection": "close", "content-length": str(len(body))}
    with _connect(url) as sock:
        sock.sendall(_head(method, path, told | _names(headers)) + body)
        whole = b"".join(iter(lambda: sock.recv(65536), b""))
    head, _, rest = whole.partition(b"\r\n\r\n")
    return int(head.split()[1]), rest


@contextmanager
def open_stream(url: str, **headers: str) -> Iterator[tuple[int, socket.socket]]:
    """The app's own connection, with the status that it was answered with (101: it is open)."""
    told = {
        "host": urlsplit(url).netloc, "connection": "Upgrade", "upgrade": "websocket", "sec-websocket-version": "13",
        "sec-websocket-key": base64.b64encode(os.urandom(16)).decode(),
    }  # fmt: skip
    with _connect(url) as sock:
        sock.sendall(_head("GET", STREAM, told | _names(headers)))
        head = b""
        while b"\r\n\r\n" not in head and (more := sock.recv(4096)):
            head += more
        yield int(head.split()[1]), sock


def encode_frame(data: bytes, kind: int = BINARY, claimed: int | None = None) -> bytes:
    """One message to the server; ``claimed``: the length that it is said to have."""
    length = len(data) if claimed is None else claimed
    mask = b"\0\0\0\0"  # leaves the data as they are
    return bytes([0x80 | kind, 0x80 | 127]) + length.to_bytes(8, "big") + mask + data


def encode_rerun(query: str = "") -> bytes:
    """The message with which a browser asks for a page."""
    from streamlit.proto.BackMsg_pb2 import BackMsg

    message = BackMsg()
    message.rerun_script.query_string = query
    return encode_frame(message.SerializeToString())


def read_close_code(sock: socket.socket) -> int:
    """The code with which the server ends the connection; 0 where it just does.  What comes before is passed over."""
    while len(head := _read_exactly(sock, 2)) == 2:
        longer = {126: 2, 127: 8}.get(head[1], 0)
        data = _read_exactly(sock, int.from_bytes(_read_exactly(sock, longer), "big") if longer else head[1])
        if head[0] & 0xF == CLOSE:
            return int.from_bytes(data[:2], "big")
    return 0


def _read_exactly(sock: socket.socket, count: int) -> bytes:
    """So many bytes, or fewer where the connection ends."""
    data = b""
    try:
        while len(data) < count and (more := sock.recv(count - len(data))):
            data += more
    except ConnectionError:
        pass
    return data


@contextmanager
def _connect(url: str) -> Iterator[socket.socket]:
    place = urlsplit(url)
    with socket.create_connection((place.hostname, place.port), timeout=WAITS) as sock:
        yield sock


def _names(headers: Mapping[str, str]) -> dict[str, str]:
    return {name.replace("_", "-"): value for name, value in headers.items()}


def _head(method: str, path: str, headers: Mapping[str, str]) -> bytes:
    lines = [f"{method} {path} HTTP/1.1", *(f"{name}: {value}" for name, value in headers.items())]
    return ("\r\n".join(lines) + "\r\n\r\n").encode("latin-1")
