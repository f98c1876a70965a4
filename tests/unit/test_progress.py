"""Progress in a file: read back whole, put together with what others wrote, never lost by what goes wrong."""

from __future__ import annotations

import errno
import os
import signal
import subprocess
import sys
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard.session import progress_store
from sim.errors import InputError, OutputError
from sim.teaching import progress_file
from sim.teaching.progress import (
    MOST_DONE,
    ExerciseDone,
    LessonDone,
    OtherFormError,
    Progress,
    RoughDone,
    format_progress,
    get_current_time,
    parse_progress,
)
from sim.teaching.progress_file import merge_progress
from tests.tiers import try_each

Tell = Callable[..., None]
ROOT = Path(__file__).parents[2]
DAY = datetime(2026, 3, 1, 9, 30)
WRITER = """
import sys
from datetime import datetime, timedelta
from pathlib import Path
from sim.teaching.progress import LessonDone, Progress
from sim.teaching.progress_file import merge_progress
path, name, count = Path(sys.argv[1]), sys.argv[2], int(sys.argv[3])
mine = Progress()
print("begun", flush=True)
for i in range(count):
    mine |= Progress.of(LessonDone(name=f"{name} {i}", date=datetime(2026, 3, 1) + timedelta(seconds=i), tries=i))
    merge_progress(path, mine)
"""


def lesson(name: str, tries: int = 1, minutes: int = 0) -> LessonDone:
    return LessonDone(name=name, date=DAY + timedelta(minutes=minutes), tries=tries)


EXERCISE = ExerciseDone(
    title="Exercise 2-7", code="2-7-x@treble", passed=False, minutes=31.5, allowed_minutes=40.0, date=DAY
)
ROUGH = RoughDone(scenario="damped", seed=3, steps=11, minutes=47.0, rework=2, date=DAY)
SOME = Progress.of(lesson("let-off", 2), EXERCISE, ROUGH)

entries = st.builds(
    LessonDone, name=st.text(st.characters(exclude_categories=("C", "Z")), min_size=1, max_size=120),
    date=st.datetimes(), tries=st.integers(0, 100_000),
)  # fmt: skip


@given(st.lists(entries, max_size=5), st.lists(entries, max_size=5))
def test_what_is_written_reads_back_and_two_are_put_together(one: list[LessonDone], other: list[LessonDone]) -> None:
    a, b = Progress.of(*one, EXERCISE), Progress.of(*other, ROUGH)
    assert parse_progress(format_progress(a).encode()) == a
    assert a | b == b | a == parse_progress(format_progress(a | b).encode())
    assert set((a | b).entries) == {*one, *other, EXERCISE, ROUGH} and (a | a) == a


def test_a_person_can_read_the_file() -> None:
    told = format_progress(SOME)
    assert "form = 1\n" in told and told.startswith("# What was learnt")
    assert '{ name = "let-off", date = 2026-03-01 09:30:00, tries = 2 }' in told and "[[rough]]\n" in told
    assert get_current_time().microsecond == 0 and get_current_time().tzinfo is None


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("form = 2\n[[lesson]]\nanother = 'form'\n", "form = 2; allowed: 1; it was made by another version"),
        ("form = true\n", "another version"),
        ("name = 'my note'\nkey_number = 40\n", "form = \"missing\"; allowed: 1; this is no file of progress"),
    ],
)  # fmt: skip
def test_another_form_is_refused_and_left_alone(text: str, words: str, tmp_path: Path) -> None:
    with pytest.raises(OtherFormError, match=words.replace("(", "\\(")):
        parse_progress(text.encode())
    path = tmp_path / "p.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(OtherFormError):
        merge_progress(path, SOME)
    assert path.read_text(encoding="utf-8") == text and os.listdir(tmp_path) == ["p.toml"]


BROKEN = {
    "cut off": format_progress(SOME).encode()[:-20],
    "no text": b"\x00\x01",
    "no UTF-8": b"form = 1\nname = '\xff'",
    "too large": b"#" * 1_000_001,
    "a wrong field": b"form = 1\n[[lesson]]\nname = 'x'\ndate = 2026-03-01T09:30:00\ntries = 'two'\n",
    "an unknown field": b"form = 1\nhost = 'x'\n",
    "a name that steers": b'form = 1\n[[lesson]]\nname = "a\\u001b[2J"\ndate = 2026-03-01T09:30:00\ntries = 1\n',
    "no time of day": b"form = 1\n[[lesson]]\nname = 'x'\ndate = 2026-03-01\ntries = 1\n",
}


