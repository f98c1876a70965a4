"""Regulating as tables and JSON: settings before and after, turns, punchings, what was met, what each step upset."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from sim.display_units import convert_si
from sim.fields.field_paths import index_fields
from sim.regulation.orders import CompletedStep
from sim.regulation.regulate import Adjustment, MissedTarget, Regulation
from sim.regulation.target_conflicts import ConflictMargin
from sim.regulation.targets import STOP_TARGETS, format_target, get_target_unit
from sim.report.formats.tables import CAUTIONS
from sim.unit.model import ActionUnit
from sim.units import format_mm, format_quantity


def _setting(path: str, value: float) -> str:
    if path in (f"settings.{name}" for name in STOP_TARGETS):
        return f"{value * 1e3:.2f} mrad of its stop"
    kind = index_fields()[path].kind
    return format_quantity(value, kind.unit, kind.dimension, 2) if kind else f"{value:g}"


def build_regulation_tables(
    done: Regulation, rooms: Sequence[ConflictMargin] = (), over: float | None = None
) -> list[RenderableType]:
    """What regulating came to."""
    out: list[RenderableType] = []
    if done.met:
        out.append(Text(f"{done.unit.name}: every target met"))
    else:
        out.append(Text(f"{done.unit.name}: NOT ALL TARGETS CAN BE MET"))
        out += [Text(f"  {_format_miss(m)}") for m in done.misses]
    out += [_targets(done), _moves(done.moves)]
    if over is not None:
        out.append(Text(f"Pressed, this sharp stands {format_mm(over, 1)} over the naturals (about 2 mm is usual)."))
    if rooms:
        out.append(Text("What would make room, smallest move first"))
        out += [Text(f"  {_format_clearance(r)}") for r in rooms]
    return [*out, Text(CAUTIONS)]


def _format_miss(m: MissedTarget) -> str:
    name = m.target.replace("_", " ")
    came = "no reading" if m.reached is None else f"comes to {format_target(m.target, m.reached)}"
    off = "" if m.reached is None else f" ({format_target(m.target, m.reached - m.asked)} off)"
    return f"{name} {format_target(m.target, m.asked)}: {came}{off}; {m.why}"


def _format_clearance(r: ConflictMargin) -> str:
    sure = "confirmed" if r.confirmed else "not confirmed: with it the other targets fail"
    return f"{r.title} by {r.by * 1e3:+.2f} mm ({sure})"


def _targets(done: Regulation) -> Table:
    table = Table(title="Targets", title_justify="left", box=None, pad_edge=False)
    for name in ("", "asked", "comes to"):
        table.add_column(name, justify="left" if not name else "right")
    for name, value in done.targets.items():
        table.add_row(name.replace("_", " "), format_target(name, value), format_target(name, done.readings.get(name)))
    return table


def _moves(moves: Mapping[str, Adjustment]) -> Table:
    table = Table(title="Settings", title_justify="left", box=None, pad_edge=False)
    for name in ("", "was", "set to", "turns", "punchings"):
        table.add_column(name, justify="left" if name in ("", "punchings") else "right")
    for path, a in moves.items():
        turns = "" if a.turns is None else f"{a.turns:+.2f}"
        papers = format_punchings(a.punchings) + _format_lead(a)
        table.add_row(path, _setting(path, a.before), _setting(path, a.after), turns, papers)
    return table


def _format_lead(a: Adjustment) -> str:
    if a.lead is None:
        return ""
    mass, place = a.lead
    return (
        f"{'put in' if mass > 0 else 'take out'} {abs(mass) * 1e3:.1f} g of lead, {format_mm(place, 0)} before the pin"
    )


def format_punchings(found: Mapping[float, int]) -> str:
    words = (f"{'add' if n > 0 else 'take'} {abs(n)} x {t * 1e3:.2f} mm" for t, n in found.items())
    return ", ".join(words)


def build_steps_table(title: str, done: Sequence[CompletedStep], targets: Mapping[str, float]) -> list[RenderableType]:
    """An order of work, a line a step."""
    table = Table(title=title, title_justify="left", box=None, pad_edge=False)
    for name in ("step", "", "asked", "comes to", "upset by it"):
        table.add_column(name)
    for i, d in enumerate(done, 1):
        names = d.step.sets
        asked = ", ".join(
            format_target(n, targets[n] if d.step.value is None else d.step.value) for n in names if n in targets
        )
        came = ", ".join(format_target(n, d.readings.get(n)) for n in names)
        table.add_row(str(i), d.step.say, asked, came if d.reached else f"{came} NOT REACHED", _format_upset(d.upset))
    return [table, Text(CAUTIONS)]


def _format_upset(found: Mapping[str, float]) -> str:
    largest = sorted(found.items(), key=lambda x: -abs(x[1]))[:4]
    return ", ".join(
        f"{n.replace('_', ' ')} {format_target(n, v) if v < 0 else '+' + format_target(n, v)}" for n, v in largest
    )


def _convert_readings(values: Mapping[str, float | None], prefix: str = "") -> dict[str, float | None]:
    """Readings by JSON name and edge unit."""
    units = {name: get_target_unit(name) for name in values}
    return {f"{prefix}{name}_{units[name]}": convert_si(value, units[name]) for name, value in values.items()}


def build_regulation_document(
    done: Regulation, rooms: Iterable[ConflictMargin] = (), over: float | None = None
) -> dict[str, Any]:
    """JSON: targets, readings, settings (SI by path), misses, room."""
    return {
        "unit": done.unit.name,
        "met": done.met,
        "targets": _convert_readings(done.targets),
        "readings": _convert_readings(done.readings),
        "settings": {
            path: {
                "before_si": a.before,
                "after_si": a.after,
                "turns": a.turns,
                "lead": None if a.lead is None else {"mass_g": a.lead[0] * 1e3, "place_mm": a.lead[1] * 1e3},
                "punchings_mm": {f"{t * 1e3:.2f}": n for t, n in a.punchings.items()},
            }
            for path, a in done.moves.items()
        },
        "misses": [
            {"target": m.target, "why": m.why}
            | _convert_readings({m.target: m.asked}, "asked_")
            | _convert_readings({m.target: m.reached}, "reached_")
            for m in done.misses
        ],
        "pressed_sharp_over_naturals_mm": None if over is None else over * 1e3,
        "room": [{"move": r.move, "by_mm": r.by * 1e3, "confirmed": r.confirmed} for r in rooms],
    }


def build_steps_document(unit: ActionUnit, order: str, done: Sequence[CompletedStep]) -> dict[str, Any]:
    """JSON of an order of work."""
    return {
        "unit": unit.name,
        "order": order,
        "steps": [
            {
                "say": d.step.say,
                "sets": list(d.step.sets),
                "reached": d.reached,
                "readings": _convert_readings(d.readings),
                "upset": _convert_readings(d.upset),
            }
            for d in done
        ],
    }
