"""One way to draw everything: what it is decides how."""

from __future__ import annotations

from functools import singledispatch
from typing import Any

from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from sim.bench.predict import MODERATE, find_touch
from sim.bench.readings import Prediction, Repetition, SlowPress, Strike
from sim.bench.rest_pose import Rest, settle_at_rest
from sim.bench.strike import play_touch
from sim.physics.run import Run
from sim.report.drawing import figures
from sim.report.drawing.mechanism import draw_mechanism
from sim.report.drawing.shapes import Pose
from sim.unit.model import ActionUnit

POSES = ("rest", "escape", "check")


def new_axes(width: float = 8.0, height: float = 4.5) -> Axes:
    """Axes of a figure of their own (no window: show or save ``axes.figure``)."""
    figure = Figure(figsize=(width, height), layout="constrained")
    FigureCanvasAgg(figure)
    return figure.add_subplot()


@singledispatch
def draw(what: Any, axes: Axes | None = None, **options: Any) -> Axes:
    """A unit in a pose, a run's crown and key, a slow press or a repetition on axes."""
    raise TypeError(f"nothing to draw in a {type(what).__name__}")


@draw.register
def _(what: ActionUnit, axes: Axes | None = None, pose: str | Pose = "rest", names: bool = True) -> Axes:
    found = pose if isinstance(pose, Pose) else find_pose(what, pose)
    return draw_mechanism(axes if axes is not None else new_axes(), what, found, names=names)


@draw.register
def _(what: Run, axes: Axes | None = None, strike: Strike | None = None) -> Axes:
    return figures.draw_blow(axes if axes is not None else new_axes(), what, strike)


@draw.register
def _(what: SlowPress, axes: Axes | None = None) -> Axes:
    return figures.draw_slow_press(axes if axes is not None else new_axes(), what)


@draw.register
def _(what: Repetition, axes: Axes | None = None) -> Axes:
    return figures.draw_repetition(axes if axes is not None else new_axes(), what)


@draw.register
def _(what: Prediction, axes: Axes | None = None) -> Axes:
    if what.slow_press is None:
        raise ValueError(f"no slow-press curve to draw: {what.outcome}")
    return draw(what.slow_press, axes)


def find_pose(unit: ActionUnit, name: str) -> Pose:
    """At rest; as the jack lets go, or at the end, of a moderate blow."""
    if name not in POSES:
        raise ValueError(f"no pose {name!r}: one of {', '.join(POSES)}")
    strike, run, _ = run_moderate_blow(unit)
    times = {"rest": 0.0, "escape": strike.events.get("escape"), "check": None}
    return figures.get_pose(run.trace, figures.find_row(run.trace, times[name]))


def run_moderate_blow(unit: ActionUnit) -> tuple[Strike, Run, Rest]:
    """The moderate blow, from rest."""
    rest = settle_at_rest(unit)
    strike, run = play_touch(rest, find_touch(MODERATE))
    return strike, run, rest


def draw_sheet(unit: ActionUnit, prediction: Prediction) -> Figure:
    """The figure of the main job."""
    strike, run, rest = run_moderate_blow(unit)
    return figures.draw_prediction_sheet(unit, prediction, strike, run, rest.design_travel)
