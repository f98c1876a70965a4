"""Do these parts go together: clashes named before anything is ordered, with what would have to change.

First on paper (``geometry.py``), then set up to blow, dip, let-off and drop and
read by the engine: what comes out at the jack, the tail, the touch.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field

from sim.bench import slow_press
from sim.bench.inertia import read_inertia
from sim.bench.rest_pose import settle_at_rest
from sim.bench.usual_ranges import find_usual_range
from sim.errors import NoUnitError, UnitError
from sim.parts.geometry import Clash, check_jack_reach, check_lines, clash_from_fault, find_clashes
from sim.parts.readings import PartsReadings, read_parts
from sim.regulation import target_conflicts
from sim.regulation.regulate import MissedTarget, regulate
from sim.scenario.composite import Base, Composite, Source, compose_unit
from sim.unit.model import GRAVITY, ActionUnit
from sim.units import format_gf, format_mm

Progress = Callable[[float, str], None]

TARGETS: Mapping[str, float] = {
    "blow": 44.5e-3, "dip": 10.2e-3, "let_off": 1.6e-3, "drop": 2.2e-3, "lever_height": 0.2e-3, "jack_address": 0.0,
}  # fmt: skip
"""What parts are set up to where nothing else is asked (common practice, trade.md), m."""

WISHES: Mapping[str, float] = {"aftertouch": 0.2e-3, "balance_weight": 2e-3 * GRAVITY, "inertia": 20e-3}
"""What comes out of the parts and may be asked for, with how far off is still as asked (m, N, kg; our convention)."""

LINE_SLACK = 2e-3
"""Contacts off their lines at half stroke, m (the invented healthy unit: within 0.25 mm)."""
LEAST_WINDOW_GAP = 0.3e-3
"""Least way left to the jack at its window cushion, key at the bottom, m."""
TAIL_CLEARANCE = (0.5e-3, 6e-3)
"""Check's top below the tail at let-off, m: 2 to 3 mm are named (technicians' mailing lists, 1998 and 2003)."""
WIRE_REACH = (-3e-3, 10e-3)
"""... and what turning and bending the check's wire can still make good, m (our convention)."""
INERTIA_SHARE = 0.25
"""Inertia felt at the key away from the base's, as a share: no trade target was found (our convention)."""


@dataclass(frozen=True)
class PartsFit:
    """What came of one combination."""

    parts: Mapping[str, str]
    """Part to the name of the scenario it comes from."""
    clashes: tuple[Clash, ...]
    remarks: tuple[str, ...] = ()
    unit: ActionUnit | None = None
    """Set up; None when the parts do not make a unit at all."""
    readings: PartsReadings | None = None
    misses: tuple[MissedTarget, ...] = ()
    rooms: tuple[target_conflicts.ConflictMargin, ...] = ()
    screws: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    """Screw to where it stands in the base and here (SI)."""

    @property
    def together(self) -> bool:
        """Whether nothing grave stands in the way."""
        return self.unit is not None and not any(c.grave for c in self.clashes)


def fit_parts(
    base: Base,
    parts: Mapping[str, Source],
    targets: Mapping[str, float] | None = None,
    wishes: Mapping[str, float] | None = None,
    progress: Progress | None = None,
) -> PartsFit:
    """Put parts together, on paper and in the engine."""
    say = progress or (lambda fraction, what: None)
    names = {part: source.name for part, source in parts.items()}
    say(0.0, "on paper")
    made: Composite | None = None
    try:
        made = compose_unit(base, parts)
        unit = made.build()
    except NoUnitError as error:
        told = (
            (*check_lines(made.measures), *check_jack_reach(made.measures, base.measures)) if made is not None else ()
        )
        return PartsFit(
            names, (*told, *(clash_from_fault(f) for f in error.faults)), made.remarks if made is not None else ()
        )
    say(0.2, "setting up")
    return set_up_and_read(base, names, made, unit, targets, wishes or {}, say, felt_on=read_base_inertia(base))


