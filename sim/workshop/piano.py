"""The piano brought to the bench: per note what fits under its string, and what bench and piano disagree on.

Everything stays as it was regulated; only what differs between bench and piano is
moved, and the engine reads the unit again.  The action's feet are taken to stand on
the balance rail and the back rail of the key frame, so that a bed higher under the
back rail tips the stack about the balance rail.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

from sim.bench import slow_press
from sim.bench.rest import at_rest
from sim.errors import SimulationError
from sim.unit.model import ActionUnit, Vec
from sim.unit.piano_sheet import PianoSection, PianoSheet
from sim.workshop.moves import move_hammer_rail

READINGS = ("blow", "dip", "let_off", "drop", "aftertouch")
STEP = 0.5e-3
STEPS = (-2, -1, 1, 2)
"""Mismatches tried, in half millimetres."""
CLEAR = 2e-3
"""Least clearance between key end and damper blocking, m: the key's end swings, felt swells (our convention)."""
HAMMER_RAIL = "hammer_rail"
"""The one mismatch that no reading of the sheet tells."""
AGREE = 2e-3
"""Readings of one thing taken in two ways agree within this, m (a rule held in a dark case; our convention)."""


@dataclass(frozen=True)
class Mismatch:
    """One thing that bench and piano may disagree on: how a unit at the bench becomes one at the piano."""

    title: str
    apply: Callable[[ActionUnit, float, float], ActionUnit]
    """Unit, reading at the piano less reading at the bench (m), slope of the string (rad)."""


def _string(u: ActionUnit, by: float, slope: float = 0.0) -> ActionUnit:
    return replace(u, rails=replace(u.rails, string_y=u.rails.string_y + by))


def _whole_action(u: ActionUnit, by: float, slope: float = 0.0) -> ActionUnit:
    """Hammer centres farther over the bed, frame and keys with them: the string stands as much lower over them."""
    return _string(u, -by)


def _hammer_rail(u: ActionUnit, by: float, slope: float = 0.0) -> ActionUnit:
    return move_hammer_rail(u, 0.0, by)


def _key_height(u: ActionUnit, by: float, slope: float = 0.0) -> ActionUnit:
    """A key front farther over its bed: the front rail, and with it the punching, lies lower."""
    return replace(u, key=replace(u.key, punching_plane_y=u.key.punching_plane_y - by))


def _bed_back(u: ActionUnit, by: float, slope: float = 0.0) -> ActionUnit:
    """Back rail higher: its cloth rises, and the stack tips forward about the balance rail."""
    tip = by / u.key.back_cloth_x
    button = u.wippen.centre[0] + u.wippen.jack_centre[0] + u.jack.toe_centre[0]
    cushion = u.hammer.centre[0] + u.hammer.cushion_point[0]
    rails = replace(
        u.rails,
        drop_screw_tip=_tipped(u.rails.drop_screw_tip, tip),
        let_off_button_plane_y=u.rails.let_off_button_plane_y + tip * button,
        rest_cushion_plane_y=u.rails.rest_cushion_plane_y + tip * cushion,
    )
    return replace(
        u,
        key=replace(u.key, back_cloth_plane_y=u.key.back_cloth_plane_y + by),
        wippen=replace(u.wippen, centre=_tipped(u.wippen.centre, tip)),
        hammer=replace(u.hammer, centre=_tipped(u.hammer.centre, tip)),
        rails=rails,
    )


def _strike_line(u: ActionUnit, by: float, slope: float = 0.0) -> ActionUnit:
    """A strike line farther back: the same hammer comes up in front of it, under a string as much lower there."""
    return _string(u, -by * math.tan(slope))


def _tipped(point: Vec, angle: float) -> Vec:
    return point[0] - angle * point[1], point[1] + angle * point[0]


MISMATCHES: Mapping[str, Mismatch] = {
    "string_height": Mismatch("string height", _string),
    "hammer_centre_height": Mismatch("hammer centre (whole action)", _whole_action),
    "key_height": Mismatch("key height (front rail lower)", _key_height),
    "bed_back": Mismatch("bed under the back rail", _bed_back),
    "strike_line": Mismatch("strike line (from the pins)", _strike_line),
    HAMMER_RAIL: Mismatch("hammer rail alone, shimmed", _hammer_rail),
}
"""What may differ, by the name of its reading; the last is read nowhere, and shown for what a loose bracket does."""


