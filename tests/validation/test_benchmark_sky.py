"""The CIE overcast sky."""

import checks_sky
import pytest
from checks import of_module


@pytest.mark.parametrize("check", of_module(checks_sky))
def test_sky(check):
    assert check() <= 1.0
