"""A sharp beside its natural: set for the same aftertouch, and how far it stands over the naturals when pressed."""

from __future__ import annotations

from collections.abc import Mapping

from sim.bench import slow_press
from sim.bench.rest_pose import measure_key_height, settle_at_rest
from sim.errors import Fault, InputError
from sim.regulation.set_up import set_up
from sim.unit.model import ActionUnit


def match_aftertouch(sharp: ActionUnit, natural: ActionUnit, wanted: Mapping[str, float]) -> dict[str, float]:
    """Targets (SI) with the aftertouch of a natural asked and the dip left to follow.

    A sharp's dip is set for the same aftertouch as the naturals' (technicians' mailing
    list, June 2004).  Raises InputError for a key that is no sharp, a natural that is
    none, or one that does not play.
    """
    if not sharp.key.sharp:
        _refuse(sharp, "key.sharp", "false", "true", "only a sharp takes its aftertouch from a natural")
    if natural.key.sharp:
        _refuse(natural, "key.sharp", "true", "false", "name a natural")
    reading = slow_press.read_settings(
        slow_press.press_slowly(settle_at_rest(set_up(natural)), back=False), drop=False, wink=False
    )
    if reading.aftertouch is None:
        _refuse(natural, "aftertouch", "no reading", "a natural that lets off", "regulate the natural first")
        raise AssertionError
    return {t: v for t, v in wanted.items() if t != "dip"} | {"aftertouch": reading.aftertouch}


def _refuse(unit: ActionUnit, field: str, value: str, allowed: str, remedy: str) -> None:
    raise InputError([Fault(unit.path, None, field, value, allowed, remedy)])


def measure_sharp_height(sharp: ActionUnit, natural: ActionUnit) -> float | None:
    """Top of the sharp, pressed to the bottom, over the tops of the naturals at rest, m (about 2 mm: as above)."""
    rest = settle_at_rest(sharp)
    dip = slow_press.read_settings(slow_press.press_slowly(rest, back=False), drop=False, wink=False).dip
    return None if dip is None else measure_key_height(rest) - dip - measure_key_height(settle_at_rest(set_up(natural)))
