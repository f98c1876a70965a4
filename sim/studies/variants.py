"""One scenario with inputs changed: what comparisons, influences and batches are made of.

Two manners of changing an input that is tied to a target: *anew*, everything is
set up for the targets again; *held*, the screws stay where the set-up left them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields, is_dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Any

from sim.fields.field_paths import find_kind
from sim.fields.quantity_field import write_quantity
from sim.fields.scenario_files import Leaves
from sim.regulation.screws import SCREWS
from sim.regulation.set_up import set_up
from sim.scenario.load import build_from_leaves, read_leaves
from sim.scenario.shipped import find_scenario
from sim.unit.model import ActionUnit

PARTS = (
    "key", "wippen", "jack", "lever", "hammer", "rails", "springs", "friction", "contacts", "string", "finger",
    "damper",
)  # fmt: skip

HEIGHT_SUFFIX = "_height"
"""Ends the path of a screw that is given by its height; without it, the path gives the same screw by a gap."""


@dataclass(frozen=True)
class BaseScenario:
    """A scenario file, read once, with the overrides that hold for all its variants."""

    leaves: Leaves
    file: str
    overrides: Mapping[str, str]

    @classmethod
    def of(cls, scenario: str | Path, overrides: Mapping[str, str] | None = None) -> BaseScenario:
        """From a file or the name of a shipped scenario."""
        path = find_scenario(scenario)
        return cls(read_leaves(path), str(path), dict(overrides or {}))

    @cached_property
    def loaded(self) -> ActionUnit:
        """The unit as the scenario gives it.  Raises InputError."""
        return build_from_leaves(self.leaves, self.file, self.overrides)

    @cached_property
    def by_height(self) -> BaseScenario:
        """The same with button, drop screw and cushion given by their heights.

        Given as a gap to the parts, such a screw would be turned along whenever a part changes.
        """
        heights = {
            screw.path: screw.value(self.loaded) for screw in SCREWS.values() if screw.path.endswith(HEIGHT_SUFFIX)
        }
        given = {path: si for path, si in heights.items() if path.removesuffix(HEIGHT_SUFFIX) in self.loaded.nominal}
        if not given:
            return self
        gaps = {path.removesuffix(HEIGHT_SUFFIX) for path in given}
        kept = {path: text for path, text in self.overrides.items() if path not in gaps}
        told = {path: format_input(path, si, self.loaded) for path, si in given.items()}
        return BaseScenario(self.leaves, self.file, {**kept, **told})

    @cached_property
    def ready(self) -> ActionUnit:
        """The same set up for its targets."""
        return set_up(self.loaded)

    def load_with(self, more: Mapping[str, str]) -> ActionUnit:
        """As the scenario gives it, with more overrides.  Raises InputError."""
        return build_from_leaves(self.leaves, self.file, {**self.overrides, **more})

    def set_up_with(self, more: Mapping[str, str]) -> ActionUnit:
        """With more overrides, and set up for its targets again.  Raises InputError."""
        return set_up(self.load_with(more))

    def held(self, values: Mapping[str, float]) -> ActionUnit:
        """With inputs at other values (SI), no screw being turned for it.  Raises InputError.

        Screws given as gaps (see ``by_height``) follow the parts, and so do the stops of
        jack and lever, which a scenario gives by the address and height they leave.
        """
        loaded, ready = self.loaded, self.ready
        moved = {p: loaded.nominal[p] + (si - ready.nominal[p]) for p, si in values.items()}
        changed = self.load_with({p: format_input(p, si, loaded) for p, si in moved.items()})
        return changed if ready is loaded else carry_over_changes(ready, loaded, changed)


def format_input(path: str, si: float, unit: ActionUnit) -> str:
    """An input's value as it would be typed."""
    kind = find_kind(path)
    if kind is None:
        raise ValueError(f"{path} is no quantity")
    power = unit.nominal.get(f"{path.rsplit('.', 1)[0]}.exponent") if kind.form == "contact stiffness" else None
    return write_quantity(si, kind, power)


def carry_over_changes(ready: ActionUnit, before: ActionUnit, after: ActionUnit) -> ActionUnit:
    """``ready`` with every number moved as it moved from ``before`` to ``after``: its screws keep their turns."""
    moved = {name: _add_changes(*(getattr(u, name) for u in (ready, before, after))) for name in PARTS}
    nominal = {**ready.nominal, **_add_changes(ready.nominal, before.nominal, after.nominal)}
    return replace(ready, **moved, nominal=nominal)


def _add_changes(ready: Any, before: Any, after: Any) -> Any:
    if before == after:
        return ready
    if is_dataclass(ready) and not isinstance(ready, type):
        names = [f.name for f in fields(ready)]
        return replace(
            ready, **{n: _add_changes(*(getattr(part, n) for part in (ready, before, after))) for n in names}
        )
    if isinstance(ready, Mapping):
        return {n: _add_changes(ready[n], before[n], after[n]) for n in ready if n in before and n in after}
    if isinstance(ready, tuple):
        return tuple(_add_changes(*numbers) for numbers in zip(ready, before, after, strict=True))
    if isinstance(ready, float) and isinstance(after, float):
        return ready + (after - before)
    return after
