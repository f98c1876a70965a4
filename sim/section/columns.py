"""What a bench sheet may hold of one note: each column in one entry, with its unit, its range and where it goes.

A column is a field of the scenario, a reading of the bench (``bench_tests.py``), or both.  What is regulated
is brought about by its screw; all that is read is evidence when a note is fitted or looked into.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

from sim.bench.centres import PINNING_RADIUS
from sim.diagnosis.bench_tests import list_bench_tests
from sim.display_units import UNITS, count_decimals, format_unit
from sim.fields.field_paths import find_kind
from sim.units import Dimension

REGULATED = (
    "key_height", "blow", "dip", "let_off", "drop", "aftertouch", "checking_distance", "spring_rise", "lever_height",
    "jack_address",
)  # fmt: skip
NUMBER_TESTS = ("down_weight", "up_weight", "leverage_6mm", "reset_point", "rest_gap", "lever_force", "jack_spring")
WORD_TESTS = ("slow_press", "check", "home", "repeats", "kicks")
MEASURED_FIELDS: Mapping[str, str] = {
    "string_height": "rails.string_height", "hammer_centre_height": "rails.hammer_centre_height",
    "wippen_centre_height": "rails.wippen_centre_height", "spread": "rails.spread",
    "knuckle_set": "hammer.knuckle_set", "bore": "hammer.bore", "hanging_distance": "hammer.hanging_distance",
    "hammer_weight": "hammer.weight", "shank_weight": "hammer.shank_weight", "wippen_weight": "wippen.weight",
    "front_weight": "key.front_weight", "capstan_pitch": "settings.capstan_pitch",
    "button_pitch": "settings.button_pitch", "drop_screw_pitch": "settings.drop_screw_pitch",
}  # fmt: skip
"""Column to the scenario's field."""
TITLES: Mapping[str, str] = {
    "string_height": "string over the key bed", "hammer_centre_height": "hammer centre over the key bed",
    "wippen_centre_height": "wippen centre over the key bed", "bore": "bore", "hanging_distance": "hanging distance",
    "shank_weight": "shank weighs, at the strike radius", "wippen_weight": "wippen weighs, at the heel",
    "capstan_pitch": "capstan, a turn", "button_pitch": "let-off button, a turn",
    "drop_screw_pitch": "drop screw, a turn", "swings_lever": "swings, repetition lever",
    "swings_jack": "swings, jack", "leads": "key leads",
    "remark": "remark",
}  # fmt: skip
"""Of columns that are no bench test."""
CENTRES = ("hammer", "wippen", "lever", "jack", "key")
SWINGING = ("hammer", "wippen", "lever", "jack")
SWINGS_FROM = "40 deg"
"""Swings are counted from here."""
PINNING_RADIUS_TEXT = f"{PINNING_RADIUS * 1e3:g} mm"
LEADS, REMARK = "leads", "remark"


@dataclass(frozen=True)
class Column:
    """One column: a number in ``unit`` (``edge.UNITS``) between ``limits``, or one of ``words``, or a text."""

    name: str
    title: str
    unit: str = ""
    limits: tuple[float, float] = (0.0, 0.0)
    words: tuple[str, ...] = ()
    path: str = ""
    """The scenario's field that it gives as it is."""
    text: bool = False
    accuracy: float | None = None
    """In ``unit``, where it is known."""

    @property
    def dimension(self) -> Dimension:
        return UNITS[self.unit].dimension

    @property
    def label(self) -> str:
        return format_unit(self.unit)

    @property
    def range(self) -> str:
        return f"{self.limits[0]:g} to {self.limits[1]:g} {self.label}".strip()

    @property
    def digits(self) -> int:
        """Decimals printed of a millimetre, gram or gram-force; of inches one more."""
        return count_decimals(self.unit, self.accuracy)

    @property
    def number(self) -> bool:
        return not self.words and not self.text


@cache
def list_columns() -> Mapping[str, Column]:
    """All of them by name, in the order of the sheet."""
    made = [_column_from_test(name) for name in REGULATED]
    made += [_column_from_test(name) for name in NUMBER_TESTS]
    made += [_column_from_field(name, path) for name, path in MEASURED_FIELDS.items()]
    made.append(Column(LEADS, TITLES[LEADS], text=True))
    made += [_column_from_test(f"pinning_{n}") for n in CENTRES]
    made += [
        _column_from_test(f"swings_{n}") if f"swings_{n}" in list_bench_tests() else _column_of_swings(n)
        for n in SWINGING
    ]
    made += [_column_from_test(name) for name in WORD_TESTS]
    return {c.name: c for c in (*made, Column(REMARK, TITLES[REMARK], text=True))}


def _column_from_test(name: str) -> Column:
    test = list_bench_tests()[name]
    if test.words:
        return Column(name, test.title, words=test.words)
    return Column(name, test.title, test.unit, test.limits, accuracy=test.accuracy)


def _column_of_swings(centre: str) -> Column:
    like = list_bench_tests()["swings_wippen"]
    return Column(f"swings_{centre}", TITLES[f"swings_{centre}"], "", like.limits, accuracy=like.accuracy)


def _column_from_field(name: str, path: str) -> Column:
    kind, test = find_kind(path), list_bench_tests().get(name)
    if kind is None:
        raise TypeError(f"{path} is no quantity")
    title = test.title if test is not None else TITLES[name]
    accuracy = test.accuracy if test is not None else None
    return Column(name, title, kind.unit, (kind.minimum, kind.maximum), path=path, accuracy=accuracy)
