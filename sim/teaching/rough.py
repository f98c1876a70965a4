"""A roughly assembled unit, to be regulated in any order: each step with its time, its rework and what it upset.

What is counted is the same for a learner and for an order of work: a step costs the
minutes of the hand that is put to work (shared/hands.toml) and one reading of what it
sets (sim/diagnosis/bench_tests.py); what else is read after it is shown and not counted.
Everything follows from the unit, the seed and a plain list of steps.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cache, cached_property
from types import MappingProxyType

import numpy as np

from sim.diagnosis.bench_tests import list_bench_tests
from sim.display_units import convert_si, format_unit
from sim.errors import Fault, InputError, UnitError
from sim.fields.catalogue import Entry, load_catalogue, one_of
from sim.fields.field_paths import suggest_name
from sim.fields.quantity_field import shorten_value
from sim.regulation import orders
from sim.regulation.model_inputs import find_model_input
from sim.regulation.orders import CompletedStep, Order, Step
from sim.regulation.regulate import find_missed_targets
from sim.regulation.targets import get_target_unit, parse_target
from sim.studies.tolerances import TARGET_PREFIX, find_tolerance
from sim.teaching.adjustments import Adjustment, load_adjustments
from sim.teaching.exercise import LARGEST_SEED
from sim.unit.model import ActionUnit
from sim.units import LENGTH, parse_quantity
from sim.value_records import value_record

Progress = Callable[[float, str], None]
PATH_TARGETS = (
    "lever_height", "jack_address", "blow", "dip", "let_off", "drop", "aftertouch", "checking_distance", "spring_rise",
)  # fmt: skip
"""What the orders of work set."""
ALTERNATIVE_TARGETS = {"aftertouch": ("dip", "blow")}
"""What may be turned for a reading that more than one thing is turned for; the first where nothing is said."""
TARGET_ADJUSTMENTS = {"spring_rise": "springs.repetition", "aftertouch": "screw.dip"}
"""The hand of a reading that has not its own name."""
LEAST = 1 / 3
"""Share of the roughness by which every setting is off at least."""
DRAWS = 20
MOST_ROUNDS = 4
"""Rounds of an order at most."""
MOST_STEPS = 200
RISE_UNSEEN = "the hammer is not caught, so that its rise cannot be seen"


@value_record
@dataclass(frozen=True)
class RoughUnit:
    """What is on the bench: the unit as it should be, the rough one, and what both read (SI).

    The targets are what the unit reads as it should be, so that they can be met together;
    ``near`` is how far from each a bench still calls it met.
    """

    seed: int
    well: ActionUnit
    unit: ActionUnit
    targets: Mapping[str, float]
    near: Mapping[str, float]
    start: Mapping[str, float | None]

    def off(self, readings: Mapping[str, float | None]) -> tuple[str, ...]:
        """Targets that are not met, or cannot be read."""
        return tuple(t for t in PATH_TARGETS if not self.meets(t, readings.get(t)))

    def meets(self, target: str, value: float | None) -> bool:
        return value is not None and abs(value - self.targets[target]) <= self.near[target]


class _Row(Entry):
    at: str
    off: str | None = None
    share: float | None = None
    _either = one_of("off", "share")


class _File(Entry):
    rough: tuple[_Row, ...]


@cache
def load_roughness() -> Mapping[str, tuple[float, bool]]:
    """How far each input is off at most (SI), or (true) its share of what it is (shared/rough.toml)."""
    rows = load_catalogue("rough.toml", _File).rough
    return MappingProxyType(
        {r.at: (parse_quantity(r.off, LENGTH), False) if r.off else (r.share or 0.0, True) for r in rows}
    )


def draw_rough_unit(well: ActionUnit, seed: int = 1) -> RoughUnit:
    """A unit that is set up well, roughly assembled.  Raises InputError for one that is no good to regulate."""
    if not 0 <= seed <= LARGEST_SEED:
        raise _make_refusal("seed", str(seed), f"0 to {LARGEST_SEED}", "a shorter whole number")
    right = orders.read_step_readings(well)
    targets = {t: v for t in PATH_TARGETS if (v := right.get(t)) is not None}
    near = {t: find_tolerance(f"{TARGET_PREFIX}{t}", well).si for t in PATH_TARGETS}
    if len(targets) < len(PATH_TARGETS) or targets["spring_rise"] <= near["spring_rise"]:
        told = (
            ", ".join(t.replace("_", " ") for t in PATH_TARGETS if t not in targets)
            or "its spring does not lift the hammer"
        )
        raise _make_refusal(well.name, told, "a unit that plays as it stands", "take another, or mend this one first")
    random = np.random.default_rng([seed, 1])
    for _ in range(DRAWS):
        unit = _roughen_unit(well, random)
        if start := orders.read_step_readings(unit):
            return RoughUnit(
                seed, well, unit, MappingProxyType(targets), MappingProxyType(near), MappingProxyType(start)
            )
    raise _make_refusal("seed", str(seed), "one that leaves a unit that comes to rest", "take another")


def _roughen_unit(well: ActionUnit, random: np.random.Generator) -> ActionUnit:
    unit = well
    for at, (most, share) in load_roughness().items():
        model_input, drawn = find_model_input(at), float(random.choice((-1, 1)) * random.uniform(LEAST * most, most))
        unit = model_input.put(unit, model_input.get(unit) * (1 + drawn) if share else drawn)
    return unit


def get_adjustment(step: Step) -> Adjustment:
    """The hand that a step puts to work."""
    (name,) = step.sets
    by = step.by or name
    return load_adjustments()[TARGET_ADJUSTMENTS.get(by, f"screw.{by}")]


def compute_step_cost(step: Step) -> float:
    """Seconds of a step: the hand's, and one reading of what it sets."""
    return get_adjustment(step).seconds + sum(list_bench_tests()[t].seconds for t in step.sets)


