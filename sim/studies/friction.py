"""Where this unit's friction is lost, beside the same unit with the friction of a healthy one."""

from __future__ import annotations

from dataclasses import dataclass, replace

from sim.bench import slow_press
from sim.bench.friction_budget import Budget, budget
from sim.bench.readings import TouchWeight
from sim.bench.rest_pose import at_rest
from sim.errors import SimulationError
from sim.scenario.load import from_leaves
from sim.studies.variants import Origin
from sim.unit.model import ActionUnit


@dataclass(frozen=True)
class Felt:
    """One unit's slow press: weights and budget; the budget is None where the press did not come back."""

    unit: ActionUnit
    outcome: str
    reason: str
    touch: TouchWeight
    budget: Budget | None


@dataclass(frozen=True)
class Friction:
    """The unit as it is, and healed."""

    own: Felt
    healthy: Felt


def friction(origin: Origin) -> Friction:
    """Both budgets.  Raises InputError."""
    own = origin.ready
    return Friction(felt(own), felt(healed(own, healthy(origin))))


def felt(unit: ActionUnit) -> Felt:
    """Press a unit slowly, and let it up."""
    try:
        pressed = slow_press.press(at_rest(unit))
    except SimulationError as error:
        return Felt(unit, "does not come to rest", str(error), TouchWeight(), None)
    touch, _ = slow_press.touch_weight(pressed)
    return Felt(unit, pressed.outcome, pressed.reason, touch, budget(pressed))


def healthy(origin: Origin) -> ActionUnit:
    """The scenario without what it says of friction: the defaults of its part of the compass stand in."""
    leaves = {path: leaf for path, leaf in origin.leaves.items() if not _of_friction(path)}
    kept = {path: text for path, text in origin.overrides.items() if not _of_friction(tuple(path.split(".")))}
    return from_leaves(leaves, origin.file, kept)


def _of_friction(path: tuple[str, ...]) -> bool:
    return "friction" in path


def healed(unit: ActionUnit, model: ActionUnit) -> ActionUnit:
    """A unit with the dry friction of another, its screws as they are."""
    contacts = {name: replace(law, friction=model.contacts[name].friction) for name, law in unit.contacts.items()}
    damper = (
        None if unit.damper is None or model.damper is None else replace(unit.damper, friction=model.damper.friction)
    )
    return replace(unit, friction=dict(model.friction), contacts=contacts, damper=damper)
