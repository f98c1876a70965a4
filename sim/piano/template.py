"""The hammer line by a template: where it has to hang, and what one that touches does to the reading.

A straight template hangs over the crowns, a gap above the line that is wanted.
Set so that it touches, it bears on the hammer: first the lever's spring gives way,
then, when the jack takes the knuckle, the load goes through wippen, capstan and
key to the back-rail cloth.  So the crown is read where it is pressed to: low.
Taken off at once, the template lets cloth and spring throw the hammer up, and
friction may keep it: high.  Played again, the note is back at its true line, which
stands higher than was read under the template; the blow is as much shorter than
was meant.

A hammer line is read with the notes played.  Friction then holds the crown under
the middle of its band, where ``settle_at_rest`` has it; how far is told beside.
"""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from sim.bench.predict import MODERATE, find_touch
from sim.bench.rest_pose import Rest, settle_at_rest
from sim.bench.strike import make_drive
from sim.physics.modes import DriveMode
from sim.physics.run import Drive, Run, continue_run, run
from sim.piano.sheet import PianoSection
from sim.unit.model import GRAVITY, ActionUnit

Array = NDArray[np.float64]

CLOTH_STIFFNESSES = (0.25, 1.0, 4.0)
"""Stiffness of the back-rail cloth against the unit's own: a soft, thick one, its own, a hard, thin one."""
LOWERING_STEP = 5e-6
"""The template comes down in steps of this, m, ..."""
HOLD_TIME = 0.03
"""... and is held for this long each time, s, parts damped so that they follow without swinging (1/s): at a half and
a quarter of the step 5 and 10 gf come 0.02 mm earlier, held twice as long within 0.01 mm."""
HOLD_DAMPING = 120.0
CLOSE, APART = 4, 40
"""Rows are kept every so many steps: close at first, then every fifth of a millimetre."""
SETTLING_TIME = 0.4
"""The template off, or the key let go, the parts have this long to come to rest by their own friction, s."""
SETTLING_DAMPING = 30.0
"""Damping, 1/s, of what may still swing then where a unit has no friction."""
BLOWS_BEFORE = 3
"""Blows before the template comes, so that nothing but the playing tells where the crown stands."""
TOUCH_FORCES = tuple(grams * 1e-3 * GRAVITY for grams in (2, 5, 10, 20))
"""Touches of a template on one hammer that are told, N (2 to 20 gf: our convention)."""
TABULATED_GAPS = (0.5e-3, 0.25e-3, 0.0, -0.1e-3, -0.5e-3, -1e-3, -1.5e-3, -2e-3, -2.5e-3, -3e-3)
"""Gaps of template over free crown that are told, m; negative: pressing."""
DEEPEST = 3.0e-3
"""How far the template is lowered under the free crown, m."""
DEFAULT_GAP = 0.5e-3
"""Gap that a template is given where nothing else is asked, m (our convention: a feeler strip tells it)."""


@dataclass(frozen=True)
class TemplateLine:
    """The template over one key (m over the bench): wanted crown, template, and the feeler's gap between them."""

    key: int
    crown: float
    template: float
    gap: float


@dataclass(frozen=True)
class TemplateReading:
    """A hammer under a template, heights over the true line (m, N): see ``TemplateContact``."""

    read: float
    true: float
    left: float
    force: float
    squeeze: float


@dataclass(frozen=True)
class TemplateContact:
    """A template lowered on one hammer, back-rail cloth ``cloth`` times as stiff as the unit's own (m, N).

    By gap: template over the free crown, negative where it presses.  Heights count from the true line before: the
    crown as a moderate blow leaves it, key let go and nothing over it.
    """

    cloth: float
    gap: Array
    read: Array
    """The crown under the template: the template's own height where it touches, the true line where it does not."""
    true: Array
    """The crown with the template off and the note played again: near nothing, whatever the template did."""
    left: Array
    """The crown with the template taken off at once and the note not played: thrown up, and kept by friction."""
    force: Array
    """What the template bears on the hammer."""
    squeeze: Array
    """What the back-rail cloth is squeezed by it, beyond its squeeze before."""
    under_rest: float
    """The true line under the crown at rest in the middle of its friction band, as the blow is read."""

    def at(self, gap: float) -> TemplateReading | None:
        """The hammer under a template at one gap (m), straight between the gaps tried; None beyond the deepest."""
        if not self.gap.min() <= gap <= self.gap.max():
            return None
        columns = (self.read, self.true, self.left, self.force, self.squeeze)
        return TemplateReading(*(float(np.interp(-gap, -self.gap, column)) for column in columns))

    def find_height_excess(self, force: float) -> float | None:
        """How far the true line stands over the reading taken under a touch of this force, m."""
        if not len(self.force) or self.force.max() < force:
            return None
        last = int(np.argmax(self.force >= force))
        a, b = max(0, last - 1), last
        return float(np.interp(force, self.force[[a, b]], (self.true - self.read)[[a, b]]))


