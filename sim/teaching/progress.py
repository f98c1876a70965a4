"""What a learner has done: lessons, exercises, rough units; as plain TOML that a person can read and a file can keep.

No account and no name: three lists, each entry with its day and time.  Two lists are
put together by their entries, so that nothing is lost where two windows write.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Annotated, Literal

import tomli_w
from pydantic import Field, NaiveDatetime, ValidationError

from sim.errors import InputError
from sim.fields.section_base import Name, Section
from sim.fields.untrusted_files import collect_list_faults
from sim.fields.untrusted_text import decode_text, make_input_error, parse_toml

FORM = 1
"""Form of the file; another one is refused."""
MOST_DONE = 500
"""Entries of one file: what is still read of any text has so many."""
HEAD = """\
# What was learnt and practised with the action-unit simulator: lessons, exercises, rough units.
# Kept on this machine only; a plain text, to be read, copied or put away like any other.
"""

Count = Annotated[int, Field(ge=0, le=100_000)]
Minutes = Annotated[float, Field(ge=0, le=100_000)]


class LessonDone(Section):
    """A lesson whose task was done; ``tries`` it took."""

    name: Name
    date: NaiveDatetime
    tries: Count


class ExerciseDone(Section):
    """A hidden-fault exercise that was marked; ``code`` is empty for one that a teacher wrote."""

    title: Name
    code: Annotated[str, Field(max_length=120, pattern=r"^[\w.@-]*$")] = ""
    passed: bool
    minutes: Minutes
    allowed_minutes: Minutes
    date: NaiveDatetime


class RoughDone(Section):
    """A rough unit that was regulated to the end: steps, minutes, settings set again."""

    scenario: Name
    seed: Annotated[int, Field(ge=0)]
    steps: Count
    minutes: Minutes
    rework: Count
    date: NaiveDatetime


Entry = LessonDone | ExerciseDone | RoughDone


class _File(Section):
    """The whole file, as TOML names it."""

    form: Literal[1]
    lesson: list[LessonDone] = Field(default_factory=list)
    exercise: list[ExerciseDone] = Field(default_factory=list)
    rough: list[RoughDone] = Field(default_factory=list)


@dataclass(frozen=True)
class Progress:
    """All that was done, in order of time."""

    lessons: tuple[LessonDone, ...] = ()
    exercises: tuple[ExerciseDone, ...] = ()
    rough: tuple[RoughDone, ...] = ()

    @classmethod
    def of(cls, *entries: Entry) -> Progress:
        """Entries in order of time, each once."""
        each = sorted(dict.fromkeys(entries), key=lambda e: (e.date, repr(e)))
        return cls(
            tuple(e for e in each if isinstance(e, LessonDone)),
            tuple(e for e in each if isinstance(e, ExerciseDone)),
            tuple(e for e in each if isinstance(e, RoughDone)),
        )

    @property
    def entries(self) -> tuple[Entry, ...]:
        return (*self.lessons, *self.exercises, *self.rough)

    def __or__(self, other: Progress) -> Progress:
        """Both together; an entry that is in both counts once."""
        return Progress.of(*self.entries, *other.entries)


def get_current_time() -> datetime:
    """The time by this machine's clock, to the second."""
    return datetime.now().replace(microsecond=0)


class OtherFormError(InputError):
    """A sound file that is of another form, or no progress at all: to be left as it is."""


def format_progress(progress: Progress) -> str:
    """The text of a progress file.  Raises InputError where that would be larger than what is read back."""
    what, remedy = "entries", "put this file away under another name and begin a new one"
    count = len(progress.entries)
    if count > MOST_DONE:
        raise make_input_error("progress", "the file", f"{count} {what}", f"at most {MOST_DONE} {what}", remedy)
    lists = {"lesson": progress.lessons, "exercise": progress.exercises, "rough": progress.rough}
    tables = {name: [entry.model_dump() for entry in entries] for name, entries in lists.items() if entries}
    return HEAD + tomli_w.dumps({"form": FORM} | tables)


def parse_progress(data: bytes, name: str = "progress") -> Progress:
    """The progress that a file's bytes hold; an empty file holds none.

    Raises InputError with all that is wrong, OtherFormError for a file that is not of this form.
    """
    tree = parse_toml(decode_text(data, name), name)
    if tree and (type(tree.get("form")) is not int or tree["form"] != FORM):
        raise OtherFormError(
            make_input_error(name, "form", tree.get("form", "missing"), str(FORM), _remedy(tree)).faults
        )
    try:
        found = _File.model_validate({"form": FORM} | tree)
    except ValidationError as error:
        raise InputError(collect_list_faults(error, name, "mend it, or take the entry out")) from None
    return Progress.of(*found.lesson, *found.exercise, *found.rough)


def _remedy(tree: Mapping[str, object]) -> str:
    if "form" not in tree:
        return "this is no file of progress: name another"
    return "it was made by another version: open it with that one, or name another file"
