"""A roughly assembled unit, to be regulated in any order: each step with its time, its rework and what it upset.

What is counted is the same for a learner and for an order of work: a step costs the
minutes of the hand that is put to work (shared/hands.toml) and one reading of what it
sets (sim/diagnosis/bench_tests.py); what else is read after it is shown and not counted.
Everything follows from the unit, the seed and a plain list of steps.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cache, cached_property
from types import MappingProxyType

import numpy as np

from sim.diagnosis.bench_tests import bench_tests
from sim.display_units import convert_si, unit_label
from sim.errors import Fault, InputError, SimulationError
from sim.fields.field_paths import suggestion
from sim.fields.quantity_field import brief
from sim.regulation import orders
from sim.regulation.model_inputs import knob_at
from sim.regulation.orders import Done, Order, Step
from sim.regulation.regulate import unmet
from sim.regulation.targets import asked, unit_of
from sim.shared_files import shared_file
from sim.studies.tolerances import WISHED, tolerance
from sim.teaching.adjustments import Hand, hands
from sim.teaching.exercise import LARGEST_SEED
from sim.unit.model import ActionUnit
from sim.units import LENGTH, parse

Progress = Callable[[float, str], None]
SET = (
    "lever_height", "jack_address", "blow", "dip", "let_off", "drop", "aftertouch", "checking_distance", "spring_rise",
)  # fmt: skip
"""What the orders of work set."""
BY = {"aftertouch": ("dip", "blow")}
"""What may be turned for a reading that more than one thing is turned for; the first where nothing is said."""
HAND = {"spring_rise": "spring.repetition", "aftertouch": "screw.dip"}
"""The hand of a reading that has not its own name."""
LEAST = 1 / 3
"""Share of the roughness by which every setting is off at least."""
DRAWS = 20
ROUNDS = 4
"""Rounds of an order at most."""
MOST_STEPS = 200
UNSEEN = "the hammer is not caught, so that its rise cannot be seen"


@dataclass(frozen=True)
class Rough:
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
        return tuple(t for t in SET if not self.meets(t, readings.get(t)))

    def meets(self, target: str, value: float | None) -> bool:
        return value is not None and abs(value - self.targets[target]) <= self.near[target]


@cache
def roughness() -> Mapping[str, tuple[float, bool]]:
    """How far each input is off at most (SI), or (true) its share of what it is (shared/rough.toml)."""
    with shared_file("rough.toml").open("rb") as file:
        rows = tomllib.load(file)["rough"]
    return MappingProxyType(
        {r["at"]: (r["share"], True) if "share" in r else (parse(r["off"], LENGTH), False) for r in rows}
    )


def rough(well: ActionUnit, seed: int = 1) -> Rough:
    """A unit that is set up well, roughly assembled.  Raises InputError for one that is no good to regulate."""
    if not 0 <= seed <= LARGEST_SEED:
        raise _refused("seed", str(seed), f"0 to {LARGEST_SEED}", "a shorter whole number")
    right = orders.read(well)
    targets = {t: v for t in SET if (v := right.get(t)) is not None}
    near = {t: tolerance(f"{WISHED}{t}", well).si for t in SET}
    if len(targets) < len(SET) or targets["spring_rise"] <= near["spring_rise"]:
        told = ", ".join(t.replace("_", " ") for t in SET if t not in targets) or "its spring does not lift the hammer"
        raise _refused(well.name, told, "a unit that plays as it stands", "take another, or mend this one first")
    random = np.random.default_rng([seed, 1])
    for _ in range(DRAWS):
        unit = _roughened(well, random)
        if start := orders.read(unit):
            return Rough(seed, well, unit, MappingProxyType(targets), MappingProxyType(near), MappingProxyType(start))
    raise _refused("seed", str(seed), "one that leaves a unit that comes to rest", "take another")


def _roughened(well: ActionUnit, random: np.random.Generator) -> ActionUnit:
    unit = well
    for at, (most, share) in roughness().items():
        knob, drawn = knob_at(at), float(random.choice((-1, 1)) * random.uniform(LEAST * most, most))
        unit = knob.put(unit, knob.get(unit) * (1 + drawn) if share else drawn)
    return unit


def hand_of(step: Step) -> Hand:
    """The hand that a step puts to work."""
    (name,) = step.sets
    by = step.by or name
    return hands()[HAND.get(by, f"screw.{by}")]


def cost(step: Step) -> float:
    """Seconds of a step: the hand's, and one reading of what it sets."""
    return hand_of(step).seconds + sum(bench_tests()[t].seconds for t in step.sets)


