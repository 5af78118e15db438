"""Indices, dispersion and densities against papers and handbooks."""

import checks_materials
import pytest
from checks import of_module


@pytest.mark.parametrize("check", of_module(checks_materials))
def test_materials(check):
    assert check() <= 1.0
