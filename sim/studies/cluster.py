"""A Dask cluster in place of this machine's cores (the extra ``cluster``), asked for by its scheduler's address."""

from __future__ import annotations

import re
from collections.abc import Iterator
from concurrent.futures import Executor
from contextlib import contextmanager
from typing import Any

from sim.errors import Fault, InputError
from sim.fingerprint import compute_version

OPTION = "--scheduler"
ADDRESS = re.compile(r"(?:tcp://)?[^\s/:]+:[0-9]{1,5}")
"""What an address looks like; the client would wait at its end for anything else that it cannot reach."""
CONNECT_TIMEOUT = 10
"""Seconds to wait for the scheduler."""
ROWS_PER_WORKER = 4
"""Rows under way for each thread of the cluster."""


@contextmanager
def connect_executor(address: str) -> Iterator[tuple[Executor, int]]:
    """The cluster as an executor, and how many rows to keep under way.  Raises InputError, naming what is missing."""
    client = _connect_client(address)
    with client:
        threads = sum(client.nthreads().values())
        if not threads:
            raise _make_fault(address, "a scheduler with workers", "start one: dask worker ADDRESS")
        _check_versions(client, address)
        client.run(_prepare_worker)
        with client.get_executor() as pool:
            yield pool, ROWS_PER_WORKER * threads


def _connect_client(address: str) -> Any:
    try:
        from distributed import Client
    except ImportError:
        remedy = "install it: pip install 'action-unit-sim[cluster]'"
        raise _make_fault(address, "the extra cluster, which is not installed here", remedy) from None
    allowed = "the address of a running Dask scheduler, such as tcp://10.0.0.5:8786"
    if not ADDRESS.fullmatch(address):
        raise _make_fault(address, allowed, "write it as the scheduler prints it when it starts")
    try:
        return Client(address, timeout=CONNECT_TIMEOUT, set_as_default=False)  # type: ignore[no-untyped-call]
    except (OSError, ValueError, TypeError) as error:
        raise _make_fault(address, allowed, f"it does not answer ({type(error).__name__})") from None


def _check_versions(client: Any, address: str) -> None:
    """Every worker must make the numbers that this machine would make."""
    answers = list(client.run(_read_worker_version, on_error="return").values())
    failed = [answer for answer in answers if isinstance(answer, Exception)]
    if failed:
        remedy = f"install it where the workers run (there: {failed[0]})"
        raise _make_fault(address, "workers that have this package", remedy)
    found = set(answers)
    other = sorted(found - {compute_version("batch row")})
    if other:
        allowed = f"workers of version {compute_version('batch row')}"
        raise _make_fault(
            address, allowed, f"install the same version where the workers run (there: {', '.join(other)})"
        )


def _read_worker_version() -> str:
    return compute_version("batch row")


def _prepare_worker() -> bool:
    from sim.physics.kernel_loader import prepare_kernel

    return prepare_kernel()


def _make_fault(address: str, allowed: str, remedy: str) -> InputError:
    return InputError([Fault("command line", None, OPTION, f'"{address}"', allowed, remedy)])
