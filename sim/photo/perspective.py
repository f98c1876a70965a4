"""From the picture to the plane: what a camera did to a card of known size, found from clicks, with its uncertainty.

A pinhole camera maps a plane by a homography H; it is begun by the normalised direct linear transformation and
refined by least squares in the picture (Hartley & Zisserman, Multiple View Geometry, 2nd ed., Cambridge 2003,
algorithms 4.2 and 4.3, covariance after result 5.10).  Two things that a homography cannot take are fitted with it,
each with what is expected of it beforehand: the bowing of the lens, one term about the middle of the picture, and the
distance of the parts before or behind the card, which shows as another length of a straight rule laid at their depth.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sim.value_records import value_record

Array = NDArray[np.float64]

BOW_EXPECTED = 0.007
"""Standard deviation of the bowing at the picture's corner, share of its distance from the middle: an ordinary lens."""
DEPTH_EXPECTED = 0.01
"""Standard deviation of the scale at the parts' depth: some 10 mm at a distance of 1 m."""
MOST_ITERATIONS, CONVERGED_STEP = 50, 1e-11
DIFFERENCE_STEP = 1e-6
"""Step of central differences; all parameters are of the order of one."""
SHAPE, BOW, RULE = slice(0, 8), 8, slice(9, 13)
"""Places of the parameters: homography, bowing, and a rule's foot and direction in the plane."""


@value_record
@dataclass(frozen=True)
class CameraClicks:
    """What was clicked to find the camera.

    ``card`` (n, 2) and ``rule`` (m,) are true places in m, in the card's plane and along the rule; ``card_at`` (n, 2)
    and ``rule_at`` (m, 2) the clicks in pixels; ``size`` the picture's, ``click`` a click's standard uncertainty in
    pixels, the same across and up.
    """

    card: Array
    card_at: Array
    rule: Array
    rule_at: Array
    size: tuple[int, int]
    click: float

    @property
    def middle(self) -> Array:
        """Middle of the picture, pixels."""
        return np.array(self.size, float) / 2

    @property
    def half(self) -> float:
        """Half the picture's diagonal, pixels."""
        return float(np.hypot(*self.size)) / 2

    @property
    def unit(self) -> float:
        """Length in m that the plane is counted in."""
        return float(np.ptp(self.card, axis=0).max()) / 2


@value_record
@dataclass(frozen=True)
class CameraView:
    """The camera as found: ``found`` (13,) with ``covariance``, and how well the clicks agree with it."""

    clicked: CameraClicks
    found: Array
    covariance: Array
    click_residuals: Array
    """Each click's residual over what is expected of it, card and then rule (Baarda's w, larger of across and up)."""
    scatter: float
    """Root of the mean square of residuals over that expected; 1 where the clicks are as good as stated."""

    @property
    def bow(self) -> float:
        """How far the lens moves the picture's corner, share of its distance from the middle; + outward."""
        return float(self.found[BOW])

    @property
    def depth(self) -> float:
        """How much larger the rule is seen than one in the card's plane, share."""
        return _compute_depth(self.found)

    @staticmethod
    def rule_way(found: Array) -> Array:
        """What a length along the rule is seen as in the card's plane (2,)."""
        return found[RULE][2:]

    def plane(self, at: Array, found: Array | None = None) -> Array:
        """Pixels (n, 2) to places of the card's plane in m."""
        use = self.found if found is None else found
        return _project_to_plane(self.clicked, at, use)

    def picture(self, places: Array) -> Array:
        """Places of the card's plane in m (n, 2) to pixels, without the lens's bowing."""
        c = self.clicked
        return _project_places(places / c.unit, self.found) * c.half + c.middle

    def stretch(self, place: Array) -> tuple[float, float]:
        """Largest and smallest pixels per m about a place of the plane (2,)."""
        step = 1e-3 * self.clicked.unit
        around = np.array([(step, 0), (-step, 0), (0, step), (0, -step)]) + place
        seen = self.picture(around)
        slopes = np.column_stack([seen[0] - seen[1], seen[2] - seen[3]]) / (2 * step)
        largest, smallest = np.linalg.svd(slopes, compute_uv=False)
        return float(largest), float(smallest)

    @property
    def tilt(self) -> float:
        """Angle (rad) by which the camera looks aslant at the card's middle, from how unevenly it is seen."""
        largest, smallest = self.stretch(self.clicked.card.mean(axis=0))
        return float(np.arccos(min(1.0, smallest / largest)))


def fit_camera(clicked: CameraClicks) -> CameraView:
    """The camera that fits the clicks.  Raises ValueError where there is none, or none that they settle."""
    begun = _estimate_start(clicked)

    def off(found: Array) -> Array:
        return _compute_residuals(clicked, found)

    found = begun
    for _ in range(MOST_ITERATIONS):
        slopes = compute_jacobian(off, found)
        step = np.linalg.lstsq(slopes, off(found), rcond=None)[0]
        found = found - step
        if not np.isfinite(found).all():
            raise ValueError("no camera fits")
        if np.abs(step).max() < CONVERGED_STEP:
            break
    else:
        raise ValueError("no camera fits")
    slopes = compute_jacobian(off, found)
    if np.linalg.matrix_rank(slopes, tol=1e-9 * float(np.linalg.norm(slopes))) < len(found):
        raise ValueError("the clicks do not settle it")
    return _assess_fit(clicked, found, slopes, off(found))


