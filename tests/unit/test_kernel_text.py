"""The committed kernel is what the entries of the mechanism say."""

from __future__ import annotations

from sim.physics import kernel, mechanism
from sim.physics.generate import KERNEL, param_names
from sim.physics.generate_step import text
from tests.physics.design_unit import load


def test_kernel_is_current() -> None:
    """After a change of an entry: ``python -m sim.physics.generate_step``."""
    assert KERNEL.read_text(encoding="utf-8") == text()


def test_every_parameter_has_a_value_and_a_use() -> None:
    given = mechanism.parameters(load())
    assert set(param_names()) == set(given), set(param_names()) ^ set(given)
    assert len(kernel.PARAMETERS) == len(set(kernel.PARAMETERS))


def test_contacts_stand_in_the_order_of_the_model() -> None:
    from sim.unit.model import CONTACTS

    assert tuple(c.name for c in mechanism.CONTACTS) == CONTACTS