def make_step(name: str, by: str = "", value: float | None = None) -> Step:
    """One thing to set, at its target or at a value (SI).  Raises InputError."""
    if name not in PATH_TARGETS:
        hint = suggest_name(name, PATH_TARGETS)
        raise _make_refusal("step", shorten_value(name), hint.allowed, hint.remedy)
    ways = ALTERNATIVE_TARGETS.get(name, ())
    if by and by not in ways:
        allowed = f"{name} by {' or '.join(ways)}" if ways else name
        raise _make_refusal("step", shorten_value(f"{name} by {by}"), allowed, "leave out what turns it")
    made = Step((name,), "" if by in ways[:1] else by, "", value)
    return replace(made, say=f"{name.replace('_', ' ')}, {get_adjustment(made).title}")


def parse_step(text: str) -> Step:
    """A step as it is written: ``blow``, ``let_off=1.6 mm``, ``aftertouch by blow=1.1 mm``.  Raises InputError."""
    what, is_given, typed = text.partition("=")
    name, _, by = (x.strip() for x in what.partition(" by "))
    made = make_step(name.replace(" ", "_").replace("-", "_"), by)
    return replace(made, value=parse_target(made.sets[0], typed, "step")) if is_given else made


def format_step(made: Step) -> str:
    """The same step as text, from which it can be read again."""
    (name,) = made.sets
    by = f" by {made.by}" if made.by else ""
    if made.value is None:
        return f"{name}{by}"
    return f"{name}{by}={convert_si(made.value, get_target_unit(name)):.9g} {format_unit(get_target_unit(name))}"


@dataclass(frozen=True)
class PathLine:
    """A step that was done: its cost, and what it did beside what it was meant to."""

    done: CompletedStep
    seconds: float
    again: bool
    """What was turned had been turned before."""
    spoilt: tuple[str, ...]
    """Targets that had been set and met before, and are not met after it."""
    off: tuple[str, ...]
    """Targets that are not met after it."""
    why: str = ""
    """Why it did not come out."""


