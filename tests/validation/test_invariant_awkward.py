"""Edges, corners and grazing rays."""

import checks_awkward
import pytest
from checks import of_module


@pytest.mark.parametrize("check", of_module(checks_awkward))
def test_awkward(check):
    assert check() <= 1.0
