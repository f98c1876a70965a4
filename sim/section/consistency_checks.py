"""Entries of a bench sheet that do not go together, with the likely slip of the pen.

Each check holds what some entries say against what the others lead the model to expect; an entry that a
common slip (a decimal point, two figures changed over, a count both ways) would put right is named.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace

from sim.bench import slow_press
from sim.bench.centres import PINNING_RADIUS, read_centres
from sim.bench.rest_pose import settle_at_rest
from sim.display_units import UNITS, format_si
from sim.errors import UnitError
from sim.section.columns import CENTRES, Column, list_columns
from sim.section.sheet import NoteRow
from sim.unit.model import ActionUnit

INCONSISTENT_FROM = 3.0
"""Standard errors from which entries do not go together."""
CONSISTENT_WITHIN = 1.5
"""... and within which they do."""
FRICTION_ERROR = 0.2
"""Standard error of the friction at the key that pinnings lead one to expect, as a share: leathers differ."""
MOST_OVERCENTRE = 4e-3
"""Most that the crown stands over or under a level shank's at the strike, m (our convention)."""
PINNING_ERROR, SWINGS_ERROR = 0.15, 1.5
"""Standard errors of a pinning force, as a share, and of a count of swings (our convention)."""
LEAST_HEAD_MASS = 1.5e-3
"""A head weighs no less than this, kg."""
AFTERTOUCH_ERROR = 0.3e-3
"""Standard error of the aftertouch that blow, dip and let-off leave, m: each is read as the bench does."""


@dataclass(frozen=True)
class ConsistencyFinding:
    """Entries of one note that do not go together."""

    key_number: int
    entries: tuple[str, ...]
    told: str
    likely: str
    """The likely slip, or what each would have to be."""


Inconsistency = Callable[[Mapping[str, float]], float]
"""How far entries are from going together, in standard errors."""


def check_consistency(row: NoteRow, unit: ActionUnit) -> tuple[ConsistencyFinding, ...]:
    """What does not go together in a row; ``unit``: the note as its neighbours lead one to expect it."""
    return tuple(slip for check in CHECKS for slip in check(row, unit))


def _check_friction(row: NoteRow, unit: ActionUnit) -> Iterator[ConsistencyFinding]:
    """Half of down less up weight against the pinning of the centres."""
    read = row.numbers
    freed = [n for n in CENTRES if f"pinning_{n}" in read]
    pinned = [f"pinning_{n}" for n in freed]
    if not freed or not {"down_weight", "up_weight"} <= read.keys():
        return
    base = _predict_friction(unit, {})
    if base is None:
        return
    shares = {n: _compute_friction_share(unit, n, base) for n in freed}
    if None in shares.values():
        return

    def expected(entries: Mapping[str, float]) -> float:
        return base + sum(
            (shares[n] or 0.0) * (_convert_pinning(unit, n, entries[f"pinning_{n}"]) - unit.friction[n]) for n in freed
        )

    def off(entries: Mapping[str, float]) -> float:
        found, leads = 0.5 * (entries["down_weight"] - entries["up_weight"]), expected(entries)
        return (found - leads) / math.hypot(0.7 * find_unit_factor("gf"), FRICTION_ERROR * max(leads, 0.0))

    names = ("down_weight", "up_weight", *pinned)
    found, leads = 0.5 * (read["down_weight"] - read["up_weight"]), expected(read)
    told = (
        f"half of down less up weight is {format_si(found, 'gf')}, the pinning forces lead to {format_si(leads, 'gf')}"
    )
    yield from _report_findings(row, names, told, off)


def _convert_pinning(unit: ActionUnit, centre: str, force: float) -> float:
    return force * (-unit.key.touch_point[0] if centre == "key" else PINNING_RADIUS)


def _predict_friction(unit: ActionUnit, torques: Mapping[str, float]) -> float | None:
    """Friction at the key (N) with some centres of other torque; None where the note does not play."""
    made = replace(unit, friction={**unit.friction, **torques})
    try:
        return slow_press.read_touch_weight(slow_press.press_slowly(settle_at_rest(made)))[0].friction
    except UnitError:
        return None


