"""What a rebuilder can move before drilling: rails, capstan line, knuckle, heel.  One entry a move (m).

A rail takes along what stands on it: the hammer rail carries flanges, drop screw,
button and rest cushion.  Parts keep their own shape; only where they stand changes.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

from sim.unit.model import ActionUnit, Vec


@dataclass(frozen=True)
class Move:
    title: str
    apply: Callable[[ActionUnit, float], ActionUnit]
    farthest: float
    """Farthest that the move makes sense, m."""


def _by(v: Vec, dx: float = 0.0, dy: float = 0.0) -> Vec:
    return v[0] + dx, v[1] + dy


def move_wippen_rail(u: ActionUnit, dx: float = 0.0, dy: float = 0.0) -> ActionUnit:
    """The wippen rail moved rearward and up; the heel keeps its height over the key by the capstan."""
    key = replace(u.key, capstan_centre=_by(u.key.capstan_centre, 0.0, dy))
    moved = replace(u, wippen=replace(u.wippen, centre=_by(u.wippen.centre, dx, dy)), key=key)
    return _respread(moved)


def move_hammer_rail(u: ActionUnit, dx: float = 0.0, dy: float = 0.0) -> ActionUnit:
    """The hammer rail with all it carries moved rearward and up."""
    rails = replace(
        u.rails,
        drop_screw_tip=_by(u.rails.drop_screw_tip, dx, dy),
        let_off_button_plane_y=u.rails.let_off_button_plane_y + dy,
        rest_cushion_plane_y=u.rails.rest_cushion_plane_y + dy,
    )
    return _respread(replace(u, hammer=replace(u.hammer, centre=_by(u.hammer.centre, dx, dy)), rails=rails))


def _respread(u: ActionUnit) -> ActionUnit:
    (x, y), (a, b) = u.wippen.centre, u.hammer.centre
    return replace(u, rails=replace(u.rails, spread=((x - a) ** 2 + (y - b) ** 2) ** 0.5))


def move_capstan_line(u: ActionUnit, dx: float) -> ActionUnit:
    return replace(u, key=replace(u.key, capstan_centre=_by(u.key.capstan_centre, dx)))


def move_knuckle(u: ActionUnit, out: float) -> ActionUnit:
    """The knuckle farther out on the shank."""
    return replace(u, hammer=replace(u.hammer, knuckle_centre=_by(u.hammer.knuckle_centre, out)))


def raise_heel(u: ActionUnit, dy: float) -> ActionUnit:
    """A thicker heel: its flat lower by ``dy``, the capstan turned down to match."""
    heel = _by(u.wippen.heel_point, 0.0, -dy)
    key = replace(u.key, capstan_centre=_by(u.key.capstan_centre, 0.0, -dy))
    return replace(u, wippen=replace(u.wippen, heel_point=heel), key=key)


MOVES: Mapping[str, Move] = {
    "wippen_rail_back": Move("wippen rail rearward", move_wippen_rail, 6e-3),
    "wippen_rail_up": Move("wippen rail up", lambda u, d: move_wippen_rail(u, 0.0, d), 6e-3),
    "hammer_rail_back": Move("hammer rail rearward", move_hammer_rail, 6e-3),
    "hammer_rail_up": Move("hammer rail up", lambda u, d: move_hammer_rail(u, 0.0, d), 4e-3),
    "capstan_line_back": Move("capstan line rearward", move_capstan_line, 6e-3),
    "knuckle_out": Move("knuckle out on the shank", move_knuckle, 2.5e-3),
    "heel_thicker": Move("heel thicker", raise_heel, 5e-3),
}
"""Moves that a search for room and the map of rails may make."""
