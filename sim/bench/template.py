"""The hammer line by a template: where it has to hang, and what one that touches does to the reading.

A straight template hangs over the crowns, a gap above the line that is wanted.
Set so that it touches, it bears on the hammer: first the lever's spring gives way,
then, when the jack takes the knuckle, the load goes through wippen, capstan and
key to the back-rail cloth.  The crown comes up again when the template is taken
off and the note is played: the true line stands higher than was read.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from sim.bench.rest import Rest, at_rest
from sim.errors import SimulationError
from sim.physics.run import Drive, pack, run
from sim.unit.model import GRAVITY, ActionUnit
from sim.unit.piano_sheet import PianoSection

Array = NDArray[np.float64]

CLOTHS = (0.25, 1.0, 4.0)
"""Stiffness of the back-rail cloth against the unit's own: a soft, thick one, its own, a hard, thin one."""
LOWERED = 0.02e-3
"""The template comes down in steps of this, m, ..."""
HELD = 0.02
"""... and is held for this long each time, s; with the rest's damping the parts follow without swinging."""
VISCOUS = 60.0
TOUCHES = (2e-3 * GRAVITY, 5e-3 * GRAVITY, 10e-3 * GRAVITY)
"""Touches of a template on one hammer that are told, N (2, 5 and 10 gf: our convention)."""
DEEPEST = 3.0e-3
"""How far the template is lowered under the free crown, m."""
GAP = 0.5e-3
"""Gap that a template is given where nothing else is asked, m (our convention: a feeler strip tells it)."""


@dataclass(frozen=True)
class Line:
    """The template over one key (m over the bench): wanted crown, template, and the feeler's gap between them."""

    key: int
    crown: float
    template: float
    gap: float


@dataclass(frozen=True)
class Touching:
    """A template lowered on one hammer, back-rail cloth ``cloth`` times as stiff as the unit's own (m, N).

    By gap: template over the crown as it stands free, negative where it presses.
    Heights count from the true line: the free crown, the note played a few times.
    """

    cloth: float
    gap: Array
    read: Array
    """The crown under the template: the template's own height where it touches, the true line where it does not."""
    left: Array
    """The same when the template is taken off again, before the note is played: friction keeps some of the way."""
    force: Array
    """What the template bears on the hammer."""
    squeeze: Array
    """What the back-rail cloth is squeezed by it, beyond its squeeze at rest."""

    def high_at(self, force: float) -> float | None:
        """How far the true line stands over the reading taken under a touch of this force, m."""
        if not len(self.force) or self.force.max() < force:
            return None
        last = int(np.argmax(self.force >= force))
        a, b = max(0, last - 1), last
        return float(np.interp(force, self.force[[a, b]], -self.read[[a, b]]))


def hang(
    section: PianoSection, blow: float, lower: float = 0.0, gap: float = GAP, keys: Sequence[int] | None = None
) -> tuple[Line, ...]:
    """The template over a section: straight from end to end, never closer to the wanted line than ``gap``.

    ``lower`` is how far a crown at the bench stands under the same crown at the piano.
    """
    names = tuple(keys) if keys is not None else section.keys
    heights = {k: section.at(k, "string_height") for k in sorted({*section.keys, *names})}
    wanted = {k: h - blow - lower for k, h in heights.items() if h is not None}
    first, last = section.keys[0], section.keys[-1]
    slope = (wanted[last] - wanted[first]) / (last - first)
    straight = {k: wanted[first] + slope * (k - first) for k in wanted}
    lift = gap + max(wanted[k] - straight[k] for k in wanted)
    return tuple(Line(k, wanted[k], straight[k] + lift, straight[k] + lift - wanted[k]) for k in names if k in wanted)


def touching(unit: ActionUnit, deepest: float = DEEPEST, cloths: Sequence[float] = CLOTHS) -> tuple[Touching, ...]:
    """A template lowered on the hammer to ``deepest`` m under its free crown, for each stiffness of the cloth."""
    return tuple(_lower(unit, deepest, cloth) for cloth in cloths)


def _lower(unit: ActionUnit, deepest: float, cloth: float) -> Touching:
    law = unit.contacts["back_cloth"]
    laws = {**unit.contacts, "back_cloth": replace(law, stiffness=law.stiffness * cloth)}
    rest = at_rest(replace(unit, contacts=laws))
    free, bedded = rest.at_rest["string"], rest.at_rest["back_cloth"]
    plane = rest.parameters.copy()
    plane["half_admittance"] = 0.0
    clear = [GAP, 0.5 * GAP, 0.0]
    rows = [(g, 0.0, 0.0, 0.0, 0.0) for g in clear]
    state = rest.state
    for k in range(1, round(deepest / LOWERED) + 1):
        down = k * LOWERED
        plane["string_y"] = unit.rails.string_y - free - down
        under = run(plane, Drive(), HELD, state, step=rest.step, every=None, viscous=VISCOUS)
        if not under.outcome.fine:
            break
        state = under.state
        if k % 5 and k != 1:
            continue
        gaps = replace(rest, parameters=plane).gaps(state)
        crown = unit.contacts["string"]
        force = crown.stiffness * max(0.0, -gaps["string"]) ** crown.exponent
        rows.append((-down, -down, _set_free(rest, state, free), force, bedded - gaps["back_cloth"]))
    return Touching(cloth, *(np.array(column) for column in zip(*rows, strict=True)))


def _set_free(rest: Rest, state: Array, free: float) -> float:
    """Crown over its free height after the template is taken off: friction may keep some of the way, m."""
    p = pack(rest.unit)
    back = run(p, Drive(), 0.15, state, step=rest.step, every=None, viscous=VISCOUS)
    if not back.outcome.fine:
        raise SimulationError(back.outcome.name, back.outcome.time, back.outcome.where)
    return free - rest.gaps(back.state)["string"]