def _compute_friction_share(unit: ActionUnit, centre: str, base: float) -> float | None:
    """How much friction at the key (N) a centre's torque (N·m) makes, evenly (statics): ``base`` with what it has."""
    more = _predict_friction(unit, {centre: 1.3 * unit.friction[centre]})
    return None if more is None else (more - base) / (0.3 * unit.friction[centre])


def _check_aftertouch(row: NoteRow, unit: ActionUnit) -> Iterator[ConsistencyFinding]:
    """Aftertouch against what blow, dip and let-off leave at this leverage."""
    read = row.numbers
    if not {"blow", "dip", "aftertouch"} <= read.keys():
        return
    try:
        mine = slow_press.read_settings(slow_press.press_slowly(settle_at_rest(unit), back=False), wink=False)
    except UnitError:
        return
    if None in (mine.blow, mine.dip, mine.let_off, mine.aftertouch):
        return
    way = (mine.blow or 0.0) - (mine.let_off or 0.0)
    ratio = way / ((mine.dip or 0.0) - (mine.aftertouch or 0.0))
    usual = mine.let_off or 0.0

    def left(entries: Mapping[str, float]) -> float:
        return entries["dip"] - (entries["blow"] - entries.get("let_off", usual)) / ratio

    def off(entries: Mapping[str, float]) -> float:
        return (entries["aftertouch"] - left(entries)) / AFTERTOUCH_ERROR

    names = tuple(n for n in ("blow", "dip", "let_off", "aftertouch") if n in read)
    told = (
        f"the aftertouch is {format_si(read['aftertouch'], 'mm')}, blow and dip leave {format_si(left(read), 'mm')} "
        f"at a leverage of {ratio:.2f} up to let-off"
    )
    yield from _report_findings(row, names, told, off)


def _check_swings(row: NoteRow, unit: ActionUnit) -> Iterator[ConsistencyFinding]:
    """Swings against the pinning force of the same centre."""
    for centre in CENTRES:
        names = (f"pinning_{centre}", f"swings_{centre}")
        if not set(names) <= row.numbers.keys():
            continue
        friction = {**unit.friction, centre: _convert_pinning(unit, centre, row.numbers[names[0]])}
        swings = read_centres(replace(unit, friction=friction))[centre].swings
        if swings is None or not swings > 0:
            continue

        def off(entries: Mapping[str, float], names: tuple[str, str] = names, swings: float = swings) -> float:
            """Swings go with one over the friction."""
            leads = max(swings * row.numbers[names[0]] / max(entries[names[0]], 1e-9), 0.5)
            count = max(entries[names[1]], 0.5)
            return math.log(count / leads) / math.hypot(PINNING_ERROR, SWINGS_ERROR / min(count, leads))

        counted = f"{row.numbers[names[1]]:.0f} swings of the {_name_centre(centre)}"
        told = f"{counted}, where its pinning force leads to {swings:.1f}"
        yield from _report_findings(row, names, told, off)


def _name_centre(centre: str) -> str:
    return "repetition lever" if centre == "lever" else centre


def _check_heights(row: NoteRow, unit: ActionUnit) -> Iterator[ConsistencyFinding]:
    """String over the hammer centre against the bore; the spread against both centres' heights."""
    read = row.numbers
    names = ("string_height", "hammer_centre_height", "bore")
    if set(names) <= read.keys():
        over = read["string_height"] - read["hammer_centre_height"]
        told = f"the string is {format_si(over, 'mm')} over the hammer centre, the bore {format_si(read['bore'], 'mm')}"

        def off(entries: Mapping[str, float]) -> float:
            over = entries["string_height"] - entries["hammer_centre_height"]
            return INCONSISTENT_FROM * (over - entries["bore"]) / MOST_OVERCENTRE

        yield from _report_findings(row, names, told, off)
    names = ("spread", "hammer_centre_height", "wippen_centre_height")
    if set(names) <= read.keys():
        rise = read["hammer_centre_height"] - read["wippen_centre_height"]
        told = (
            f"the hammer centre is {format_si(rise, 'mm')} over the wippen's, the spread {_format_mm(read['spread'])}"
        )

        def short(entries: Mapping[str, float]) -> float:
            rise = entries["hammer_centre_height"] - entries["wippen_centre_height"]
            return 2 * INCONSISTENT_FROM * (rise >= entries["spread"])

        yield from _report_findings(row, names, told, short)


