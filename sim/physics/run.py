"""Run the compiled mechanism: parameters by name in, traces, events and the loss ledger out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from sim.errors import SimulationError, UnitError
from sim.physics.kernel_loader import kernel
from sim.physics.mechanism import BODY_NAMES, DOFS, FRICTION_ROWS, compute_parameters
from sim.physics.modes import DriveMode, End
from sim.physics.shank import BENDING
from sim.unit.contacts import CONTACT_INDEX, CONTACTS
from sim.unit.model import ActionUnit

Array = NDArray[np.float64]
DEFAULT_STEP = 40e-6
"""Default step, s: the largest that keeps the rule of tests/convergence_tables.py."""

PARAMETER_TYPE = np.dtype([(n, "f8") for n in kernel.PARAMETERS])
RUN_TYPE = np.dtype([(n, "f8") for n in kernel.RUN])
STATE_TYPE = np.dtype([(n, "f8") for n in kernel.STATE])
RESULT_TYPE = np.dtype([(n, "f8") for n in kernel.RESULTS])
COLUMN = {n: i for i, n in enumerate(kernel.TRACE)}

LEAST_STEP = 1e-6
"""Shortest step that a unit may ask for, s: below it a blow takes minutes."""
LEDGER_BOUND = 0.02
"""Share of the finger's work that may stay unexplained; a run that leaves more open has failed."""
IDLE_FINGER_HEIGHT = 0.05
"""Where a finger that plays no part is kept, m over the key."""


@dataclass(frozen=True)
class Drive:
    """What the finger does: the kernel's mode and a table of (time s, value, slope).

    The value is the key's angle (rad) for KEY_MOTION, a downward force (N) for
    KEY_FORCE and DRIVEN_MASS, the tip's height over the touch point (m) for
    FINGER_MOTION.
    """

    mode: DriveMode = DriveMode.NO_FINGER
    table: Array = field(default_factory=lambda: np.zeros((1, 3)))
    mass: float = 0.0
    muscle_damping: float = 0.0
    height: float = 0.0
    """Height of a driven finger's tip over the key at the start, m."""
    speed: float = 0.0
    """Downward speed of a driven finger at the start, m/s."""


@dataclass(frozen=True)
class Ending:
    """How a run ended: fine, or the failure with the part and the time."""

    how: End
    where: str = ""
    time: float = 0.0

    @property
    def fine(self) -> bool:
        return self.how is End.FINE

    def __str__(self) -> str:
        return self.how if self.fine else f"{self.how}: {self.where} at {self.time * 1e3:.3f} ms"


@dataclass(frozen=True)
class Ledger:
    """Where the finger's work went (J): readings.md, loss ledger."""

    finger: float
    string: float
    kinetic: float
    potential: float
    squeezed: float
    felts: Mapping[str, float]
    rubbing: Mapping[str, float]
    bending: Mapping[str, float]

    @property
    def lost(self) -> float:
        return sum(self.felts.values()) + sum(self.rubbing.values()) + sum(self.bending.values())

    @property
    def unexplained(self) -> float:
        return self.finger - self.string - self.kinetic - self.potential - self.squeezed - self.lost

    @property
    def remainder(self) -> float:
        """Unexplained share of the finger's work (of the largest item where the finger did next to nothing)."""
        scale = max(abs(self.finger), self.lost, abs(self.potential), 1e-6)
        return self.unexplained / scale


@dataclass(frozen=True)
class Trace:
    """Sampled motion; columns by name (``kernel.TRACE``), SI."""

    data: Array

    def __getitem__(self, name: str) -> Array:
        return self.data[:, COLUMN[name]]

    def __len__(self) -> int:
        return len(self.data)


@dataclass(frozen=True)
class Log:
    """Makings and breakings of contacts in the order of time (columns ``kernel.LOG``), SI."""

    data: Array

    def of(self, contact: str, make: bool) -> Array:
        d = self.data
        return d[(d[:, 1] == CONTACT_INDEX[contact]) & (d[:, 2] == (1.0 if make else 0.0))]

    def times(self, contact: str, make: bool) -> Array:
        return self.of(contact, make)[:, 0]


