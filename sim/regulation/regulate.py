"""Regulate a unit: targets in, settings out, all at once.

The felts give, so that a rigid set-up is off by tenths of a millimetre: screws
are started where the jack surely escapes, the readings at rest are met first,
then those of the slow press together (Broyden, SIAM J. Numer. Anal. 2 (1965) 577),
then check and spring; twice round, since the spring loads the rest.  What was met
is read again by the bench before it is called met.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np

from sim.bench import slow_press
from sim.bench.outcomes import Outcome
from sim.bench.rest_pose import Rest, settle_at_rest
from sim.errors import SimulationError, UnitError
from sim.regulation.rigid_geometry import measure_rigid_pose, set_rigid_pose
from sim.regulation.screws import BUTTON, DROP_SCREW, PUNCHING, SCREWS, Screw, choose_punchings, find_lead_place
from sim.regulation.targets import (
    GROUPS,
    PLAYED_TARGETS,
    PRESS_TARGETS,
    SEARCH_STEP,
    STOP_TARGETS,
    Readings,
    choose_screw,
    explain_screw_limit,
    find_contradiction,
    get_met_tolerance,
    get_search_tolerance,
    is_pinched,
    read_all,
)
from sim.unit.model import ActionUnit, Source
from sim.value_records import value_record

Progress = Callable[[float, str], None]

TOE_MEETING_DISTANCE = 17e-3
"""Crown's way from where toe and button meet to let-off, parts taken as rigid: that of the design unit, m."""
SCREW_MEETING_DISTANCE = 10.5e-3
"""Crown to string where the lever meets its screw, parts taken as rigid: a little lower than the design unit's, m."""
ROUNDS = 3
LEAST_START_GAP = 1e-3
"""Least gap at rest of lever and drop screw, toe and button, with which a search begins, m."""
UNCAUGHT_DISTANCE = 30e-3
"""Checking distance that stands for a hammer that is not caught, m."""
EARLY_LET_OFF = 3.0e-3
"""Let-off from which the search starts: early, so that the jack surely escapes, m."""


@dataclass(frozen=True)
class MissedTarget:
    """A target that cannot be met: asked, reached (None: no reading), and why (SI)."""

    target: str
    asked: float
    reached: float | None
    why: str


@value_record
@dataclass(frozen=True)
class Regulation:
    """What regulating came to."""

    before: ActionUnit
    unit: ActionUnit
    targets: Mapping[str, float]
    readings: Mapping[str, float | None]
    """Every reading that a target can ask for, taken again at the end (SI)."""
    misses: tuple[MissedTarget, ...] = ()

    @property
    def met(self) -> bool:
        return not self.misses

    @property
    def moves(self) -> dict[str, Adjustment]:
        """Screw path to what was done to it, for those that moved."""
        out = {}
        for name in self.targets:
            s = choose_screw(name, self.targets)
            old, new = s.value(self.before), s.value(self.unit)
            if abs(new - old) > 1e-9:
                pitch = self.unit.nominal.get(s.pitch) if s.pitch else None
                lead = _lead(self.unit, new - old) if s.path == "key.front_weight" else None
                out[s.path] = Adjustment(old, new, (new - old) / pitch if pitch else None, _papers(s, new - old), lead)
        return out


@value_record
@dataclass(frozen=True)
class Adjustment:
    """Setting before and after (SI), in turns where a pitch is given, in punchings where that is how it is done."""

    before: float
    after: float
    turns: float | None
    punchings: Mapping[float, int]
    lead: tuple[float, float] | None = None
    """Lead to put into the key (kg; minus: to take out) and its place in front of the balance pin (m)."""


def _papers(s: Screw, change: float) -> Mapping[float, int]:
    # a deeper punching plane takes papers out; a higher back-rail cloth takes them in
    return choose_punchings(change if s is SCREWS["key_height"] else -change) if s.papers else {}


def _lead(u: ActionUnit, change: float) -> tuple[float, float]:
    place = find_lead_place(u)
    return change * -u.key.touch_point[0] / place, place