@dataclass(frozen=True)
class TemplateSetting:
    """A hammer line set to a template that bears so much on the hammer (m over the bench, N).

    ``cloth`` None: the template clear of the crown, and a strip that fills ``gap`` fed between.
    """

    cloth: float | None
    force: float
    read: float
    """Where the template says the crown stands: the line that is wanted."""
    true: float
    """Where the crown stands with the template off and the note played."""
    gap: float
    """Template over the wanted line that makes the true line the wanted one; negative: the template hangs below it."""


def tabulate_settings(
    found: Sequence[TemplateContact], wanted: float, gap: float = DEFAULT_GAP
) -> tuple[TemplateSetting, ...]:
    """Read height beside true height for a line set to ``wanted`` (m over the bench): clear first, then by touch."""
    rows = [TemplateSetting(None, 0.0, wanted, wanted, gap)]
    for force in TOUCH_FORCES:
        for t in found:
            high = t.find_height_excess(force)
            if high is not None:
                rows.append(TemplateSetting(t.cloth, force, wanted, wanted + high, -high))
    return tuple(rows)


def hang_template(
    section: PianoSection,
    blow: float,
    lower: Mapping[int, float] | None = None,
    gap: float = DEFAULT_GAP,
    keys: Sequence[int] | None = None,
) -> tuple[TemplateLine, ...]:
    """The template over a section: straight from end to end, never closer to the wanted line than ``gap``.

    ``lower`` is how far a crown at the bench stands under the same crown at the piano (m), by key.
    """
    below = lower or {}
    names = tuple(keys) if keys is not None else section.keys
    heights = {k: section.at(k, "string_height") for k in sorted({*section.keys, *names})}
    wanted = {k: h - blow - below.get(k, 0.0) for k, h in heights.items() if h is not None}
    first, last = section.keys[0], section.keys[-1]
    slope = (wanted[last] - wanted[first]) / (last - first)
    straight = {k: wanted[first] + slope * (k - first) for k in wanted}
    lift = gap + max(wanted[k] - straight[k] for k in wanted)
    return tuple(
        TemplateLine(k, wanted[k], straight[k] + lift, straight[k] + lift - wanted[k]) for k in names if k in wanted
    )


def lower_template(
    unit: ActionUnit, deepest: float = DEEPEST, cloths: Sequence[float] = CLOTH_STIFFNESSES
) -> tuple[TemplateContact, ...]:
    """A template lowered on the hammer to ``deepest`` m under its free crown, for each stiffness of the cloth.

    Raises SimulationError for a unit that cannot be played.
    """
    with ThreadPoolExecutor(os.cpu_count()) as pool:
        return tuple(pool.map(lambda cloth: _lower_on_cloth(unit, deepest, cloth), cloths))


def _lower_on_cloth(unit: ActionUnit, deepest: float, cloth: float) -> TemplateContact:
    law = unit.contacts["back_cloth"]
    laws = {**unit.contacts, "back_cloth": replace(law, stiffness=law.stiffness * cloth)}
    rest = settle_at_rest(replace(unit, contacts=laws))
    state = rest.state
    for _ in range(BLOWS_BEFORE):
        state = _play_to_rest(rest, state)
    before = rest.gaps(state)
    free = before["string"]
    plane = rest.parameters.copy()
    plane["half_admittance"] = 0.0
    rows = [(g, 0.0, 0.0, 0.0, 0.0, 0.0) for g in TABULATED_GAPS if g >= 0]
    for k in range(1, round(deepest / LOWERING_STEP) + 1):
        down = k * LOWERING_STEP
        plane["string_y"] = unit.rails.string_y - free - down
        under = _run_untouched(rest, plane, HOLD_TIME, HOLD_DAMPING, state)
        if not under.outcome.fine:
            break
        state = under.state
        if k % (CLOSE if k < APART else APART):
            continue
        gaps = replace(rest, parameters=plane).gaps(state)
        crown = unit.contacts["string"]
        force = crown.stiffness * max(0.0, -gaps["string"]) ** crown.exponent
        off = _run_untouched(rest, rest.parameters, SETTLING_TIME, 0.0, state).require().state
        thrown, again = (free - rest.gaps(s)["string"] for s in (off, _play_to_rest(rest, off)))
        rows.append((-down, -down, again, thrown, force, before["back_cloth"] - gaps["back_cloth"]))
    gap, read, true, left, force, squeeze = (np.array(column) for column in zip(*rows, strict=True))
    return TemplateContact(cloth, gap, read, true, left, force, squeeze, free - rest.at_rest["string"])


def _run_untouched(rest: Rest, parameters: Array, duration: float, damped: float, state: Array) -> Run:
    return run(parameters, Drive(), duration, state, step=rest.step, every=None, viscous=damped)


def _play_to_rest(rest: Rest, state: Array) -> Array:
    """The state after a moderate blow, the key let go, everything at rest."""
    blow = run(
        rest.parameters, make_drive(rest, find_touch(MODERATE)), 0.3, state, step=rest.step, every=None
    ).require()
    back = continue_run(blow, Drive(DriveMode.NO_FINGER), SETTLING_TIME, step=rest.step).require()
    return _run_untouched(rest, rest.parameters, SETTLING_TIME, SETTLING_DAMPING, back.state).require().state
