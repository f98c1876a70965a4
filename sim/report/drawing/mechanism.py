"""The mechanism drawn in a pose, with names and dimensions (matplotlib)."""

from __future__ import annotations

from collections.abc import Iterable

from matplotlib.axes import Axes
from matplotlib.patches import Polygon

from sim.display_units import convert_column
from sim.report.drawing.outline import place_moving_shapes
from sim.report.drawing.shapes import Pose, Shape, turn_points
from sim.report.drawing.surroundings import build_fixed_shapes
from sim.unit.model import ActionUnit, Vec

FILLS = {
    "spruce": "#efe2c4", "keytop": "#fbfaf5", "maple": "#dfc08d", "beech": "#cf9f6a", "pear": "#a8643f",
    "walnut": "#8a6444", "white felt": "#f4f1ea", "leather": "#b98a5e", "felt": "#7a2f3a", "brass": "#c9a437",
    "steel": "#8d969e", "rail": "#c9cdd1", "bed": "#dcdfe2", "pin": "#3b4148", "ebony": "#3a3436", "lead": "#7d858c",
}  # fmt: skip
EDGE, INK, DIMENSION = "#4a3a2c", "#39424c", "#1f5f7a"
LINES = {"wire": ("#8a7433", 1.3), "string": ("#5b6470", 1.6), "hole": ("#b79f78", 0.8)}


def escape_lettering(text: str) -> str:
    """What others named, for a figure: drawn as it stands, since between dollar signs a formula would begin."""
    return text.replace("$", r"\$")


def draw_mechanism(
    axes: Axes, unit: ActionUnit, pose: Pose, *, names: bool = False, title: str = "", crown_gap: float | None = None
) -> Axes:
    """The whole action in a pose; ``names`` writes the parts' names, ``crown_gap`` (m) dimensions crown to string."""
    _paint(axes, build_fixed_shapes(unit))
    _paint(axes, place_moving_shapes(unit, pose))
    if names:
        _names(axes, _label_whole(unit, pose))
    if crown_gap is not None:
        _dimension(axes, unit, pose, crown_gap)
    if title:
        axes.set_title(title, loc="left", fontsize=10, color=INK)
    axes.set_aspect("equal")
    axes.margins(0.01)
    axes.autoscale_view()
    axes.set_axis_off()
    return axes


def draw_close_up(axes: Axes, unit: ActionUnit, pose: Pose, title: str = "") -> Axes:
    """Jack, knuckle, lever, button and screw from near by."""
    draw_mechanism(axes, unit, pose, title=title)
    _names(axes, _label_close_up(unit, pose))
    x, y = unit.hammer.centre
    axes.set_xlim((x - 0.058) * 1e3, (x + 0.068) * 1e3)
    axes.set_ylim((unit.rails.let_off_button_plane_y - 0.03) * 1e3, (y + 0.022) * 1e3)
    return axes


def _paint(axes: Axes, shapes: Iterable[Shape]) -> None:
    for order, shape in enumerate(shapes):
        points, height = convert_column(shape.points, "mm"), 2 + order * 0.01
        if shape.closed:
            fill = FILLS[shape.stuff]
            axes.add_patch(Polygon(points, fc=fill, ec=EDGE, lw=0.7, zorder=height, joinstyle="round"))
        else:
            colour, width = LINES[shape.stuff]
            axes.plot(*points.T, color=colour, lw=width, zorder=height, solid_capstyle="round", clip_on=True)


def place_crown(unit: ActionUnit, pose: Pose) -> Vec:
    """Where the crown is in a pose, m."""
    x, y = unit.hammer.strike_point
    lifted = pose.e + pose.r * (x - unit.hammer.shank_length)
    found = turn_points([(x - pose.r * y, y + lifted)], pose.h, unit.hammer.centre)[0]
    return float(found[0]), float(found[1])


def _dimension(axes: Axes, unit: ActionUnit, pose: Pose, gap: float) -> None:
    x, y = (float(v) for v in convert_column(place_crown(unit, pose), "mm"))
    top = y + gap * 1e3
    beside = x + 24
    axes.plot([x, beside + 4], [y, y], color=DIMENSION, lw=0.6, zorder=6)
    text = f"{gap * 1e3:.1f} mm"
    if gap > 0.012:
        axes.annotate("", (beside, y), (beside, top), arrowprops={"arrowstyle": "<->", "color": DIMENSION, "lw": 0.9})
        axes.text(beside + 4, (y + top) / 2, text, color=DIMENSION, fontsize=8, va="center", zorder=6)
    else:
        axes.text(beside + 6, y - 3, text, color=DIMENSION, fontsize=8, va="top", zorder=6)


