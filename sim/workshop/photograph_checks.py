"""What can be wrong with a photograph: with what was told, with the clicks, with what they say of the camera."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping

import numpy as np

from sim.errors import Fault
from sim.units import mm
from sim.workshop import photograph_points as points
from sim.workshop.perspective import View
from sim.workshop.photographed import Marks, Photographed

STRANGEST = 4.0
"""A click so many times as far off as its uncertainty allows is a slip (Baarda's w; by chance one in 15,000)."""
MOST_BOW, MOST_DEPTH = 0.02, 0.02
"""Bowing at the picture's corner, and what the second scale is longer by, beyond which a picture is refused."""
MOST_TILT = math.radians(40)
SHORTEST_SIDE = 60
"""Pixels of a card's side, and of the second scale, that a click can be told on."""
WRONG_SIDE = 10e-3
"""m; a place so far on the wrong side of the balance pin is on the wrong side."""
SIDES: Mapping[str, int] = {
    "key.touch_point": -1, "key.front_edge_x": -1, "key.capstan_centre": 1, "wippen.centre": 1, "hammer.centre": 1,
}  # fmt: skip
"""Places that every action has on one side of the balance pin: + toward the string."""


def fault_of(marks: Marks, what: str, value: str, allowed: str, remedy: str) -> Fault:
    return Fault(marks.picture.name, None, what, value, allowed, remedy)


def told(m: Marks) -> Iterator[Fault]:
    """What was typed."""
    remedy = "measure it on the print with a rule"
    for name, size in zip(("card.width", "card.height"), m.card, strict=True):
        if not 0.02 <= size <= 1.5:
            yield fault_of(m, name, mm(size), "20 to 1500 mm", remedy)
    steps = np.diff(m.rule)
    if not 2 <= len(m.rule) <= points.MOST_RULE or not (steps >= 0.01).all() or not m.rule[-1] - m.rule[0] <= 2:
        told = ", ".join(mm(t) for t in m.rule) or "none"
        allowed = f"2 to {points.MOST_RULE} places along it, 10 mm or more apart, 2 m in all"
        yield fault_of(m, "rule", told, allowed, "name the marks in order along the second scale")
    for name, value, low, high, unit in (
        ("click", m.click, 0.1, 20.0, "px"), ("depth", 1e3 * m.depth, 0.0, 20.0, "mm"),
        ("distance", 1e3 * m.distance, 100.0, 1e5, "mm"), ("most", 1e3 * m.most, 0.05, 5.0, "mm"),
    ):  # fmt: skip
        if not low <= value <= high:
            yield fault_of(m, name, f"{value:g} {unit}", f"{low:g} to {high:g} {unit}", "check the number and its unit")
    if m.origin not in points.origins():
        yield fault_of(m, "origin", m.origin, "the balance pin or another place of the action's frame", "name one")
    if not all(abs(v) <= 0.6 for v in m.origin_at):
        yield fault_of(m, "origin_at", ", ".join(map(mm, m.origin_at)), "-600 to 600 mm each", "measure it again")


def outside(m: Marks) -> Iterator[Fault]:
    known = {a.name for a in points.asked(points.MOST_RULE, True)}
    across, down = m.picture.width, m.picture.height
    for name, (x, y) in m.clicks.items():
        if name not in known:
            yield fault_of(m, name, "clicked", "a point that is asked for", "take this click out")
        elif not (0 <= x <= across and 0 <= y <= down):
            allowed = f"0 to {across} px across and 0 to {down} px down"
            yield fault_of(m, name, f"{x:g}, {y:g} px", allowed, "click inside the picture")


def shapes(m: Marks) -> Iterator[Fault]:
    """A card that is no card, upside down, or too small; a second scale or a level line without length."""
    corners = np.array([m.clicks[n] for n in points.CORNERS])
    sides = np.roll(corners, -1, axis=0) - corners
    turns = sides[:, 0] * np.roll(sides[:, 1], -1) - sides[:, 1] * np.roll(sides[:, 0], -1)
    shortest = float(np.hypot(*sides.T).min())
    if shortest < SHORTEST_SIDE:
        allowed = f"{SHORTEST_SIDE} px or more"
        yield fault_of(m, "card", f"a side of {shortest:.0f} px", allowed, "photograph it larger, or click its corners")
    elif not (np.sign(turns) == np.sign(turns[0])).all():
        told = "front low, rear low, rear high, front high"
        yield fault_of(
            m, "card", "sides that cross", f"its corners in turn: {told}", "click its corners again, in order"
        )
    elif corners[0, 1] <= corners[3, 1] or corners[1, 1] <= corners[2, 1]:
        remedy = "click the lower corners low in the picture; a picture that lies on its side is turned upright first"
        yield fault_of(m, "card", "lower corners above the upper ones", "an upright picture", remedy)
    ends = [(points.rule_mark(0), points.rule_mark(len(m.rule) - 1), "rule")]
    ends += [(points.LEVEL_FRONT, points.LEVEL_REAR, "level line")] if m.level_line else []
    for first, last, what in ends:
        far = math.dist(m.clicks[first], m.clicks[last])
        if far < SHORTEST_SIDE:
            yield fault_of(m, what, f"{far:.0f} px long", f"{SHORTEST_SIDE} px or more", "click its two ends")


def seen_so(m: Marks, seen: View) -> Iterator[Fault]:
    """What the fit tells against the picture: tilt, slips, lens, depth."""
    if seen.tilt > MOST_TILT:
        remedy = "look at it more squarely; or its size is not as told, or its corners were clicked in another order"
        told = f"seen {math.degrees(seen.tilt):.0f}° aslant"
        yield fault_of(m, "card", told, f"at most {math.degrees(MOST_TILT):.0f}°", remedy)
        return
    names = [n for n in points.CARD if n in m.clicks] + [points.rule_mark(i) for i in range(len(m.rule))]
    worst = int(seen.strange.argmax())
    if seen.strange[worst] > STRANGEST:
        remedy = "click it again; if it stands where it should, the card is bent, or its size or the scale's is wrong"
        told = f"{seen.strange[worst]:.1f} times as far off as a click's {m.click:g} px allows"
        yield fault_of(m, names[worst], told, f"at most {STRANGEST:g} times", remedy)
    if abs(seen.bow) > MOST_BOW:
        remedy = "step back and zoom in: the lens bows too much; nothing else is read from this picture"
        told = f"{100 * seen.bow:+.1f} % at the corner"
        yield fault_of(m, "lens", told, f"at most {100 * MOST_BOW:g} %", remedy)
    if abs(seen.depth) > MOST_DEPTH:
        remedy = "bring card and parts into one depth, or check what the second scale's marks stand for"
        told = f"{100 * seen.depth:+.1f} % longer than on the card"
        yield fault_of(m, "rule", told, f"at most {100 * MOST_DEPTH:g} %", remedy)


def sides(m: Marks, done: Photographed) -> Iterator[Fault]:
    """Places on the wrong side of the balance pin: front and rear of the card exchanged, or one click astray."""
    remedy = "front is the player's side: click card and level line again from front to rear, or this place"
    for one in done.found:
        side = SIDES.get(one.path, 0)
        if side * one.place[0] < -WRONG_SIDE:
            allowed = f"{'behind' if side > 0 else 'in front of'} the balance pin"
            yield fault_of(m, one.path, f"{mm(abs(one.place[0]))} on the other side", allowed, remedy)