def _format_mm(si: float) -> str:
    return format_si(si, "mm")


def _check_weights(row: NoteRow, unit: ActionUnit) -> Iterator[ConsistencyFinding]:
    """A hammer with its shank against the shank alone."""
    names = ("hammer_weight", "shank_weight")
    if set(names) <= row.numbers.keys():
        told = (
            f"hammer and shank weigh {format_si(row.numbers[names[0]], 'g')}, "
            f"the shank {format_si(row.numbers[names[1]], 'g')}"
        )

        def off(entries: Mapping[str, float]) -> float:
            return 2 * INCONSISTENT_FROM * (entries[names[0]] - entries[names[1]] < LEAST_HEAD_MASS)

        yield from _report_findings(row, names, told, off)


Check = Callable[[NoteRow, ActionUnit], Iterator[ConsistencyFinding]]
CHECKS: tuple[Check, ...] = (_check_friction, _check_aftertouch, _check_swings, _check_heights, _check_weights)


def find_unit_factor(unit: str) -> float:
    """One of a unit at the edge, SI."""
    spelling, dimension, _ = UNITS[unit]
    return dimension.factor(spelling)


def _report_findings(
    row: NoteRow, names: tuple[str, ...], told: str, off: Inconsistency
) -> Iterator[ConsistencyFinding]:
    """The slip, where entries do not go together."""
    entries = dict(row.numbers)
    if abs(off(entries)) <= INCONSISTENT_FROM:
        return
    ways = sorted(
        (abs(off({**entries, name: value})), rank, name, value, what)
        for name in names
        for rank, (value, what) in enumerate(_list_common_mistakes(list_columns()[name], entries[name]))
    )
    good = [(rank, far, name, value, what) for far, rank, name, value, what in ways if far <= CONSISTENT_WITHIN]
    if good:
        _, _, name, value, what = min(good)
        likely = f"{list_columns()[name].title}: {what}, {_format_entry(list_columns()[name], value)}?"
    else:
        likely = f"read {', '.join(list_columns()[n].title for n in names)} again"
    yield ConsistencyFinding(row.key_number, names, told, likely)


def _format_entry(column: Column, si: float) -> str:
    return format_si(si, column.unit)


def _list_common_mistakes(column: Column, si: float) -> Iterator[tuple[float, str]]:
    """What somebody may have meant, the commonest first; within the column's limits."""
    one = find_unit_factor(column.unit)
    shown = si / one
    ways: list[tuple[float, str]] = [
        (0.1, "a decimal point left out, perhaps"), (10.0, "a decimal point one place too far left, perhaps"),
    ]  # fmt: skip
    out = [(shown * factor, what) for factor, what in ways]
    if column.unit == "":
        out += [(shown / 2, "counted both ways, perhaps"), (shown * 2, "every other one counted, perhaps")]
    if column.unit == "mm":
        out += [(shown + 10, "ten millimetres short, perhaps"), (shown - 10, "ten millimetres over, perhaps")]
    if column.unit == "gf":
        out += [(shown + 10, "ten short, perhaps"), (shown - 10, "ten over, perhaps")]
    out += [(value, "two figures changed over, perhaps") for value in _swap_figures(shown)]
    for value, what in out:
        if column.limits[0] <= value <= column.limits[1]:
            yield value * one, what


def _swap_figures(value: float) -> Iterator[float]:
    """With two neighbouring figures changed over."""
    text = f"{abs(value):.2f}".rstrip("0").rstrip(".")
    figures = [i for i, c in enumerate(text) if c.isdigit()]
    for i, j in zip(figures, figures[1:], strict=False):
        if text[i] != text[j]:
            letters = list(text)
            letters[i], letters[j] = letters[j], letters[i]
            yield math.copysign(float("".join(letters)), value)