@dataclass(frozen=True)
class Note:
    """One note under its string (m, rad); None: not read, and not to be worked out."""

    key: int
    section: str
    string_height: float
    string_slope: float
    strike_line: float | None
    """From the balance pins."""
    hammer_centre_height: float
    bore: float
    """Of the scenario's hammer."""
    shank_angle: float | None
    """At the strike, for that bore, against the string: + the head end higher; None: cannot reach the string."""
    fitting_bore: float
    """Bore at which the shank stands at the asked angle to the string as the hammer strikes."""
    fitting_distance: float | None
    """Hanging distance with which that hammer meets the strike line."""
    off_line: float | None
    """Crown of the scenario's hammer behind (+) or in front of (-) the strike line."""
    key_end: float | None
    """Key end to damper blocking."""
    mismatch: Mapping[str, float]
    """Piano less bench, for what was read at both."""
    remarks: tuple[str, ...] = ()


def notes(sheet: PianoSheet, unit: ActionUnit, keys: Sequence[int] = (), angle: float = 0.0) -> tuple[Note, ...]:
    """The notes asked for, or every one of the sheet; ``angle`` of shank against string that bores are found for."""
    asked = keys or [k for s in sheet.sections for k in range(s.keys[0], s.keys[-1] + 1)]
    return tuple(note(sheet.section_of(k), k, unit, angle) for k in asked)


def note(section: PianoSection, key: int, unit: ActionUnit, angle: float = 0.0) -> Note:
    """What fits under one string."""
    bed = unit.nominal.get("key.balance_rail_height", 0.0)
    string = section.at(key, "string_height") or 0.0
    slope = section.at(key, "string_slope") or 0.0
    centre_read = section.at(key, "hammer_centre_height")
    centre = unit.hammer.centre[1] + bed if centre_read is None else centre_read
    line = balance_to_strike(section, key)
    along, across = unit.hammer.strike_point
    upright = across / (unit.nominal.get("hammer.bore") or across)
    wanted = slope + angle
    shank = shank_angle(string - centre, along, across)
    bore = (string - centre - along * math.sin(wanted)) / (upright * math.cos(wanted))
    reach = None if line is None else (line - unit.hammer.centre[0] + bore * upright * math.sin(wanted))
    off = None
    if line is not None and shank is not None:
        off = unit.hammer.centre[0] + along * math.cos(shank) - across * math.sin(shank) - line
    found = Note(
        key, section.name, string, slope, line, centre, across / upright,
        None if shank is None else shank - slope, bore,
        None if reach is None else reach / math.cos(wanted), off,
        key_end(section, key, unit), mismatch(section, key),
    )  # fmt: skip
    return replace(found, remarks=tuple(_remarks(section, found, unit)))


def shank_angle(rise: float, along: float, across: float) -> float | None:
    """Angle of the shank at which a crown (along, across) stands ``rise`` over the hammer centre, rad."""
    sine = rise / math.hypot(along, across)
    return math.asin(sine) - math.atan2(across, along) if abs(sine) < 1 else None


def balance_to_strike(section: PianoSection, key: int, *, bench: bool = False) -> float | None:
    """Balance pins to the strike line, the action against its stop, m."""
    line, stop = (section.at(key, n, bench=bench) for n in ("strike_line", "action_stop"))
    return None if line is None or stop is None else line - stop


def key_end(section: PianoSection, key: int, unit: ActionUnit) -> float | None:
    """Key end to damper blocking: as read, else from the blocking's place and the key's length, m."""
    read = section.at(key, "key_end_clearance")
    return read if read is not None else _reckoned_key_end(section, key, unit)


def _reckoned_key_end(section: PianoSection, key: int, unit: ActionUnit) -> float | None:
    blocking, stop = (section.at(key, n) for n in ("damper_blocking", "action_stop"))
    length = unit.nominal.get("key.rear_length")
    return None if blocking is None or stop is None or length is None else blocking - stop - length


