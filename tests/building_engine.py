"""A sampled engine that builds stones, for tests: one by one on the host, and traces them as the engine `rays` does."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from raylab.designs.making import geometry_of
from raylab.errors import StoneError
from raylab.scene.scene import Scene
from raylab.stone.known_cuts import get_cut
from raylab.tracers.engine import Built
from raylab.tracers.outline_rays import fan_of
from raylab.tracers.randomizations import RANDOMIZATIONS, could_meet_in, totals_from
from raylab.tracers.sampled.outline import outline_means
from raylab.tracers.totals import MOMENTS

POINTS = 34
"""Rays of a randomization: fewer than the least of `LATTICES`, so that a test costs little."""


def means_of(scene):
    """Means, and the area of the outline."""
    fan = fan_of(scene)
    return outline_means(scene, scene.settings.wavelength_nm, POINTS, fan), fan.area_mm2


@dataclass
class HostEngine:
    """Builds all cuts but those in `not_built`; leaves to the host what `leaves` says."""

    name: str = "host"
    exact: bool = False
    description: str = "for tests"
    not_built: tuple[str, ...] = ()
    lots: list = field(default_factory=list)
    alone: list = field(default_factory=list)

    def supports(self, scene):
        return None

    def trace(self, scene, wavelength_nm, grid=None, **_):
        raise NotImplementedError

    def batch(self, scenes, wavelength_nm, goals):
        self.alone.extend(scenes)
        found = (means_of(scene.with_settings(wavelengths_nm=wavelength_nm)) for scene in scenes)
        return [
            totals_from(means, POINTS, area, could_meet_in(scene)) for (means, area), scene in zip(found, scenes, strict=True)
        ]

    def builds(self, cut, keys):
        return cut not in self.not_built

    def built(self, lot):
        """The stones of a cut from its own definition; of a table of 58 % it says that it can't."""
        self.lots.append(lot)
        count = len(next(iter(lot.values.values())))
        fault, geometry = np.zeros(count, int), np.full((count, 5), np.nan)
        area, means = np.full(count, np.nan), np.full((count, RANDOMIZATIONS, MOMENTS), np.nan)
        cut = get_cut(lot.cut)
        names = [reason.name for reason in cut.reasons]
        for k in range(count):
            values = {key: float(numbers[k]) for key, numbers in lot.values.items()}
            if values["table_pct"] == 58.0:
                fault[k] = -1
                continue
            try:
                stone = cut.stone(material=lot.material, **values, **lot.stated)
            except StoneError as error:
                fault[k] = names.index(error.reason) + 1 if error.reason else -1
                continue
            means[k], area[k] = means_of(Scene(stone, lot.dome, lot.view, lot.settings))
            geometry[k] = list(geometry_of(stone).values())
        return Built(fault, geometry, area, means, np.full(count, POINTS), np.ones(count))


ENGINE = HostEngine()
