"""The field of visibility against closed forms and a traced speck."""

import checks_visibility
import pytest
from checks import of_module


@pytest.mark.parametrize("check", of_module(checks_visibility))
def test_visibility(check):
    assert check() <= 1.0
