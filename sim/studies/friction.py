"""Where this unit's friction is lost, beside the same unit with the friction of a healthy one."""

from __future__ import annotations

from dataclasses import dataclass, replace

from sim.bench import slow_press
from sim.bench.friction_budget import FrictionBudget, compute_friction_budget
from sim.bench.outcomes import Outcome
from sim.bench.readings import TouchWeight
from sim.bench.rest_pose import settle_at_rest
from sim.errors import UnitError
from sim.scenario.load import build_from_leaves
from sim.studies.variants import BaseScenario
from sim.unit.model import ActionUnit


@dataclass(frozen=True)
class FrictionReading:
    """One unit's slow press: weights and budget; the budget is None where the press did not come back."""

    unit: ActionUnit
    outcome: str
    reason: str
    touch: TouchWeight
    budget: FrictionBudget | None


@dataclass(frozen=True)
class FrictionComparison:
    """The unit as it is, and healed."""

    own: FrictionReading
    healthy: FrictionReading


def compare_friction(origin: BaseScenario) -> FrictionComparison:
    """Both budgets.  Raises InputError."""
    own = origin.ready
    return FrictionComparison(read_friction(own), read_friction(copy_friction(own, assume_healthy_friction(origin))))


def read_friction(unit: ActionUnit) -> FrictionReading:
    """Press a unit slowly, and let it up."""
    try:
        pressed = slow_press.press_slowly(settle_at_rest(unit))
    except UnitError as error:
        return FrictionReading(unit, Outcome.DOES_NOT_REST, str(error), TouchWeight(), None)
    touch, _ = slow_press.read_touch_weight(pressed)
    return FrictionReading(unit, pressed.outcome, pressed.reason, touch, compute_friction_budget(pressed))


def assume_healthy_friction(origin: BaseScenario) -> ActionUnit:
    """The scenario without what it says of friction: the defaults of its part of the compass stand in."""
    leaves = {path: leaf for path, leaf in origin.leaves.items() if not _is_friction_path(path)}
    kept = {path: text for path, text in origin.overrides.items() if not _is_friction_path(tuple(path.split(".")))}
    return build_from_leaves(leaves, origin.file, kept)


def _is_friction_path(path: tuple[str, ...]) -> bool:
    return "friction" in path


def copy_friction(unit: ActionUnit, model: ActionUnit) -> ActionUnit:
    """A unit with the dry friction of another, its screws as they are."""
    contacts = {name: replace(law, friction=model.contacts[name].friction) for name, law in unit.contacts.items()}
    damper = (
        None if unit.damper is None or model.damper is None else replace(unit.damper, friction=model.damper.friction)
    )
    return replace(unit, friction=dict(model.friction), contacts=contacts, damper=damper)