def regulate(
    unit: ActionUnit,
    targets: Mapping[str, float] | None = None,
    progress: Progress | None = None,
    *,
    warm: bool = False,
    check: bool = True,
    learned: dict[str, np.ndarray] | None = None,
) -> Regulation:
    """Find the settings for the targets (the unit's own where none are given), SI.

    ``warm`` starts from the screws as they stand (a neighbour was regulated
    before), with the gains ``learned`` there; ``check`` reads everything again at the end with the bench's own
    procedures.  Unmet targets are in ``misses``: nothing is raised for them.
    """
    wanted = dict(targets if targets is not None else unit.targets)
    unknown = [t for t in wanted if t not in SCREWS]
    if unknown:
        raise ValueError(f"no such target: {', '.join(unknown)}; there are {', '.join(SCREWS)}")
    why = find_contradiction(wanted)
    if why:
        name = "drop_at_bottom"
        return Regulation(unit, unit, wanted, {}, (MissedTarget(name, wanted[name], None, why),))
    say = progress or (lambda fraction, what: None)
    search = {t: v for t, v in wanted.items() if not (t == "aftertouch" and {"dip", "blow"} <= wanted.keys())}
    try:
        u = _search(unit, search, say, warm=warm, gains={} if learned is None else learned)
        readings = read_all(u, wanted) if check else {}
    except SimulationError as e:
        why = f"the unit leaves what the model can follow: {e}"
        return Regulation(unit, unit, wanted, {}, tuple(MissedTarget(t, v, None, why) for t, v in wanted.items()))
    misses = find_missed_targets(u, wanted, readings) if check else ()
    return Regulation(unit, _note_sources(unit, u, wanted), wanted, readings, misses)


def set_one_reading(u: ActionUnit, target: str, value: float, screw: Screw) -> tuple[ActionUnit, bool]:
    """Set one reading with one screw, everything else as it stands; whether it came out (SI)."""
    names, read = next((n, r) for n, r in GROUPS if target in n)
    if names is PLAYED_TARGETS:
        u, _ = _solve_one(u, {target: value}, target, read, {})
    else:
        u, _ = _solve(u, {target: value}, [target], read, {}, screw)
    got = read(u, [target]).get(target)
    return u, got is not None and abs(got - value) <= 2 * get_search_tolerance(target)


def _search(
    u: ActionUnit, wanted: Mapping[str, float], say: Progress, *, warm: bool, gains: dict[str, np.ndarray]
) -> ActionUnit:
    if not warm:
        u = _set_by_geometry(u, wanted)
    right: dict[str, ActionUnit] = {}
    for k in range(ROUNDS):
        moved = 0.0
        for i, (names, read) in enumerate(GROUPS):
            mine = [t for t in names if t in wanted]
            if not mine:
                continue
            say((len(GROUPS) * k + i) / (len(GROUPS) * ROUNDS + 1), f"setting {_listed(mine)}")
            if names is PRESS_TARGETS and k == 0 and not warm:
                u = _start(u, wanted)
            for group in [[t] for t in mine] if names is PLAYED_TARGETS else [mine]:
                if right.get(group[0]) is u:
                    continue  # nothing was turned since these were read and fitted
                before, steps = u, None
                if names is PLAYED_TARGETS:
                    u, steps = _solve_one(u, wanted, group[0], read, gains)
                else:
                    u, steps = _solve(u, wanted, group, read, gains, started=not warm)
                if steps is None and warm and names is PRESS_TARGETS:
                    return u
                if steps or (steps is not None and u is before):
                    right[group[0]] = u
                moved += steps or 0.0
        if moved == 0:
            break
    return u


def _listed(names: list[str]) -> str:
    return ", ".join(n.replace("_", " ") for n in names)


def _set_by_geometry(u: ActionUnit, wanted: Mapping[str, float]) -> ActionUnit:
    """Blow, jack and lever from plane geometry, and no screw left where it would pinch the parts at rest."""
    u = set_rigid_pose(u, {t: wanted[t] for t in ("blow", "jack_address", "lever_height") if t in wanted})
    gaps = measure_rigid_pose(u)
    return set_rigid_pose(u, {s: LEAST_START_GAP for s in ("toe_button", "drop_screw") if gaps[s] < LEAST_START_GAP})


def _start(u: ActionUnit, wanted: Mapping[str, float]) -> ActionUnit:
    """Button low, drop screw low, punching out of the way: the jack escapes and nothing blocks."""
    rest = settle_at_rest(u, SEARCH_STEP)
    if "dip" in wanted:
        gap = wanted["dip"] / rest.front_edge_ratio * abs(u.key.punching_x) / rest.arm
        u = PUNCHING.move(u, gap - rest.at_rest["punching"])
    if "let_off" in wanted:
        toe = rest.at_rest["toe_button"]
        u = BUTTON.move(u, _toe_gap(rest, max(EARLY_LET_OFF, wanted["let_off"])) - toe)
    if "drop" in wanted or "drop_at_bottom" in wanted:
        u = DROP_SCREW.move(u, _screw_gap(rest) - rest.at_rest["drop_screw"])
    return u


