"""The committed kernel is what the entries of the mechanism say."""

from __future__ import annotations

import re

import pytest

from sim.physics import kernel, mechanism
from sim.physics.generate import KERNEL, list_parameter_names, refuse_unknown_names
from sim.physics.generate_step import render_kernel
from tests.physics.design_unit import load_design_unit
from tests.physics.rig import fit_damper


def test_kernel_is_current() -> None:
    """After a change of an entry: ``python -m sim.physics.generate_step``."""
    assert KERNEL.read_text(encoding="utf-8") == render_kernel()


def test_every_parameter_has_a_value_and_a_use() -> None:
    given = mechanism.compute_parameters(fit_damper(load_design_unit()))
    assert set(list_parameter_names()) == set(given), set(list_parameter_names()) ^ set(given)
    assert len(kernel.PARAMETERS) == len(set(kernel.PARAMETERS))
    source = KERNEL.read_text(encoding="utf-8")
    assert [n for n in given if f" = p.{n}\n" not in source] == ["shank_period"]  # for the length of the step


@pytest.mark.parametrize(
    ("right", "wrong"), [("springs_jack_rate", "springs_jack_rat"), ("K_capstan", "K_capstn"), ("wx", "wippen_x")]
)
def test_a_name_that_nobody_gives_a_value_is_refused(right: str, wrong: str) -> None:
    """As after a slip in a row of the contacts, or in a text of the generator."""
    source = re.sub(rf"(?<= ){right}\b(?! = p)", wrong, render_kernel(), count=1)
    refuse_unknown_names(render_kernel())
    with pytest.raises(NameError, match=rf"stroke: {wrong} is no parameter"):
        refuse_unknown_names(source)
