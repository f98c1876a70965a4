"""A filled-in scenario by path, and the contradictions found while working from it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field, replace

from sim.fields.quantity_field import QuantityField


@dataclass(frozen=True, slots=True)
class Contradiction:
    """Values that cannot stand together: the field to name, the fields (or sections) involved, and what would do."""

    field: str
    involved: tuple[str, ...]
    value: str
    allowed: str
    remedy: str


class UnworkableError(Exception):
    """Raised inside the derivation when nothing further can be found."""


@dataclass(slots=True)
class Sheet:
    """Values (SI) and choices of one scenario, complete; faults gather in ``contradictions``."""

    values: dict[str, QuantityField]
    choices: Mapping[str, object]
    leads: tuple[tuple[float, float], ...] | None = None
    """Mass in kg and place in m of each lead."""
    points: Mapping[str, tuple[QuantityField, QuantityField]] = field(default_factory=dict)
    contradictions: list[Contradiction] = field(default_factory=list)

    def __getitem__(self, path: str) -> float:
        return self.values[path].value

    def get(self, path: str) -> float | None:
        """The value, or None where nothing is given and nothing needed."""
        return self.values[path].value if path in self.values else None

    def __contains__(self, path: str) -> bool:
        return path in self.values

    def choice(self, path: str, default: object) -> object:
        """A yes/no, a word or a whole number; the default where nobody chose."""
        chosen = self.choices.get(path)
        return default if chosen is None else chosen

    def refuse(self, name: str, involved: Iterable[str], value: str, allowed: str, remedy: str) -> None:
        """Note a contradiction."""
        found = Contradiction(name, tuple(dict.fromkeys((name, *involved))), value, allowed, remedy)
        self.contradictions.append(found)

    @contextmanager
    def resting_on(self, more: tuple[str, ...]) -> Iterator[None]:
        """Whatever is refused inside rests on ``more`` as well."""
        before = len(self.contradictions)
        yield
        for k, found in enumerate(self.contradictions[before:], before):
            self.contradictions[k] = replace(found, involved=(*found.involved, *more))

    def ask(self, holds: bool, name: str, involved: Iterable[str], allowed: str, remedy: str) -> bool:
        """Note a contradiction unless ``holds``; the value shown is that of ``name``."""
        if not holds:
            shown = self.values[name].text if name in self.values else "not given"
            self.refuse(name, involved, shown, allowed, remedy)
        return holds
