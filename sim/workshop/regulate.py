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

from sim.bench import release, slow_press
from sim.bench import strike as blows
from sim.bench.predict import MODERATE, touch
from sim.bench.readings import Settings, TouchWeight
from sim.bench.rest import Rest, at_rest
from sim.errors import SimulationError
from sim.physics.run import pack, start_state
from sim.unit.model import ActionUnit, Source
from sim.workshop.screws import BUTTON, CAPSTAN, DROP_SCREW, PUNCHING, SCREWS, Screw, papers

Progress = Callable[[float, str], None]
Readings = dict[str, float | None]

STEP = 60e-6
"""Step of the slow presses while searching, s: their readings do not change from 10 to 60 us."""
TOLERANCE = {"balance_weight": 5e-4, "checking_distance": 1e-4, "spring_rise": 1.5e-4}
CLOSE = 1e-5
"""A length is met within this while searching, m; others by TOLERANCE."""
MET = {"balance_weight": 0.3 * 9.80665e-3, "checking_distance": 3e-4, "spring_rise": 3e-4, "damper_start": 1e-4}
"""... and counts as met within this when it is read again (0.05 mm where nothing is said)."""

TOE_BEFORE = 17e-3
"""Crown's way from where toe and button meet to let-off, parts taken as rigid: that of the design unit, m."""
SCREW_AT = 10.5e-3
"""Crown to string where the lever meets its screw, parts taken as rigid: a little lower than the design unit's, m."""

AT_REST = ("lever_height", "jack_address", "blow", "rest_cushion_gap")
PRESSED = ("let_off", "drop", "drop_at_bottom", "dip", "aftertouch", "damper_start")
PLAYED = ("checking_distance", "spring_rise")
ROUNDS = 3
FREE = 1e-3
"""Least gap at rest of lever and drop screw, toe and button, with which a search begins, m."""
LOST = 30e-3
"""Checking distance that stands for a hammer that is not caught, m."""
EARLY = 3.0e-3
"""Let-off from which the search starts: early, so that the jack surely escapes, m."""


@dataclass(frozen=True)
class Miss:
    """A target that cannot be met: asked, reached (None: no reading), and why (SI)."""

    target: str
    asked: float
    reached: float | None
    why: str


@dataclass(frozen=True)
class Regulation:
    """What regulating came to."""

    before: ActionUnit
    unit: ActionUnit
    targets: Mapping[str, float]
    readings: Mapping[str, float | None]
    """Every reading that a target can ask for, taken again at the end (SI)."""
    misses: tuple[Miss, ...] = ()

    @property
    def met(self) -> bool:
        return not self.misses

    @property
    def moves(self) -> dict[str, Adjustment]:
        """Screw path to what was done to it, for those that moved."""
        out = {}
        for name in self.targets:
            s = screw_for(name, self.targets)
            old, new = s.value(self.before), s.value(self.unit)
            if abs(new - old) > 1e-9:
                pitch = self.unit.nominal.get(s.pitch) if s.pitch else None
                out[s.path] = Adjustment(old, new, (new - old) / pitch if pitch else None, _papers(s, new - old))
        return out


@dataclass(frozen=True)
class Adjustment:
    """Setting before and after (SI), in turns where a pitch is given, in punchings where that is how it is done."""

    before: float
    after: float
    turns: float | None
    punchings: Mapping[float, int]


def _papers(s: Screw, change: float) -> Mapping[float, int]:
    # a deeper punching plane takes papers out
    return papers(-change) if s.papers else {}


def screw_for(target: str, targets: Mapping[str, float]) -> Screw:
    """What is turned for a target; with dip fixed and blow free, the capstan answers for the aftertouch."""
    if target == "aftertouch" and "dip" in targets:
        return replace(CAPSTAN, gain=12.5 / 4.75)
    return SCREWS[target]