def step(name: str, by: str = "", value: float | None = None) -> Step:
    """One thing to set, at its target or at a value (SI).  Raises InputError."""
    if name not in SET:
        hint = suggestion(name, SET)
        raise _refused("step", brief(name), hint.allowed, hint.remedy)
    ways = BY.get(name, ())
    if by and by not in ways:
        allowed = f"{name} by {' or '.join(ways)}" if ways else name
        raise _refused("step", brief(f"{name} by {by}"), allowed, "leave out what turns it")
    made = Step((name,), "" if by in ways[:1] else by, "", value)
    return replace(made, say=f"{name.replace('_', ' ')}, {hand_of(made).title}")


def step_of(text: str) -> Step:
    """A step as it is written: ``blow``, ``let_off=1.6 mm``, ``aftertouch by blow=1.1 mm``.  Raises InputError."""
    what, is_given, typed = text.partition("=")
    name, _, by = (x.strip() for x in what.partition(" by "))
    made = step(name.replace(" ", "_").replace("-", "_"), by)
    return replace(made, value=asked(made.sets[0], typed, "step")) if is_given else made


def as_typed(made: Step) -> str:
    """The same step as text, from which it can be read again."""
    (name,) = made.sets
    by = f" by {made.by}" if made.by else ""
    if made.value is None:
        return f"{name}{by}"
    return f"{name}{by}={convert_si(made.value, unit_of(name)):.9g} {unit_label(unit_of(name))}"


@dataclass(frozen=True)
class Line:
    """A step that was done: its cost, and what it did beside what it was meant to."""

    done: Done
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
class Path:
    """A rough unit and the steps that were done on it; ``title`` says by whom."""

    rough: Rough
    title: str = "Your path"
    lines: tuple[Line, ...] = ()

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

    def then(self, made: Step) -> Path:
        """With one step more, done as the unit now stands.  Raises InputError where it is done with."""
        if self.finished or len(self.lines) >= MOST_STEPS:
            allowed = "no step more: every target is met" if self.finished else f"{MOST_STEPS} steps"
            raise _refused("step", as_typed(made), allowed, "take the last steps back, or begin again")
        done = self._done(made)
        before = {t for line in self.lines for t in line.done.step.sets} - set(self.off) - set(made.sets)
        off = self.rough.off(done.readings)
        hand = hand_of(made)
        again = any(hand_of(earlier) is hand for earlier in self.steps)
        line = Line(done, cost(made), again, tuple(t for t in off if t in before), off, self._why(done))
        return replace(self, lines=(*self.lines, line))

    def _done(self, made: Step) -> Done:
        """As ``orders.do``; but nobody bends a spring for a rise that cannot be seen."""
        if "spring_rise" in made.sets and self.readings.get("spring_rise") is None:
            return Done(made, self.unit, self.readings, {}, False)
        return orders.do(self.unit, made, self.rough.targets, self.readings)

    def _why(self, done: Done) -> str:
        if done.reached:
            return ""
        if done.unit is self.unit and "spring_rise" in done.step.sets:
            return UNSEEN
        wanted = {t: self.rough.targets[t] if done.step.value is None else done.step.value for t in done.step.sets}
        try:
            return next((miss.why for miss in unmet(done.unit, wanted, dict(done.readings))), "")
        except SimulationError as error:
            return str(error)

    def back(self) -> Path:
        """Without the last step."""
        return replace(self, lines=self.lines[:-1])


def path(begun: Rough, steps: Iterable[str | Step], title: str = Path.title) -> Path:
    """A path from its steps, written or made.  Raises InputError."""
    made = Path(begun, title)
    for one in steps:
        made = made.then(step_of(one) if isinstance(one, str) else one)
    return made


def followed(begun: Rough, order: Order, progress: Progress | None = None) -> Path:
    """An order of work followed on a rough unit until every target is met.

    The first round is done as it is written; in the next ones, ROUNDS at most, a step
    whose reading is met already is passed over, as by anyone who looks first.
    """
    say = progress or (lambda fraction, what: None)
    made, steps = Path(begun, order.title), orders.to_do(order, begun.targets)
    for turn in range(ROUNDS):
        for i, one in enumerate(steps):
            if made.finished:
                return made
            say((turn + i / len(steps)) / ROUNDS, one.say)
            if turn == 0 or not all(begun.meets(t, made.readings.get(t)) for t in one.sets):
                made = made.then(one)
    return made


def all_followed(begun: Rough, progress: Progress | None = None) -> tuple[Path, ...]:
    """Every shipped order of work on the same rough unit."""
    say = progress or (lambda fraction, what: None)
    schools = list(orders.orders().values())

    def part(i: int) -> Progress:
        return lambda fraction, what: say((i + fraction) / len(schools), what)

    return tuple(followed(begun, order, part(i)) for i, order in enumerate(schools))


def _refused(what: str, value: str, allowed: str, remedy: str) -> InputError:
    return InputError([Fault("rough unit", None, what, value, allowed, remedy)])
