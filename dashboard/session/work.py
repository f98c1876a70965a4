"""What a person has on the bench: a scenario, what was edited in it, and how far each control was turned.

No streamlit here: pages and tests use it alike.  A ``Work`` is frozen; every change makes a new one.
"""

from __future__ import annotations

import base64
import binascii
import zlib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Final, Literal

from pydantic import FiniteFloat, TypeAdapter, ValidationError

from dashboard.session.controls import CONTROLS
from sim.bench.predict import list_touches
from sim.errors import Fault, InputError
from sim.fields.field_paths import index_fields
from sim.fields.overrides import apply_overrides
from sim.fields.quantity_field import CONTROL_CHARACTERS, fit_on_line
from sim.fields.scenario_files import Leaves, merge_leaves, parse_leaves, parse_with_bases
from sim.fields.untrusted_text import LARGEST_FILE, decode_text
from sim.regulation.screws import SCREWS
from sim.regulation.set_up import set_up
from sim.regulation.targets import STOP_TARGETS
from sim.scenario.load import build_from_leaves, read_leaves
from sim.scenario.shipped import list_shipped_scenarios
from sim.scenario.writing import render_scenario, update_leaves
from sim.studies.variants import BaseScenario
from sim.unit.model import ActionUnit

LARGEST_STATE = 2 * LARGEST_FILE
"""Bytes of a saved state, packed or not: two scenarios and what was done to them."""
LONGEST_LINK = 30_000
"""Characters of a state that an address can carry; a longer one is restored from its text."""
FIRST_SCENARIO = "concert-grand-natural"
LITERAL = ("{", "[")
"""How an edit begins that is written as a file would have it."""
FORM: Final = 1
"""Form of a saved state; another one is refused."""
LONGEST_NAME = 80
"""Characters of a file's name that are kept."""


@dataclass(frozen=True)
class Work:
    """A scenario by name or as text, edits by path as typed, and controls as turned (SI)."""

    base: str = FIRST_SCENARIO
    """Name of a shipped scenario; of the file, where ``text`` holds one."""
    text: str = ""
    edits: tuple[tuple[str, str], ...] = ()
    turned: tuple[tuple[str, FiniteFloat], ...] = ()
    asked: tuple[tuple[str, FiniteFloat], ...] = ()
    """Readings asked for, by control (SI): what a person wanted when turning it."""

    @property
    def leaves(self) -> Leaves:
        """The scenario with the edits in it.  Raises InputError."""
        known = list_shipped_scenarios()
        if not self.text and self.base not in known:
            raise _fault("scenario", self.base, ", ".join(known), "open one of the shipped scenarios, or a file")
        leaves = parse_with_bases(self.text, self.base, None) if self.text else read_leaves(known[self.base])
        plain = {path: typed for path, typed in self.edits if typed[:1] not in LITERAL}
        leaves = apply_overrides(leaves, self.base, plain)
        for path, typed in self.edits:
            if typed[:1] in LITERAL:
                leaves = merge_leaves(leaves, _parse_literal(path, typed))
        return leaves

    def start(self) -> ActionUnit:
        """The unit before any control is turned, set up for its targets where it has any.  Raises InputError."""
        return set_up(build_from_leaves(self.leaves, self.base))

    def with_edit(self, path: str, typed: str | None) -> Work:
        """One field typed anew, or as the scenario has it (None)."""
        edits = {p: t for p, t in self.edits if p != path} | ({} if typed is None else {path: typed})
        return replace(self, edits=tuple(edits.items()))

    def with_control(self, name: str, value: float | None, asked: float | None = None) -> Work:
        """One control at a value (SI), turned for a reading of ``asked``; or where it was at the start (None)."""
        turned = {n: v for n, v in self.turned if n != name} | ({} if value is None else {name: value})
        wanted = {n: v for n, v in self.asked if n != name} | ({} if asked is None else {name: asked})
        return replace(self, turned=tuple(turned.items()), asked=tuple(wanted.items()))


def _parse_literal(path: str, typed: str) -> Leaves:
    """What a file would say of a field: a table with its source, a list of leads, a point.  Raises InputError."""
    if path not in index_fields():
        raise _fault(path, typed[:60], "a field of the scenario", "name one of its fields")
    table, _, name = path.rpartition(".")
    head = f"[{table}]\n" if table else ""
    return parse_leaves(f"{head}{name} = {' '.join(typed.split())}\n", path)


def apply_controls(unit: ActionUnit, turned: Mapping[str, float]) -> ActionUnit:
    """The unit with its controls at the given values (SI), in the order of CONTROLS."""
    for name, control in CONTROLS.items():
        if name in turned:
            unit = control.put(unit, turned[name])
    return unit