def contradiction(targets: Mapping[str, float]) -> tuple[Miss, ...]:
    """Targets of which one follows from the others, whatever the parts."""
    if "drop" in targets and "drop_at_bottom" in targets:
        return (Miss("drop_at_bottom", targets["drop_at_bottom"], None, "one drop screw: ask for one of both drops"),)
    return ()


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
    misses = contradiction(wanted)
    if misses:
        return Regulation(unit, unit, wanted, {}, misses)
    say = progress or (lambda fraction, what: None)
    search = {t: v for t, v in wanted.items() if not (t == "aftertouch" and {"dip", "blow"} <= wanted.keys())}
    try:
        u = _search(unit, search, say, warm=warm, gains={} if learned is None else learned)
        readings = read_all(u, wanted) if check else {}
    except SimulationError as e:
        why = f"the unit leaves what the model can follow: {e}"
        return Regulation(unit, unit, wanted, {}, tuple(Miss(t, v, None, why) for t, v in wanted.items()))
    misses = unmet(u, wanted, readings) if check else ()
    return Regulation(unit, _marked(unit, u, wanted), wanted, readings, misses)


def one(u: ActionUnit, target: str, value: float, screw: Screw) -> tuple[ActionUnit, bool]:
    """Set one reading with one screw, everything else as it stands; whether it came out (SI)."""
    names, read = next((n, r) for n, r in GROUPS if target in n)
    if names is PLAYED:
        u, _ = _alone(u, {target: value}, target, read)
    else:
        u, _ = _solve(u, {target: value}, [target], read, {}, screw)
    got = read(u, [target]).get(target)
    return u, got is not None and abs(got - value) <= 2 * TOLERANCE.get(target, CLOSE)


def _search(
    u: ActionUnit, wanted: Mapping[str, float], say: Progress, *, warm: bool, gains: dict[str, np.ndarray]
) -> ActionUnit:
    if "blow" in wanted:
        u = _line_up(u, wanted["blow"])
    balanced = "balance_weight" not in wanted
    for k in range(ROUNDS):
        moved = 0.0
        for i, (names, read) in enumerate(GROUPS):
            mine = [t for t in names if t in wanted]
            if not mine:
                continue
            say((3 * k + i) / (3 * ROUNDS + 1), f"setting {', '.join(m.replace('_', ' ') for m in mine)}")
            if k == 0 and not warm and names is PRESSED:
                u = _start(u, wanted)
            for group in [[t] for t in mine] if names is PLAYED else [mine]:
                if names is PLAYED:
                    u, steps = _alone(u, wanted, group[0], read)
                else:
                    u, steps = _solve(u, wanted, group, read, gains)
                moved += steps
        if not balanced:
            u, balanced = _balance(u, wanted["balance_weight"])
        elif moved == 0:
            break
    return u


def _line_up(u: ActionUnit, blow: float) -> ActionUnit:
    """The capstan turned until the parts, laid on each other without weight, leave about the blow asked."""
    for _ in range(12):
        p = pack(u)
        laid = Rest(u, p, start_state(u, p), STEP)
        gaps = laid.gaps()
        miss = gaps["string"] - blow
        if abs(miss) < 1e-3:
            # screws that would pinch the parts at rest are turned out of the way first
            for contact, s in (("drop_screw", DROP_SCREW), ("toe_button", BUTTON)):
                if gaps[contact] < FREE:
                    u = s.move(u, FREE - gaps[contact])
            break
        u = CAPSTAN.move(u, float(np.clip(-miss / CAPSTAN.gain, -1e-3, 1e-3)))
    return u


def _start(u: ActionUnit, wanted: Mapping[str, float]) -> ActionUnit:
    """Button low, drop screw low, punching out of the way: the jack escapes and nothing blocks."""
    rest = at_rest(u, STEP)
    if "dip" in wanted:
        gap = wanted["dip"] / rest.edge * abs(u.key.punching_x) / rest.arm
        u = PUNCHING.move(u, gap - rest.at_rest["punching"])
    if "let_off" in wanted:
        toe = rest.at_rest["toe_button"]
        u = BUTTON.move(u, _toe_gap(rest, max(EARLY, wanted["let_off"])) - toe)
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
    return _lift(rest, let_off + TOE_BEFORE)[0]


def _screw_gap(rest: Rest) -> float:
    """Gap of lever and drop screw at rest for a plain drop, m."""
    return _lift(rest, SCREW_AT)[1]


