"""Action-unit simulator: one grand-piano note, from bench measurements to how it plays.

    import sim

    unit = sim.load("scenarios/concert-grand-natural.toml")
    print(sim.predict(unit))

Values are SI inside (``sim.units`` converts); results are frozen records.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

    from sim.bench.readings import Prediction, Repetition, Settings, SlowPress, Strike, TouchWeight
    from sim.errors import Fault
    from sim.unit.model import ActionUnit

__version__ = "0.1.0"
__all__ = [
    "draw", "load", "loads", "predict", "repeat", "set_up", "strike", "to_frame", "to_json", "validate", "weigh",
]  # fmt: skip

Progress = Callable[[float, str], None]
"""Called with the share done (0 to 1) and what is being done."""


def load(path: str | Path, overrides: Mapping[str, str] | None = None) -> ActionUnit:
    """The action unit of a scenario file; a shipped scenario may be named without its folder.

    ``overrides`` change fields for this once: ``{"springs.repetition": "85%"}``.
    Raises ``sim.errors.InputError``, which holds every fault of the file.
    """
    from sim.scenario import load as scenario
    from sim.scenario.shipped import find_scenario

    return scenario.load(find_scenario(path), overrides)


def loads(text: str, name: str = "scenario", overrides: Mapping[str, str] | None = None) -> ActionUnit:
    """As ``load``, for the text of a scenario."""
    from sim.scenario import load as scenario

    return scenario.loads(text, name, overrides)


def validate(path: str | Path, overrides: Mapping[str, str] | None = None) -> tuple[Fault, ...]:
    """Everything that is wrong with a scenario file; empty when nothing is."""
    from sim.errors import InputError

    try:
        load(path, overrides)
    except InputError as error:
        return error.faults
    return ()


def set_up(unit: ActionUnit, progress: Progress | None = None) -> ActionUnit:
    """The unit with its screws, papers and spring set so that its targets are met; unchanged without targets."""
    _ready()
    from sim.regulation.set_up import set_up as set_to_targets

    return set_to_targets(unit, progress)


def predict(unit: ActionUnit, *, repetition: bool = True, progress: Progress | None = None) -> Prediction:
    """Every reading of the unit, set up for its targets first; without ``repetition`` in a fraction of the time."""
    _ready()
    from sim.bench import predict as bench
    from sim.regulation.set_up import list_found_settings

    ready = set_up(unit, progress)
    return replace(bench.predict(ready, repetition=repetition, progress=progress), set_up=list_found_settings(ready))


def strike(unit: ActionUnit) -> tuple[Strike, ...]:
    """Blows of the standard fingers, soft to hard."""
    ready = set_up(unit)
    from sim.bench import predict as bench

    return bench.strike(ready)


def weigh(unit: ActionUnit) -> tuple[TouchWeight, Settings, SlowPress | None]:
    """Touch weights, settings and the force curve, from one slow press."""
    ready = set_up(unit)
    from sim.bench import predict as bench

    return bench.weigh(ready)


def repeat(unit: ActionUnit, progress: Progress | None = None) -> Repetition:
    """How the note comes back, and how fast it can be played again."""
    ready = set_up(unit)
    from sim.bench import predict as bench

    return bench.repeat(ready, progress)


def to_frame(result: Any, unit: ActionUnit | None = None) -> pd.DataFrame:
    """A prediction, strikes, a run, a slow press or a repetition as a pandas frame."""
    from sim.report.formats import frames

    return frames.to_frame(result, unit)


def to_json(prediction: Prediction) -> str:
    """A prediction as JSON text; names carry their units, null stands for what could not be read."""
    from sim.report.formats import json_text

    return json_text.format_json(json_text.build_prediction_document(prediction))


def draw(what: Any, axes: Axes | None = None, **options: Any) -> Axes:
    """Draw a unit (``pose="rest"``, ``"escape"`` or ``"check"``), a run, a slow press or a repetition on axes."""
    _ready()
    from sim.report.drawing import draw as drawing

    return drawing.draw(what, axes, **options)


def _ready() -> None:
    from sim.physics.kernel_loader import prepare_kernel

    prepare_kernel()
