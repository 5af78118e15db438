"""Area means of a stone by rays spread over its outline: see `outline_rays`."""

from __future__ import annotations

import numpy as np

from ...scene.scene import Scene
from ..goal import Goal
from ..outline_rays import Fan, fan_of, fill_points, generator_of
from ..randomizations import RANDOMIZATIONS, could_meet_in, totals_from, until
from ..totals import MOMENTS, Totals
from .sums import means_of_hits
from .view_rays import sample_points

AT_A_TIME = 1 << 16
"""Rays whose ledger rows are in memory at a time, but for one randomization in the least."""


def outline_totals(scene: Scene, wavelength_nm: float, goal: Goal | None) -> Totals:
    """Area means to the wanted standard error; without one from a fixed number of rays. The view has no pupil."""
    fan = fan_of(scene)

    def totals_of(_alone: list[int], points: int) -> list[Totals]:
        means = outline_means(scene, wavelength_nm, points, fan)
        return [totals_from(means, points, fan.area_mm2, could_meet_in(scene))]

    return until([goal or Goal()], totals_of)[0]


def outline_means(scene: Scene, wavelength_nm: float, points: int, fan: Fan) -> np.ndarray:
    """(RANDOMIZATIONS, MOMENTS) means over the outline by each randomization of so many points."""
    means, some = np.empty((RANDOMIZATIONS, MOMENTS)), min(RANDOMIZATIONS, max(1, AT_A_TIME // points))
    for first in range(0, RANDOMIZATIONS, some):
        number = min(some, RANDOMIZATIONS - first)
        places = np.empty((number * points, 2))
        fill_points(points, generator_of(points), scene.settings.seed, first, fan.hub, fan.rim, fan.upto, places)
        means_of_hits(*sample_points(places, scene, wavelength_nm), means[first : first + number])
    return means
