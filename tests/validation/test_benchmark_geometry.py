"""The round brilliant against published geometry and weights."""

import checks_geometry
import pytest
from checks import of_module


@pytest.mark.parametrize("check", of_module(checks_geometry))
def test_geometry(check):
    assert check() <= 1.0