@dataclass(frozen=True)
class Run:
    """One finished run of the kernel."""

    outcome: Ending
    trace: Trace
    log: Log
    ledger: Ledger
    state: Array
    """Record of STATE_TYPE at the end: feed it back to go on."""
    end: float
    waves: Array
    head: int
    log_overflow: bool
    step: float
    parameters: Array = field(repr=False)

    def require(self) -> Run:
        """This run, or SimulationError when it left its domain."""
        if not self.outcome.fine:
            raise SimulationError(self.outcome.how, self.outcome.time, self.outcome.where)
        return self

    @cached_property
    def place(self) -> PartPositions:
        return PartPositions(self.parameters[0], self.trace)


@dataclass(frozen=True)
class PartPositions:
    """Where points of the parts are along a trace, from its angles (arrays of metres)."""

    p: np.void
    trace: Trace

    @cached_property
    def crown_height(self) -> Array:
        """Height of the crown over the origin, m."""
        t, (x, y) = self.trace, self._crown_in_hammer
        return self.p["hy"] + np.sin(t["h"]) * x + np.cos(t["h"]) * y

    @property
    def _crown_in_hammer(self) -> tuple[Array, Array]:
        """Crown along and across the shank, moved by the shank's bending, m."""
        p, turned, lifted = self.p, self._strike("turn", ""), self._strike("lift", "")
        return p["strike_x"] - turned * p["strike_y"], p["strike_y"] + lifted

    def _strike(self, way: str, rate: str) -> Array:
        """Lift (m) or turn (rad) of the strike point by bending, or with ``rate`` "v_" their rates."""
        out: Array = sum(self.p[f"{way}_{q}_strike"] * self.trace[rate + q] for q in BENDING)
        return out

    @cached_property
    def crown_to_string(self) -> Array:
        """Distance of the crown from the resting string, m."""
        return self.p["string_y"] - self.crown_height

    @cached_property
    def crown_speed(self) -> Array:
        """Speed of the crown along its line of strike, m/s, + toward the string."""
        p, t = self.p, self.trace
        s, c = np.sin(t["h"]), np.cos(t["h"])
        x, y = self._crown_in_hammer
        bend = c * self._strike("lift", "v_") - s * p["strike_y"] * self._strike("turn", "v_")
        return (c * x - s * y) * t["v_h"] + bend

    @cached_property
    def key_travel(self) -> Array:
        """Travel of the touch point from the design pose, m, + down."""
        p, t = self.p, self.trace
        return p["touch_y"] - (np.sin(t["kf"]) * p["touch_x"] + np.cos(t["kf"]) * p["touch_y"])

    @cached_property
    def key_speed(self) -> Array:
        p, t = self.p, self.trace
        return -(np.cos(t["kf"]) * p["touch_x"] - np.sin(t["kf"]) * p["touch_y"]) * t["v_kf"]


def pack_parameters(unit: ActionUnit) -> Array:
    """The unit's parameters as a record array of one.  Raises UnitError for masses that no body has."""
    try:
        values = compute_parameters(unit)
    except np.linalg.LinAlgError as error:
        raise UnitError(f"{unit.name}: the hammer's masses are those of no body ({error})") from None
    out = np.zeros(1, PARAMETER_TYPE)
    for name in kernel.PARAMETERS:
        out[name] = values[name]
    return out


def find_start_state(unit: ActionUnit, p: Array | None = None) -> Array:
    """A pose in which the parts just touch from the key up, at rest: where settling starts."""
    p = pack_parameters(unit) if p is None else p
    s: Array = np.zeros(1, STATE_TYPE)
    s["h"], s["f"] = unit.hammer.rest_angle, IDLE_FINGER_HEIGHT
    _turn_until_touching(p, s, "back_cloth", "kr")
    s["kf"] = s["kr"]
    _turn_until_touching(p, s, "capstan", "w")
    s["j"], s["l"] = s["w"] + unit.jack.stop_angle, s["w"] + unit.lever.stop_angle
    _turn_until_touching(p, s, "lever_knuckle", "h")
    if _gap(p, s, "jack_knuckle", "h")[0] < 0:
        _turn_until_touching(p, s, "jack_knuckle", "h")
    return s


def _gap(p: Array, s: Array, contact: str, coordinate: str) -> tuple[float, float]:
    n, i = len(CONTACTS), CONTACT_INDEX[contact]
    gap, normal, sliding = np.zeros(n), np.zeros((n, len(DOFS))), np.zeros((n, len(DOFS)))
    kernel.gaps(p[0], s[0], gap, normal, sliding)
    return float(gap[i]), float(normal[i, DOFS.index(coordinate)])


