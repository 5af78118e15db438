"""Inclusions against closed forms, and the tracers against each other."""

import checks_inclusions
import pytest
from checks import of_module


@pytest.mark.parametrize("check", of_module(checks_inclusions))
def test_inclusions(check):
    assert check() <= 1.0