def _solve(
    u: ActionUnit,
    wanted: Mapping[str, float],
    mine: list[str],
    read: Callable[[ActionUnit, list[str]], Readings],
    learned: dict[str, np.ndarray],
    screw: Screw | None = None,
) -> tuple[ActionUnit, float]:
    """Move the screws of ``mine`` together until their readings fit; the unit and how many moves it took."""
    screws = [screw or screw_for(t, wanted) for t in mine]
    key = ",".join(mine)
    gains = learned.get(key, np.diag([s.gain for s in screws]))
    good: tuple[ActionUnit, np.ndarray] | None = None
    moved = np.zeros(len(mine))
    for count in range(30):
        got = read(u, mine)
        if any(got.get(t) is None for t in mine):
            if good is not None and np.abs(moved).max() > 1e-9:
                # a step too far: half of it from where everything could be read
                moved = 0.5 * moved
                u = _moved(good[0], screws, moved)
                continue
            roomier = _make_room(u, mine)
            if roomier is None:
                return u, 0.0
            u = roomier
            continue
        values = np.array([float(got[t] or 0.0) for t in mine])
        miss = values - np.array([wanted[t] for t in mine])
        if all(abs(m) <= TOLERANCE.get(t, CLOSE) for m, t in zip(miss, mine, strict=True)):
            learned[key] = gains
            return u, float(count)
        if good is not None and moved @ moved > 0:
            gains = _learn(gains, moved, values - good[1], screws, mine)
        good, moved = (u, values), _step(gains, miss, screws)
        u = _moved(u, screws, moved)
    return good[0] if good is not None else u, 0.0


def _moved(u: ActionUnit, screws: list[Screw], by: np.ndarray) -> ActionUnit:
    for s, x in zip(screws, by, strict=True):
        u = s.move(u, float(x))
    return u


def _alone(
    u: ActionUnit, wanted: Mapping[str, float], target: str, read: Callable[[ActionUnit, list[str]], Readings]
) -> tuple[ActionUnit, float]:
    """One screw for one reading that rises (or falls) all along but may jump: bracket, then false position.

    Illinois variant (Dowell & Jarratt, BIT 11 (1971) 168).
    """
    s = SCREWS[target]
    farthest = 0.6 * abs(s.value(u)) if target == "spring_rise" else 8 * s.longest

    def miss(x: float) -> float:
        value = read(s.move(u, x), [target]).get(target)
        # not caught: the check stands too far off
        return (LOST if value is None else value) - wanted[target]

    a, fa = 0.0, miss(0.0)
    if abs(fa) <= TOLERANCE[target]:
        return u, 0.0
    b, fb = a, fa
    for _ in range(10):
        a, fa = b, fb
        b = float(np.clip(a + np.clip(-fa / s.gain, -s.longest, s.longest), -farthest, farthest))
        if b == a:
            return s.move(u, b), 0.0
        fb = miss(b)
        if abs(fb) <= TOLERANCE[target]:
            return s.move(u, b), 1.0
        if fa * fb < 0:
            break
    side = 0
    for _ in range(14):
        if fa * fb > 0:
            break
        x = (fa * b - fb * a) / (fa - fb)
        fx = miss(x)
        if abs(fx) <= TOLERANCE[target] or abs(b - a) < 1e-7:
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
    step = -np.linalg.solve(gains, miss)
    longest = np.array([s.longest for s in screws])
    return np.asarray(step * min(1.0, float(np.min(longest / np.maximum(np.abs(step), 1e-12)))))


def _make_room(u: ActionUnit, mine: list[str]) -> ActionUnit | None:
    """The slow press gave no let-off or drop: which screw brings it about, by how the press ended."""
    outcome = slow_press.press(at_rest(u, STEP), back=False, quick=True).outcome
    if outcome == "does not drop" and ("drop" in mine or "drop_at_bottom" in mine):
        return DROP_SCREW.move(u, -2.5e-4)
    if outcome in ("blocks on the string", "never escapes") and "let_off" in mine:
        return BUTTON.move(u, -3e-4)
    return None