def mismatch(section: PianoSection, key: int) -> dict[str, float]:
    """Reading at the piano less reading at the bench, m; key height also from the beds where it was not read."""
    out = {}
    for name in MISMATCHES:
        pair: tuple[float | None, float | None]
        if name == HAMMER_RAIL:
            continue
        if name == "strike_line":
            pair = balance_to_strike(section, key), balance_to_strike(section, key, bench=True)
        elif name == "bed_back":
            pair = _over_balance(section, key, name), _over_balance(section, key, name, bench=True)
        else:
            pair = section.at(key, name), section.at(key, name, bench=True)
        if pair[0] is not None and pair[1] is not None:
            out[name] = pair[0] - pair[1]
    front = front_by_bed(section, key)
    if front is not None:
        out.setdefault("key_height", front)
    return out


def front_by_bed(section: PianoSection, key: int) -> float | None:
    """Key height, piano less bench, as the beds under front and balance rail have it, m."""
    piano, bench = (_over_balance(section, key, "bed_front", bench=b) for b in (False, True))
    return None if piano is None or bench is None else bench - piano


def _over_balance(section: PianoSection, key: int, name: str, *, bench: bool = False) -> float | None:
    here, balance = (section.at(key, n, bench=bench) for n in (name, "bed_balance"))
    return None if here is None or balance is None else here - balance


def _remarks(section: PianoSection, n: Note, unit: ActionUnit) -> list[str]:
    out = []
    if n.shank_angle is None:
        out.append("the hammer cannot reach the string")
    if n.key_end is not None and n.key_end < CLEAR:
        out.append(f"the key's end stands {n.key_end * 1e3:.1f} mm from the damper blocking: at least 2 mm")
    reckoned = _reckoned_key_end(section, n.key, unit)
    if reckoned is not None and n.key_end is not None and abs(reckoned - n.key_end) > AGREE:
        out.append(
            f"key end read {n.key_end * 1e3:.1f} mm from the blocking, reckoned {reckoned * 1e3:.1f} mm from blocking, "
            "stop and key length: read them again"
        )
    front, read = front_by_bed(section, n.key), n.mismatch.get("key_height")
    if front is not None and read is not None and abs(front - read) > 0.3e-3:
        out.append(
            f"key height says {read * 1e3:+.1f} mm, the beds under front and balance rail {front * 1e3:+.1f} mm: "
            "is the frame bedded?"
        )
    return out


@dataclass(frozen=True)
class Read:
    """What one slow press reads (m), and its outcome; ``off_line``: how far the crown leaves the strike line, m."""

    outcome: str
    values: Mapping[str, float | None]
    off_line: float = 0.0


@dataclass(frozen=True)
class Effect:
    """One mismatch (m), and what it makes of the readings."""

    name: str
    by: float
    found: Read


def read(unit: ActionUnit) -> Read:
    """One slow press."""
    try:
        pressed = slow_press.press(at_rest(unit), back=False)
        settings = slow_press.settings(pressed)
    except SimulationError as error:
        return Read(error.name, dict.fromkeys(READINGS))
    return Read(pressed.outcome, {n: getattr(settings, n) for n in READINGS})


def effects(unit: ActionUnit, slope: float = 0.0, steps: Sequence[int] = STEPS) -> tuple[Effect, ...]:
    """Every mismatch alone, by half millimetres."""
    return tuple(
        Effect(name, k * STEP, replace(read(m.apply(unit, k * STEP, slope)), off_line=_off(name, k * STEP)))
        for name, m in MISMATCHES.items()
        for k in steps
    )


def _off(name: str, by: float) -> float:
    return -by if name == "strike_line" else 0.0


def in_the_piano(unit: ActionUnit, n: Note, *, string: bool = True) -> ActionUnit:
    """The unit as regulated at the bench, put into the piano: everything that was read at both, at once."""
    for name, by in n.mismatch.items():
        if string or name not in ("string_height", "strike_line"):
            unit = MISMATCHES[name].apply(unit, by, n.string_slope)
    return unit


def lower_at_bench(unit: ActionUnit, n: Note) -> float:
    """How far the crown at rest stands lower at the bench than in the piano, heights over the bed, m."""
    piano = at_rest(in_the_piano(unit, n, string=False)).at_rest["string"]
    return at_rest(unit).at_rest["string"] - piano
