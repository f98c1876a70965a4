"""Plane geometry of the derivation: triangles from three sides, points and lines (metres, radians)."""

from __future__ import annotations

import math

from sim.unit.model import Vec


def add_vectors(a: Vec, b: Vec) -> Vec:
    """a + b."""
    return a[0] + b[0], a[1] + b[1]


def subtract_vectors(a: Vec, b: Vec) -> Vec:
    """a - b."""
    return a[0] - b[0], a[1] - b[1]


def offset_point(a: Vec, direction: Vec, length: float) -> Vec:
    """The point a distance away from ``a`` in a direction (a unit vector)."""
    return a[0] + length * direction[0], a[1] + length * direction[1]


def dot_product(a: Vec, b: Vec) -> float:
    """Scalar product."""
    return a[0] * b[0] + a[1] * b[1]


def unit_vector(angle: float) -> Vec:
    """The direction at an angle."""
    return math.cos(angle), math.sin(angle)


def rotate_quarter_turn(direction: Vec) -> Vec:
    """The direction a quarter turn counter-clockwise."""
    return -direction[1], direction[0]


def rotate_vector(a: Vec, angle: float) -> Vec:
    """``a`` turned counter-clockwise about the origin."""
    c, s = math.cos(angle), math.sin(angle)
    return c * a[0] - s * a[1], s * a[0] + c * a[1]


def is_triangle(a: float, b: float, c: float) -> bool:
    """Whether three lengths make a triangle of some width."""
    return a + b > c and b + c > a and c + a > b


def find_third_corner(a: Vec, b: Vec, from_a: float, from_b: float, side: int) -> Vec:
    """The corner at given distances from ``a`` and ``b``; ``side`` +1 left, -1 right of the way from a to b."""
    base = math.dist(a, b)
    ahead = (base**2 + from_a**2 - from_b**2) / (2 * base)
    beside = math.sqrt(max(0.0, from_a**2 - ahead**2))
    way = ((b[0] - a[0]) / base, (b[1] - a[1]) / base)
    return offset_point(offset_point(a, way, ahead), rotate_quarter_turn(way), side * beside)
