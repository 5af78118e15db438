"""Fish-eye, table reflection and nail-head where the handbooks put them."""

import checks_faults
import pytest
from checks import of_module


@pytest.mark.parametrize("check", of_module(checks_faults))
def test_faults(check):
    assert check() <= 1.0
