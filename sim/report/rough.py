"""A rough unit and the ways of regulating it: tables, JSON, pictures."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator
from rich.console import RenderableType
from rich.text import Text

from sim.display_units import convert_si
from sim.regulation.duration_text import format_bench_time
from sim.regulation.targets import format_target, get_target_unit
from sim.report.drawing.figures import BACK, CROWN, FAINT, KEY
from sim.report.drawing.mechanism import INK
from sim.report.formats.tables import CAUTIONS
from sim.report.piano.tables import new_titled_table
from sim.teaching.rough import PATH_TARGETS, PathLine, RegulationPath, format_step

COUNTING_NOTE = (
    "A step costs the minutes of the screw, paper, wire or spring that is worked on, and one reading of what it sets; "
    "the other readings are shown and not counted. Set again: something that had been worked on before. Undone: a "
    "setting that was right and that another step took out of tolerance. A step that is not reached counts like any "
    "other: it has taken its time, and what was turned stays turned. All times: common practice, no source."
)
"""How a path's figures are counted."""
INVENTED = "The rough unit is invented: drawn from a seed, about a scenario."


def format_target_name(target: str) -> str:
    return target.replace("_", " ")


def build_asked_rows(now: RegulationPath, inches: bool = False) -> list[tuple[str, str, str, str, str]]:
    """Reading, what it should be, within what, as it is, and whether it is met."""
    rough = now.rough
    return [
        (
            format_target_name(t),
            format_target(t, rough.targets[t], inches),
            f"± {format_target(t, rough.near[t], inches)}",
            format_target(t, now.readings.get(t), inches),
            "met" if rough.meets(t, now.readings.get(t)) else "off",
        )
        for t in PATH_TARGETS
    ]


def build_path_rows(path: RegulationPath, inches: bool = False) -> list[tuple[str, str, str, str, str, str]]:
    """Number, step, what was asked, what it came to, minutes, and what it undid or what was done again."""
    return [(str(i), *_step(line, path, inches)) for i, line in enumerate(path.lines, 1)]


def _step(line: PathLine, path: RegulationPath, inches: bool) -> tuple[str, str, str, str, str]:
    done, targets = line.done, path.rough.targets
    wanted = (targets[t] if done.step.value is None else done.step.value for t in done.step.sets)
    asked = ", ".join(format_target(t, v, inches) for t, v in zip(done.step.sets, wanted, strict=True))
    came = ", ".join(format_target(t, done.readings.get(t), inches) for t in done.step.sets)
    remarks = ["set again"] if line.again else []
    if line.spoilt:
        remarks.append(f"undid {', '.join(map(format_target_name, line.spoilt))}")
    if not done.reached:
        remarks.insert(0, f"NOT REACHED: {line.why}".removesuffix(": "))
    return done.step.say, asked, came, format_bench_time(line.seconds), "; ".join(remarks)


def build_way_rows(paths: Sequence[RegulationPath]) -> list[tuple[str, str, str, str, str, str]]:
    """Each way: its name, steps, time, steps and time of setting again, settings undone, whether all is met."""
    return [
        (
            p.title,
            str(len(p.lines)),
            format_bench_time(p.seconds),
            f"{p.rework} ({format_bench_time(p.rework_seconds)})",
            str(p.spoilt),
            "every target met" if p.finished else f"still off: {', '.join(map(format_target_name, p.off))}",
        )
        for p in paths
    ]


def format_upset(line: PathLine, inches: bool = False) -> str:
    """Everything that a step moved beside what it set, the most first."""
    moved = sorted(line.done.upset.items(), key=lambda x: -abs(x[1]))
    return (
        ", ".join(
            f"{format_target_name(n)} {'+' if v > 0 else ''}{format_target(n, v, inches)}"
            for n, v in moved
            if n in PATH_TARGETS
        )
        or "nothing"
    )


def build_tables(mine: RegulationPath, others: Sequence[RegulationPath]) -> list[RenderableType]:
    """The rough unit, the learner's path and the orders of work beside it."""
    rough = mine.rough
    head = new_titled_table(
        f"{rough.well.name}, roughly assembled (seed {rough.seed})", "", "should be", "within", "is", ""
    )
    for row in build_asked_rows(RegulationPath(rough)):
        head.add_row(*row)
    out: list[RenderableType] = [head]
    if mine.lines:
        table = new_titled_table("Your path", "step", "", "asked", "comes to", "time", "")
        for steps in build_path_rows(mine):
            table.add_row(*steps)
        out.append(table)
    ways = new_titled_table("Side by side", "way", "steps", "time", "set again", "undone", "")
    for way in build_way_rows([*([mine] if mine.lines else []), *others]):
        ways.add_row(*way)
    return [*out, *([ways] if ways.row_count else []), Text(COUNTING_NOTE), Text(INVENTED), Text(CAUTIONS)]


