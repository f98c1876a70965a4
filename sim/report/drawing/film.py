"""A stroke or a slow press as data for a browser: shapes once, then rows of poses, contacts and curves.

Lengths in mm, times in ms, forces in N (under the finger in the slow press: gf),
turns in rad, energies in mJ.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sim.bench.readings import EVENTS
from sim.bench.rest_pose import Rest
from sim.bench.slow_press import PressRun, find_reset_point
from sim.display_units import convert_column, convert_si
from sim.physics.gaps_along import compute_gaps_and_sliding
from sim.physics.kernel_loader import kernel
from sim.physics.mechanism import DOFS
from sim.physics.run import STATE_TYPE, PartPositions, Run, Trace
from sim.report.drawing import film_parts
from sim.report.drawing.contact_points import compute_contact, compute_pressing_force
from sim.report.formats.packed_columns import pack_columns
from sim.unit.contacts import CONTACT_INDEX, CONTACTS

Array = NDArray[np.float64]

TURNS = ("kf", "kr", "w", "j", "l", "h")
INTERVAL = 1.2e-4
"""Time between two rows of a stroke, s: a contact with the string has twenty of them."""
STILL_SPEED = 2e-3
"""Speed of crown and key below which nothing more is seen to happen, m/s."""
STILL_TIME = 0.04
"""How long a film goes on when everything is still, s."""
ENERGY_ROWS = 4
"""Every how many rows the energies are worked out; all of them while the string is touched."""
MJ = 1e3
"""mJ in a J."""
BRANCH_ROWS = 400
"""Rows of each branch of the slow press, evenly over the key's travel."""


def build_film(rest: Rest, run: Run, events: Mapping[str, float | None], title: str) -> dict[str, Any]:
    """Everything needed to draw a stroke: shapes, names and views (film_parts), rows (rows_packed), events.

    ``table`` has a row about every 0.12 ms, each a row of the run's own trace,
    until crown and key have come to rest; for the names of its columns see
    ``build_motion_columns``, ``build_contact_columns`` and ``compute_energies``.
    """
    unit, t = rest.unit, run.trace["t"]
    stride = max(1, round(INTERVAL / float(t[1] - t[0]))) if len(t) > 1 else 1
    run = replace(run, trace=Trace(run.trace.data[: _find_still_row(run)]))
    trace = Trace(run.trace.data[::stride])
    columns = (
        build_motion_columns(rest, trace)
        | build_contact_columns(rest, trace)
        | _speeds(run, stride)
        | compute_energies(rest, run, stride)
    )
    return {
        "title": title,
        "shapes": film_parts.build_shapes(unit),
        "spring": film_parts.build_spring_bow(unit),
        "centres": film_parts.build_centres(unit),
        "contacts": film_parts.build_contacts(unit),
        "string": film_parts.build_string(unit),
        "views": film_parts.build_views(unit),
        "names": film_parts.build_names(unit),
        "events": _events(rest, events),
        "start": float(convert_column(t[0], "ms")),
        "step": float(convert_column(trace["t"][-1] - t[0], "ms")) / max(1, len(trace) - 1),
        "table": pack_columns(columns),
    }


def build_press_film(pressed: PressRun) -> dict[str, Any]:
    """The slow press against key travel: a table for each branch (``up`` None where the key was not let up).

    ``escape`` is the travel at the crown's highest point, ``home`` the travel on
    the way back at which the jack is under the knuckle again (mm; None: never).
    """
    rest, down, up = pressed.rest, pressed.down, pressed.up
    home = find_reset_point(pressed)
    travel = rest.travel(down)
    return {
        "down": _branch(rest, down),
        "up": None if up is None else _branch(rest, up),
        "escape": float(convert_column(travel[pressed.peak], "mm")) if pressed.plays else None,
        "home": None if home is None else float(convert_column(home / rest.front_edge_ratio, "mm")),
        "outcome": pressed.outcome,
        "reason": pressed.reason,
    }


def build_motion_columns(rest: Rest, trace: Trace) -> dict[str, Array]:
    """Turns by name (rad; ``r`` the shank's tip); the rest in mm, ``crown`` to the string, ``travel`` from rest."""
    places = PartPositions(rest.parameters[0], trace)
    return {
        **{name: trace[name] for name in TURNS},
        "r": trace["r"],
        **{name: convert_column(trace[name], "mm") for name in ("e", "d", "string")},
        "crown": convert_column(places.crown_to_string, "mm"),
        "travel": convert_column(places.key_travel - rest.design_travel, "mm"),
    }


