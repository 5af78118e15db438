"""One interface against `tmm`, printed tables and textbooks."""

import checks_interface
import pytest
from checks import of_module


@pytest.mark.parametrize("check", of_module(checks_interface))
def test_interface(check):
    assert check() <= 1.0
