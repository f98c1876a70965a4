"""What a technician may read of one note when looking for a fault: each test in one entry, with its cost.

Costs are common practice, no source: seconds of a person's time with the action in the piano,
or with it out and the part named taken off.  Accuracies are those of the readings; where a
reading is of this list alone, what a rule, a scale or a gauge of the trade is read to.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from typing import Any

from sim.bench import centres, release, repetition, slow_press
from sim.bench import strike as blows
from sim.bench.outcomes import Outcome
from sim.bench.predict import MODERATE, find_touch
from sim.bench.readings import Repetition, Settings, Strike, TouchWeight, list_reading_fields
from sim.bench.rest_pose import Rest, measure_key_height, settle_at_rest
from sim.display_units import UNITS
from sim.errors import UnitError
from sim.physics.run import DEFAULT_STEP
from sim.unit.model import GRAVITY, ActionUnit
from sim.value_records import value_record

HARD_BLOW = "hard"
RATE, DEPTH, STROKES = 4.0, 4e-3, 4
"""Soft repetition: strokes a second, how far under its rest the key is let up (m), strokes.  Our convention."""
CANNOT = (Outcome.BLOCKS, Outcome.DOES_NOT_DROP, Outcome.NEVER_ESCAPES)


class Word(StrEnum):
    """What a test reads in a word; the slow press reads its outcome, or ``OTHERWISE``."""

    CAUGHT = "caught"
    NOT_CAUGHT = "not caught"
    YES = "yes"
    NO = "no"
    OTHERWISE = "otherwise"


@dataclass(frozen=True)
class ReadableQuantity:
    """What can be read: a number in ``unit`` to ``accuracy``, or one of ``words``."""

    name: str
    title: str
    unit: str = ""
    accuracy: float = 0.0
    """How finely it is read, in ``unit``."""
    words: tuple[str, ...] = ()

    @property
    def si(self) -> float:
        """Accuracy, SI; of words 1."""
        return 1.0 if self.words else self.accuracy * UNITS[self.unit].dimension.factor(UNITS[self.unit].label)


@dataclass(frozen=True)
class BenchTest(ReadableQuantity):
    """One reading that a technician takes, and what that costs."""

    slip: float = 0.002
    """Share of words that come out otherwise for no reason the library knows."""
    seconds: float = 30.0
    out: bool = False
    """With the action out of the piano."""
    parts: str = ""
    how: str = ""
    first: bool = False
    """Taken of every note before anything else."""
    needs: tuple[str, str] | None = None
    """A test of words and what it has to say for this one to be taken at all."""
    damper: bool = False
    limits: tuple[float, float] = (-math.inf, math.inf)
    """What can be, in ``unit``."""

    def of(self, unit: ActionUnit) -> bool:
        """Whether it can be taken of this unit."""
        return not self.damper or unit.damper is not None

    @property
    def least(self) -> float:
        """The less of the limits, SI."""
        return self.limits[0] * self.si / self.accuracy

    @property
    def most(self) -> float:
        """The greater of the limits, SI."""
        return self.limits[1] * self.si / self.accuracy


@value_record
@dataclass(frozen=True)
class Symptoms:
    """What was read: numbers (SI, None where it cannot be taken) and words."""

    numbers: Mapping[str, float | None]
    words: Mapping[str, str]


def _define_reading_test(
    cls: type, name: str, first: bool, seconds: float, how: str, limits: tuple[float, float], **more: Any
) -> BenchTest:
    meta = list_reading_fields(cls)[name]
    given: dict[str, Any] = {"accuracy": meta["accuracy"], **more}
    return BenchTest(name, meta["title"], meta["unit"], seconds=seconds, how=how, limits=limits, first=first, **given)


PRESSED, CHECKED = ("slow_press", Outcome.PLAYS), ("check", Word.CAUGHT)
_EVERYDAY_TESTS: tuple[BenchTest, ...] = (
    _define_reading_test(
        TouchWeight, "down_weight", True, 40, "weights on the touch point until the key just goes down", (5, 250)
    ),
    _define_reading_test(
        TouchWeight, "up_weight", True, 40, "weights that the key just lifts", (-100, 200), needs=PRESSED
    ),
    _define_reading_test(
        Settings, "let_off", True, 20, "press slowly; crown to string where it turns", (0, 20), needs=PRESSED
    ),
    _define_reading_test(
        Settings, "drop", True, 20, "hold the key just past the escape; how far the crown fell", (0, 25), needs=PRESSED
    ),
    _define_reading_test(
        Settings,
        "aftertouch",
        True,
        40,
        "a paper gauge under the key front from let-off to the bottom",
        (0, 8),
        needs=PRESSED,
    ),
    _define_reading_test(
        Strike, "checking_distance", True, 20, "a moderate blow, key held; crown to string", (0, 60), needs=CHECKED
    ),
    _define_reading_test(
        Repetition, "spring_rise", True, 20, "let the check go slowly; how far the hammer rises", (0, 45), needs=CHECKED
    ),
    _define_reading_test(
        Repetition,
        "reset_point",
        True,
        40,
        "let the key up slowly; front-edge depth at which the jack slips home",
        (0, 15),
        needs=PRESSED,
    ),
    _define_reading_test(
        Repetition,
        "return_time",
        True,
        120,
        "film the key let go from the bottom; until the jack is home",
        (1, 600),
        needs=("home", Word.YES),
    ),
    BenchTest(
        "slow_press",
        "slow press ends",
        words=(Outcome.PLAYS, *CANNOT, Word.OTHERWISE),
        seconds=15,
        first=True,
        how="press very slowly and watch the hammer",
    ),
    BenchTest(
        "check",
        "after a moderate blow the hammer is",
        words=(Word.CAUGHT, Word.NOT_CAUGHT),
        seconds=10,
        first=True,
        how="a moderate blow, key held",
    ),
    BenchTest(
        "home",
        "jack home when the key is let go",
        words=(Word.YES, Word.NO),
        seconds=10,
        first=True,
        how="let the key go from the bottom and press again",
    ),
    BenchTest(
        "repeats",
        "repeats when played softly",
        words=(Word.YES, Word.NO),
        slip=0.03,
        seconds=20,
        how=f"soft strokes, {RATE:.0f} a second, the key let up to {DEPTH * 1e3:.0f} mm under its rest",
    ),
    BenchTest(
        "kicks",
        "hammer kicks on its rise",
        words=(Word.YES, Word.NO),
        slip=0.03,
        seconds=15,
        needs=CHECKED,
        how="let the check go slowly; a jolt felt in the key",
    ),
    _define_reading_test(Settings, "blow", False, 40, "crown to string at rest, with a rule", (20, 70)),
    _define_reading_test(Settings, "dip", False, 60, "dip block under a firm finger", (5, 15)),
    _define_reading_test(
        Settings,
        "drop_at_bottom",
        False,
        30,
        "key at the bottom; how far the crown is under its let-off height",
        (-5, 25),
        needs=PRESSED,
    ),
    _define_reading_test(
        TouchWeight, "break_away", False, 40, "weights until the key leaves its rest at all", (5, 250)
    ),
    _define_reading_test(
        TouchWeight, "let_off_hump", False, 60, "more weights until it goes through the escape", (0, 500), needs=PRESSED
    ),
    _define_reading_test(
        TouchWeight, "leverage_6mm", False, 90, "a 6 mm block under the key front; crown's rise over it", (2, 9)
    ),
    _define_reading_test(
        Settings,
        "damper_start",
        False,
        40,
        "press slowly; front-edge travel where the damper starts",
        (0, 12),
        damper=True,
    ),
    BenchTest(
        "hard_check",
        "after a hard blow the hammer is",
        words=(Word.CAUGHT, Word.NOT_CAUGHT),
        seconds=10,
        how="a hard blow, key held",
    ),
    BenchTest(
        "hard_checking_distance",
        "checking distance, hard blow",
        "mm",
        1.0,
        seconds=25,
        needs=("hard_check", Word.CAUGHT),
        limits=(0, 60),
        how="a hard blow, key held; crown to string",
    ),
    BenchTest(
        "key_height",
        "key height",
        "mm",
        0.2,
        seconds=60,
        limits=(30, 110),
        how="straight edge over the keys, gauge to the key bed",
    ),
    BenchTest(
        "rest_gap",
        "shank over its rest",
        "mm",
        0.5,
        seconds=90,
        limits=(-1, 30),
        how="a feeler between shank and cushion; 0 where it lies on it",
        out=True,
    ),
    _define_reading_test(
        Settings, "wink", False, 180, "trip the jack by its toe; how far the hammer drops", (0, 10), out=True
    ),
    _define_reading_test(
        Settings, "lever_height", False, 180, "a strip of paper between jack, lever and knuckle", (-5, 5), out=True
    ),
    _define_reading_test(
        Settings,
        "jack_address",
        False,
        180,
        "jack's rear edge against the knuckle's core, through the window",
        (-15, 15),
        out=True,
    ),
    _define_reading_test(
        Settings, "spread", False, 240, "hammer centre to wippen centre with a rule", (80, 150), out=True
    ),
    BenchTest(
        "knuckle_set",
        "knuckle set",
        "mm",
        0.25,
        seconds=240,
        out=True,
        limits=(10, 25),
        how="hammer centre to the knuckle's core, along the shank, with a rule",
    ),
    BenchTest(
        "hammer_weight",
        "hammer and shank weigh",
        "g",
        0.2,
        seconds=240,
        out=True,
        parts="hammer tilted up, its flange screw eased",
        limits=(3, 25),
        how="at the crown, shank level, on a scale",
    ),
    BenchTest(
        "front_weight",
        "key's front weighs",
        "gf",
        0.5,
        seconds=420,
        out=True,
        parts="wippen and hammer lifted off the key",
        limits=(-50, 120),
        how="at the touch point on a scale, the key on its balance pin alone",
    ),
    BenchTest(
        "jack_spring",
        "force that trips the jack",
        "gf",
        3.0,
        seconds=240,
        out=True,
        parts="hammer tilted up",
        limits=(1, 300),
        how="gauge at the jack's toe, until it just moves",
    ),
    BenchTest(
        "lever_force",
        "force that sinks the lever",
        "gf",
        10.0,
        seconds=240,
        out=True,
        parts="hammer tilted up",
        limits=(5, 800),
        how="gauge on the lever under the knuckle's place, until it just goes down",
    ),
    *(
        BenchTest(
            f"pinning_{n}",
            f"pinning force, {title}",
            "gf",
            0.5,
            seconds=t,
            out=True,
            parts=parts,
            limits=(0, 80),
            how=how,
        )
        for n, title, t, parts, how in (
            (
                "hammer",
                "hammer",
                420,
                "shank and flange off the rail",
                "gauge 23 mm from the pin, the weight balanced out",
            ),
            ("wippen", "wippen", 480, "wippen off the rail", "gauge 23 mm from the pin, the weight balanced out"),
            ("lever", "repetition lever", 540, "wippen off, spring unhooked", "gauge 23 mm from the pin"),
            ("jack", "jack", 540, "wippen off, spring unhooked", "gauge 23 mm from the pin"),
            (
                "key",
                "key (at the touch point)",
                360,
                "wippen and hammer lifted off the key",
                "gauge at the touch point, half of down less up",
            ),
        )
    ),
    *(
        BenchTest(
            f"swings_{n}",
            f"swings, {title}",
            "",
            2.0,
            seconds=t,
            out=True,
            parts=parts,
            limits=(1, 60),
            how="let the freed part go from 40 degrees and count",
        )
        for n, title, t, parts in (
            ("hammer", "hammer", 300, "shank and flange off the rail"),
            ("wippen", "wippen", 360, "wippen off the rail"),
        )
    ),
)


@cache
def list_bench_tests() -> Mapping[str, BenchTest]:
    """All of them by name, the first readings first."""
    return {t.name: t for t in _EVERYDAY_TESTS}


def list_unit_tests(unit: ActionUnit) -> dict[str, BenchTest]:
    """Those that this unit can be put to."""
    return {name: t for name, t in list_bench_tests().items() if t.of(unit)}


def read_symptoms(unit: ActionUnit, step: float = DEFAULT_STEP) -> Symptoms:
    """Every test taken of one unit (SI).  Raises SimulationError when it does not come to rest."""
    rest = settle_at_rest(unit, step)
    pressed = slow_press.press_slowly(rest)
    settings = slow_press.read_settings(pressed)
    weight, _ = slow_press.read_touch_weight(pressed)
    moderate, run = blows.play_touch(rest, find_touch(MODERATE))
    hard, _ = blows.play_touch(rest, find_touch(HARD_BLOW))
    rise = release.measure_spring_rise(rest, run, moderate.caught)
    back = release.release_key(rest, run) if run.outcome.fine else None
    found: dict[str, float | None] = {
        **{n: getattr(settings, n) for n in list_reading_fields(Settings)},
        **{n: getattr(weight, n) for n in list_reading_fields(TouchWeight)},
        "checking_distance": moderate.checking_distance,
        "hard_checking_distance": hard.checking_distance,
        "spring_rise": rise.height,
        "reset_point": slow_press.find_reset_point(pressed),
        "return_time": None if back is None else back.jack_home,
        **_read_parts(rest),
    }
    words = {
        "slow_press": pressed.outcome if pressed.outcome in (Outcome.PLAYS, *CANNOT) else Word.OTHERWISE,
        "check": Word.CAUGHT if moderate.caught else Word.NOT_CAUGHT,
        "hard_check": Word.CAUGHT if hard.caught else Word.NOT_CAUGHT,
        "home": Word.YES if found["return_time"] is not None else Word.NO,
        "kicks": Word.YES if rise.leaves_lever else Word.NO,
        "repeats": Word.YES if _read_repetition(rest) else Word.NO,
    }
    tests = list_unit_tests(unit)
    numbers = {n: _none_if_infinite(found[n]) for n, t in tests.items() if not t.words}
    for name, value in numbers.items():
        needs = tests[name].needs
        if value is not None and needs is not None and words[needs[0]] != needs[1]:
            numbers[name] = None
    return Symptoms(numbers, {n: words[n] for n, t in tests.items() if t.words})


def try_symptoms(unit: ActionUnit, step: float = DEFAULT_STEP) -> Symptoms | None:
    """The same, or None where the unit cannot even be brought to rest."""
    try:
        return read_symptoms(unit, step)
    except UnitError:
        return None


def _none_if_infinite(value: float | None) -> float | None:
    return None if value is None or not math.isfinite(value) else float(value)


def _read_repetition(rest: Rest) -> bool:
    run, begins = repetition.play_series(rest, RATE, DEPTH, STROKES)
    return run.outcome.fine and repetition.judge_series(rest, run, begins, RATE, DEPTH)[0] == 1.0


def _read_parts(rest: Rest) -> dict[str, float | None]:
    """What is read with parts off: statics of the single part (lever arms times weights)."""
    u = rest.unit
    h, lever, arm = u.hammer, u.wippen.lever_centre, -u.key.touch_point[0]
    freed = centres.read_centres(u)
    found: dict[str, float | None] = {f"pinning_{n}": c.pinning_force for n, c in freed.items()}
    found |= {f"swings_{n}": freed[n].swings for n in ("hammer", "wippen")}
    place = abs(h.knuckle_centre[0] + h.centre[0] - u.wippen.centre[0] - lever[0])
    toe = math.hypot(*u.jack.toe_centre)
    return found | {
        "key_height": measure_key_height(rest),
        "rest_gap": max(0.0, rest.at_rest["rest_cushion"]),
        "knuckle_set": h.knuckle_centre[0],
        "hammer_weight": (h.shank_mass_moment + h.head_mass * h.head_mass_centre[0]) / h.strike_point[0],
        "front_weight": u.key.front_moment * GRAVITY / arm,
        "jack_spring": (u.springs.jack + u.friction["jack"]) / toe,
        "lever_force": (u.springs.repetition + u.friction["lever"]) / place,
    }
