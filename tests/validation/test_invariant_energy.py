"""Energy is kept, ray by ray."""

import checks_energy
import pytest
from checks import of_module


@pytest.mark.parametrize("check", of_module(checks_energy))
def test_energy(check):
    assert check() <= 1.0


def test_even_sphere_through_a_thousand_random_stones():
    """Six thousand rays, none of which may gather more or less than 1; random_polyhedra.py sends as many as one likes."""
    assert checks_energy.furnace_of_many(1000) <= 1.0