@dataclass(frozen=True)
class RegulationPath:
    """A rough unit and the steps that were done on it; ``title`` says by whom."""

    rough: RoughUnit
    title: str = "Your path"
    lines: tuple[PathLine, ...] = ()

    @property
    def unit(self) -> ActionUnit:
        """As it stands."""
        return self.lines[-1].done.unit if self.lines else self.rough.unit

    @property
    def readings(self) -> Mapping[str, float | None]:
        """As it reads (SI)."""
        return self.lines[-1].done.readings if self.lines else self.rough.start

    @property
    def off(self) -> tuple[str, ...]:
        return self.rough.off(self.readings)

    @property
    def finished(self) -> bool:
        """Every target is met."""
        return not self.off

    @property
    def seconds(self) -> float:
        return sum(line.seconds for line in self.lines)

    @property
    def rework(self) -> int:
        """Steps that turned what had been turned before."""
        return sum(line.again for line in self.lines)

    @property
    def rework_seconds(self) -> float:
        return sum(line.seconds for line in self.lines if line.again)

    @property
    def spoilt(self) -> int:
        """How often a later step undid what had been set."""
        return sum(len(line.spoilt) for line in self.lines)

    @cached_property
    def steps(self) -> tuple[Step, ...]:
        """The plain list from which the path can be made again."""
        return tuple(line.done.step for line in self.lines)

    def then(self, made: Step) -> RegulationPath:
        """With one step more, done as the unit now stands.  Raises InputError where it is done with."""
        if self.finished or len(self.lines) >= MOST_STEPS:
            allowed = "no step more: every target is met" if self.finished else f"{MOST_STEPS} steps"
            raise _make_refusal("step", format_step(made), allowed, "take the last steps back, or begin again")
        done = self._done(made)
        before = {t for line in self.lines for t in line.done.step.sets} - set(self.off) - set(made.sets)
        off = self.rough.off(done.readings)
        hand = get_adjustment(made)
        again = any(get_adjustment(earlier) is hand for earlier in self.steps)
        line = PathLine(
            done, compute_step_cost(made), again, tuple(t for t in off if t in before), off, self._why(done)
        )
        return replace(self, lines=(*self.lines, line))

    def _done(self, made: Step) -> CompletedStep:
        """As ``orders.carry_out_step``; but nobody bends a spring for a rise that cannot be seen."""
        if "spring_rise" in made.sets and self.readings.get("spring_rise") is None:
            return CompletedStep(made, self.unit, self.readings, {}, False)
        return orders.carry_out_step(self.unit, made, self.rough.targets, self.readings)

    def _why(self, done: CompletedStep) -> str:
        if done.reached:
            return ""
        if done.unit is self.unit and "spring_rise" in done.step.sets:
            return RISE_UNSEEN
        wanted = {t: self.rough.targets[t] if done.step.value is None else done.step.value for t in done.step.sets}
        try:
            return next((miss.why for miss in find_missed_targets(done.unit, wanted, dict(done.readings))), "")
        except UnitError as error:
            return str(error)

    def back(self) -> RegulationPath:
        """Without the last step."""
        return replace(self, lines=self.lines[:-1])


def make_path(begun: RoughUnit, steps: Iterable[str | Step], title: str = RegulationPath.title) -> RegulationPath:
    """A path from its steps, written or made.  Raises InputError."""
    made = RegulationPath(begun, title)
    for one in steps:
        made = made.then(parse_step(one) if isinstance(one, str) else one)
    return made


def follow_order(begun: RoughUnit, order: Order, progress: Progress | None = None) -> RegulationPath:
    """An order of work followed on a rough unit until every target is met.

    The first round is done as it is written; in the next ones, ROUNDS at most, a step
    whose reading is met already is passed over, as by anyone who looks first.
    """
    say = progress or (lambda fraction, what: None)
    made, steps = RegulationPath(begun, order.title), orders.list_steps(order, begun.targets)
    for turn in range(MOST_ROUNDS):
        for i, one in enumerate(steps):
            if made.finished:
                return made
            say((turn + i / len(steps)) / MOST_ROUNDS, one.say)
            if turn == 0 or not all(begun.meets(t, made.readings.get(t)) for t in one.sets):
                made = made.then(one)
    return made


def follow_all_orders(begun: RoughUnit, progress: Progress | None = None) -> tuple[RegulationPath, ...]:
    """Every shipped order of work on the same rough unit."""
    say = progress or (lambda fraction, what: None)
    schools = list(orders.load_orders().values())

    def part(i: int) -> Progress:
        return lambda fraction, what: say((i + fraction) / len(schools), what)

    return tuple(follow_order(begun, order, part(i)) for i, order in enumerate(schools))


def _make_refusal(what: str, value: str, allowed: str, remedy: str) -> InputError:
    return InputError([Fault("rough unit", None, what, value, allowed, remedy)])
