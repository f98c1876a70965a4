"""A lesson as its file has it (shared/lessons/*.toml).

    title, goal, look_at                  what it is called, what one can do afterwards, what stands beside the picture
    [[part]] say, plain | [[part.claim]]  a paragraph; ``plain``: it claims nothing of cause and effect
    [[foretell]] ask, change, read, show  what will happen, before it is seen
    [task] say, start, hands, want        what to bring about, with which hands, and what it is told by
    [[task.feedback]] when, say           words for a result; {reading} stands for what was read

A change is a table of hands (shared/hands.toml) and values; ``85 %`` is a share of what is there.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from sim.fields.catalogue import Entry

Turns = dict[str, str]
"""Hands, and how far each is turned."""
NoTurns = Annotated[Turns, Field(default_factory=dict)]
"""The same; none where nothing is said."""


class WantRow(Entry):
    read: str
    low: str | None = Field(None, alias="from")
    high: str | None = Field(None, alias="to")
    word: str = Field("", alias="is")
    before: str = ""


class ClaimRow(WantRow):
    change: NoTurns
    given: NoTurns
    does: Literal["grows", "shrinks", "stays"] | None = None
    least: str | None = None
    most: str | None = None


class PartRow(Entry):
    say: str
    plain: bool = False
    claim: tuple[ClaimRow, ...] = ()


class ForetellRow(Entry):
    ask: str
    given: NoTurns
    change: Turns
    read: str
    number: bool = False
    show: str
    because: str
    claim: tuple[ClaimRow, ...] = ()


class FeedbackRow(Entry):
    when: WantRow
    say: str


class TaskRow(Entry):
    say: str
    start: Turns
    adjustments: tuple[str, ...] = Field(alias="hands")
    want: tuple[WantRow, ...]
    feedback: tuple[FeedbackRow, ...]
    show: str


class LessonRow(Entry):
    title: str
    goal: str
    scenario: str = "concert-grand-natural"
    look_at: tuple[str, ...]
    part: tuple[PartRow, ...]
    prediction_questions: tuple[ForetellRow, ...] = Field((), alias="foretell")
    task: TaskRow