@pytest.mark.parametrize("kind", BROKEN)
def test_an_unreadable_file_is_set_aside_and_never_written_over(kind: str, tmp_path: Path) -> None:
    path = tmp_path / "p.toml"
    for count in (1, 2):
        path.write_bytes(BROKEN[kind])
        found = merge_progress(path, SOME)
        assert found.aside is not None and found.why.startswith(str(path)) and found.progress == SOME
        assert found.aside.read_bytes() == BROKEN[kind] and parse_progress(path.read_bytes()) == SOME
        assert len(os.listdir(tmp_path)) == 1 + count
    assert merge_progress(path, Progress()) == progress_file.StoredProgress(SOME)


def test_every_fault_of_a_file_is_told_with_its_place() -> None:
    wrong = "form = 1\n[[lesson]]\nname = ''\ndate = 2026-03-01T09:30:00\ntries = -1\n[[rough]]\nseed = 1.5\n"
    with pytest.raises(InputError) as refused:
        parse_progress(wrong.encode())
    fields = {fault.field for fault in refused.value.faults}
    assert {"lesson 1, name", "lesson 1, tries", "rough 1, seed", "rough 1, scenario"} <= fields


def test_an_empty_file_and_one_that_is_not_there_hold_nothing(tmp_path: Path) -> None:
    assert parse_progress(b"") == Progress() == merge_progress(tmp_path / "none.toml", Progress()).progress
    assert parse_progress((tmp_path / "none.toml").read_bytes()) == Progress()
    with pytest.raises(InputError, match="not an ordinary file"):
        merge_progress(tmp_path, SOME)


def test_more_than_can_be_read_back_is_not_written(tmp_path: Path) -> None:
    many = Progress.of(*(lesson(str(i), minutes=i) for i in range(MOST_DONE)))
    path = tmp_path / "p.toml"
    assert merge_progress(path, many).progress == parse_progress(path.read_bytes()) == many
    before = path.read_bytes()
    with pytest.raises(InputError, match="begin a new one"):
        merge_progress(path, Progress.of(lesson("one more")))
    assert path.read_bytes() == before
    longest = Progress.of(*(EXERCISE.model_copy(update={"title": f"{i:04d}" + 116 * "長"}) for i in range(MOST_DONE)))
    assert parse_progress(format_progress(longest).encode()) == longest


def write(path: Path, name: str, count: int) -> subprocess.Popen[bytes]:
    """Another window of another server that keeps what it does."""
    command = [sys.executable, "-c", WRITER, str(path), name, str(count)]
    started = subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE)
    assert started.stdout is not None
    started.stdout.readline()
    return started


def test_two_that_write_at_once_lose_nothing(tmp_path: Path) -> None:
    path, count = tmp_path / "p.toml", 40
    both = [write(path, name, count) for name in ("one", "other")]
    for each in both:
        with each:
            pass
        assert each.returncode == 0
    names = {e.name for e in parse_progress(path.read_bytes()).lessons}
    assert names == {f"{name} {i}" for name in ("one", "other") for i in range(count)}


def test_killed_while_it_writes_the_file_is_a_whole_one(tmp_path: Path, tell: Tell) -> None:
    tell(tried="a program killed while it writes progress, over and over", expected="the file is whole each time")
    path, sizes = tmp_path / "p.toml", []
    merge_progress(path, SOME)
    for turn in range(4):
        with write(path, f"turn {turn}", 10_000) as writer:
            before = path.read_bytes()
            while path.read_bytes() == before:
                assert writer.poll() is None, "it ended before it wrote"
            writer.send_signal(signal.SIGTERM if sys.platform == "win32" else signal.SIGKILL)
        sizes.append(len(parse_progress(path.read_bytes()).lessons))
        assert SOME.lessons[0] in parse_progress(path.read_bytes()).lessons
    assert sizes == sorted(set(sizes))
    tell(happened="whole each time, nothing of before is lost")


def test_without_room_the_old_file_stays_and_the_reason_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, tell: Tell
) -> None:
    tell(tried="progress written to a full disk", expected="the old file stays, the reason is told")
    path = tmp_path / "p.toml"
    merge_progress(path, SOME)
    before = path.read_bytes()

    def no_room(*_: object, **__: object) -> int:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    with monkeypatch.context() as full:
        full.setattr(Path, "write_text", no_room)
        with pytest.raises(OutputError, match="no space"):
            progress_store.merge_into_file(path, Progress.of(lesson("drop")))
    assert path.read_bytes() == before and os.listdir(tmp_path) == ["p.toml"]
    assert len(progress_store.merge_into_file(path, Progress.of(lesson("drop"))).progress.lessons) == 2
    tell(happened="it does; later it is written")


@try_each("name", ["p.txt", "none/p.toml", "a\nb.toml"])
def test_a_name_that_cannot_be_is_refused_when_the_dashboard_starts(name: str) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "dashboard", "--progress", name], cwd=ROOT, capture_output=True, text=True
    )
    assert done.returncode == 1 and "--progress" in done.stderr and "Traceback" not in done.stderr
