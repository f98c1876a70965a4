"""Studies of many units: one scenario, many sets of overrides, one kind of reading, over all cores or a cluster.

Rows are handed on as they come, in bunches, so that what is done is kept
whatever happens next.  A row whose input makes no sense says so in its outcome.
"""

from __future__ import annotations

import hashlib
import itertools
import json
import os
import time
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import FIRST_COMPLETED, CancelledError, Executor, Future, ThreadPoolExecutor, wait
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from sim.bench.outcomes import Outcome
from sim.bench.reading_list import list_reading_names, list_readings, take_readings
from sim.display_units import convert_si
from sim.errors import Fault, InputError, UnitError
from sim.fields.field_paths import find_kind
from sim.fields.scenario_files import Leaves
from sim.fingerprint import compute_version
from sim.regulation.set_up import set_up
from sim.scenario.load import build_from_leaves
from sim.studies import cluster
from sim.studies.parameter_grid import Overrides
from sim.studies.variants import BaseScenario
from sim.unit.model import ActionUnit
from sim.units import convert_to_unit

Progress = Callable[[float, str], None]
Stop = Callable[[], bool]
Row = dict[str, float | int | bool | str | None]
SaveRows = Callable[[Sequence[Row]], None]

BATCH_KINDS = ("weigh", "strike", "predict", "repeat")
BUNCH_ROWS, BUNCH_TIME = 64, 5.0
"""Rows, and seconds, after which what is done is handed on."""
CHECKED_ROWS = 64
"""Rows tried before anything is run: when none of them makes sense, the study is refused."""
REFUSED_PREFIX = f"{Outcome.REFUSED}: "


@dataclass(frozen=True)
class Study:
    """One scenario, the overrides of each row, and what is read."""

    origin: BaseScenario
    rows: tuple[Overrides, ...]
    kind: str = "predict"

    def mark(self, row: Overrides) -> str:
        """The name of a row's full input."""
        return compute_row_mark(self.origin.leaves, {**self.origin.overrides, **row}, self.kind)


@dataclass(frozen=True)
class StudyResult:
    """How a run of a study ended."""

    rows: int
    made: int
    known: int
    """Rows that were there before."""
    refused: int
    stopped: bool
    lost: bool = False
    """Whether it stopped because the cluster went away."""


def list_scenario_inputs(leaves: Leaves) -> dict[str, object]:
    """All that a scenario and the files it is based on say, by path, as they say it."""
    return {".".join(path): leaf.raw for path, leaf in leaves.items()}


def compute_row_mark(leaves: Leaves, overrides: Mapping[str, str], kind: str) -> str:
    """One name for a full input: the scenario's texts, the overrides, what is read, and the version that reads it."""
    whole = [list_scenario_inputs(leaves), dict(sorted(overrides.items())), kind, compute_version()]
    text = json.dumps(whole, sort_keys=True, ensure_ascii=True, default=str)
    return hashlib.sha256(text.encode()).hexdigest()[:24]


