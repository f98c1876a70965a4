"""Coordinates from a photograph of the action beside a printed card, each with its uncertainty.

The card, laid in the plane of the action's side, says how the camera saw that plane; a rule at the depth of the parts
says how much nearer they are and, with the card, how the lens bows (``perspective.py``).  A click's uncertainty, the
camera's, the card's level and the parts' uneven depth are carried into every coordinate by its slopes (JCGM 100:2008,
5.2.2).  What is wrong with the clicks, or too uncertain, is refused, never smoothed over.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

from sim.errors import InputError
from sim.unit.files import Leaf, Leaves
from sim.unit.model import Vec
from sim.unit.plane import minus, turned
from sim.units import LENGTH, mm, show
from sim.workshop import photograph_checks as checks
from sim.workshop import photograph_points as points
from sim.workshop.perspective import Array, Clicked, View, differences, view
from sim.workshop.photographed import TURN, Found, Marks, Photographed

CARD_LEVEL = math.radians(0.1)
"""How level a card is laid against the key bed: a quarter of a millimetre over its long side (our convention)."""
MOST_TURN = math.radians(0.5)
"""Standard uncertainty of the shank's angle beyond which it is not given."""
CARD_MEASURED = 0.1e-3
"""Standard uncertainty of the card's width and height, m: read on a steel rule between two crosses (our convention)."""


def read(marks: Marks) -> Photographed:
    """The coordinates that the clicks give.  Raises InputError: what is missing, wrong, or not to be trusted."""
    faults = [*checks.told(marks), *checks.outside(marks)]
    remedy = "click it, and everything else that is needed, first"
    faults += [checks.fault_of(marks, a.name, "not clicked", f"a click: {a.told}", remedy) for a in marks.missing]
    if faults:
        raise InputError(faults)
    if faults := list(checks.shapes(marks)):
        raise InputError(faults)
    seen = _view(marks)
    if faults := list(checks.seen_so(marks, seen)):
        raise InputError(faults)
    done = _found(marks, seen)
    if faults := list(checks.sides(marks, done)):
        raise InputError(faults)
    if done.found and not any(f.path != TURN for f in done.given):
        best = min((f.place_uncertainty for f in done.found), default=0.0)
        raise InputError([checks.fault_of(
            marks, "uncertainty", f"{mm(best, 2)} at best", f"at most {mm(marks.most, 2)}",
            "look at the action more squarely and from farther away, with card and second scale around the parts",
        )])  # fmt: skip
    return done


def leaves(done: Photographed) -> Leaves:
    """What a scenario says of it: raw coordinates, measured, with their uncertainty and the picture they come from."""
    note = f"read from a photograph: {done.marks.picture.name}, SHA-256 {done.marks.picture.sha256[:12]}"
    out: Leaves = {}
    for one in done.given:
        raw = {"value": _written(one), "source": "measured", "uncertainty": _doubt(one), "note": note}
        out["coordinates", *one.path.split(".")] = Leaf(raw, "photograph", None)
    return out


def _written(one: Found) -> str | list[str]:
    if one.path == TURN:
        return f"{math.degrees(one.value[0]):.3f} deg"
    texts = [show(round(v, 5), "mm", LENGTH) for v in one.value]
    return texts if len(texts) == 2 else texts[0]


def _doubt(one: Found) -> str:
    if one.path == TURN:
        return f"{math.degrees(one.uncertainty):.3f} deg"
    return f"{1e3 * one.uncertainty:.2f} mm"


def _view(m: Marks) -> View:
    crosses = [n for n in points.CARD if n in m.clicks]
    marks = [points.rule_mark(i) for i in range(len(m.rule))]
    clicked = Clicked(
        card=np.array([points.CARD[n] for n in crosses]) * m.card, card_at=np.array([m.clicks[n] for n in crosses]),
        rule=np.array(m.rule) - m.rule[0], rule_at=np.array([m.clicks[n] for n in marks]),
        size=(m.picture.width, m.picture.height), click=m.click,
    )  # fmt: skip
    try:
        return view(clicked)
    except (ValueError, np.linalg.LinAlgError) as error:
        remedy = "click the card's crosses again, in order, and check its size"
        fault = checks.fault_of(m, "card", f"{error}", "a camera that sees the card so", remedy)
        raise InputError([fault]) from None


