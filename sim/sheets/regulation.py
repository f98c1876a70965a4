"""Regulating as tables and JSON: settings before and after, turns, punchings, what was met, what each step upset."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from sim.sheets.tables import CAUTIONS
from sim.unit.model import ActionUnit
from sim.units import gf, mm, newton_mm
from sim.workshop.orders import Done
from sim.workshop.regulate import Adjustment, Miss, Regulation
from sim.workshop.room import Room

GF = 9.80665e-3
WEIGHTS = ("balance_weight",)


def shown(target: str, value: float | None) -> str:
    if value is None:
        return "–"
    return gf(value, 1) if target in WEIGHTS else mm(value, 2)


def _setting(path: str, value: float) -> str:
    if path.startswith("springs."):
        return newton_mm(value, 2)
    if path == "key.front_weight":
        return f"{value * 1e3:.1f} g"
    if path in ("settings.lever_height", "settings.jack_address"):
        return f"{value * 1e3:.2f} mrad of its stop"
    return mm(value, 2)


def solved(done: Regulation, rooms: Sequence[Room] = ()) -> list[RenderableType]:
    """What regulating came to."""
    out: list[RenderableType] = []
    if done.met:
        out.append(Text(f"{done.unit.name}: every target met"))
    else:
        out.append(Text(f"{done.unit.name}: NOT ALL TARGETS CAN BE MET"))
        out += [Text(f"  {_miss(m)}") for m in done.misses]
    out += [_targets(done), _moves(done.moves)]
    if rooms:
        out.append(Text("What would make room, smallest move first"))
        out += [Text(f"  {_room(r)}") for r in rooms]
    return [*out, Text(CAUTIONS)]


def _miss(m: Miss) -> str:
    name = m.target.replace("_", " ")
    came = "no reading" if m.reached is None else f"comes to {shown(m.target, m.reached)}"
    off = "" if m.reached is None else f" ({shown(m.target, m.reached - m.asked)} off)"
    return f"{name} {shown(m.target, m.asked)}: {came}{off}; {m.why}"


def _room(r: Room) -> str:
    sure = "confirmed" if r.confirmed else "not confirmed: with it the other targets fail"
    return f"{r.title} by {r.by * 1e3:+.2f} mm ({sure})"


def _targets(done: Regulation) -> Table:
    table = Table(title="Targets", title_justify="left", box=None, pad_edge=False)
    for name in ("", "asked", "comes to"):
        table.add_column(name, justify="left" if not name else "right")
    for name, value in done.targets.items():
        table.add_row(name.replace("_", " "), shown(name, value), shown(name, done.readings.get(name)))
    return table


def _moves(moves: Mapping[str, Adjustment]) -> Table:
    table = Table(title="Settings", title_justify="left", box=None, pad_edge=False)
    for name in ("", "was", "set to", "turns", "punchings"):
        table.add_column(name, justify="left" if name in ("", "punchings") else "right")
    for path, a in moves.items():
        turns = "" if a.turns is None else f"{a.turns:+.2f}"
        table.add_row(path, _setting(path, a.before), _setting(path, a.after), turns, _punchings(a.punchings))
    return table


def _punchings(found: Mapping[float, int]) -> str:
    words = (f"{'add' if n > 0 else 'take'} {abs(n)} x {t * 1e3:.2f} mm" for t, n in found.items())
    return ", ".join(words)


def steps(title: str, done: Sequence[Done], targets: Mapping[str, float]) -> list[RenderableType]:
    """An order of work, a line a step."""
    table = Table(title=title, title_justify="left", box=None, pad_edge=False)
    for name in ("step", "", "asked", "comes to", "upset by it"):
        table.add_column(name)
    for i, d in enumerate(done, 1):
        names = d.step.sets
        asked = ", ".join(shown(n, targets[n] if d.step.value is None else d.step.value) for n in names if n in targets)
        came = ", ".join(shown(n, d.readings.get(n)) for n in names)
        table.add_row(str(i), d.step.say, asked, came if d.reached else f"{came} NOT REACHED", _upset(d.upset))
    return [table, Text(CAUTIONS)]


def _upset(found: Mapping[str, float]) -> str:
    largest = sorted(found.items(), key=lambda x: -abs(x[1]))[:4]
    return ", ".join(f"{n.replace('_', ' ')} {shown(n, v) if v < 0 else '+' + shown(n, v)}" for n, v in largest)


def _edge(values: Mapping[str, float | None]) -> dict[str, float | None]:
    """Readings by JSON name and edge unit."""
    out = {}
    for name, value in values.items():
        unit, factor = ("gf", GF) if name.endswith(WEIGHTS) else ("mm", 1e-3)
        out[f"{name}_{unit}"] = None if value is None else value / factor
    return out


def of_regulation(done: Regulation, rooms: Iterable[Room] = ()) -> dict[str, Any]:
    """JSON: targets, readings, settings (SI by path), misses, room."""
    return {
        "unit": done.unit.name,
        "met": done.met,
        "targets": _edge(done.targets),
        "readings": _edge(done.readings),
        "settings": {
            path: {
                "before_si": a.before,
                "after_si": a.after,
                "turns": a.turns,
                "punchings_mm": {f"{t * 1e3:.2f}": n for t, n in a.punchings.items()},
            }
            for path, a in done.moves.items()
        },
        "misses": [
            {"target": m.target, "why": m.why} | _edge({f"asked_{m.target}": m.asked, f"reached_{m.target}": m.reached})
            for m in done.misses
        ],
        "room": [{"move": r.move, "by_mm": r.by * 1e3, "confirmed": r.confirmed} for r in rooms],
    }


def of_steps(unit: ActionUnit, order: str, done: Sequence[Done]) -> dict[str, Any]:
    """JSON of an order of work."""
    return {
        "unit": unit.name,
        "order": order,
        "steps": [
            {
                "say": d.step.say,
                "sets": list(d.step.sets),
                "reached": d.reached,
                "readings": _edge(d.readings),
                "upset": _edge(d.upset),
            }
            for d in done
        ],
    }
