"""Tolkowsky 1919."""

import checks_tolkowsky
import pytest
from checks import of_module


@pytest.mark.parametrize("check", of_module(checks_tolkowsky))
def test_tolkowsky(check):
    assert check() <= 1.0
