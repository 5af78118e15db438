"""A toy engine in one file: every view ray goes straight to the sky."""

from __future__ import annotations

import numpy as np

from raylab.scene.pixel_grid import grid_around
from raylab.tracers.engine_result import EngineResult
from raylab.tracers.ledger import CHANNELS, FIELDS, LUMINANCE, SKY
from raylab.tracers.totals import LUMINANCE_SQUARE, MOMENTS, Totals


class ToyEngine:
    name, exact, description = "toy", False, "a toy: every view ray goes to the sky"

    def supports(self, scene):
        return "toys lie flat" if scene.view.tilt_deg else None

    def trace(self, scene, wavelength_nm, grid=None, *, goal=None, threads=None, progress=None):
        grid = grid or grid_around(scene.stone, scene.view, scene.resolution)
        mean = np.zeros(MOMENTS)
        mean[[LUMINANCE, SKY, LUMINANCE_SQUARE]] = 1.0
        side = grid.resolution
        fields = {name: np.full((side, side), mean[channel]) for channel, name in enumerate(FIELDS[:CHANNELS])}
        fields["coverage"] = np.ones((side, side))
        totals = Totals(scene.stone.outline_area_mm2, mean, np.zeros((MOMENTS, MOMENTS)))
        return EngineResult(grid, wavelength_nm, self.name, fields, totals, notes={"toy": "nothing here is true"})


ENGINE = ToyEngine()