def _lift(rest: Rest, crown: float) -> tuple[float, float]:
    """Rise of jack toe and of lever front (m) when the crown has come within ``crown`` of the string."""
    u = rest.unit
    rise = (rest.at_rest["string"] - crown) / u.hammer.strike_point[0]
    knuckle = rise * u.hammer.knuckle_centre[0]
    arm = abs(u.wippen.centre[0] - u.hammer.centre[0] - u.hammer.knuckle_centre[0])
    turn = knuckle / arm
    toe = abs(u.wippen.jack_centre[0] + u.jack.toe_centre[0])
    front = abs(u.rails.drop_screw_tip[0] - u.wippen.centre[0])
    return turn * toe, turn * front


def _toe_gap(rest: Rest, let_off: float) -> float:
    """Gap of toe and button at rest for about that let-off, m."""
    return _lift(rest, let_off + TOE_MEETING_DISTANCE)[0]


def _screw_gap(rest: Rest) -> float:
    """Gap of lever and drop screw at rest for a plain drop, m."""
    return _lift(rest, SCREW_MEETING_DISTANCE)[1]


def _solve(
    u: ActionUnit,
    wanted: Mapping[str, float],
    mine: list[str],
    read: Callable[[ActionUnit, list[str]], Readings],
    learned: dict[str, np.ndarray],
    screw: Screw | None = None,
    *,
    started: bool = True,
) -> tuple[ActionUnit, float | None]:
    """Move the screws of ``mine`` together until their readings fit; the unit and how many moves it took.

    None moves: it could not be done.  ``started``: the screws stand where the jack surely escapes, or are to be left.
    """
    screws = [screw or choose_screw(t, wanted) for t in mine]
    pressing = any(t in PRESS_TARGETS for t in mine)
    key = ",".join(mine)
    gains = learned.get(key, np.diag([s.gain for s in screws]))
    good: tuple[ActionUnit, np.ndarray] | None = None
    moved, again = np.zeros(len(mine)), started
    for count in range(30):
        got = read(u, mine)
        if any(got.get(t) is None for t in mine):
            if good is not None and np.abs(moved).max() > 1e-9:
                # a step too far: half of it from where everything could be read
                moved = 0.5 * moved
                u = _moved(good[0], screws, moved)
                continue
            roomier = _open_screws(u, mine, wanted, again) if pressing else None
            if roomier is None:
                return u, None
            u, again = roomier, True
            continue
        values = np.array([float(got[t] or 0.0) for t in mine])
        miss = values - np.array([wanted[t] for t in mine])
        if all(abs(m) <= get_search_tolerance(t) for m, t in zip(miss, mine, strict=True)):
            learned[key] = gains
            return u, float(count)
        if good is not None and moved @ moved > 0:
            gains = _learn(gains, moved, values - good[1], screws, mine)
        good, moved = (u, values), _step(gains, miss, screws)
        u = _moved(u, screws, moved)
    return good[0] if good is not None else u, None


def _moved(u: ActionUnit, screws: list[Screw], by: np.ndarray) -> ActionUnit:
    for s, x in zip(screws, by, strict=True):
        u = s.move(u, float(x))
    return u


def _solve_one(
    u: ActionUnit, wanted: Mapping[str, float], target: str, read: Callable[[ActionUnit, list[str]], Readings],
    learned: dict[str, np.ndarray],
) -> tuple[ActionUnit, float]:  # fmt: skip
    """One screw for one reading that rises (or falls) all along but may jump: bracket, then false position.

    Illinois variant (Dowell & Jarratt, BIT 11 (1971) 168).  The first step goes by the gain ``learned`` before.
    """
    s = SCREWS[target]
    farthest = 0.6 * abs(s.value(u)) if target == "spring_rise" else 8 * s.longest
    gain = float(learned.get(target, np.array(s.gain)))
    seen: dict[float, float] = {}

    def miss(x: float) -> float:
        value = read(s.move(u, x), [target]).get(target)
        # not caught: the check stands too far off
        off = (UNCAUGHT_DISTANCE if value is None else value) - wanted[target]
        if value is not None:
            seen[x] = off
            if x and 0.0 in seen and 0.15 < (slope := (off - seen[0.0]) / x) / s.gain < 6:
                learned[target] = np.array(slope)
        return off

    a, fa = 0.0, miss(0.0)
    if abs(fa) <= get_search_tolerance(target):
        return u, 0.0
    b, fb = a, fa
    for _ in range(10):
        a, fa = b, fb
        b = float(np.clip(a + np.clip(-fa / gain, -s.longest, s.longest), -farthest, farthest))
        if b == a:
            return s.move(u, b), 0.0
        fb = miss(b)
        if abs(fb) <= get_search_tolerance(target):
            return s.move(u, b), 1.0
        if fa * fb < 0:
            break
    side = 0
    for _ in range(14):
        if fa * fb > 0:
            break
        x = (fa * b - fb * a) / (fa - fb)
        fx = miss(x)
        if abs(fx) <= get_search_tolerance(target) or abs(b - a) < 1e-7:
            return s.move(u, x), 1.0
        if fx * fb > 0:
            b, fb = x, fx
            fa *= 0.5 if side == -1 else 1.0
            side = -1
        else:
            a, fa = x, fx
            fb *= 0.5 if side == 1 else 1.0
            side = 1
    return s.move(u, b if abs(fb) < abs(fa) else a), 0.0