def _turn_until_touching(p: Array, s: Array, contact: str, coordinate: str) -> None:
    for _ in range(6):
        gap, slope = _gap(p, s, contact, coordinate)
        if slope == 0.0:
            return
        s[coordinate] -= np.clip(gap / slope, -0.1, 0.1)


def run(
    unit: ActionUnit | Array,
    drive: Drive,
    duration: float,
    state: Array,
    *,
    step: float = DEFAULT_STEP,
    every: float | None = 1e-4,
    viscous: float = 0.0,
    rub: float = 1.0,
    sweeps: int = 5,
    stop: float = 1e-5,
    t0: float = 0.0,
    previous: Run | None = None,
    log_size: int = 4000,
    keep_finger: bool = False,
) -> Run:
    """Advance from ``state`` (not changed) for ``duration`` seconds.

    ``keep_finger`` leaves a driven finger where the state has it instead of
    laying it on the key.  ``every`` is the sampling interval of the trace in s (None: no trace).  The
    step is never longer than the time to the string's near end and back, nor than a
    tenth of the shank's shortest period.
    Raises nothing for a run that leaves its domain, or whose ledger stays open: see ``Run.outcome``.
    """
    p = unit if isinstance(unit, np.ndarray) else pack_parameters(unit)
    step = _short_enough(step, p)
    steps = max(1, round(duration / step))
    stride = steps + 1 if every is None else max(1, round(every / step))
    rows = 0 if every is None else (steps - 1) // stride + 1
    r = np.zeros(1, RUN_TYPE)
    r["dt"], r["steps"], r["every"], r["mode"] = step, steps, stride, drive.mode
    r["stop"] = stop
    r["inv_f"] = 1 / drive.mass if drive.mass > 0 else 0.0
    r["muscle_damping"], r["viscous"], r["rub"], r["sweeps"], r["t0"] = (
        drive.muscle_damping, viscous, rub, sweeps, t0,
    )  # fmt: skip
    x = state.copy()
    if drive.mode != DriveMode.DRIVEN_MASS or (previous is None and not keep_finger):
        _place_finger(x, drive, p)
    trace = np.empty((rows, len(kernel.TRACE)))
    log = np.zeros((log_size, len(kernel.LOG)))
    out = np.zeros(1, RESULT_TYPE)
    longest = max(float(p["near_delay"][0]), float(p["far_delay"][0]))
    waves = np.zeros((2, 1 << (int(longest / step) + 4).bit_length()))
    if previous is not None:
        r["begun"] = 1.0
        out["head"] = waves.shape[1]
        waves[:] = _sent(previous, step, waves.shape[1])
        _other_step(x, previous.step, step)
    n = len(CONTACTS)
    before, after = np.zeros(n), np.zeros(n)
    e0 = kernel.energy(p[0], _whole_step(x, step)[0], before)
    kernel.stroke(p[0], r[0], drive.table, x[0], waves, trace, log, out[0])
    e1 = kernel.energy(p[0], _whole_step(x, step)[0], after)
    o = out[0]
    logged = int(o["logged"])
    finger = CONTACT_INDEX["finger"]
    before[finger] = after[finger] = 0.0
    ledger = Ledger(
        float(o["finger_work"]),
        float(o["string_work"]),
        e1[0] - e0[0],
        e1[1] - e0[1],
        float(after.sum() - before.sum()),
        {c.name: float(o[f"loss_{c.name}"]) for c in CONTACTS if c.name != "finger"},
        {row: float(o[f"rub_{row}"]) for row in FRICTION_ROWS},
        {"key": float(o["loss_key_bending"]), "shank": float(o["loss_shank_bending"])},
    )
    outcome = _outcome(o)
    if outcome.fine and not viscous and not abs(ledger.remainder) <= LEDGER_BOUND:
        open_ = f"{abs(ledger.remainder):.0%} of the work; a contact is too stiff, or a part too light, for the step"
        outcome = Ending(End.NOT_ACCOUNTED, open_, float(o["time"]))
    return Run(
        outcome,
        Trace(trace[: int(o["traced"])]),
        Log(log[: min(logged, log_size)]),
        ledger,
        x,
        float(o["time"]),
        waves,
        int(o["head"]),
        logged > log_size,
        step,
        p,
    )


