"""The committed kernel is what the entries of the mechanism say."""

from __future__ import annotations

from sim.physics import kernel, mechanism
from sim.physics.generate import KERNEL, list_parameter_names
from sim.physics.generate_step import render_kernel
from tests.physics.design_unit import load_design_unit


def test_kernel_is_current() -> None:
    """After a change of an entry: ``python -m sim.physics.generate_step``."""
    assert KERNEL.read_text(encoding="utf-8") == render_kernel()


def test_every_parameter_has_a_value_and_a_use() -> None:
    given = mechanism.compute_parameters(load_design_unit())
    assert set(list_parameter_names()) == set(given), set(list_parameter_names()) ^ set(given)
    assert len(kernel.PARAMETERS) == len(set(kernel.PARAMETERS))


def test_contacts_stand_in_the_order_of_the_model() -> None:
    from sim.unit.model import CONTACTS

    assert tuple(c.name for c in mechanism.CONTACTS) == CONTACTS
