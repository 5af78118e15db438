"""Tests that need a graphics processor: collected where there is one, see `tests/conftest.py`.

python -m pytest tests/gpu --gpu-designs 10000     # of each cut; by default as many as take a card's machine some minutes
NUMBA_ENABLE_CUDASIM=1 NUMBA_DISABLE_JIT=1 python -m pytest -n0 tests/gpu --gpu-designs 1     # without a device; slow
"""

from __future__ import annotations

import pytest
from numba import config
from simulated_gpu import reduced

if config.ENABLE_CUDASIM:
    reduced()


@pytest.fixture(scope="session")
def designs(request: pytest.FixtureRequest) -> int:
    """How many designs of each cut are traced."""
    return int(request.config.getoption("--gpu-designs"))
