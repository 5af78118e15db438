"""Facets that scatter against closed forms, and the tracers against each other."""

import checks_scattering
import pytest
from checks import of_module


@pytest.mark.parametrize("check", of_module(checks_scattering))
def test_scattering(check):
    assert check() <= 1.0
