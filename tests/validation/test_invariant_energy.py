"""Energy is kept, ray by ray."""

import checks_energy
import pytest
from checks import of_module


@pytest.mark.parametrize("check", of_module(checks_energy))
def test_energy(check):
    assert check() <= 1.0


def test_even_sphere_through_ten_thousand_random_stones():
    """Sixty thousand rays, none of which may gather more or less than 1."""
    assert checks_energy.furnace_of_many(10_000) <= 1.0