def _assess_fit(clicked: CameraClicks, found: Array, slopes: Array, left: Array) -> CameraView:
    covariance = np.linalg.inv(slopes.T @ slopes).astype(float)
    spare = np.maximum(1.0 - np.einsum("ij,jk,ik->i", slopes, covariance, slopes), 1e-9)
    count = 2 * (len(clicked.card) + len(clicked.rule))
    each = np.where(spare > 1e-3, np.abs(left) / np.sqrt(spare), 0.0)[:count]
    strange: Array = each.reshape(-1, 2).max(axis=1)
    scatter = float(np.sqrt(left @ left / max(len(left) - len(found), 1)))
    return CameraView(clicked, found, np.asarray(covariance * max(1.0, scatter) ** 2, float), strange, scatter)


def compute_jacobian(of: Callable[[Array], Array], at: Array, step: float = DIFFERENCE_STEP) -> Array:
    """Slopes of a function of many numbers by central differences: one row an output, one column an input."""
    moves = step * np.eye(len(at))
    return np.column_stack([(of(at + move) - of(at - move)) / (2 * step) for move in moves])


def _compute_residuals(c: CameraClicks, found: Array) -> Array:
    """Residuals over what is expected of them: clicks of card and rule, bowing, depth."""
    foot, way = found[RULE][:2], found[RULE][2:]
    along = foot + np.outer(c.rule / c.unit, way)
    places = np.vstack([c.card / c.unit, along])
    seen = _remove_bowing((np.vstack([c.card_at, c.rule_at]) - c.middle) / c.half, found[BOW])
    clicks = (seen - _project_places(places, found)) * (c.half / c.click)
    return np.array([*clicks.ravel(), found[BOW] / BOW_EXPECTED, _compute_depth(found) / DEPTH_EXPECTED])


def _compute_depth(found: Array) -> float:
    return float(np.hypot(*CameraView.rule_way(found))) - 1.0


def _remove_bowing(seen: Array, bow: float) -> Array:
    """Places of the picture as a lens without bowing would show them; counted from its middle in half diagonals."""
    return np.asarray(seen * (1.0 - bow * (seen**2).sum(axis=1))[:, None])


def _build_homography(found: Array) -> Array:
    return np.concatenate([found[SHAPE], [1.0]]).reshape(3, 3)


def _project_places(places: Array, found: Array) -> Array:
    return _apply_homography(_build_homography(found), places)


def _apply_homography(matrix: Array, places: Array) -> Array:
    seen = np.column_stack([places, np.ones(len(places))]) @ matrix.T
    return np.asarray(seen[:, :2] / seen[:, 2:])


def _project_to_plane(c: CameraClicks, at: Array, found: Array) -> Array:
    straight = _remove_bowing((at - c.middle) / c.half, found[BOW])
    inverse = np.linalg.inv(_build_homography(found)).astype(float)
    return _apply_homography(inverse, straight) * c.unit


def _estimate_start(c: CameraClicks) -> Array:
    """Direct linear transformation on the card, a straight line through the rule as it then lies in the plane."""
    shape = _solve_homography(c.card / c.unit, (c.card_at - c.middle) / c.half)
    begun = np.concatenate([shape, np.zeros(5)])
    line = np.column_stack([np.ones(len(c.rule)), c.rule / c.unit])
    begun[RULE] = np.linalg.lstsq(line, _project_to_plane(c, c.rule_at, begun) / c.unit, rcond=None)[0].ravel()
    return begun


def _solve_homography(places: Array, seen: Array) -> Array:
    """Algorithm 4.2; the last entry of the matrix is made one.  Raises ValueError for points in a line or in one."""
    into, out = _normalise_points(places), _normalise_points(seen)
    p, s = _apply_homography(into, places), _apply_homography(out, seen)
    ones, none = np.ones((len(p), 1)), np.zeros((len(p), 3))
    whole = np.hstack([p, ones])
    rows = np.vstack([np.hstack([whole, none, -s[:, :1] * whole]), np.hstack([none, whole, -s[:, 1:] * whole])])
    values, kernel = np.linalg.svd(rows)[1:]
    if values[7] < 1e-6 * values[0]:
        raise ValueError("the points lie in a line or in one another")
    matrix = np.linalg.inv(out) @ kernel[-1].reshape(3, 3) @ into
    if abs(matrix[2, 2]) < 1e-9 * np.abs(matrix).max():
        raise ValueError("the card's middle lies beyond the horizon")
    return np.asarray((matrix / matrix[2, 2]).ravel()[:8])


def _normalise_points(points: Array) -> Array:
    """Similarity that puts the points' middle at the origin, at a mean distance of √2."""
    middle = points.mean(axis=0)
    away = float(np.hypot(*(points - middle).T).mean())
    if not away > 0:
        raise ValueError("the points lie in one another")
    by = np.sqrt(2.0) / away
    return np.array([[by, 0.0, -by * middle[0]], [0.0, by, -by * middle[1]], [0.0, 0.0, 1.0]])
