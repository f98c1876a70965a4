"""How figures of the trade and facts of parts are read of a unit (SI; None: unreadable)."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import cache

from sim.bench import centres
from sim.physics import shank
from sim.regulation.model_inputs import find_model_input
from sim.regulation.regulate import regulate
from sim.scenario.load import loads
from sim.unit.model import ActionUnit
from sim.units import parse_quantity
from sim.validation.specimen import Specimen

Measure = Callable[..., float | None]


def read_weighed(s: Specimen, reading: str) -> float | None:
    """A reading of the slow press: touch weights."""
    value: float | None = getattr(s.weights, reading)
    return value


def read_setting(s: Specimen, reading: str) -> float | None:
    """A reading of the slow press: settings."""
    value: float | None = getattr(s.settings, reading)
    return value


def compute_break_away_ratio(s: Specimen) -> float | None:
    """Break-away weight over down weight."""
    w = s.weights
    return w.break_away / w.down_weight if w.break_away and w.down_weight else None


def compute_mean_ratio(s: Specimen, over: str = "") -> float | None:
    """(blow - let-off) / (dip - aftertouch); with ``over``, the mean leverage as travelled over it."""
    found = s.settings
    if found.blow is None or found.let_off is None or found.dip is None or found.aftertouch is None:
        return None
    ratio = (found.blow - found.let_off) / (found.dip - found.aftertouch)
    if not over:
        return ratio
    return None if s.weights.leverage_mean is None else s.weights.leverage_mean / ratio


def compute_key_ratio(s: Specimen) -> float:
    """Arm of the capstan over that of the finger."""
    return s.unit.key.capstan_centre[0] / s.rest.arm


def read_half_swings(s: Specimen, centre: str) -> float | None:
    """Half swings of the freed part."""
    return centres.read_centres(s.unit)[centre].swings


def read_hammer_figure(s: Specimen, figure: str) -> float:
    """The hammer as a part: its inertia as a mass at the strike point, or its centre's friction."""
    if figure == "friction":
        return s.unit.friction["hammer"]
    return float(shank.compute_mass_matrix(s.unit.hammer)[0, 0]) / s.unit.hammer.strike_point[0] ** 2


def read_contact_figure(s: Specimen, contact: str, figure: str) -> float:
    """A figure of a contact's law."""
    return float(getattr(s.unit.contacts[contact], figure))


@cache
def _load_default(key: int) -> ActionUnit:
    return loads(f'name = "key {key}"\nkey_number = {key}\n')


def compute_default_head(s: Specimen, key: int) -> float:
    """Mass of the hammer head that a scenario of that key has when it says nothing of it (the same for every unit)."""
    return _load_default(key).hammer.head_mass


def compute_reading_change(
    s: Specimen,
    reading: str,
    at: str,
    by: str = "",
    to: str = "",
    regulated: bool = False,
    instead: str = "",
    share: bool = False,
) -> float | None:
    """Change of a reading when an input (name as in faults.toml) is moved ``by`` so much or put ``to`` a value.

    ``regulated``: every screw is then turned until the unit reads again what it did;
    ``instead`` of the reading itself this other one is kept.  ``share``: over what it was.
    """
    model_input = find_model_input(at)
    value = (
        parse_quantity(to, model_input.dimension)
        if to
        else model_input.get(s.unit) + parse_quantity(by, model_input.dimension)
    )
    made = model_input.put(s.unit, value)
    if regulated:
        wanted = dict(s.regulated_readings)
        if instead:
            kept = _read_setting_or_weight(s, instead)
            if kept is None:
                return None
            wanted = {name: v for name, v in wanted.items() if name != reading} | {instead: kept}
        made = regulate(made, wanted, warm=True, check=False).unit
    before, after = _read_setting_or_weight(s, reading), _read_setting_or_weight(Specimen(made), reading)
    if before is None or after is None:
        return None
    return (after - before) / (before if share else 1.0)


def _read_setting_or_weight(s: Specimen, reading: str) -> float | None:
    return read_weighed(s, reading) if hasattr(s.weights, reading) else read_setting(s, reading)


TRADE: Mapping[str, Measure] = {
    "weighed": read_weighed,
    "set": read_setting,
    "break_away": compute_break_away_ratio,
    "mean_ratio": compute_mean_ratio,
    "key_ratio": compute_key_ratio,
    "swings": read_half_swings,
    "hammer": read_hammer_figure,
    "felt": read_contact_figure,
    "default_head": compute_default_head,
    "change": compute_reading_change,
}
