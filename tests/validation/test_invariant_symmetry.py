"""The tracers agree, and respect the symmetries of space, time and machine."""

import checks_symmetry
import pytest
from checks import of_module


@pytest.mark.parametrize("check", of_module(checks_symmetry))
def test_symmetry(check):
    assert check() <= 1.0
