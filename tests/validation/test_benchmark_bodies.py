"""Bodies with closed forms, traced."""

import checks_bodies
import pytest
from checks import of_module


@pytest.mark.parametrize("check", of_module(checks_bodies))
def test_body(check):
    assert check() <= 1.0