def build_contact_columns(rest: Rest, trace: Trace) -> dict[str, Array]:
    """Of each contact: ``N_`` force (N), ``gap_`` (mm, less than nothing where felt is squeezed), ``x_``, ``y_``
    place (mm) and ``way_`` direction of the whole force, friction with it (rad); ``lie_`` that of the pressing force
    alone, where the two differ.  A contact that never presses has only its force."""
    gaps, _ = compute_gaps_and_sliding(rest.parameters, np.column_stack([trace[name] for name in DOFS]))
    gaps[:, CONTACT_INDEX["string"]] += trace["string"]
    out: dict[str, Array] = {}
    for contact in CONTACTS:
        name, found = contact.name, compute_contact(contact, rest.parameters[0], trace)
        pressed = compute_pressing_force(name, trace)
        out[f"N_{name}"] = pressed
        if not pressed.any():
            continue
        normal = -found.normal if contact.on_face else found.normal
        push = np.where((pressed > 0)[:, None], found.force, normal)
        out[f"gap_{name}"] = convert_column(gaps[:, CONTACT_INDEX[name]], "mm")
        out[f"x_{name}"], out[f"y_{name}"] = convert_column(found.place, "mm").T
        out[f"way_{name}"] = _unwrap_angle(push)
        if contact.rubs:
            out[f"lie_{name}"] = _unwrap_angle(normal)
    return out


def _find_still_row(run: Run) -> int:
    """Row at which crown and key have been at rest for a while (the last, where they never are)."""
    moving = np.maximum(np.abs(run.place.crown_speed), np.abs(run.place.key_speed)) > STILL_SPEED
    last = int(np.nonzero(moving)[0][-1]) if moving.any() else 0
    t = run.trace["t"]
    return min(len(t), int(np.searchsorted(t, t[last] + STILL_TIME)) + 1)


def _unwrap_angle(arrows: Array) -> Array:
    """Angle of arrows (rows, 2), without jumps from one row to the next."""
    return np.unwrap(np.arctan2(arrows[:, 1], arrows[:, 0]))


def _speeds(run: Run, stride: int) -> dict[str, Array]:
    place = run.place
    return {"key_speed": place.key_speed[::stride], "crown_speed": place.crown_speed[::stride]}


def compute_energies(rest: Rest, run: Run, stride: int) -> dict[str, Array]:
    """Where the finger's ``work`` is (mJ): ``moving``, ``stored`` in weights, springs and felts, in the ``sounding``
    string, and ``lost``; all from the first row on."""
    trace, t = run.trace, run.trace["t"]
    work = _integrate_rate(t, trace["finger_force"] * run.place.key_speed)[::stride]
    sounding = (
        _integrate_rate(t, trace["N_string"] * np.gradient(trace["string"], t))[::stride] if len(t) > 1 else 0 * work
    )
    few = Trace(trace.data[::stride])
    touched = few["N_string"] > 0
    rows = np.nonzero(touched | (np.arange(len(few)) % ENERGY_ROWS == 0) | (np.arange(len(few)) == len(few) - 1))[0]
    moving, stored = (np.interp(np.arange(len(few)), rows, v) for v in _compute_stored(rest, Trace(few.data[rows])))
    stored = stored - stored[0]
    found = {
        "work": work, "moving": moving, "stored": stored, "sounding": sounding,
        "lost": work - (moving - moving[0]) - stored - sounding,
    }  # fmt: skip
    return {name: MJ * joules for name, joules in found.items()}


def _compute_stored(rest: Rest, trace: Trace) -> tuple[Array, Array]:
    """Energy in motion, and in weights, springs and squeezed felts but the finger's own pad, J."""
    states = np.zeros(len(trace), STATE_TYPE)
    for name in DOFS:
        states[name], states[f"v_{name}"] = trace[name], trace[f"v_{name}"]
    states["ys"] = trace["string"]
    squeezed = np.zeros((len(trace), len(CONTACTS)))
    p = rest.parameters[0]
    held = np.array([kernel.energy(p, state, row) for state, row in zip(states, squeezed, strict=True)])
    squeezed[:, CONTACT_INDEX["finger"]] = 0.0
    return held[:, 0], held[:, 1] + squeezed.sum(axis=1)


def _integrate_rate(t: Array, rate: Array) -> Array:
    """Integral of a rate from the first row on."""
    return np.concatenate([[0.0], np.cumsum(0.5 * (rate[1:] + rate[:-1]) * np.diff(t))])


def _events(rest: Rest, events: Mapping[str, float | None]) -> list[dict[str, Any]]:
    """Name, title and time (ms; None where it did not happen) of what can happen on this unit."""
    known = {name: title for name, title in EVENTS.items() if name != "damper_starts" or rest.unit.damper is not None}
    return [{"name": name, "title": title, "ms": convert_si(events.get(name), "ms")} for name, title in known.items()]


def _branch(rest: Rest, run: Run) -> dict[str, Any]:
    """A branch of the slow press as a table, its rows evenly over the travel, from rest to the bottom."""
    travel = rest.travel(run)
    order = np.arange(len(travel))
    if travel[0] > travel[-1]:
        order = order[::-1]
    way = np.maximum.accumulate(travel[order])
    wanted = np.linspace(way[0], way[-1], BRANCH_ROWS)
    rows = order[np.searchsorted(way, wanted).clip(0, len(way) - 1)]
    trace = Trace(run.trace.data[rows])
    felt = {"finger_gf": convert_column(trace["finger_force"], "gf")}
    return pack_columns(build_motion_columns(rest, trace) | build_contact_columns(rest, trace) | felt)