def _learn(
    gains: np.ndarray, moved: np.ndarray, change: np.ndarray, screws: list[Screw], mine: list[str]
) -> np.ndarray:
    """Broyden's update in units of each screw's longest move; refused where a gain would turn its sign."""
    scale = np.array([s.longest for s in screws])
    x = moved / scale
    scaled = gains * scale
    better = (scaled + np.outer(change - scaled @ x, x) / (x @ x)) / scale
    signs = np.sign(np.diag(better)) == np.sign([s.gain for s in screws])
    sizes = np.abs(np.diag(better)) > 0.15 * np.abs([s.gain for s in screws])
    return better if bool(np.all(signs & sizes)) else gains


def _step(gains: np.ndarray, miss: np.ndarray, screws: list[Screw]) -> np.ndarray:
    try:
        step = -np.linalg.solve(gains, miss)
    except np.linalg.LinAlgError:
        raise UnitError("screws that all do the same: no way to set one against the other") from None
    longest = np.array([s.longest for s in screws])
    return np.asarray(step * min(1.0, float(np.min(longest / np.maximum(np.abs(step), 1e-12)))))


def _open_screws(u: ActionUnit, mine: list[str], wanted: Mapping[str, float], again: bool) -> ActionUnit | None:
    """The slow press gave no let-off or drop: screws turned to where they surely do, then on; None: no way left."""
    if not again:
        return _start(u, {t: wanted[t] for t in mine})
    ended = slow_press.press_slowly(settle_at_rest(u, SEARCH_STEP), back=False, quick=True)
    if slow_press.is_lever_carrying(ended) and ("drop" in mine or "drop_at_bottom" in mine):
        return _farther(u, "drop_screw", DROP_SCREW, -2.5e-4)
    if ended.outcome in (Outcome.BLOCKS, Outcome.NEVER_ESCAPES) and "let_off" in mine:
        return _farther(u, "toe_button", BUTTON, -3e-4)
    return None


def _farther(u: ActionUnit, contact: str, screw: Screw, by: float) -> ActionUnit | None:
    """A screw turned on toward what it meets, unless that would pinch the parts at rest."""
    return None if is_pinched(u, contact, by, LEAST_START_GAP / 3) else screw.move(u, by)


def find_missed_targets(u: ActionUnit, wanted: Mapping[str, float], readings: Readings) -> tuple[MissedTarget, ...]:
    """Targets whose reading is off by more than the bench would let pass."""
    out = []
    for t, asked in wanted.items():
        reached, far = readings.get(t), explain_screw_limit(u, t, choose_screw(t, wanted))
        if reached is None or abs(reached - asked) > get_met_tolerance(t) or far:
            out.append(MissedTarget(t, asked, reached, far or _why(u, t, reached, readings)))
    return tuple(out)


def _why(u: ActionUnit, t: str, reached: float | None, readings: Readings) -> str:
    if t == "aftertouch" and reached is not None:
        return "with this blow, dip and let-off the aftertouch follows"
    if reached is None and readings.get("let_off") is None and t in PRESS_TARGETS:
        return slow_press.press_slowly(settle_at_rest(u, SEARCH_STEP), back=False).reason or "it cannot be read"
    if reached is None:
        return "it cannot be read: the step before it does not come about"
    return "the parts do not reach it"


def _note_sources(before: ActionUnit, u: ActionUnit, wanted: Mapping[str, float]) -> ActionUnit:
    """Note where the settings come from, and forget the targets."""
    sources, nominal = dict(u.sources), dict(u.nominal)
    for t in wanted:
        s = choose_screw(t, wanted)
        source = Source("set up", f"for a {t.replace('_', ' ')} as asked")
        sources[s.path], nominal[s.path] = source, wanted[t] if t in STOP_TARGETS else s.value(u)
        for path, value in s.along.items():
            sources[path], nominal[path] = source, value(u)
    return replace(u, sources=sources, nominal=nominal, targets={})