def check_study(study: Study) -> None:
    """Raises InputError when the study as a whole makes no sense: no rows, or every row tried is refused."""
    if not study.rows:
        raise InputError([Fault("the study", None, "rows", "none", "one row or more", "name what varies")])
    tried = study.rows[:: max(1, len(study.rows) // CHECKED_ROWS)][:CHECKED_ROWS]
    errors: list[InputError] = []
    for row in tried:
        try:
            study.origin.load_with(row)
        except InputError as error:
            errors.append(error)
        else:
            return
    raise errors[0]


def run_study(
    study: Study,
    keep: SaveRows,
    known: Collection[str] = (),
    *,
    scheduler: str | None = None,
    workers: int | None = None,
    progress: Progress | None = None,
    stop: Stop | None = None,
) -> StudyResult:
    """Run what is not known yet.  Ctrl-C (or ``stop``) ends it with every finished row kept.

    ``keep`` is called with each bunch of finished rows; ``known`` holds the marks
    of rows that need not be made again; ``scheduler`` is a Dask scheduler's address.
    """
    check_study(study)
    todo, before = _list_missing_rows(study, known)
    say = progress or (lambda fraction, what: None)
    bunch, stopped, lost = _Bunch(keep), False, False
    with _pool(scheduler, workers) as (pool, width):
        try:
            for row in _make_rows(study, todo, pool, width, stop):
                bunch.add(row)
                share = (before + bunch.count) / len(study.rows)
                say(share, f"{before + bunch.count} of {len(study.rows)} rows")
        except KeyboardInterrupt:
            stopped = True
        except CancelledError:
            stopped = lost = True
        finally:
            bunch.pass_rows_on()
    return StudyResult(len(study.rows), bunch.count, before, bunch.refused, stopped, lost)


@contextmanager
def _pool(scheduler: str | None, workers: int | None) -> Iterator[tuple[Executor, int]]:
    """Where rows are made, and how many to keep under way."""
    if scheduler is not None:
        with cluster.connect_executor(scheduler) as found:
            yield found
        return
    width = workers or os.cpu_count() or 1
    with ThreadPoolExecutor(width) as pool:
        yield pool, 2 * width


def _list_missing_rows(study: Study, known: Collection[str]) -> tuple[list[tuple[int, Overrides, str]], int]:
    """Rows to make with their marks, one of each; and how many need not be made."""
    seen, todo = set(known), []
    for number, row in enumerate(study.rows):
        mark = study.mark(row)
        if mark not in seen:
            seen.add(mark)
            todo.append((number, row, mark))
    return todo, len(study.rows) - len(todo)


def _make_rows(
    study: Study, todo: Iterable[tuple[int, Overrides, str]], pool: Executor, width: int, stop: Stop | None
) -> Iterator[Row]:
    """Rows as they are finished.  After an interruption those under way are finished and given, then it is raised."""
    under_way: set[Future[Row]] = set()
    coming = iter(todo)
    interrupted = False
    origin = study.origin
    while True:
        try:
            if stop is not None and stop():
                raise KeyboardInterrupt
            room = 0 if interrupted else width - len(under_way)
            for number, row, mark in itertools.islice(coming, room):
                head: Row = {"row": number, "mark": mark}
                under_way.add(pool.submit(make_row, head, origin.leaves, origin.file, {**origin.overrides, **row},
                                          study.kind))  # fmt: skip
            if not under_way:
                break
            done, under_way = wait(under_way, timeout=0.2, return_when=FIRST_COMPLETED)
        except KeyboardInterrupt:
            interrupted, stop = True, None
            under_way = {future for future in under_way if not future.cancel()}
            continue
        for future in done:
            yield future.result()
    if interrupted:
        raise KeyboardInterrupt


class _Bunch:
    """Gathers rows and hands them on, so many or so much time at once."""

    def __init__(self, keep: SaveRows) -> None:
        self.keep, self.rows, self.since = keep, list[Row](), time.monotonic()
        self.count = self.refused = 0

    def add(self, row: Row) -> None:
        self.rows.append(row)
        self.count += 1
        self.refused += str(row["outcome"]).startswith(REFUSED_PREFIX)
        if len(self.rows) >= BUNCH_ROWS or time.monotonic() - self.since > BUNCH_TIME:
            self.pass_rows_on()

    def pass_rows_on(self) -> None:
        if self.rows:
            self.keep(self.rows)
        self.rows, self.since = [], time.monotonic()


def make_row(head: Row, leaves: Leaves, file: str, overrides: Overrides, kind: str) -> Row:
    """One row: the full input, what came of it, and the version that made it.  Also what a cluster's workers run."""
    row: Row = {**head, "made_by": compute_version(), "kind": kind, "scenario": Path(file).name,
                "overrides": json.dumps(dict(sorted(overrides.items())), ensure_ascii=False)}  # fmt: skip
    try:
        unit = set_up(build_from_leaves(leaves, file, overrides))
    except InputError as error:
        return {
            **row,
            "outcome": REFUSED_PREFIX + "; ".join(_describe_fault(fault) for fault in error.faults),
            "reason": "",
        }
    except UnitError as error:
        return {**row, "outcome": Outcome.NOT_SET_UP, "reason": str(error)}
    try:
        found = take_readings(unit, kind)
    except UnitError as error:
        return {**row, "outcome": Outcome.LEAVES_DOMAIN, "reason": str(error), **list_unit_inputs(unit)}
    said: Row = {"outcome": found.outcome, "reason": found.reason}
    if kind in ("predict", "repeat"):
        said |= {"kicks": found.repetition.kicks}
    if kind == "repeat":
        said |= {"limiting_part": found.repetition.limiting_part}
    readings = {
        t.key: convert_si(t.value, t.unit) for t in list_readings(found).values() if t.name in list_reading_names(kind)
    }
    return {**row, **said, **list_unit_inputs(unit), **readings}


def _describe_fault(fault: Fault) -> str:
    return f"{fault.field} = {fault.value}; allowed: {fault.allowed}"


def list_unit_inputs(unit: ActionUnit) -> Row:
    """All inputs of a unit that are numbers or yes and no, named with their unit."""
    plain: Row = {
        "key_number": unit.key_number,
        "key.sharp": unit.key.sharp,
        "hammer.shank_bends": unit.hammer.shank_bends,
        "damper": unit.damper is not None,
    }
    for path, si in unit.nominal.items():
        kind = find_kind(path)
        if kind is None:
            plain[path] = si
        elif kind.form == "contact stiffness":
            plain[f"{path}_SI"] = si
        else:
            name = kind.unit.replace("·", "").replace("/", "_").replace("²", "2").replace("^", "")
            plain[f"{path}_{name}" if name else path] = convert_to_unit(si, kind.unit, kind.dimension)
    return plain
