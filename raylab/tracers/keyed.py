"""Random numbers by key: pure functions of what they are for, so that no number hangs on threads or on what ran before."""

from __future__ import annotations

import numpy as np

from ..jit import njit


@njit(inline="always")
def keyed_uniform(seed, pixel, sample, axis):
    """A uniform number in [0, 1) that depends on nothing but its key (splitmix64's finaliser, Steele et al. 2014)."""
    z = np.uint64(seed) * np.uint64(0x9E3779B97F4A7C15) + np.uint64(pixel)
    for word in (np.uint64(sample), np.uint64(axis)):
        z = (z ^ (z >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
        z = (z ^ (z >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
        z = (z ^ (z >> np.uint64(31))) + (word + np.uint64(1)) * np.uint64(0x9E3779B97F4A7C15)
    z = (z ^ (z >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    z = (z ^ (z >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    z = z ^ (z >> np.uint64(31))
    return float(z >> np.uint64(11)) * (1.0 / 9007199254740992.0)