def _names(axes: Axes, labels: Iterable[tuple[str, Vec, Vec]]) -> None:
    """Name, the point it names (m) and where its text stands from there (points)."""
    for text, point, place in labels:
        axes.annotate(
            text, tuple(convert_column(point, "mm")), xytext=place, textcoords="offset points", fontsize=8, color=INK,
            ha="center", va="center", zorder=7, annotation_clip=False,
            arrowprops={"arrowstyle": "-", "color": "#7b858f", "lw": 0.6, "shrinkA": 1, "shrinkB": 0},
        )  # fmt: skip


def _label_whole(unit: ActionUnit, pose: Pose) -> Iterable[tuple[str, Vec, Vec]]:
    k, w, h, r = unit.key, unit.wippen, unit.hammer, unit.rails
    (check,) = turn_points([k.backcheck_foot], pose.kr)
    (shank,) = turn_points([(h.shank_length * 0.42, 2e-3)], pose.h, h.centre)
    (head,) = turn_points([(h.strike_point[0] - 8e-3, h.strike_point[1] * 0.55)], pose.h, h.centre)
    (knuckle,) = turn_points([h.knuckle_centre], pose.h, h.centre)
    return (
        ("key", (k.front_edge_x * 0.6, 0.012), (0, 26)),
        ("front punching", (k.punching_x + 0.011, k.punching_plane_y - 3e-3), (50, -4)),
        ("balance rail", (0.018, -0.02), (44, -2)),
        ("back-rail cloth", (k.back_cloth_x - 0.018, k.back_cloth_plane_y - 3e-3), (-52, -10)),
        ("capstan", (k.capstan_centre[0] - 3e-3, k.capstan_centre[1]), (-40, -4)),
        ("wippen", (w.centre[0] + 0.9 * w.jack_centre[0], w.centre[1] + 0.6 * w.jack_centre[1]), (-62, -16)),
        ("let-off button", (w.centre[0] + w.jack_centre[0] - 0.03, r.let_off_button_plane_y + 4e-3), (-54, 2)),
        ("knuckle", tuple(knuckle), (-96, 18)),
        ("shank", tuple(shank), (16, 20)),
        ("hammer", tuple(head), (-44, 40)),
        ("backcheck", (check[0] + 8e-3, check[1] + 8e-3), (34, -12)),
        ("string", (h.centre[0] - 0.03, r.string_y), (0, 10)),
    )


def _label_close_up(unit: ActionUnit, pose: Pose) -> Iterable[tuple[str, Vec, Vec]]:
    w, h, r = unit.wippen, unit.hammer, unit.rails
    (jack,) = turn_points([w.jack_centre], pose.w, w.centre)
    (lever,) = turn_points([w.lever_centre], pose.w, w.centre)
    (toe,) = turn_points([unit.jack.toe_centre], pose.j, tuple(jack))
    (stem,) = turn_points([(0.35 * unit.jack.top_rear[0], 0.35 * unit.jack.top_rear[1])], pose.j, tuple(jack))
    (knuckle,) = turn_points([h.knuckle_centre], pose.h, h.centre)
    (bar,) = turn_points(
        [(0.4 * unit.lever.surface_from[0], 0.4 * unit.lever.surface_from[1] + 4e-3)], pose.l, tuple(lever)
    )
    return (
        ("jack", tuple(stem), (-52, 8)),
        ("jack's toe", tuple(toe), (0, -34)),
        ("let-off button", (toe[0] - 4e-3, r.let_off_button_plane_y + 5e-3), (-52, 0)),
        ("knuckle", tuple(knuckle), (62, -8)),
        ("repetition lever", tuple(bar), (14, -44)),
        ("drop screw", (r.drop_screw_tip[0], h.centre[1] + 0.013), (-56, -4)),
        ("repetition spring", (lever[0] - 0.012, lever[1] - 0.017), (-36, -18)),
    )