def set_up_and_read(
    base: Base,
    names: Mapping[str, str],
    made: Composite,
    unit: ActionUnit,
    targets: Mapping[str, float] | None,
    wishes: Mapping[str, float],
    say: Progress,
    *,
    rooms: bool = True,
    felt_on: float | None = None,
) -> PartsFit:
    """Set a unit up and read it.

    ``rooms`` looks for moves that bring an aftertouch; ``felt_on`` is the inertia felt on the base (kg).
    """
    wanted = {**TARGETS, **(targets or {})}
    if "drop_at_bottom" in wanted:
        wanted.pop("drop")
    on_paper = find_clashes(unit, base.unit)
    done = regulate(unit, wanted)
    try:
        found = read_parts(done.unit)
    except UnitError as error:
        stuck = Clash("rest", "the unit", str(error), "a unit that comes to rest", "see the clashes beside it")
        return PartsFit(names, (*on_paper, stuck), made.remarks, unit, None, done.misses)
    misses = tuple(_report_missed_target(m) for m in done.misses)
    felt = (
        *_check_play(found),
        *_check_aftertouch(found, unit, wishes),
        *_check_touch(found, unit, felt_on),
        *_check_wishes(found, wishes),
    )
    moves: tuple[target_conflicts.ConflictMargin, ...] = ()
    if rooms and done.met and any(c.name == "aftertouch" for c in felt):
        say(0.6, "looking for room")
        asked = wishes.get("aftertouch", 1.1e-3)
        moves = target_conflicts.find_conflict_margins(unit, wanted, asked)
    screws = {path: (a.before, a.after) for path, a in done.moves.items()}
    return PartsFit(names, (*on_paper, *misses, *felt), made.remarks, done.unit, found, done.misses, moves, screws)


def _report_missed_target(m: MissedTarget) -> Clash:
    came = "cannot be read" if m.reached is None else f"comes to {format_reading(m.target, m.reached)}"
    title = m.target.replace("_", " ")
    return Clash(m.target, f"{title} asked", f"{title} {came}", format_reading(m.target, m.asked), m.why, off=math.inf)


def format_reading(name: str, value: float) -> str:
    """A wish or reading as a technician writes it."""
    if name == "inertia":
        return f"{value * 1e3:.0f} g"
    return format_gf(value) if name == "balance_weight" else format_mm(value, 2)


def _check_play(r: PartsReadings) -> Iterator[Clash]:
    for value, title, change in (
        (r.capstan_off_line, "capstan against the line balance rail to wippen centre",
         "raise or lower heel and capstan together, or the stack"),
        (r.jack_off_line, "knuckle against the line wippen centre to hammer centre",
         "another spread, or a knuckle of another height"),
    ):  # fmt: skip
        if value is not None and abs(value) > LINE_SLACK:
            yield Clash(
                "lines",
                title,
                f"{format_mm(abs(value))} {'above' if value > 0 else 'below'} it at half stroke",
                f"within {format_mm(LINE_SLACK)}",
                f"{change}: off the line surfaces rub",
                False,
                abs(value) / LINE_SLACK,
            )
    if r.window_left is not None and r.window_left < LEAST_WINDOW_GAP:
        yield Clash(
            "window", "jack against lever window", f"{format_mm(r.window_left, 2)} left at the bottom of the key",
            f"at least {format_mm(LEAST_WINDOW_GAP, 2)}", "a longer window, or less dip after escape",
            off=1 + (LEAST_WINDOW_GAP - r.window_left) / LEAST_WINDOW_GAP,
        )  # fmt: skip
    yield from _check_tail(r)


def _check_tail(r: PartsReadings) -> Iterator[Clash]:
    if r.tail_clear is not None and r.tail_clear < 0:
        yield Clash(
            "tail",
            "tail against backcheck",
            f"the tail rubs on the check on its way up ({format_mm(-r.tail_clear, 2)} deep)",
            "clear until let-off",
            "set or bend the check farther back, or take a tail that ends sooner",
            off=1 - r.tail_clear / 0.5e-3,
        )
    if r.tail_over_check is not None and r.checking_distance is None:
        yield Clash(
            "check", "tail against backcheck", "a moderate blow is not caught", "caught",
            "bend the check toward the tail, or another tail", False, 2.0,
        )  # fmt: skip
    over = r.tail_over_check
    if over is not None and not TAIL_CLEARANCE[0] <= over <= TAIL_CLEARANCE[1]:
        change = (
            f"check {format_mm(abs(over - 2e-3))} {'higher' if over > TAIL_CLEARANCE[1] else 'lower'}, or "
            f"a tail as much "
        )
        yield Clash(
            "tail_height",
            "tail against backcheck",
            f"the check's top stands {format_mm(over)} below the tail at let-off",
            f"{format_mm(TAIL_CLEARANCE[0])} to {format_mm(TAIL_CLEARANCE[1])}, 2 mm being usual",
            change + ("longer" if over > TAIL_CLEARANCE[1] else "shorter"),
            not WIRE_REACH[0] <= over <= WIRE_REACH[1],
            abs(over - 2e-3) / 2e-3,
        )


def _check_aftertouch(r: PartsReadings, u: ActionUnit, wishes: Mapping[str, float]) -> Iterator[Clash]:
    """An aftertouch out of its usual range, where none was wished."""
    value, span = r.settings.aftertouch, find_usual_range("aftertouch", u.key_number, u.key.sharp)
    if value is None or span is None or "aftertouch" in wishes:
        return
    side = span.side(value * 1e3)
    if side:
        nearest = 1e-3 * (span.low if side == "low" else span.high)
        yield Clash(
            "aftertouch", "aftertouch at this blow and dip", f"{format_mm(value, 2)}, {side}", f"{span} mm",
            _advise_more_aftertouch(nearest - value, r), False, 1 + abs(value - nearest) / WISHES["aftertouch"],
        )  # fmt: skip


