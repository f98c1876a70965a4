"""Coordinates from a photograph of the action beside a printed card, each with its uncertainty.

The card, laid in the plane of the action's side, says how the camera saw that plane; a rule at the depth of the parts
says how much nearer they are and, with the card, how the lens bows (``perspective.py``).  A click's uncertainty, the
camera's, the card's level and the parts' uneven depth are carried into every coordinate by its slopes (JCGM 100:2008,
5.2.2).  What is wrong with the clicks, or too uncertain, is refused, never smoothed over.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

import numpy as np

from sim.errors import Fault, InputError
from sim.fields.scenario_files import Leaf, Leaves
from sim.photo import points
from sim.photo.perspective import Array, CameraClicks, CameraView, compute_jacobian, fit_camera
from sim.unit.model import Vec
from sim.unit.plane import rotate_vector, subtract_vectors
from sim.units import LENGTH, format_mm, format_quantity

OUTLIER_LIMIT = 4.0
"""A click so many times as far off as its uncertainty allows is a slip (Baarda's w; by chance one in 15,000)."""
MOST_BOW, MOST_DEPTH = 0.02, 0.02
"""Bowing at the picture's corner, and what the second scale is longer by, beyond which a picture is refused."""
MOST_TILT = math.radians(40)
CARD_LEVEL = math.radians(0.1)
"""How level a card is laid against the key bed: a quarter of a millimetre over its long side (our convention)."""
ANGLE_FIELD = "hammer.rest_angle"
"""The one field that is an angle."""
MOST_ANGLE_UNCERTAINTY = math.radians(0.5)
"""Standard uncertainty of the shank's angle beyond which it is not given."""
CARD_MEASURED = 0.1e-3
"""Standard uncertainty of the card's width and height, m: read on a steel rule between two crosses (our convention)."""
SHORTEST_SIDE = 60
"""Pixels of a card's side, and of the second scale, that a click can be told on."""
WRONG_SIDE = 10e-3
"""m; a place so far on the wrong side of the balance pin is on the wrong side."""
SIDES: Mapping[str, int] = {
    "key.touch_point": -1, "key.front_edge_x": -1, "key.capstan_centre": 1, "wippen.centre": 1, "hammer.centre": 1,
}  # fmt: skip
"""Places that every action has on one side of the balance pin: + toward the string."""


@dataclass(frozen=True)
class Picture:
    """The photograph that was clicked on: name, size in pixels as it is looked at, bytes and SHA-256 of its file."""

    name: str
    width: int
    height: int
    bytes: int
    sha256: str


@dataclass(frozen=True)
class Marks:
    """All that was clicked and told (m, pixels; x to the right, y down): what results follow from, and nothing else."""

    picture: Picture
    clicks: Mapping[str, Vec] = field(default_factory=dict)
    card: Vec = (0.240, 0.160)
    """Width and height between the corner crosses."""
    rule: tuple[float, ...] = (0.0, 0.15, 0.3)
    """Places of the second scale's marks along it."""
    origin: str = points.PIN
    """Click that the frame is hung on, and where that is in it."""
    origin_at: Vec = (0.0, 0.0)
    level_line: bool = True
    """Level is a line that was clicked; else the card's long side."""
    click: float = 0.7
    """Standard uncertainty of a click, pixels."""
    depth: float = 0.5e-3
    """How unevenly the clicked places and the second scale lie in depth, standard deviation, m."""
    distance: float = 1.0
    """From camera to card, m; roughly."""
    most: float = 0.5e-3
    """A place more uncertain than this (m) is not given."""

    @property
    def asked(self) -> tuple[points.RequestedClick, ...]:
        """Everything to click, in order."""
        return points.list_clicks(len(self.rule), self.level_line, self.origin)

    @property
    def missing(self) -> tuple[points.RequestedClick, ...]:
        """What is needed and was not clicked."""
        return tuple(a for a in self.asked if a.needed and a.name not in self.clicks)


@dataclass(frozen=True)
class FoundCoordinate:
    """One field of ``[coordinates]``: value (SI; one or two numbers) with its standard uncertainty (the larger)."""

    path: str
    value: tuple[float, ...]
    uncertainty: float
    place: Vec
    """Where the click lies in the action's frame, m."""
    place_uncertainty: float
    given: bool
    """Certain enough to be handed on."""


@dataclass(frozen=True)
class PhotographResult:
    """What a picture gives."""

    marks: Marks
    view: CameraView
    found: tuple[FoundCoordinate, ...]
    waiting: tuple[str, ...]
    """Clicked, but another click that its frame needs is missing."""

    @property
    def given(self) -> tuple[FoundCoordinate, ...]:
        return tuple(f for f in self.found if f.given)


def compute_coordinates(marks: Marks) -> PhotographResult:
    """The coordinates that the clicks give.  Raises InputError: what is missing, wrong, or not to be trusted."""
    faults = [*_check_typed_values(marks), *_check_clicks_in_picture(marks)]
    remedy = "click it, and everything else that is needed, first"
    faults += [_make_fault(marks, a.name, "not clicked", f"a click: {a.told}", remedy) for a in marks.missing]
    if faults:
        raise InputError(faults)
    if faults := list(_check_shapes(marks)):
        raise InputError(faults)
    seen = _fit_view(marks)
    if faults := list(_check_fit(marks, seen)):
        raise InputError(faults)
    done = _compute_fields(marks, seen)
    if faults := list(_check_sides(marks, done)):
        raise InputError(faults)
    if done.found and not any(f.path != ANGLE_FIELD for f in done.given):
        best = min((f.place_uncertainty for f in done.found), default=0.0)
        raise InputError([_make_fault(
            marks, "uncertainty", f"{format_mm(best, 2)} at best", f"at most {format_mm(marks.most, 2)}",
            "look at the action more squarely and from farther away, with card and second scale around the parts",
        )])  # fmt: skip
    return done


def build_coordinate_leaves(done: PhotographResult) -> Leaves:
    """What a scenario says of it: raw coordinates, measured, with their uncertainty and the picture they come from."""
    note = f"read from a photograph: {done.marks.picture.name}, SHA-256 {done.marks.picture.sha256[:12]}"
    out: Leaves = {}
    for one in done.given:
        raw = {"value": _format_value(one), "source": "measured", "uncertainty": _format_uncertainty(one), "note": note}
        out["coordinates", *one.path.split(".")] = Leaf(raw, "photograph", None)
    return out


def _format_value(one: FoundCoordinate) -> str | list[str]:
    if one.path == ANGLE_FIELD:
        return f"{math.degrees(one.value[0]):.3f} deg"
    texts = [format_quantity(round(v, 5), "mm", LENGTH) for v in one.value]
    return texts if len(texts) == 2 else texts[0]


def _format_uncertainty(one: FoundCoordinate) -> str:
    if one.path == ANGLE_FIELD:
        return f"{math.degrees(one.uncertainty):.3f} deg"
    return f"{1e3 * one.uncertainty:.2f} mm"


def _make_fault(marks: Marks, what: str, value: str, allowed: str, remedy: str) -> Fault:
    return Fault(marks.picture.name, None, what, value, allowed, remedy)


def _check_typed_values(m: Marks) -> Iterator[Fault]:
    """What was typed."""
    remedy = "measure it on the print with a rule"
    for name, size in zip(("card.width", "card.height"), m.card, strict=True):
        if not 0.02 <= size <= 1.5:
            yield _make_fault(m, name, format_mm(size), "20 to 1500 mm", remedy)
    steps = np.diff(m.rule)
    if not 2 <= len(m.rule) <= points.MOST_RULE_MARKS or not (steps >= 0.01).all() or not m.rule[-1] - m.rule[0] <= 2:
        told = ", ".join(format_mm(t) for t in m.rule) or "none"
        allowed = f"2 to {points.MOST_RULE_MARKS} places along it, 10 mm or more apart, 2 m in all"
        yield _make_fault(m, "rule", told, allowed, "name the marks in order along the second scale")
    for name, value, low, high, unit in (
        ("click", m.click, 0.1, 20.0, "px"), ("depth", 1e3 * m.depth, 0.0, 20.0, "mm"),
        ("distance", 1e3 * m.distance, 100.0, 1e5, "mm"), ("most", 1e3 * m.most, 0.05, 5.0, "mm"),
    ):  # fmt: skip
        if not low <= value <= high:
            yield _make_fault(
                m, name, f"{value:g} {unit}", f"{low:g} to {high:g} {unit}", "check the number and its unit"
            )
    if m.origin not in points.list_frame_origins():
        yield _make_fault(m, "origin", m.origin, "the balance pin or another place of the action's frame", "name one")
    if not all(abs(v) <= 0.6 for v in m.origin_at):
        yield _make_fault(
            m, "origin_at", ", ".join(map(format_mm, m.origin_at)), "-600 to 600 mm each", "measure it again"
        )


def _check_clicks_in_picture(m: Marks) -> Iterator[Fault]:
    known = {a.name for a in points.list_clicks(points.MOST_RULE_MARKS, True)}
    across, down = m.picture.width, m.picture.height
    for name, (x, y) in m.clicks.items():
        if name not in known:
            yield _make_fault(m, name, "clicked", "a point that is asked for", "take this click out")
        elif not (0 <= x <= across and 0 <= y <= down):
            allowed = f"0 to {across} px across and 0 to {down} px down"
            yield _make_fault(m, name, f"{x:g}, {y:g} px", allowed, "click inside the picture")


def _check_shapes(m: Marks) -> Iterator[Fault]:
    """A card that is no card, upside down, or too small; a second scale or a level line without length."""
    corners = np.array([m.clicks[n] for n in points.CORNERS])
    sides = np.roll(corners, -1, axis=0) - corners
    turns = sides[:, 0] * np.roll(sides[:, 1], -1) - sides[:, 1] * np.roll(sides[:, 0], -1)
    shortest = float(np.hypot(*sides.T).min())
    if shortest < SHORTEST_SIDE:
        allowed = f"{SHORTEST_SIDE} px or more"
        yield _make_fault(
            m, "card", f"a side of {shortest:.0f} px", allowed, "photograph it larger, or click its corners"
        )
    elif not (np.sign(turns) == np.sign(turns[0])).all():
        told = "front low, rear low, rear high, front high"
        yield _make_fault(
            m, "card", "sides that cross", f"its corners in turn: {told}", "click its corners again, in order"
        )
    elif corners[0, 1] <= corners[3, 1] or corners[1, 1] <= corners[2, 1]:
        remedy = "click the lower corners low in the picture; a picture that lies on its side is turned upright first"
        yield _make_fault(m, "card", "lower corners above the upper ones", "an upright picture", remedy)
    ends = [(points.name_rule_mark(0), points.name_rule_mark(len(m.rule) - 1), "rule")]
    ends += [(points.LEVEL_FRONT, points.LEVEL_REAR, "level line")] if m.level_line else []
    for first, last, what in ends:
        far = math.dist(m.clicks[first], m.clicks[last])
        if far < SHORTEST_SIDE:
            yield _make_fault(m, what, f"{far:.0f} px long", f"{SHORTEST_SIDE} px or more", "click its two ends")


def _fit_view(m: Marks) -> CameraView:
    crosses = [n for n in points.CARD if n in m.clicks]
    marks = [points.name_rule_mark(i) for i in range(len(m.rule))]
    clicked = CameraClicks(
        card=np.array([points.CARD[n] for n in crosses]) * m.card, card_at=np.array([m.clicks[n] for n in crosses]),
        rule=np.array(m.rule) - m.rule[0], rule_at=np.array([m.clicks[n] for n in marks]),
        size=(m.picture.width, m.picture.height), click=m.click,
    )  # fmt: skip
    try:
        return fit_camera(clicked)
    except (ValueError, np.linalg.LinAlgError) as error:
        remedy = "click the card's crosses again, in order, and check its size"
        fault = _make_fault(m, "card", f"{error}", "a camera that sees the card so", remedy)
        raise InputError([fault]) from None


def _check_fit(m: Marks, seen: CameraView) -> Iterator[Fault]:
    """What the fit tells against the picture: tilt, slips, lens, depth."""
    if seen.tilt > MOST_TILT:
        remedy = "look at it more squarely; or its size is not as told, or its corners were clicked in another order"
        told = f"seen {math.degrees(seen.tilt):.0f}° aslant"
        yield _make_fault(m, "card", told, f"at most {math.degrees(MOST_TILT):.0f}°", remedy)
        return
    names = [n for n in points.CARD if n in m.clicks] + [points.name_rule_mark(i) for i in range(len(m.rule))]
    worst = int(seen.click_residuals.argmax())
    if seen.click_residuals[worst] > OUTLIER_LIMIT:
        remedy = "click it again; if it stands where it should, the card is bent, or its size or the scale's is wrong"
        told = f"{seen.click_residuals[worst]:.1f} times as far off as a click's {m.click:g} px allows"
        yield _make_fault(m, names[worst], told, f"at most {OUTLIER_LIMIT:g} times", remedy)
    if abs(seen.bow) > MOST_BOW:
        remedy = "step back and zoom in: the lens bows too much; nothing else is read from this picture"
        told = f"{100 * seen.bow:+.1f} % at the corner"
        yield _make_fault(m, "lens", told, f"at most {100 * MOST_BOW:g} %", remedy)
    if abs(seen.depth) > MOST_DEPTH:
        remedy = "bring card and parts into one depth, or check what the second scale's marks stand for"
        told = f"{100 * seen.depth:+.1f} % longer than on the card"
        yield _make_fault(m, "rule", told, f"at most {100 * MOST_DEPTH:g} %", remedy)


def _compute_fields(m: Marks, seen: CameraView) -> PhotographResult:
    """Every coordinate that is clicked, with slopes by everything that is uncertain."""
    known = [a.name for a in m.asked if a.name in m.clicks and a.group not in ("card", "rule")]
    wanted = [w for w in points.list_coordinate_fields() if {w.click, *w.rests_on} <= set(known)]
    waiting = tuple(
        dict.fromkeys(w.click for w in points.list_coordinate_fields() if w.click in known and w not in wanted)
    )
    at = np.array([m.clicks[n] for n in known])
    count, fit = at.size, len(seen.found)

    def all_of(z: Array) -> Array:
        moved = at + z[fit : fit + count].reshape(-1, 2)
        longer = 1.0 + z[-4:-2] / m.card
        flat = seen.plane(moved, z[:fit]) * longer + z[fit + count : fit + 2 * count].reshape(-1, 2)
        scale = float(np.hypot(*(seen.rule_way(z[:fit]) * longer))) + z[-2]
        frame = _transform_to_frames(m, dict(zip(known, flat.tolist(), strict=True)), scale, z[-1])
        return np.array(
            [*(v for w in wanted for v in _compute_field_value(w, frame)), *(v for n in known for v in frame[n])]
        )

    z = np.concatenate([seen.found, np.zeros(2 * count + 4)])
    slopes = compute_jacobian(all_of, z)
    variance = np.einsum("ij,jk,ik->i", slopes, _compute_covariance(m, seen, at), slopes)
    values, doubts = all_of(z).tolist(), np.sqrt(np.maximum(variance, 0.0)).tolist()
    first = len(values) - count
    places = {
        n: (values[i], values[i + 1], max(doubts[i : i + 2]))
        for n, i in zip(known, range(first, len(values), 2), strict=True)
    }
    found, i = [], 0
    for w in wanted:
        n = 2 if w.gives == "point" else 1
        doubt = max(doubts[i : i + n])
        sure = doubt <= (MOST_ANGLE_UNCERTAINTY if w.gives == "angle" else m.most)
        x, y, there = places[w.click]
        found.append(FoundCoordinate(w.path, tuple(values[i : i + n]), doubt, (x, y), there, sure))
        i += n
    return PhotographResult(m, seen, tuple(found), waiting)


def _compute_covariance(m: Marks, seen: CameraView, at: Array) -> Array:
    """Of camera, clicks, uneven depth of each place, the card's size, depth of the second scale, level."""
    fit, count = len(seen.found), at.size
    out = np.zeros((fit + 2 * count + 4,) * 2)
    out[:fit, :fit] = seen.covariance
    diagonal = np.arange(fit, len(out))
    slope = np.hypot(math.tan(seen.tilt), _measure_click_offsets(seen, at) / m.distance)
    out[diagonal, diagonal] = np.concatenate([
        np.full(count, (m.click * max(1.0, seen.scatter)) ** 2), np.repeat((m.depth * slope) ** 2, 2),
        [CARD_MEASURED**2, CARD_MEASURED**2, (m.depth / m.distance) ** 2, 0.0 if m.level_line else CARD_LEVEL**2],
    ])  # fmt: skip
    return out


def _measure_click_offsets(seen: CameraView, at: Array) -> Array:
    """How far each click lies from what the middle of the picture shows, m."""
    middle = seen.plane(seen.clicked.middle[None, :])[0]
    return np.asarray(np.hypot(*(seen.plane(at) - middle).T))


def _transform_to_frames(m: Marks, flat: Mapping[str, list[float]], scale: float, level: float) -> dict[str, Vec]:
    """Places of the card's plane into the frame of the action, m."""
    if m.level_line:
        (ax, ay), (bx, by) = flat[points.LEVEL_FRONT], flat[points.LEVEL_REAR]
        level += math.atan2(by - ay, bx - ax)
    ox, oy = flat[m.origin]
    out = {}
    for name, (x, y) in flat.items():
        along, up = rotate_vector(((x - ox) / scale, (y - oy) / scale), -level)
        out[name] = along + m.origin_at[0], up + m.origin_at[1]
    return out


def _compute_field_value(w: points.CoordinateField, frame: Mapping[str, Vec]) -> tuple[float, ...]:
    """A field's numbers from places in the action's frame."""
    at = frame[w.click]
    if w.gives == "angle":
        along, up = subtract_vectors(at, frame["hammer.centre"])
        return (math.atan2(up, along),)
    if w.frame == "shank":
        along, up = subtract_vectors(frame[points.SHANK], frame["hammer.centre"])
        at = rotate_vector(subtract_vectors(at, frame["hammer.centre"]), -math.atan2(up, along))
    elif w.frame != "action":
        at = subtract_vectors(at, frame[w.rests_on[0]])
    return {"x": (at[0],), "y": (at[1],), "point": at}[w.gives]


def _check_sides(m: Marks, done: PhotographResult) -> Iterator[Fault]:
    """Places on the wrong side of the balance pin: front and rear of the card exchanged, or one click astray."""
    remedy = "front is the player's side: click card and level line again from front to rear, or this place"
    for one in done.found:
        side = SIDES.get(one.path, 0)
        if side * one.place[0] < -WRONG_SIDE:
            allowed = f"{'behind' if side > 0 else 'in front of'} the balance pin"
            yield _make_fault(m, one.path, f"{format_mm(abs(one.place[0]))} on the other side", allowed, remedy)