def _found(m: Marks, seen: View) -> Photographed:
    """Every coordinate that is clicked, with slopes by everything that is uncertain."""
    known = [a.name for a in m.asked if a.name in m.clicks and a.group not in ("card", "rule")]
    wanted = [w for w in points.wanted() if {w.click, *w.rests_on} <= set(known)]
    waiting = tuple(dict.fromkeys(w.click for w in points.wanted() if w.click in known and w not in wanted))
    at = np.array([m.clicks[n] for n in known])
    count, fit = at.size, len(seen.found)

    def all_of(z: Array) -> Array:
        moved = at + z[fit : fit + count].reshape(-1, 2)
        longer = 1.0 + z[-4:-2] / m.card
        flat = seen.plane(moved, z[:fit]) * longer + z[fit + count : fit + 2 * count].reshape(-1, 2)
        scale = float(np.hypot(*(seen.rule_way(z[:fit]) * longer))) + z[-2]
        frame = _frame(m, dict(zip(known, flat.tolist(), strict=True)), scale, z[-1])
        return np.array([*(v for w in wanted for v in _value(w, frame)), *(v for n in known for v in frame[n])])

    z = np.concatenate([seen.found, np.zeros(2 * count + 4)])
    slopes = differences(all_of, z)
    variance = np.einsum("ij,jk,ik->i", slopes, _covariance(m, seen, at), slopes)
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
        sure = doubt <= (MOST_TURN if w.gives == "angle" else m.most)
        x, y, there = places[w.click]
        found.append(Found(w.path, tuple(values[i : i + n]), doubt, (x, y), there, sure))
        i += n
    return Photographed(m, seen, tuple(found), waiting)


def _covariance(m: Marks, seen: View, at: Array) -> Array:
    """Of camera, clicks, uneven depth of each place, the card's size, depth of the second scale, level."""
    fit, count = len(seen.found), at.size
    out = np.zeros((fit + 2 * count + 4,) * 2)
    out[:fit, :fit] = seen.covariance
    diagonal = np.arange(fit, len(out))
    slope = np.hypot(math.tan(seen.tilt), _aside(seen, at) / m.distance)
    out[diagonal, diagonal] = np.concatenate([
        np.full(count, (m.click * max(1.0, seen.scatter)) ** 2), np.repeat((m.depth * slope) ** 2, 2),
        [CARD_MEASURED**2, CARD_MEASURED**2, (m.depth / m.distance) ** 2, 0.0 if m.level_line else CARD_LEVEL**2],
    ])  # fmt: skip
    return out


def _aside(seen: View, at: Array) -> Array:
    """How far each click lies from what the middle of the picture shows, m."""
    middle = seen.plane(seen.clicked.middle[None, :])[0]
    return np.asarray(np.hypot(*(seen.plane(at) - middle).T))


def _frame(m: Marks, flat: Mapping[str, list[float]], scale: float, level: float) -> dict[str, Vec]:
    """Places of the card's plane into the frame of the action, m."""
    if m.level_line:
        (ax, ay), (bx, by) = flat[points.LEVEL_FRONT], flat[points.LEVEL_REAR]
        level += math.atan2(by - ay, bx - ax)
    ox, oy = flat[m.origin]
    out = {}
    for name, (x, y) in flat.items():
        along, up = turned(((x - ox) / scale, (y - oy) / scale), -level)
        out[name] = along + m.origin_at[0], up + m.origin_at[1]
    return out


def _value(w: points.Wanted, frame: Mapping[str, Vec]) -> tuple[float, ...]:
    """A field's numbers from places in the action's frame."""
    at = frame[w.click]
    if w.gives == "angle":
        along, up = minus(at, frame["hammer.centre"])
        return (math.atan2(up, along),)
    if w.frame == "shank":
        along, up = minus(frame[points.SHANK], frame["hammer.centre"])
        at = turned(minus(at, frame["hammer.centre"]), -math.atan2(up, along))
    elif w.frame != "action":
        at = minus(at, frame[w.rests_on[0]])
    return {"x": (at[0],), "y": (at[1],), "point": at}[w.gives]
