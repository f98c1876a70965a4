"""What a lesson looks at: readings of the bench tests and more of the same runs, by name, each taken when asked."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from functools import cache, lru_cache
from types import MappingProxyType

import numpy as np

from sim.bench import slow_press
from sim.bench import strike as blows
from sim.bench.predict import list_touches, repeat
from sim.bench.rest_pose import Rest, settle_at_rest
from sim.diagnosis.bench_tests import ReadableQuantity, list_bench_tests, read_symptoms
from sim.errors import UnitError
from sim.piano import template
from sim.unit.model import GRAVITY, ActionUnit
from sim.value_records import value_record

TOUCHING = 10e-3 * GRAVITY
"""Force with which a template touches the hammer, N (10 gf: our convention)."""
DEEPEST = 2e-3
"""A template that has to come lower to bear so much does not touch, m."""


@value_record
@dataclass(frozen=True)
class Seen:
    """What was seen of one unit, by name: SI, a word, or None where it cannot be read."""

    values: Mapping[str, float | str | None] = field(default_factory=dict)

    def number(self, name: str) -> float | None:
        value = self.values[name]
        return None if isinstance(value, str) else value


_ORDERED = {
    "toe_meets_button": "the toe meets the button", "lever_meets_screw": "the lever meets the drop screw",
    "lets_off": "the hammer lets off", "key_at_bottom": "the key is at the bottom",
}  # fmt: skip
BEARING_FORCE = 1e-3 * GRAVITY
"""A knuckle that bears with less than this on a part does not lie on it, N (1 gf: our convention)."""
_PRESSED = (
    *(ReadableQuantity(name, f"key travel, front, until {what}", "mm", 0.1) for name, what in _ORDERED.items()),
    ReadableQuantity("crown_at_button", "crown to string where the toe meets the button", "mm", 0.5),
    ReadableQuantity("crown_at_screw", "crown to string where the lever meets the drop screw", "mm", 0.5),
    ReadableQuantity("friction_felt", "friction felt at the key", "gf", 1.0),
    ReadableQuantity("balance_weight", "balance weight", "gf", 1.0),
    ReadableQuantity("on_jack", "the knuckle bears on the jack, key at rest, with", "gf", 2.0),
    ReadableQuantity("on_lever", "the knuckle bears on the lever, key at rest, with", "gf", 2.0),
    ReadableQuantity("rests_on", "the knuckle, key at rest, lies on", words=("the lever", "the jack", "both")),
    ReadableQuantity("comes_last", "last of all in a slow press", words=tuple(_ORDERED.values())),
)
_BLOWN = (
    ("hammer_speed", "hammer speed", "m_s", 0.05), ("travel_time", "travel time", "ms", 1.0),
    ("free_flight_distance", "free flight, way", "mm", 0.1), ("checking", "checking distance", "mm", 1.0),
    ("check_after_contact", "crown on string to tail in the check", "ms", 1.0),
    ("bottom_after_contact", "crown on string to key at the bottom", "ms", 0.5),
    ("key_goes", "key travel, front, at most", "mm", 0.1),
)  # fmt: skip
_REPEATED = (ReadableQuantity("limit", "strokes a second of which nine in ten sound", "", 0.5),)
_TEMPLATE = (
    ReadableQuantity("template_low", "line under a touching template, lower than the true line by", "mm", 0.1),
    ReadableQuantity("template_squeezes", "back-rail cloth under a touching template, squeezed by", "mm", 0.01),
)


def _press(rest: Rest) -> dict[str, float | str | None]:
    pressed = slow_press.press_slowly(rest)
    weight, _ = slow_press.read_touch_weight(pressed)
    run, edge_travel = pressed.down, rest.travel(pressed.down) * rest.front_edge_ratio
    t, crown = run.trace["t"], run.place.crown_to_string

    def at(contact: str) -> float | None:
        made = run.log.times(contact, True)
        return float(made[0]) if len(made) else None

    times = {"toe_meets_button": at("toe_button"), "lever_meets_screw": at("drop_screw")}
    found: dict[str, float | str | None] = {
        name: None if time is None else float(np.interp(time, t, edge_travel)) for name, time in times.items()
    }
    for name, time in zip(("crown_at_button", "crown_at_screw"), times.values(), strict=True):
        found[name] = None if time is None else float(np.interp(time, t, crown))
    plays = pressed.plays
    found["lets_off"] = float(edge_travel[pressed.peak]) if plays else None
    found["key_at_bottom"] = None if pressed.firm is None else float(edge_travel[pressed.firm])
    found |= {"friction_felt": weight.friction, "balance_weight": weight.balance_weight}
    ways = {name: way for name in _ORDERED if isinstance(way := found[name], float)}
    found["comes_last"] = _ORDERED[max(ways, key=lambda name: ways[name])] if ways else None
    bears = {n: float(run.trace[f"N_{n}_knuckle"][0]) for n in ("jack", "lever")}
    on = [f"the {n}" for n, force in bears.items() if force >= BEARING_FORCE]
    found["rests_on"] = "both" if len(on) > 1 else on[0] if on else None
    return found | {f"on_{n}": force for n, force in bears.items()}


def _blows(rest: Rest) -> dict[str, float | str | None]:
    found: dict[str, float | str | None] = {}
    for touch in list_touches():
        reading, run = blows.play_touch(rest, touch)
        struck = reading.events.get("string_contact")
        for name in ("hammer_speed", "travel_time", "free_flight_distance"):
            found[f"{name}_{touch.name}"] = getattr(reading, name)
        found[f"checking_{touch.name}"] = reading.checking_distance
        tail = reading.events.get("tail_meets_backcheck")
        found[f"check_after_contact_{touch.name}"] = None if tail is None or struck is None else tail - struck
        found[f"bottom_after_contact_{touch.name}"] = reading.key_bottom_after_contact
        found[f"key_goes_{touch.name}"] = float(rest.travel(run).max()) * rest.front_edge_ratio
    return found


def _repeat(rest: Rest) -> dict[str, float | str | None]:
    return {"limit": repeat(rest.unit).limit_hz}


def _template(rest: Rest) -> dict[str, float | str | None]:
    (touched,) = template.lower_template(rest.unit, DEEPEST, (1.0,))
    low = touched.find_height_excess(TOUCHING)
    under = None if low is None else touched.at(-low)
    return {"template_low": low, "template_squeezes": None if under is None else under.squeeze}


def _bench(rest: Rest) -> dict[str, float | str | None]:
    found = read_symptoms(rest.unit)
    return {**found.numbers, **found.words}


Probe = Callable[[Rest], dict[str, float | str | None]]


@cache
def _sources() -> tuple[tuple[Mapping[str, ReadableQuantity], Probe], ...]:
    """What is seen in one go, and how."""
    blown = [
        ReadableQuantity(f"{name}_{touch.name}", f"{title}, {touch.name} blow", unit, fine)
        for touch in list_touches()
        for name, title, unit, fine in _BLOWN
    ]
    bench: Iterable[ReadableQuantity] = list_bench_tests().values()
    groups = ((bench, _bench), (_PRESSED, _press), (blown, _blows), (_REPEATED, _repeat), (_TEMPLATE, _template))
    return tuple(({s.name: s for s in group}, taken) for group, taken in groups)


@cache
def load_sights() -> Mapping[str, ReadableQuantity]:
    """All of them by name."""
    return {name: s for group, _ in _sources() for name, s in group.items()}


@lru_cache(maxsize=128)
def _probe_source(unit: ActionUnit, source: int) -> Mapping[str, float | str | None]:
    """What one source shows of a unit: the next question about the same unit costs nothing.  Raises SimulationError."""
    return MappingProxyType(_sources()[source][1](settle_at_rest(unit)))


def probe_unit(unit: ActionUnit, names: Iterable[str]) -> Seen:
    """What these sights show of a unit (SI); all None where it does not come to rest.  Raises KeyError."""
    wanted = set(names)
    missing = wanted - load_sights().keys()
    if missing:
        raise KeyError(f"no such sight: {', '.join(sorted(missing))}")
    values: dict[str, float | str | None] = dict.fromkeys(wanted)
    try:
        for source, (group, _) in enumerate(_sources()):
            if wanted & group.keys():
                found = _probe_source(unit, source)
                values |= {n: found.get(n) for n in wanted & group.keys()}
    except UnitError:
        return Seen(dict.fromkeys(wanted))
    return Seen(values)