def build_document(mine: RegulationPath, others: Sequence[RegulationPath]) -> dict[str, Any]:
    """The same as JSON; readings by name and unit."""
    rough = mine.rough
    values = {"should_be": rough.targets, "within": rough.near, "is": rough.start}
    return {
        "unit": rough.well.name,
        "seed": rough.seed,
        "rough": {
            key: {f"{t}_{get_target_unit(t)}": convert_si(v.get(t), get_target_unit(t)) for t in PATH_TARGETS}
            for key, v in values.items()
        },
        "paths": [_path(p) for p in [mine, *others]],
    }


def _path(p: RegulationPath) -> dict[str, Any]:
    return {
        "title": p.title,
        "finished": p.finished,
        "minutes": p.seconds / 60,
        "set_again": p.rework,
        "set_again_minutes": p.rework_seconds / 60,
        "undone": p.spoilt,
        "still_off": list(p.off),
        "steps": [
            {
                "step": format_step(line.done.step) if len(line.done.step.sets) == 1 else line.done.step.say,
                "say": line.done.step.say,
                "reached": line.done.reached,
                "minutes": line.seconds / 60,
                "again": line.again,
                "undid": list(line.spoilt),
                "still_off": list(line.off),
                "readings": {
                    f"{t}_{get_target_unit(t)}": convert_si(line.done.readings.get(t), get_target_unit(t))
                    for t in PATH_TARGETS
                },
            }
            for line in p.lines
        ],
    }


def draw_readings(path: RegulationPath) -> Figure:
    """Every reading after each step, with the band in which it counts as met."""
    figure = Figure(figsize=(7.2, 6.2), layout="constrained")
    FigureCanvasAgg(figure)
    grid = figure.subplots(3, 3, sharex=True)
    for axes, target in zip(grid.flat, PATH_TARGETS, strict=True):
        _reading(axes, path, target)
    for axes in grid[-1]:
        axes.set_xlabel("step", fontsize=9)
    return figure


def _reading(axes: Axes, path: RegulationPath, target: str) -> None:
    values = [convert_si(r.get(target), "mm") for r in (path.rough.start, *(line.done.readings for line in path.lines))]
    wanted, near = (convert_si(v[target], "mm") or 0.0 for v in (path.rough.targets, path.rough.near))
    axes.axhspan(wanted - near, wanted + near, color=BACK, alpha=0.3, lw=0)
    read = [float("nan") if v is None else v for v in values]
    axes.plot(range(len(read)), read, "-", color=KEY, lw=1.4)
    sets = [0, *(i for i, line in enumerate(path.lines, 1) if target in line.done.step.sets)]
    axes.plot(sets[1:], [read[i] for i in sets[1:]], "o", color=CROWN, ms=5)
    missing = [i for i, v in enumerate(values) if v is None]
    axes.plot(missing, [wanted] * len(missing), "x", color=INK, ms=4)
    axes.set_title(f"{format_target_name(target)}, mm", fontsize=9, loc="left", color=INK)
    axes.set_xlim(-0.4, max(len(path.lines), 1) + 0.4)
    axes.xaxis.set_major_locator(MaxNLocator(integer=True))
    axes.spines[["top", "right"]].set_visible(False)
    axes.tick_params(labelsize=8)


def draw_times(paths: Sequence[RegulationPath]) -> Figure:
    """Bars of time, what was set again apart."""
    figure = Figure(figsize=(7.2, 0.55 * len(paths) + 1.0), layout="constrained")
    FigureCanvasAgg(figure)
    axes = figure.subplots()
    for i, p in enumerate(paths):
        first, again = (s / 60 for s in (p.seconds - p.rework_seconds, p.rework_seconds))
        axes.barh(i, first, color=KEY, height=0.6)
        axes.barh(i, again, left=first, color="white", edgecolor=CROWN, hatch="////", height=0.6, lw=1.0)
        told = f" {first + again:.0f} min, {len(p.lines)} steps{'' if p.finished else ', not met'}"
        axes.text(first + again, i, told, va="center", fontsize=9, color=INK)
    axes.set_yticks(range(len(paths)), [p.title for p in paths], fontsize=9)
    axes.invert_yaxis()
    axes.set_xlim(0, 1.45 * max([p.seconds / 60 for p in paths] + [1.0]))
    axes.set_xlabel("minutes; hatched: set again", fontsize=9)
    axes.spines[["top", "right"]].set_visible(False)
    axes.tick_params(axis="x", labelsize=8)
    axes.axvline(0, color=FAINT, lw=0.8)
    return figure


def describe_readings_figure(path: RegulationPath) -> str:
    """What is in the picture of readings, for who cannot see it."""
    return (
        f"Every reading after each of {len(path.lines)} steps; the band is where it counts as met, a dot the step that "
        "set it, a cross where it could not be read."
    )


def describe_times_figure(paths: Sequence[RegulationPath]) -> str:
    """What is in the picture of times."""
    parts = (
        f"{p.title}: {format_bench_time(p.seconds)}, of which {format_bench_time(p.rework_seconds)} set again"
        for p in paths
    )
    return f"Time by way. {'; '.join(parts)}."