def find_controls(unit: ActionUnit, start: ActionUnit) -> tuple[tuple[str, float], ...]:
    """Values of the controls that make ``unit`` of ``start``, where they differ (SI)."""
    found = [(name, c.get(unit), c.get(start)) for name, c in CONTROLS.items()]
    return tuple((name, now) for name, now, was in found if abs(now - was) > 1e-9)


def load_work(name: str, data: bytes) -> Work:
    """The work that an uploaded file holds.  Raises InputError that names what is wrong with it."""
    shown = fit_on_line(name[-LONGEST_NAME:], LONGEST_NAME)
    text = decode_text(data, shown)
    parse_leaves(text, shown)
    work = Work(shown, text)
    build_from_leaves(work.leaves, shown)
    return work


def format_scenario(work: Work) -> str:
    """The work as a scenario file that stands alone."""
    return render_scenario(_leaves_now(work))


def build_origin(work: Work) -> BaseScenario:
    """The work as a scenario that studies start from."""
    return BaseScenario(_leaves_now(work), work.base, {})


def _leaves_now(work: Work) -> Leaves:
    """The leaves that make the unit as it stands; once something was turned, targets have done their work."""
    if not work.turned:
        return work.leaves
    unit = apply_controls(work.start(), dict(work.turned))
    leaves = {path: leaf for path, leaf in work.leaves.items() if path[0] != "targets"}
    loaded = build_from_leaves(leaves, work.base)
    settings = {}
    for target, s in SCREWS.items():
        if target not in STOP_TARGETS and abs(s.value(unit) - s.value(loaded)) > 1e-10:
            settings[s.path] = s.value(unit)
            settings |= {path: value(unit) for path, value in s.along.items()}
    return update_leaves(leaves, unit, settings)


@dataclass(frozen=True)
class Saved:
    """What a link or a state file restores."""

    work: Work
    other: Work | None = None
    inches: bool = False
    touch: str = "moderate"
    more: Mapping[str, str] = field(default_factory=dict)
    form: Literal[1] = FORM


SAVED = TypeAdapter(Saved)
"""Writes and reads it as JSON."""


def encode_state(saved: Saved) -> str:
    """A saved state as text that a link can carry."""
    packed = zlib.compress(SAVED.dump_json(saved), 9)
    return base64.urlsafe_b64encode(packed).decode().rstrip("=")


def decode_state(code: str) -> Saved:
    """A saved state from a link's text.  Raises InputError for anything that is none."""
    remedy = "open the link whole, as it was copied"
    if len(code) > LARGEST_STATE:
        raise _fault("link", f"{len(code)} characters", f"at most {LARGEST_STATE}", remedy)
    try:
        packed = base64.b64decode(code + "=" * (-len(code) % 4), altchars=b"-_", validate=True)
        unpacker = zlib.decompressobj()
        data = unpacker.decompress(packed, LARGEST_STATE)
        if unpacker.unconsumed_tail:
            raise ValueError
        saved = SAVED.validate_json(data, strict=True)
        _check(saved)
    except ValidationError as error:
        if any(wrong["loc"] == ("form",) for wrong in error.errors(include_url=False)):
            raise _fault("link", "another form", f"form {FORM}", "it was made by another version") from None
        raise _fault("link", code[:40], "a state saved here", remedy) from None
    except (binascii.Error, zlib.error, ValueError):
        raise _fault("link", code[:40], "a state saved here", remedy) from None
    return saved


def _check(saved: Saved) -> None:
    """Raises InputError or ValueError where a state of the right form is not fit to be shown."""
    if saved.touch not in {touch.name for touch in list_touches()}:
        raise ValueError
    for work in filter(None, (saved.work, saved.other)):
        if not {name for name, _ in work.turned + work.asked} <= CONTROLS.keys():
            raise ValueError
        if not all(CONTROLS[name].low <= value <= CONTROLS[name].high for name, value in work.turned):
            raise ValueError
        if len(work.base) > LONGEST_NAME or CONTROL_CHARACTERS.search(work.base):
            raise ValueError
        if any(len(dict(pairs)) < len(pairs) for pairs in (work.edits, work.turned, work.asked)):
            raise ValueError
        if len(work.edits) > len(index_fields()):
            raise ValueError
        build_from_leaves(work.leaves, work.base)


def _fault(what: str, value: str, allowed: str, remedy: str, file: str = "") -> InputError:
    return InputError([Fault(file, None, what, value, allowed, remedy)])
