"""Diffuse light, projected area, chord length and the asymmetry parameter of hexagonal prisms."""

import checks_averages
import pytest
from checks import of_module


@pytest.mark.parametrize("check", of_module(checks_averages))
def test_averages(check):
    assert check() <= 1.0
