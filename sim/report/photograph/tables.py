"""What a photograph gives, as rows, as text of a scenario, and drawn to scale."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from dataclasses import dataclass

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from sim.display_units import choose_unit, convert_si, format_number, format_unit
from sim.photo.photograph import ANGLE_FIELD, FoundCoordinate, PhotographResult, build_coordinate_leaves
from sim.report.drawing.mechanism import INK
from sim.report.photograph.demo import compute_true_places
from sim.report.photograph.picture import COLOURS
from sim.unit.model import ActionUnit

PREFIX = "coordinates."


@dataclass(frozen=True)
class FieldLine:
    """One field: as read, its standard uncertainty, as the scenario on the bench has it, and the difference (SI)."""

    path: str
    told: str
    value: tuple[float, ...]
    uncertainty: float
    before: tuple[float, ...]
    given: bool

    @property
    def unit(self) -> str:
        return "deg" if self.path == ANGLE_FIELD else "mm"

    @property
    def apart(self) -> float | None:
        """How far it lies from what the scenario has."""
        if not self.before:
            return None
        return math.hypot(*(a - b for a, b in zip(self.value, self.before, strict=True)))


def list_field_lines(done: PhotographResult, unit: ActionUnit | None) -> list[FieldLine]:
    """Every field that was read, beside that of a unit, where there is one."""
    told = {a.name: a.told for a in done.marks.asked} | {ANGLE_FIELD: "the shank's angle"}
    return [FieldLine(f.path, told[f.path], f.value, f.uncertainty, _find_before(f, unit), f.given) for f in done.found]


def _find_before(found: FoundCoordinate, unit: ActionUnit | None) -> tuple[float, ...]:
    if unit is None:
        return ()
    part, name = found.path.split(".")
    value = getattr(getattr(unit, part), name)
    return value if isinstance(value, tuple) else (value,)


def build_field_row(line: FieldLine, inches: bool = False) -> dict[str, str]:
    """A line as a table shows it."""
    unit = choose_unit(line.unit, inches)

    def shown(values: Sequence[float]) -> str:
        return ", ".join(format_number(convert_si(v, unit), unit) for v in values)

    return {
        "what": line.told,
        "read": shown(line.value),
        "± (standard)": shown([line.uncertainty]),
        "unit": format_unit(unit),
        "on the bench": shown(line.before),
        "apart": "" if line.apart is None else shown([line.apart]),
        "handed on": "yes" if line.given else "no: too uncertain",
        "field": line.path,
    }


def build_edits(done: PhotographResult) -> dict[str, str]:
    """Scenario path to the text that a file would hold there."""
    return {".".join(path): _format_inline(leaf.raw) for path, leaf in build_coordinate_leaves(done).items()}


def _format_inline(raw: object) -> str:
    """A TOML value on one line; the texts hold no control characters."""
    if isinstance(raw, dict):
        return f"{{ {', '.join(f'{name} = {_format_inline(part)}' for name, part in raw.items())} }}"
    if isinstance(raw, list):
        return f"[{', '.join(map(_format_inline, raw))}]"
    return json.dumps(raw, ensure_ascii=False)


def format_fragment(done: PhotographResult) -> str:
    """The ``[coordinates]`` of a scenario, to be put into a file of one's own."""
    p = done.marks.picture
    head = f"# Read from a photograph, {p.width} × {p.height} pixels, SHA-256 {p.sha256}.\n"
    return head + "\n".join(
        line for part, fields in _by_part(done).items() for line in (f"[{PREFIX}{part}]", *fields, "")
    )


def _by_part(done: PhotographResult) -> dict[str, list[str]]:
    out: dict[str, list[str]] = {}
    for path, text in build_edits(done).items():
        _, part, name = path.split(".")
        out.setdefault(part, []).append(f"{name} = {text}")
    return out


def draw_places(done: PhotographResult, unit: ActionUnit | None) -> Figure:
    """The places as read, in the action's frame and to scale, over those of a unit, where there is one."""
    whole = Figure(figsize=(9, 5), layout="constrained")
    axes = whole.subplots()
    places = {f.path: f for f in done.found if f.path in done.marks.clicks}
    if unit is not None:
        there = compute_true_places(unit)
        axes.plot(*_columns([there[name] for name in places]), "o", ms=7, mfc="none", mec="#5f6b75",
                  label="as the scenario has it")  # fmt: skip
    axes.plot(*_columns([f.place for f in places.values()]), "+", ms=9, mew=1.4, color=COLOURS["parts"],
              label="as read from the picture")  # fmt: skip
    _draw_joined(axes, done)
    axes.set(xlabel="rearward from the balance pin, mm", ylabel="up, mm", aspect="equal")
    axes.spines[["top", "right"]].set_visible(False)
    axes.legend(frameon=False, fontsize=8)
    return whole


def _columns(places: Sequence[tuple[float, float]]) -> tuple[list[float], list[float]]:
    return [1e3 * x for x, _ in places], [1e3 * y for _, y in places]


JOINED = (
    ("wippen.centre", "wippen.jack_centre"), ("wippen.centre", "wippen.lever_centre"),
    ("wippen.jack_centre", "jack.top_rear"), ("wippen.jack_centre", "jack.toe_centre"),
    ("lever.surface_from", "lever.surface_to"), ("hammer.centre", "hammer.strike_point"),
    ("hammer.centre", "hammer.knuckle_centre"),
)  # fmt: skip
"""Places between which a line shows how they belong together."""


def _draw_joined(axes: Axes, done: PhotographResult) -> None:
    at = {f.path: f.place for f in done.found}
    for a, b in JOINED:
        if a in at and b in at:
            axes.plot(*_columns([at[a], at[b]]), color=INK, lw=0.7, alpha=0.5)