def _short_enough(step: float, p: Array) -> float:
    return min(step, float(p["near_delay"][0]), 0.1 * float(p["shank_period"][0]))


def _sent(previous: Run, step: float, length: int) -> Array:
    """What the strike point has sent to both ends, at the mid-steps of another step (a ring of ``length``)."""
    if step == previous.step and length == previous.waves.shape[1]:
        return np.roll(previous.waves, -(previous.head % length), axis=1)
    ages = np.arange(previous.waves.shape[1]) * previous.step
    wanted = np.arange(length) * step + 0.5 * (step - previous.step)
    out = np.empty((2, length))
    for row in (0, 1):
        newest_first = np.roll(previous.waves[row], -(previous.head % previous.waves.shape[1]))[::-1]
        out[row] = np.interp(wanted, ages, newest_first)[::-1]
    return out


def _other_step(x: Array, old: float, new: float) -> None:
    """Move what belongs to a step (speeds before it, friction impulses, the string's mid-step) to another step."""
    if old == new:
        return
    for name in DOFS:
        x[f"o_{name}"] = x[f"v_{name}"] - (x[f"v_{name}"] - x[f"o_{name}"]) * new / old
    for row in FRICTION_ROWS:
        x[f"L_{row}"] *= new / old
    x["ys"] += 0.5 * (old - new) * x["vs"]


def continue_run(previous: Run, drive: Drive, duration: float, **options: float) -> Run:
    """Continue a run from its end, the string still ringing, the finger where it is."""
    options.setdefault("t0", previous.end)
    return run(previous.parameters, drive, duration, previous.state, previous=previous, **options)  # type: ignore[arg-type]


def _whole_step(x: Array, step: float) -> Array:
    """The state with the string, kept at the mid-step, moved on to the whole step as everything else is."""
    out = x.copy()
    out["ys"] += 0.5 * step * out["vs"]
    return out


def _place_finger(x: Array, drive: Drive, p: Array) -> None:
    travel = p["touch_y"] - (np.sin(x["kf"]) * p["touch_x"] + np.cos(x["kf"]) * p["touch_y"])
    if drive.mode == DriveMode.DRIVEN_MASS:
        x["f"] = drive.height - travel
        x["v_f"] = x["o_f"] = -drive.speed
    elif drive.mode == DriveMode.FINGER_MOTION:
        x["f"] = drive.table[0, 1]
        x["v_f"] = x["o_f"] = 0.0
    else:
        x["f"], x["v_f"], x["o_f"] = IDLE_FINGER_HEIGHT, 0.0, 0.0


def _outcome(o: np.void) -> Ending:
    end, where, time = tuple(End)[int(o["status"])], int(o["where"]), float(o["time"])
    if end is End.FINE:
        return Ending(end)
    if end is End.NOT_FINITE:
        return Ending(end, "the whole unit", time)
    return Ending(end, CONTACTS[where].name if end is End.TOO_DEEP else BODY_NAMES[DOFS[where]], time)


def settle_unit(unit: ActionUnit, *, step: float = DEFAULT_STEP) -> Array:
    """State at rest: felts and springs in balance, as after the bed was tapped until friction holds nothing off.

    Dry friction is first left out (the parts find the middle of its band), then
    put back.  A note that was just played may stand off it by what friction holds:
    the hammer on the jack, the lever not quite up (the crown a millimetre low).
    Raises SimulationError when the unit does not come to rest, or would need steps
    shorter than LEAST_STEP.
    """
    p = pack_parameters(unit)
    if (needed := _short_enough(step, p)) < LEAST_STEP:
        told = f"{1e6 * needed:.2g} µs; the shank is too stiff for its mass, or the string's near end too short"
        raise SimulationError("needs too short a step", None, told)
    free = run(p, Drive(), 0.2, find_start_state(unit, p), step=step, every=None, viscous=60.0, rub=0.0).require()
    rest = run(p, Drive(), 0.1, free.state, step=step, every=None, viscous=60.0).require()
    speeds = [abs(float(rest.state[f"v_{x}"][0])) for x in DOFS]
    if max(speeds) > 1e-3:
        raise SimulationError("the unit does not come to rest", rest.end, "no touch, key left alone")
    return rest.state


__all__ = ["Drive", "Ending", "Ledger", "Log", "Run", "Trace", "continue_run", "pack_parameters", "run", "settle_unit"]
