"""The hammer rung out: plucked at its head, alone and weightless, and listened to."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from sim.bench.rest_pose import Rest
from sim.physics.run import Drive, pack_parameters, run
from sim.unit.contacts import CONTACTS, moving_body
from sim.unit.model import CENTRES

Array = NDArray[np.float64]

HOLDING_FRICTION = 1e3
"""Friction that holds a centre still, N·m."""
REMOVED_CONTACTS = tuple(c.name for c in CONTACTS if moving_body(c.shape) == "h")
"""What touches the hammer, and is taken away."""
DURATION = 0.5
PLUCK = 1e-4
"""How far the head is bent to start with, m."""
LEAST_PEAK = 0.1
"""Height of a peak over the highest of the spectrum from which it counts."""
PADDING_FACTOR = 8
"""Times the signal's length, so that the spectrum is read between its lines."""


def measure_shank_frequency(rest: Rest, *, root_held: bool) -> float | None:
    """Lowest frequency (Hz) of the bending shank: its root held still, or free to turn about the hammer centre.

    None where the shank does not bend, or the run leaves its domain.
    """
    friction = dict.fromkeys(CENTRES, HOLDING_FRICTION) | {"hammer": HOLDING_FRICTION if root_held else 0.0}
    p = pack_parameters(replace(rest.unit, friction=friction))
    p["g"] = 0.0
    for contact in REMOVED_CONTACTS:
        p[f"K_{contact}"] = 0.0
    state = rest.state.copy()
    for name in state.dtype.names or ():
        if name.startswith("v_"):
            state[name] = 0.0
    state["e"] = PLUCK
    r = run(p, Drive(), DURATION, state, step=rest.step, every=rest.step)
    return _lowest(r.trace["v_e"], r.trace["t"]) if r.outcome.fine else None


def _lowest(signal: Array, times: Array) -> float | None:
    """Frequency of the lowest peak of a dying signal's spectrum."""
    spectrum = np.abs(np.fft.rfft(signal, PADDING_FACTOR * len(signal)))
    inner = spectrum[1:-1]
    peaks = (inner > spectrum[:-2]) & (inner >= spectrum[2:]) & (inner > LEAST_PEAK * spectrum.max())
    found = np.flatnonzero(peaks)
    interval = float(times[-1] - times[0]) / (len(times) - 1)
    return float((found[0] + 1) / (PADDING_FACTOR * len(signal) * interval)) if len(found) else None