def _advise_more_aftertouch(by: float, r: PartsReadings) -> str:
    """What brings ``by`` more aftertouch, m: as much dip, or blow by the leverage (the crown stays as far for the key
    before it lets off)."""
    leverage = r.touch.leverage_mean
    blow = "blow" if leverage is None else f"a blow {format_mm(abs(by) * leverage)} {'shorter' if by > 0 else 'longer'}"
    return (
        f"{format_mm(abs(by), 2)} {'more' if by > 0 else 'less'} dip, or {blow}, or "
        f"{'more' if by > 0 else 'less'} travel of the hammer for the key: knuckle set, capstan line"
    )


def _advise_less_weight(by: float, r: PartsReadings) -> str:
    """What takes ``by`` from the balance weight, N.

    A gram of hammer weighs at the key what the crown travels for it where weights are read (virtual work; 0.1 g about
    0.5 g, technicians' list, 2007).
    """
    grams = abs(by) / GRAVITY * 1e3
    return (
        f"{'more' if by > 0 else 'less'} lead: {grams:.1f} g at the touch point; or hammers "
        f"{'lighter' if by > 0 else 'heavier'}{_format_grams(grams, r.touch.leverage_6mm)}"
    )


def _format_grams(grams: float, times: float | None) -> str:
    return "" if times is None else f" by about {grams / times:.1f} g"


def _advise_less_inertia(by: float, r: PartsReadings) -> str:
    """What takes ``by`` from the inertia felt at the key, kg: a gram of hammer is felt by the square of its travel."""
    grams, travel = abs(by) * 1e3, r.touch.leverage_6mm
    return (
        f"hammers {'lighter' if by > 0 else 'heavier'}{_format_grams(grams, travel and travel**2)}, or another "
        f"leverage; or {'less' if by > 0 else 'more'} lead, {grams:.0f} g at the touch point (and as much weight)"
    )


def _check_touch(r: PartsReadings, u: ActionUnit, felt_on: float | None) -> Iterator[Clash]:
    weight, span = r.touch.balance_weight, find_usual_range("balance_weight", u.key_number, u.key.sharp)
    number = None if weight is None else weight / GRAVITY * 1e3
    side = span.side(number) if span else None
    if span is not None and side and number is not None:
        off = number - (span.low if side == "low" else span.high)
        yield Clash(
            "weight", "weight at the key", f"balance weight {number:.1f} gf, {side}", f"{span} gf",
            _advise_less_weight(off * 1e-3 * GRAVITY, r), False, 1 + abs(off) / 3.0,
        )  # fmt: skip
    if r.inertia is not None and felt_on is not None and abs(r.inertia / felt_on - 1) > INERTIA_SHARE:
        yield Clash(
            "inertia", "inertia felt at the key", f"{r.inertia * 1e3:.0f} g",
            f"within {INERTIA_SHARE:.0%} of the base's {felt_on * 1e3:.0f} g (no trade target was found)",
            _advise_less_inertia(r.inertia - felt_on, r), False, abs(r.inertia / felt_on - 1) / INERTIA_SHARE,
        )  # fmt: skip


def read_base_inertia(base: Base) -> float | None:
    """Inertia felt at the key of the base as it stands, kg; None when it does not play."""
    try:
        pressed = slow_press.press_slowly(settle_at_rest(base.unit), back=False)
    except UnitError:
        return None
    return read_inertia(pressed).felt if pressed.plays else None


def _check_wishes(r: PartsReadings, wishes: Mapping[str, float]) -> Iterator[Clash]:
    for name, slack in WISHES.items():
        value = r.value(name)
        if name in wishes and (value is None or abs(value - wishes[name]) > slack):
            came = "cannot be read" if value is None else f"comes to {format_reading(name, value)}"
            off = math.inf if value is None else abs(value - wishes[name]) / slack
            yield Clash(
                name, f"{name.replace('_', ' ')} wished", came,
                f"{format_reading(name, wishes[name])} within {format_reading(name, slack)}",
                _advise_change(name, wishes[name], value, r), off=off,
            )  # fmt: skip


def _advise_change(name: str, wished: float, value: float | None, r: PartsReadings) -> str:
    """What would bring a wish."""
    if value is None:
        return "bring it to play first: see the clashes beside it"
    if name == "aftertouch":
        return _advise_more_aftertouch(wished - value, r)
    return (
        _advise_less_weight(value - wished, r) if name == "balance_weight" else _advise_less_inertia(value - wished, r)
    )