def _balance(u: ActionUnit, wanted: float) -> tuple[ActionUnit, bool]:
    """Balance weight answers gram for gram to what the key's front weighs: one move does it, once it can be read."""
    weight, _ = slow_press.touch_weight(slow_press.press(at_rest(u, STEP)))
    if weight.balance_weight is None:
        return u, False
    s = SCREWS["balance_weight"]
    return s.move(u, (wanted - weight.balance_weight) / s.gain), True


def _at_rest(u: ActionUnit, mine: list[str]) -> Readings:
    rest = at_rest(u, STEP)
    return {
        "blow": rest.at_rest["string"],
        "lever_height": slow_press.lever_height(rest),
        "jack_address": slow_press.jack_address(rest),
        "rest_cushion_gap": rest.at_rest["rest_cushion"],
    }


def _pressed(u: ActionUnit, mine: list[str]) -> Readings:
    pressed = slow_press.press(at_rest(u, STEP), back=False, quick=True)
    s = slow_press.settings(pressed, drop="drop" in mine, wink=False)
    return of_settings(s)


def of_settings(s: Settings, w: TouchWeight | None = None) -> Readings:
    """Readings that targets ask for, by target."""
    out: Readings = {
        n: getattr(s, n)
        for n in ("blow", "lever_height", "jack_address", "let_off", "drop", "drop_at_bottom", "dip", "aftertouch")
    }
    out["damper_start"] = s.damper_start
    if w is not None:
        out["balance_weight"] = w.balance_weight
    return out


def _played(u: ActionUnit, mine: list[str]) -> Readings:
    rest = at_rest(u)
    reading, run = blows.play(rest, touch(MODERATE))
    out: Readings = {"checking_distance": reading.checking_distance}
    if "spring_rise" in mine:
        out["spring_rise"] = release.spring_rise(rest, run, reading.caught).height
    return out


GROUPS = ((AT_REST, _at_rest), (PRESSED, _pressed), (PLAYED, _played))
"""Targets that are met together, and how they are read while searching."""


def read_all(u: ActionUnit, wanted: Mapping[str, float]) -> Readings:
    """The readings asked for, by the bench's own procedures at its own step."""
    rest = at_rest(u)
    pressed = slow_press.press(rest, back="balance_weight" in wanted)
    out = of_settings(slow_press.settings(pressed, wink=False), slow_press.touch_weight(pressed)[0])
    out["rest_cushion_gap"] = rest.at_rest["rest_cushion"]
    if any(t in wanted for t in PLAYED):
        out |= _played(u, list(PLAYED))
    return out


def unmet(u: ActionUnit, wanted: Mapping[str, float], readings: Readings) -> tuple[Miss, ...]:
    """Targets whose reading is off by more than the bench would let pass."""
    out = []
    for t, asked in wanted.items():
        reached = readings.get(t)
        if reached is None or abs(reached - asked) > MET.get(t, 5e-5):
            out.append(Miss(t, asked, reached, _why(u, t, reached, readings)))
    return tuple(out)


def _why(u: ActionUnit, t: str, reached: float | None, readings: Readings) -> str:
    if t == "aftertouch" and reached is not None:
        return "with this blow, dip and let-off the aftertouch follows"
    if reached is None and readings.get("let_off") is None and t in PRESSED:
        return slow_press.press(at_rest(u, STEP), back=False).reason or "it cannot be read"
    if reached is None:
        return "it cannot be read: the step before it does not come about"
    return "the parts do not reach it"


def _marked(before: ActionUnit, u: ActionUnit, wanted: Mapping[str, float]) -> ActionUnit:
    """Note where the settings come from, and forget the targets."""
    sources, nominal = dict(u.sources), dict(u.nominal)
    for t in wanted:
        s = screw_for(t, wanted)
        sources[s.path] = Source("set up", f"for a {t.replace('_', ' ')} as asked")
        direct = s.path in ("settings.lever_height", "settings.jack_address")
        nominal[s.path] = wanted[t] if direct else s.value(u)
    return replace(u, sources=sources, nominal=nominal, targets={})
